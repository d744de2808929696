"""The flyback stage: layout, light load, balance of power, stresses and limits."""

import dataclasses
import itertools
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.axes import angles, designs
from models.ledger import Kind
from models.parts import diode, switch, transformer
from models.physics.semiconductor import charge_and_energy
from models.stages import flyback, flyback_stress, unfolder
from models.stages.flyback_waves import shared_ripple
from models.variables import build, variables
from tests.stages.rectified_sine import CATALOGUE, bridge, case, stage

SHAPES = list(itertools.product((1, 2), ("short_pulse", "complementary")))
LOADS = (300.0, 150.0, 60.0, 20.0)


def made(phases=1, clamp="short_pulse", **more):
    """A design that meets its limits in either drive."""
    if clamp == "complementary":
        more = {"magnetising": 0.5, "clamp_row": "x7r-10u-100V", "clamp_count": 6.0,
                "turns": (7.0, 42.0), "interleaved": 0} | more  # fmt: skip
    return stage(phases=phases, clamp=clamp, **more)


def evaluated(design, rows, side=1):
    p = rows.points.p_ac * 1.05 + 0.5
    run = flyback.in_half_cycles(design, p, rows)
    want = unfolder.demand(bridge(side=side), run.p_run, rows)
    placed, ports = flyback.place("flyback", design, p, want, rows)
    return p, flyback.phase(design, run, want, rows), placed, ports


@pytest.mark.parametrize(("phases", "clamp"), SHAPES)
def test_input_current_of_the_waves_carries_the_power_told(phases, clamp) -> None:
    p, _, _, ports = evaluated(made(phases, clamp), case(p_ac=LOADS), side=0)
    assert_allclose(ports.p_in, p, rtol=1e-3)


@pytest.mark.parametrize(("phases", "clamp"), SHAPES)
def test_output_current_carries_the_power_told(phases, clamp) -> None:
    p, one, placed, _ = evaluated(made(phases, clamp), case(p_ac=LOADS))
    # A rectified sine: mean p/v over its angles, from the diode's mean current.
    i_avg = placed.parts[3].stress.i_avg * phases
    sine = one.v_r / one.v_r.max(axis=2, keepdims=True)
    expected = (p * (2 * sine**2) / (one.v_r * one.ratio)).mean(axis=2, keepdims=True)
    assert_allclose(i_avg, expected, rtol=5e-3)


def test_at_the_border_the_current_of_a_short_pulse_just_ends() -> None:
    # Leakage and the pulse itself take their share of the period, so a little is missing.
    _, one, _, _ = evaluated(made(magnetising=1.0), case(v_pv=(25.0,)))
    middle = one.v_r.shape[2] // 2
    flowing = 1.0 + one.waves.outside[0, 0, middle]
    added = (one.waves.commutation[0, 0, middle] + one.circuit.f * one.circuit.t_pulse).item()
    assert flowing - added == pytest.approx(1.0, rel=0.05)
    _, half, _, _ = evaluated(made(magnetising=0.5), case(v_pv=(25.0,)))
    assert half.circuit.l_m.item() == pytest.approx(0.25 * one.circuit.l_m.item())


@pytest.mark.parametrize("x", [0.4, 0.8])
def test_complementary_drive_swings_by_the_share_asked_for(x: float) -> None:
    rows = case(v_pv=(25.0,), p_ac=(300.0,))
    # Little leakage: it takes its share of the magnetising voltage.
    design = made(clamp="complementary", magnetising=x, turns=(4.0, 24.0), interleaved=1)
    _, one, _, _ = evaluated(design, rows)
    middle = one.v_r.shape[2] // 2
    top, low = (a[0, 0, middle] for a in (one.waves.i_peak, one.waves.i_start))
    assert (top - low) / (top + low) == pytest.approx(x, rel=0.05)


def test_phases_are_shed_before_half_cycles_are_left_out() -> None:
    rows = case(p_ac=(300.0, 90.0, 50.0, 20.0, 0.0))
    design = stage(phases=2, least_load=0.2)
    p = rows.points.p_ac + 0.1
    run = flyback.running(design, p, rows)
    assert_allclose(run.phases[0, :, 0], [2, 2, 1, 1, 1])
    assert_allclose(run.share[0, :, 0], [1, 1, 1, 20.1 / 30.0, 0], rtol=1e-9)
    assert_allclose(run.p_run * run.share, p * (rows.points.p_ac > 0))


def test_one_half_cycle_runs_out_of_a_whole_number_with_no_less_than_the_least() -> None:
    rows = case(p_ac=(300.0, 31.0, 30.0, 29.0, 15.0, 14.9, 3.0, 0.0))
    design = stage(phases=2, least_load=0.2)
    p = rows.points.p_ac * 1.05 + 0.1
    run = flyback.in_half_cycles(design, p, rows)
    assert_allclose(run.share[0, :, 0], [1, 1, 1, 1 / 2, 1 / 2, 1 / 3, 1 / 10, 0], rtol=1e-12)
    assert_allclose(run.p_run * run.share, p * (rows.points.p_ac > 0), rtol=1e-12)
    assert (run.p_run >= 30.0).all()
    # Losses may lift the power above the least: the number stays.
    more = flyback.in_half_cycles(design, 1.2 * p, rows)
    assert_allclose(more.share, run.share)


