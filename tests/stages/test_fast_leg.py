"""One fast leg and one at line frequency: closed forms against circuits in time, and print."""

import dataclasses
import functools
import math
import types

import numpy as np
import pytest

from models.axes import designs, line_mean
from models.ledger import Kind
from models.physics.emission import BAND
from models.points import Purpose
from models.spec import Grid
from models.stages import fast_leg_line as line_leg
from models.stages import fast_leg_triangle as period
from models.stages import grid_filter
from models.stages.common_ground_waves import COARSE, EDGES
from models.stages.ports import CommonMode
from tests.stages.fast_leg_cases import (
    MODULES,
    POINTS,
    Stage,
    closed,
    closed_triangular,
    fixed_trace,
    simulated_fixed,
    simulated_triangular,
    triangular_plant,
)
from tests.stages.fast_leg_circuit import controlled
from tests.stages.grid_cases import Point

# The closed forms of the fixed frequency agree within 0.4 %, edges are averaged over every
# fourth angle; the floor is for currents that almost vanish.
TOLERANCE, FLOOR = 0.004, 0.002  # [1], [A] or [V]
COARSER = {"turn-o": 0.02, "voltage 3": 0.02, "dead time": 0.06}
VOLTS = 0.05  # [V], of jumps between angles
# In triangular mode the waves are taken at every second angle; turn-offs at every fourth.
TRIANGULAR = {
    "turn-off": 0.045, "harmonic 2": 0.13, "harmonic 3": 0.15, "eddy": 0.03, "frequency": 0.025,
}  # fmt: skip
FIXED = "300 W, 120 V"


@functools.cache
def stage(kind, name=FIXED):
    return Stage(kind, **POINTS[kind][name])


@functools.cache
def triangular(name):
    with np.errstate(all="ignore"):
        return simulated_triangular(stage("triangular", name))


@pytest.mark.parametrize("name", POINTS["fixed"])
def test_stress_at_fixed_frequency_follows_the_switched_circuit(name):
    one = stage("fixed", name)
    found, wanted = closed(one), simulated_fixed(one)
    late = line_leg.crossing_voltages(
        one.side, one.link, one.design.f * (one.design.fast.t_dead + 100e-9)
    )
    for order, v in zip(grid_filter.ORDERS, late, strict=True):
        # What the crossing adds is not in ideal edges.
        found[f"dead time h{order}"] -= v.item()

    def allowed(key, value):
        share = next((s for part, s in COARSER.items() if part in key), TOLERANCE)
        return share * abs(value) + (VOLTS if key.startswith("dead time") else FLOOR)

    wrong = {
        key: (found[key], value)
        for key, value in wanted.items()
        if abs(found[key] - value) > allowed(key, value)
    }
    assert not wrong


@pytest.mark.parametrize("name", POINTS["triangular"])
def test_stress_in_triangular_mode_follows_the_circuit_in_time(name):
    found, wanted = closed_triangular(stage("triangular", name)), triangular(name)
    wrong = {
        key: (found[key], value)
        for key, value in wanted.items()
        if key in found and key not in ("reverse", "highest", "arc", "filtered")
        and abs(found[key] - value)
        > next((s for part, s in TRIANGULAR.items() if part in key), 0.02) * abs(value)
    }  # fmt: skip
    assert not wrong
    assert wanted["wrong mean"] < 1e-3
    assert found["highest"] <= 1.03 * stage("triangular", name).design.f_high.item()


def test_charge_of_real_devices_acts_as_one_capacitance():
    # The valley's law knows the charge alone: real devices, whose capacitance falls with
    # their voltage, still turn all but a few volts, and currents stay.
    one = stage("triangular", "400 W, 230 V")
    with np.errstate(all="ignore"):
        real = simulated_triangular(one, linear=False)
    plain = triangular("400 W, 230 V")
    for key in ("choke rms", "fast rms", "choke peak", "link", "frequency"):
        assert real[key] == pytest.approx(plain[key], rel=0.02), key


def test_filter_sees_at_one_frequency_what_it_sees_of_every_angle():
    for name in POINTS["triangular"]:
        if "10 %" not in name:
            found = closed_triangular(stage("triangular", name))["filtered"]
            # Angles are coarse where the frequency falls towards the zero crossing.
            assert 0.94 < found / triangular(name)["filtered"] < 1.1


