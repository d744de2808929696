"""The table of the LLC converter: what its file is, and how right it is between its nodes."""

import dataclasses
import math

import numpy as np
import pytest

from models.axes import designs
from models.errors import ModelError
from models.physics import llc_make_table, llc_table
from models.physics.llc_modes import NONE, Half, solve
from models.physics.llc_resonance import at_resonance


def sample(count, rng, *, low=0.0):
    """Points of the table by drive, power and ratio, as (n,), where a solution is found."""
    (m_0, _), (d_0, d_1) = llc_table.ends()
    m = m_0 * (20.0 / m_0) ** rng.uniform(size=count)
    vi = rng.uniform(max(d_0, 0.6), d_1, count)
    spot = llc_table.locate(designs(m), designs(vi))
    share = rng.uniform(low, 1.0, count)
    p = llc_make_table.load(share, spot.least.ravel(), spot.most.ravel())
    x = solve(vi, p, m)
    kept = x.mode != NONE
    assert kept.mean() > 0.95
    solved = Half(*(getattr(x, f.name)[kept] for f in dataclasses.fields(x)))
    return solved, llc_make_table.quantities(solved)


def looked_up(x):
    spot = llc_table.locate(designs(x.m), designs(x.vi))
    return llc_table.wave(spot, designs(x.p))


def test_between_the_nodes_waves_are_those_of_the_circuit_in_time(rng):
    x, exact = sample(400, rng)
    found = looked_up(x)
    for name, value in exact.items():
        scale = exact["tank_peak"] if name in ("off", "commutated") else value
        error = np.abs(getattr(found, name).ravel() - value) / scale
        assert np.quantile(error, 0.95) < 0.01, name
        assert np.quantile(error, 0.99) < 0.03, name


def test_a_sample_of_nodes_made_again_is_what_the_file_holds(rng):
    nodes = llc_table.grid()
    i = rng.integers(0, 9, 40)
    j = rng.integers(0, len(nodes.drive), 40)
    k = rng.integers(4, nodes.loads, 40)
    plane = i * len(nodes.drive) + j
    p = llc_make_table.load(k / (nodes.loads - 1), nodes.least[plane], nodes.most[plane])
    x = solve(nodes.drive[j], p, nodes.ratio[i])
    kept = x.mode != NONE
    assert kept.mean() > 0.9
    x = Half(*(getattr(x, f.name)[kept] for f in dataclasses.fields(x)))
    made = llc_make_table.quantities(x)
    for name, table in zip(llc_table.NAMES, nodes.waves, strict=True):
        stored = table[plane * nodes.loads + k][kept]
        scale = made["tank_peak"] if name in ("off", "commutated") else np.abs(made[name])
        assert (np.abs(stored - made[name]) < 3e-5 * scale).all(), name
    # The grid itself is the one that the script makes.
    assert nodes.ratio == pytest.approx(llc_make_table.RATIOS, rel=1e-6)
    assert nodes.drive == pytest.approx(llc_make_table.DRIVES, rel=1e-6)


def test_a_changed_file_is_refused(tmp_path, monkeypatch):
    other = tmp_path / "llc_table.npz"
    other.write_bytes(llc_table.FILE.read_bytes()[:-1] + b"x")
    monkeypatch.setattr(llc_table, "FILE", other)
    with pytest.raises(ModelError, match="another checksum"):
        llc_table.grid.__wrapped__()


def test_no_pickle_is_in_the_file():
    with np.load(llc_table.FILE, allow_pickle=False) as file:
        assert set(file.files) == {"ratio", "drive", "least", "most", *llc_table.NAMES}
        for name in file.files:
            assert np.isfinite(file[name]).all(), name


def test_beyond_its_ends_the_end_stands_for_it():
    (m_0, m_1), (d_0, d_1) = llc_table.ends()
    for m, vi in ((m_0, d_0), (m_1, d_1)):
        inside = llc_table.locate(designs(m), designs(vi))
        outside = llc_table.locate(designs(m * (0.1 if m == m_0 else 10.0)),
                                   designs(vi * (0.1 if m == m_0 else 10.0)))  # fmt: skip
        assert outside.most == pytest.approx(inside.most, rel=1e-9)
        beyond = llc_table.wave(outside, 100.0 * inside.most)
        assert beyond.tank == pytest.approx(llc_table.wave(inside, inside.most).tank, rel=1e-9)


def test_at_resonance_the_closed_form_is_the_circuit_in_time():
    p, m = np.array([0.05, 0.2, 0.5]), np.array([4.0, 6.0, 10.0])
    exact = llc_make_table.quantities(solve(np.ones(3), p, m))
    # Lightly loaded it leaves the resonance by a little; from 0.2 on it does not.
    found = at_resonance(designs(p), designs(m))
    for name, value in exact.items():
        got = getattr(found, name).ravel()
        if name != "commutated":
            assert got[1:] == pytest.approx(value[1:], rel=1e-4), name


@pytest.mark.published(
    "B. Yang, dissertation 2003 (from memory): secondary rms with the factor 5π² − 48"
)
def test_the_secondary_at_resonance_carries_what_is_published():
    """I_s² = A²/2 + I_m²·(5π² − 48)/(6π²) at the primary, I_m = V/(4·L_m·f)."""
    p, m = designs(0.3), designs(5.0)
    a, j_m = 0.5 * math.pi * 0.3, 0.5 * math.pi / 5.0
    square = 0.5 * a * a + j_m * j_m * (5.0 * math.pi**2 - 48.0) / (6.0 * math.pi**2)
    assert at_resonance(p, m).secondary.item() == pytest.approx(math.sqrt(square), rel=1e-9)


@pytest.mark.published(
    "R. W. Erickson, D. Maksimović, resonant chapter (from memory): I_r = π/(2√2)·n·I_o"
)
def test_without_magnetising_current_the_tank_carries_the_form_factor_of_a_sine():
    found = at_resonance(designs(0.3), designs(1e6))
    assert found.tank.item() / 0.3 == pytest.approx(1.1107, rel=1e-4)