def test_in_a_burst_losses_fall_with_the_share_and_peaks_stay() -> None:
    # Half cycles of the same power: 60 + 0.5/1.05 W less a half of that and so on.
    rest = 0.5 / 1.05
    rows = case(p_ac=(300.0, 60.0, 30.0 - rest / 2.0, 15.0 - 0.75 * rest))
    design = made(least_load=0.19)
    _, _, placed, _ = evaluated(design, rows)
    for part in placed.parts[:4]:
        loss = part.loss(np.full((1, 4, 1), 90.0))[0, :, 0]
        shares = np.array([1.0, 0.5, 0.25])
        # Nearly: the drop of a body diode is taken at the rms current of the transistor.
        assert_allclose(loss[1:] / shares, loss[1] / shares[0], rtol=3e-3)
    peaks = placed.books.find("flyback.i_peak", Kind.FIGURE).value[0, :, 0]
    assert_allclose(peaks[1:], peaks[1])


def test_idle_rows_cost_nothing_and_block_less() -> None:
    rows = case(v_pv=(35.0, 55.0), p_ac=(300.0, 0.0), v_grid=(230.0, 276.0))
    for shape in SHAPES:
        _, _, placed, _ = evaluated(made(*shape), rows)
        for part in placed.parts[1:]:
            assert part.loss(np.full((1, 2, 1), 25.0))[0, 1, 0] == pytest.approx(0.0, abs=0.03)
        assert placed.parts[1].stress.v_block[0, 1, 0] == 55.0
        v_diode = placed.parts[3].stress.v_block[0, 1, 0]
        assert v_diode == pytest.approx(math.sqrt(2) * 276.0, rel=0.01)
        for entry in placed.books.of(Kind.LIMIT):
            if entry.path.rpartition(".")[2] in ("duty", "discontinuous", "clamp_region"):
                assert entry.value[0, 1, 0] == -1.0


def test_blocking_voltages_are_those_of_the_topology() -> None:
    _, one, placed, _ = evaluated(made(), case())
    n = one.ratio.item()
    share = one.circuit.l_m / (one.circuit.l_m + one.circuit.l_k)
    v_out = math.sqrt(2) * 230.0 + 0.95
    diode_v = placed.parts[3].stress.v_block.item()
    assert diode_v == pytest.approx(v_out + n * 35.0 * share.item(), rel=5e-3)
    assert placed.parts[1].stress.v_block.item() > 35.0 + v_out / n
    assert_allclose(placed.parts[1].stress.v_block, placed.parts[2].stress.v_block)


def test_the_hard_edge_of_a_short_pulse_burns_what_charges_the_node() -> None:
    rows, design = case(), made()
    _, one, placed, _ = evaluated(design, rows)
    main, clamp = switch.device(design.main, rows), switch.device(design.clamp_switch, rows)
    v_edge = one.waves.v_edge
    high, low = (charge_and_energy(main.charge, v) for v in (35.0 + v_edge, designs(35.0)))
    energy = (35.0 + v_edge) * (high[0] - low[0]) - (high[1] - low[1])
    energy = energy + charge_and_energy(clamp.charge, v_edge)[1]
    expected = 100e3 * energy.mean()
    assert placed.parts[2].edges.capacitive.item() == pytest.approx(expected, rel=1e-9)


def test_leakage_turns_the_main_switch_on_softly_at_full_power_only() -> None:
    rows = case(p_ac=(300.0, 30.0))
    _, _, placed, _ = evaluated(made(least_load=0.05), rows)
    soft = placed.books.find("flyback.zero_voltage", Kind.FIGURE).value[0, :, 0]
    assert soft[0] > 1.0
    assert soft[1] < soft[0]
    burnt = placed.parts[1].edges.capacitive[0, :, 0]
    assert burnt[0] < burnt[1]


def test_ringing_takes_charge_times_voltage_less_what_stays() -> None:
    rows, design = case(), made(clamp="complementary")
    _, one, _, _ = evaluated(design, rows)
    own = diode.device(design.rectifier, rows)
    charge, energy = charge_and_energy(own.charge, one.v_diode)
    exact = 100e3 * (one.v_diode * charge - energy).mean()
    assert flyback_stress.ringing_power(one, own).item() == pytest.approx(exact, rel=0.01)


def test_two_phases_cancel_ripple_and_odd_harmonics() -> None:
    _, _, _, single = evaluated(made(1, f=100e3), case())
    _, _, _, double = evaluated(made(2, f=100e3), case())
    assert (double.i_in_hf_rms < 0.75 * single.i_in_hf_rms).all()
    assert (double.i_out_hf_rms < single.i_out_hf_rms).all()
    assert_allclose(double.f_hf, 200e3)
    assert_allclose([x.item() for x in double.noise[0::2]], 0.0)
    assert double.noise[1].item() > 0.1