@pytest.mark.parametrize("kind", MODULES)
def test_power_of_the_stress_balances_at_the_grid_and_at_the_link(kind):
    for name in POINTS[kind]:
        one = stage(kind, name)
        power = one.case.points.p_ac.item()
        if kind == "fixed":
            edge = one.stress("fast").edges[0]
            u = one.side.u[..., EDGES]
            i, u = 0.5 * (edge.i_on + edge.i_off), np.concatenate([u, -u], axis=-1)
            assert line_mean(u * i).item() == pytest.approx(power, rel=1e-3)
        v = (one.link.v + 0.0 * one.side.u)[..., COARSE]
        m = one.side.u[..., COARSE] / v
        drawn = line_mean(v * m * one.side.i[..., COARSE])
        assert drawn.item() == pytest.approx(power, rel=1e-3)


# 300 W, 120 V, 60 Hz, 200 V and 400 W, 230 V, 50 Hz, 400 V, without filter capacitor:
# switched by an independent script.
@pytest.mark.parametrize(
    ("values", "i_rms"),
    [
        ({"point": Point(), "ratio": 200.0 / 175.0}, 1.7725),
        ({"point": Point(p_ac=400.0, v_grid=230.0), "v_nominal": 230.0, "f_grid": 50.0,
          "inductance": 2e-3, "f": 50e3, "ratio": 400.0 / 335.0}, 1.2401),
    ],
)  # fmt: skip
def test_worked_example(values, i_rms):
    one = Stage("fixed", **values, n=1000.0)
    assert closed(one)["fast rms"] == pytest.approx(i_rms, rel=0.01)


def half_cycle(p, v, v_link):
    theta = one_half()
    return (
        types.SimpleNamespace(
            u=math.sqrt(2.0) * v * np.sin(theta), i=math.sqrt(2.0) * p / v * np.sin(theta)
        ),
        types.SimpleNamespace(v=designs(v_link)),
    )


def one_half():
    return grid_filter.angles(grid_filter.HALF, math.pi)


# The same operating points in triangular mode, by time steps of an independent script:
# mean frequency and rms current of the choke.
@pytest.mark.parametrize(
    ("grid", "law", "c", "f", "i_rms"),
    [
        ((300.0, 120.0, 200.0), (40e-6, 1.0, 40e3, 400e3), 300e-12, 147.30e3, 3.1766),
        ((400.0, 230.0, 400.0), (150e-6, 0.8, 40e3, 300e3), 200e-12, 108.87e3, 2.2458),
    ],
)
def test_worked_example_in_triangular_mode(grid, law, c, f, i_rms):
    x = period.period(period.Law(*map(designs, law)), *half_cycle(*grid), designs(c))
    assert np.mean(x.f) == pytest.approx(f, rel=0.02)
    assert math.sqrt(np.mean(x.square)) == pytest.approx(i_rms, rel=0.02)


@pytest.mark.published(
    "C. Marxgut, F. Krismer, D. Bortis, J. W. Kolar, Ultraflat interleaved triangular current "
    "mode single-phase PFC rectifier, 2014 (from memory): I = sqrt(C/L·(V² − 2·V·u))"
)
def test_reverse_current_that_just_turns_the_node():
    c, inductance, v = 300e-12, 100e-6, 400.0
    u = v * np.array([0.1, 0.25, 0.4])
    least = np.sqrt(c / inductance * (v * v - 2.0 * v * u))
    law = period.Law(designs(inductance), designs(0.01), designs(1e3), designs(1e7))
    side = types.SimpleNamespace(u=np.repeat(u, 2).reshape(1, 1, -1), i=np.full((1, 1, 6), 2.0))
    x = period.period(law, side, types.SimpleNamespace(v=designs(v)), designs(c))
    assert x.valley[0, 0] == pytest.approx(-least, rel=1e-6)
    # No current is left when the node arrives.
    assert np.all(x.i_arrived[0] < 1e-6)


