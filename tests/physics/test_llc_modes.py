"""Half periods of the LLC converter against a simulation in time, and what must hold."""

import math

import numpy as np
import pytest

from models.physics import llc_modes
from models.physics.llc_modes import NONE, NOP, NP, OPO, PO, course, follow, solve
from tests.stages.llc_circuit import normalised

MODES = {PO: (0.85, 0.25, 6.0), OPO: (0.9, 0.03, 6.0), NP: (1.2, 0.3, 6.0), NOP: (1.12, 0.05, 4.0)}


def one(vi, p, m):
    return solve(np.array([vi]), np.array([p]), np.array([m]))


@pytest.mark.parametrize("mode", MODES, ids=("PO", "OPO", "NP", "NOP"))
def test_a_half_period_is_what_the_switched_circuit_does(mode):
    vi, p, m = MODES[mode]
    x = one(vi, p, m)
    assert x.mode[0] == mode
    found = normalised(vi, p, m, gamma=x.gamma[0], start=(x.j_0[0], x.v_c[0]))
    assert found.mean("v:o") == pytest.approx(1.0, rel=0.003)
    assert -found.before("i:lr", 0.5) == pytest.approx(x.j_0[0], rel=0.01)
    share = np.linspace(0.0, 1.0, 200)
    arcs, end = course(x, share)
    assert found.peak("i:lr") == pytest.approx(max(abs(a[0]).max() for a in arcs), rel=0.01)
    assert found.peak("v:cr") == pytest.approx(max(abs(a[1]).max() for a in arcs), rel=0.01)
    assert end[0][0] == pytest.approx(-x.j_0[0], rel=1e-6)


def test_power_in_is_power_out_over_the_half_period():
    x = one(0.8, 0.2, 8.0)
    nodes, weights = np.polynomial.legendre.leggauss(20)
    arcs, _ = course(x, 0.5 * (1.0 + nodes))
    drawn = given = 0.0
    for (j, _, j_m), length, sign in zip(arcs, x.lengths, (-1.0, 0.0, 1.0, 0.0), strict=True):
        weight = 0.5 * weights * length[0] / x.gamma[0]
        drawn += x.vi[0] * float(weight @ j[:, 0])
        given += sign * float(weight @ (j - j_m)[:, 0])
    assert drawn == pytest.approx(0.2, rel=1e-6)
    assert given == pytest.approx(0.2, rel=1e-6)


@pytest.mark.published(
    "R. W. Erickson, D. Maksimović, Fundamentals of Power Electronics, resonant chapter "
    "(from memory): the gain is 1 at resonance whatever the load"
)
def test_the_gain_is_one_at_resonance_whatever_the_load():
    p = np.array([0.2, 0.3, 0.6])  # below, the rectifier stops before the half period ends
    x = solve(np.ones(3), p, np.full(3, 5.0))
    assert x.gamma == pytest.approx(math.pi * np.ones(3), rel=1e-6)


@pytest.mark.published(
    "gain without load 1/(1 + (1 − (f₀/f)²)/m), first harmonic, textbooks (from memory)"
)
def test_without_load_the_period_tends_to_the_closed_form():
    vi, m = 0.8, 6.0
    x = one(vi, 1e-4, m)
    idle = 2.0 * math.sqrt(1.0 + m) * math.acos(vi * m / (1.0 + m))
    assert x.gamma[0] == pytest.approx(idle, rel=0.02)  # exact for the square wave
    first_harmonic = math.pi * math.sqrt(1.0 + m * (1.0 - vi))
    assert x.gamma[0] == pytest.approx(first_harmonic, rel=0.08)


def test_more_power_takes_a_longer_period():
    x = one(0.7, 0.03, 5.0), one(1.3, 0.1, 5.0)
    for start in x:
        before = start
        for _ in range(12):
            after = follow(before, before.p * 1.1)
            assert after.mode[0] != NONE
            assert after.gamma[0] > before.gamma[0]
            before = after


def test_beyond_the_peak_of_the_gain_nothing_is_found():
    assert one(0.6, 0.6, 6.0).mode[0] == NONE


def test_following_a_solution_finds_the_next_mode():
    x = one(0.9, 0.03, 6.0)
    assert x.mode[0] == OPO
    for _ in range(20):
        x = follow(x, x.p * 1.1)
    assert x.mode[0] == PO
    fresh = solve(x.vi, x.p, x.m)
    assert x.gamma == pytest.approx(fresh.gamma, rel=1e-6)


def test_a_batch_is_what_single_points_are():
    vi, p, m = np.array([0.7, 1.0, 1.2]), np.array([0.1, 0.2, 0.3]), np.array([4.0, 6.0, 9.0])
    batch = solve(vi, p, m)
    for i in range(3):
        alone = llc_modes.solve(vi[i : i + 1], p[i : i + 1], m[i : i + 1])
        assert alone.gamma[0] == pytest.approx(batch.gamma[i], rel=1e-9)