@pytest.mark.parametrize("clamp", ["short_pulse", "complementary"])
def test_ripple_of_two_phases_is_that_of_their_sum(clamp) -> None:
    _, one, _, ports = evaluated(made(2, clamp), case(v_pv=(28.0,)))
    crossed = shared_ripple(one.waves)[0]
    square = 2.0 * (one.waves.ms_switch + crossed) - (2.0 * one.i_in) ** 2
    assert_allclose(ports.i_in_hf_rms, np.sqrt(square.mean(axis=2, keepdims=True)), rtol=0.02)


def test_clamp_switch_carries_half_of_the_clamp_current_with_short_pulses() -> None:
    _, one, placed, _ = evaluated(made(), case())
    assert_allclose(placed.parts[2].stress.i_rms ** 2, 0.5 * one.ms_clamp)
    charge = 0.5 * 100e3 * one.circuit.t_pulse * one.waves.i_peak.mean()
    assert_allclose(placed.parts[2].stress.i_reverse_dead, charge, rtol=0.01)
    _, one, placed, _ = evaluated(made(clamp="complementary"), case())
    assert_allclose(placed.parts[2].stress.i_rms ** 2, one.ms_clamp)


def test_harmonics_of_the_windings_sum_to_all_of_the_ripple() -> None:
    for shape in SHAPES:
        _, one, placed, _ = evaluated(made(*shape), case(p_ac=LOADS))
        primary, secondary = placed.parts[0].stress.windings
        for winding, square in (
            (primary, one.ms_switch + one.ms_clamp),
            (secondary, one.ms_secondary / one.ratio**2),
        ):
            total = winding.i_dc**2 + winding.i_line_rms**2
            total = total + sum(h**2 for h in winding.harmonics)
            assert_allclose(total, one.busy * square, rtol=1e-9)


@pytest.mark.parametrize(("phases", "clamp"), SHAPES)
def test_few_angles_average_as_many_do(phases, clamp, monkeypatch) -> None:
    rows = case(v_pv=(28.0, 45.0, 35.0), p_ac=(300.0, 300.0, 60.0))

    def losses():
        _, _, placed, ports = evaluated(made(phases, clamp), rows)
        t = np.full((1, 3, 1), 80.0)
        found = [part.loss(t) for part in placed.parts]
        return [*found, ports.i_in_hf_rms, ports.i_out_hf_rms]

    few = losses()
    monkeypatch.setattr(unfolder, "THETA", angles(315, math.pi))
    exact = losses()
    for ours, many in zip(few[:-2], exact[:-2], strict=True):
        assert_allclose(ours, many, rtol=0.01)
    # The ripple of two phases is the small difference of large numbers at light load.
    assert_allclose(few[-2:], exact[-2:], rtol=0.03)


def test_a_batch_equals_its_single_designs() -> None:
    rows = case(p_ac=LOADS)
    pair = [made(f=100e3), made(f=180e3, magnetising=0.7, turns=(5.0, 35.0))]
    _, _, placed, ports = evaluated(stacked(*pair), rows)
    for k, design in enumerate(pair):
        _, _, alone, single = evaluated(design, rows)
        assert (ports.i_in_hf_rms[k] == single.i_in_hf_rms[0]).all()
        for joint, part in zip(placed.parts, alone.parts, strict=True):
            t = np.full((1, 4, 1), 80.0)
            assert (joint.loss(t)[k] == part.loss(t)[0]).all(), joint.path


def stacked(a, b):
    """Two designs as one batch."""
    if dataclasses.is_dataclass(a):
        values = {f.name: stacked(getattr(a, f.name), getattr(b, f.name))
                  for f in dataclasses.fields(a)}  # fmt: skip
        return type(a)(**values)
    return np.concatenate([a, b]) if isinstance(a, np.ndarray) else a


@pytest.mark.parametrize(("phases", "clamp"), SHAPES)
def test_corners_of_the_box_stay_finite(phases, clamp, rng) -> None:
    n = 60
    values = {}
    for v in variables(flyback.Design, CATALOGUE.names()):
        end = rng.integers(0, 2, n)
        values[v.field] = np.where(end == 0, v.lo, v.hi).reshape(-1, 1, 1)
    design = build(flyback.Design, values, {"phases": phases, "clamp": clamp})
    rows = case(v_pv=(20.0, 60.0, 35.0, 60.0), p_ac=(500.0, 500.0, 20.0, 0.0),
                v_grid=(105.0, 264.0, 230.0, 276.0))  # fmt: skip
    _, _, placed, ports = evaluated(design, rows, side=0)
    for entry in placed.books.entries:
        assert np.isfinite(entry.value).all(), entry.path
    for part in placed.parts:
        for entry in part.book(np.full((n, 4, 1), 80.0), rows).entries:
            assert np.isfinite(entry.value).all(), entry.path
            assert entry.kind is not Kind.LOSS or (entry.value >= 0.0).all(), entry.path
    assert np.isfinite(ports.i_out_hf_rms).all()
    assert transformer.ratio(design.transformer).shape == (n, 1, 1)