SECOND_BAND = {0.4: (0.326, 0.024), 0.6: (0.370, 0.071), 0.8: (0.314, 0.139), 1.0: (0.181, 0.212)}


@pytest.mark.published("N. Mohan et al., Power Electronics, table 8-1 (from memory)")
@pytest.mark.parametrize("m", SECOND_BAND)
def test_spectrum_is_that_of_three_levels(m):
    one = stage("fixed")
    side = dataclasses.replace(one.side, u=400.0 * m * np.sin(one.side.theta))
    link = dataclasses.replace(one.link, v=designs(400.0), v_rms=designs(400.0))
    bridge = MODULES["fixed"].place("bridge", one.design, side, link, one.case)
    wanted = 400.0 * math.sqrt(sum(x * x for x in SECOND_BAND[m]))
    assert bridge.ripple.voltages[0].item() == pytest.approx(wanted, rel=0.015)


@pytest.mark.published("CISPR 16-1-1, band B: 0.316 µVs (emf) read as 2 mV (emf) (from memory)")
def test_steps_of_the_link_read_as_a_quasi_peak_receiver_would():
    one = stage("fixed")
    v, f = line_leg.earth_steps(one.side, one.link)
    # Harmonics of the square at line frequency tell the density of its steps.
    order = f.item() / one.f_grid
    amplitude = 2.0 * one.link.v_rms.item() / (math.pi * order)
    density = amplitude / (2.0 * 2.0 * one.f_grid)
    assert f.item() == BAND
    assert v.item() == pytest.approx(density / 0.316e-6 * 2e-3, rel=0.01)


@pytest.mark.parametrize("kind", MODULES)
def test_traits_ask_for_a_transformer(kind):
    traits = MODULES[kind].TRAITS
    assert traits.common_mode is CommonMode.LINE
    assert traits.reactive


@pytest.mark.parametrize(
    ("grid", "in_phase", "ahead"),
    [("line_neutral", 0.0, 0.0), ("split_phase", -0.5, 0.0), ("line_line_wye", -0.5, 0.2887)],
)
@pytest.mark.parametrize("factor", [1.0, 0.8])
def test_voltage_to_earth_at_line_frequency_is_that_of_the_stepping_link(
    grid, in_phase, ahead, factor
):
    one = Stage("fixed", Point(v_grid=240.0, power_factor=factor), v_nominal=240.0,
                c="film-4.7u-900V", n=4.0)  # fmt: skip
    spec = one.case.spec.model_copy(
        update={"grid": (Grid(voltage_v=240, frequency_hz=60, kind=grid),)}
    )
    case = dataclasses.replace(one.case, spec=spec)
    theta = (np.arange(4096) + 0.5) / 4096 * 2.0 * math.pi
    u, i = one.side.u[0, 0], one.side.i[0, 0]
    parts = [[2.0 * np.mean(x * f(one.side.theta[0, 0])) for f in (np.sin, np.cos)]
             for x in (u, i)]  # fmt: skip
    u, i = (re * np.sin(theta) + im * np.cos(theta) for re, im in parts)
    psi = math.atan2(parts[0][1], parts[0][0]) + math.atan2(parts[1][1], parts[1][0])
    v = one.link.v_rms.item() * np.sqrt(1.0 + one.link.k.item() * np.sin(2.0 * theta + psi))
    amplitudes = []
    for sign in (1.0, -1.0):
        b = math.sqrt(2.0) * 240.0 * (in_phase * np.sin(theta) + sign * ahead * np.cos(theta))
        wave = b - v * (u < 0.0)
        one_two = [abs(2.0 * np.mean(wave * np.exp(-1j * h * theta))) for h in (1, 2)]
        amplitudes.append(math.hypot(one_two[0], 2.0 * one_two[1]) * math.sqrt(0.5))
    found = line_leg.earth_line(one.side, one.link, case).item()
    assert found == pytest.approx(max(amplitudes), rel=0.02)


@pytest.mark.parametrize("kind", MODULES)
def test_an_idle_bridge_carries_nothing(kind):
    one = Stage(kind, Point(p_ac=0.0, v_grid=144.0, purpose=Purpose.IDLE))
    assert one.bridge.link_hf_rms.item() == 0.0
    assert one.bridge.v_earth_hf.item() == 0.0
    for part in one.parts.values():
        t = part.temperature(designs(60.0), designs(0.0))
        assert part.loss(t).item() == pytest.approx(0.0, abs=1e-9)


def test_a_leading_current_commutates_the_line_leg_and_a_lagging_one_turns_it():
    leading, lagging = (
        stage("fixed", name).stress("line").edges[0]
        for name in ("leading 0.8", "lagging 0.8, large swing")
    )
    assert leading.i_on.item() > 1.0
    assert lagging.i_on.item() == 0.0
    assert lagging.i_off.item() > 1.0
    assert stage("fixed").stress("line").edges[0].i_on.item() == 0.0


def test_noise_of_a_frequency_that_sweeps_is_taken_at_the_edge_of_the_band():
    one = stage("triangular")
    ripple = one.bridge.ripple
    assert ripple.band[0].item() < ripple.f.item() < ripple.band[1].item()
    found = grid_filter.place("filter", one.filter, one.side, ripple, one.case)
    harmonic = found.books.find("filter.emi.harmonic", Kind.FIGURE).value.item()
    assert harmonic == pytest.approx(BAND)
    bound = found.books.find("filter.resonance.high", Kind.LIMIT).bound
    assert bound.item() == pytest.approx(0.5 * one.design.f_low.item())


def test_soft_switching_burns_less_of_the_node_than_hard():
    hard, soft = (stage(kind).parts["fast"].edges for kind in ("fixed", "triangular"))
    per_edge = [
        (e.capacitive / sum(line_mean(x.rate) for x in stage(kind).stress("fast").edges)).item()
        for kind, e in (("fixed", hard), ("triangular", soft))
    ]
    assert per_edge[1] < 0.25 * per_edge[0]


def test_far_end_of_the_choke_stands_where_the_duty_says():
    one = stage("fixed", "lagging 0.8, large swing")
    trace = fixed_trace(one)
    rise, fall = trace.pulses[0]
    share = (fall - rise) * one.design.f.item()
    upper = np.where(trace.plant.u(rise) < 0.0, 1.0 - share, share)
    edge = one.stress("fast").edges[0]
    theta = one.side.theta[..., EDGES][0, 0]
    for far, angle in zip(edge.v_far[0, 0], np.concatenate([theta, theta + math.pi]), strict=True):
        nearest = np.argmin(np.abs(rise - angle / (2.0 * math.pi * one.f_grid)))
        assert far / edge.v.item() == pytest.approx(upper[nearest], abs=0.01)


def test_node_and_choke_of_the_triangle_meet_at_the_rails():
    one = stage("triangular")
    active, passive = one.stress("fast").edges
    v = one.link.v_rms.item()
    assert active.v_far + passive.v_far == pytest.approx(v + 0.0 * active.v_far)
    share = np.abs(one.side.u / one.link.v)[..., COARSE][..., 1::2]
    assert active.v_far / v == pytest.approx(share)
    assert one.bridge.ripple.v_node.item() == v


def test_diodes_conduct_from_the_arrival_of_the_node_until_it_is_seen():
    one = stage("triangular", "400 W, 230 V")
    with np.errstate(all="ignore"):
        x, _, _ = controlled(triangular_plant(one)[0])
    current = np.maximum(-x.corners[1][1], 0.0) + x.corners[1][3]
    wanted = 0.5 * np.mean(current / x.period) * 30e-9
    assert one.stress("fast").i_reverse_dead.item() == pytest.approx(wanted, rel=0.05)


@pytest.mark.parametrize("kind", MODULES)
def test_both_halves_of_the_line_cycle_cost_the_same(kind):
    one = stage(kind, "10 % load, large ripple" if kind == "fixed" else FIXED)
    other = dataclasses.replace(one.side, u=-one.side.u, i=-one.side.i)
    bridge = MODULES[kind].place("bridge", one.design, other, one.link, one.case)
    for mine, part in zip(one.bridge.placed.parts, bridge.placed.parts, strict=True):
        t = designs(80.0)
        assert part.loss(t).item() == pytest.approx(mine.loss(t).item(), rel=1e-9)
