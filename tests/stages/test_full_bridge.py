"""Full bridges: closed forms against circuits that switch edge by edge, and print."""

import dataclasses
import functools
import math

import numpy as np
import pytest

from models.axes import designs, line_mean
from models.ledger import Kind
from models.points import Purpose
from models.spec import Grid
from models.stages import full_bridge_waves as waves
from models.stages import grid_filter
from models.stages.common_ground_waves import COARSE, EDGES
from models.stages.ports import CommonMode
from tests.stages import full_bridge_circuit as circuit
from tests.stages.full_bridge_cases import (
    MODULES,
    POINTS,
    SWITCHES,
    Stage,
    closed,
    plant_of,
    simulated,
)
from tests.stages.grid_cases import Point

# The closed forms agree within 0.4 %; the floor is for currents that almost vanish.
TOLERANCE, FLOOR = 0.004, 0.002  # [1], [A] or [V]
# Edges are averaged over every second or fourth angle.
COARSER = {"turn-o": 0.02, "voltage 3": 0.02}
# The dead-time wave jumps between angles; what is left is 0.04 % of the grid's voltage.
COARSER |= {"dead time": 0.06}
VOLTS = 0.05  # [V]
CURRENTS = [(kind, name) for kind in MODULES for name in POINTS]


@functools.cache
def stage(kind, name="300 W, 120 V"):
    return Stage(kind, **POINTS[name])


def allowed(key, value):
    share = next((s for part, s in COARSER.items() if part in key), TOLERANCE)
    return share * abs(value) + (VOLTS if key.startswith("dead time") else FLOOR)


@pytest.mark.parametrize(("kind", "name"), CURRENTS)
def test_stress_follows_the_switched_circuit(kind, name):
    one = stage(kind, name)
    found, wanted = closed(one), simulated(one)
    assert {n for s in SWITCHES[kind] for n in wanted if n.startswith(s)}
    wrong = {
        key: (found[key], value)
        for key, value in wanted.items()
        if abs(found[key] - value) > allowed(key, value)
    }
    assert not wrong
    assert all(limit.value.max() < 0.0 for limit in one.books.of(Kind.LIMIT))


@pytest.mark.parametrize(("kind", "name"), CURRENTS)
def test_power_of_the_stress_balances_at_the_grid_and_at_the_link(kind, name):
    one = stage(kind, name)
    power = one.case.points.p_ac.item()
    edge = one.stress(SWITCHES[kind][-1 if kind == "dc" else 0]).edges[0]
    i = 0.5 * (edge.i_on + edge.i_off)
    if kind in ("bipolar", "unipolar"):
        u = one.side.u[..., EDGES]
        u = np.concatenate([u, -u], axis=-1)
    else:
        # Commutations are told between two angles, folded into the positive half cycle.
        size = np.abs(one.side.u)
        u = 0.5 * (size[..., 0::2] + size[..., 1::2]) / math.cos(math.pi / 64.0)
    assert line_mean(u * i).item() == pytest.approx(power, rel=1e-3)
    # The link gives the mean current of its pulses, whose share of time is |m|.
    v = (one.link.v + 0.0 * one.side.u)[..., COARSE]
    m = one.side.u[..., COARSE] / v
    assert line_mean(v * m * one.side.i[..., COARSE]).item() == pytest.approx(power, rel=1e-3)


# 300 W, 120 V, 60 Hz, 200 V; 400 W, 230 V, 50 Hz, 400 V; 250 VA·0.9, 240 V, 400 V: 60, 50
# and 120 kHz at 1, 2 and 1 mH, without filter capacitor; switched by an independent script.
CHECKED = {
    "bipolar": ((1.7832, 1.7276), (1.2634, 1.3008)),
    "unipolar": ((1.7689, 1.0635), (1.2323, 0.7712)),
}


@pytest.mark.parametrize("kind", CHECKED)
@pytest.mark.parametrize("index", [0, 1])
def test_worked_example(kind, index):
    values = (
        {"point": Point(), "ratio": 200.0 / 175.0},
        {"point": Point(p_ac=400.0, v_grid=230.0), "v_nominal": 230.0, "f_grid": 50.0,
         "inductance": 2e-3, "f": 50e3, "ratio": 400.0 / 335.0},
    )[index]  # fmt: skip
    one = Stage(kind, **values, c="film-10u-450V", n=1000.0)
    i_rms, link = CHECKED[kind][index]
    assert one.link.v_rms.item() == pytest.approx((200.0, 400.0)[index], rel=0.01)
    assert closed(one)["switch rms"] == pytest.approx(i_rms, rel=0.01)
    assert closed(one)["link"] == pytest.approx(link, rel=0.02)


# Carrier bands of a leg over half the link voltage, at modulation 0.4, 0.6, 0.8 and 1.0.
FIRST_BAND = {0.4: (1.15, 0.061), 0.6: (1.006, 0.131), 0.8: (0.818, 0.220), 1.0: (0.601, 0.318)}
SECOND_BAND = {0.4: (0.326, 0.024), 0.6: (0.370, 0.071), 0.8: (0.314, 0.139), 1.0: (0.181, 0.212)}
PRINTED = "N. Mohan, T. Undeland and W. Robbins, Power Electronics, table 8-1 (from memory)"


def sine(m):
    """A bridge on a stiff link of 400 V with a modulation index of exactly ``m``."""
    one = stage("bipolar")
    u = 400.0 * m * np.sin(one.side.theta)
    side = dataclasses.replace(one.side, u=u)
    link = dataclasses.replace(one.link, v=designs(400.0), v_rms=designs(400.0))
    return one, side, link


@pytest.mark.published(PRINTED)
@pytest.mark.parametrize("m", FIRST_BAND)
def test_spectrum_of_two_levels_and_common_mode_of_three(m):
    one, side, link = sine(m)
    centre, next_ = FIRST_BAND[m]
    wanted = 400.0 * math.sqrt(0.5 * (centre**2 + 2.0 * next_**2))
    two = MODULES["bipolar"].place("bridge", one.design, side, link, one.case)
    # The table leaves out what lies further off than two line harmonics.
    assert two.ripple.voltages[0].item() == pytest.approx(wanted, rel=0.01)
    three = MODULES["unipolar"].place("bridge", one.design, side, link, one.case)
    assert three.v_earth_hf.item() == pytest.approx(0.5 * wanted, rel=0.01)


@pytest.mark.published(PRINTED)
@pytest.mark.parametrize("m", SECOND_BAND)
def test_spectrum_of_three_levels(m):
    one, side, link = sine(m)
    three = MODULES["unipolar"].place("bridge", one.design, side, link, one.case)
    wanted = 400.0 * math.sqrt(sum(x * x for x in SECOND_BAND[m]))
    assert three.ripple.voltages[0].item() == pytest.approx(wanted, rel=0.015)


@pytest.mark.published("N. Mohan et al., Power Electronics, ripple of bridges (from memory)")
def test_largest_ripple_is_that_of_textbooks():
    one, side, link = sine(0.97)
    per_second = 400.0 / (1e-3 * 60e3)
    for kind, share in (("bipolar", 0.5), ("unipolar", 0.125), ("ac", 0.25), ("dc", 0.25)):
        design = stage(kind).design
        placed = MODULES[kind].place("bridge", design, side, link, one.case).placed
        found = placed.books.find("bridge.ripple", Kind.FIGURE).value.item()
        assert found == pytest.approx(share * per_second, rel=0.01)


@pytest.mark.parametrize("kind", MODULES)
def test_worst_harmonic_is_that_of_the_worst_pulse(kind):
    bridge = stage(kind).bridge
    low = -1.0 if kind == "bipolar" else 0.0
    t = (np.arange(2000) + 0.5) / 2000
    found = []
    for duty in np.linspace(0.05, 0.95, 19):
        pulse = np.where(np.abs(t - 0.5) < 0.5 * duty, 1.0, low)
        found.append(2.0 * abs(np.mean(pulse * np.exp(-2j * math.pi * t))) * math.sqrt(0.5))
    ratio = bridge.ripple.v_worst / stage(kind).link.v_rms
    assert ratio.item() == pytest.approx(max(found), rel=1e-3)


# How far the nodes move against earth, over the link voltage, and the largest of it.
MOVES = {"bipolar": (1.0, -1.0), "unipolar": (1.0, 1.0), "ac": (-0.5, 0.5)}


@pytest.mark.parametrize("kind", MODULES)
def test_common_noise_is_that_of_all_nodes(kind):
    one = stage(kind)
    share = one.stress("bypass").edges[0].v / one.link.v_rms if kind == "dc" else designs(0.5)
    # P' and the node on it fall, the other node rises.
    moves = MOVES.get(kind, (-share.item(), -share.item(), 1.0 - share.item()))
    imbalance = 0.0 if kind == "unipolar" else 0.1 * max(moves)
    found = one.bridge.ripple.v_node / one.link.v_rms
    assert found.item() == pytest.approx(abs(sum(moves)) + imbalance, rel=1e-9)


@pytest.mark.parametrize("kind", MODULES)
def test_frequency_of_the_link_current_is_that_of_its_largest_part(kind):
    one = stage(kind)
    plant = plant_of(one)
    run = getattr(circuit, kind) if kind in MOVES and kind != "ac" else circuit.decoupled
    trace = run(plant)
    t = (np.arange(2**18) + 0.5) / 2**18 * plant.cycle
    where = np.searchsorted(trace.time, t) - 1
    wave = (trace.a - trace.b)[where, 0] * trace.at(t)
    spectrum = np.abs(np.fft.rfft(wave))
    n = plant.periods
    parts = [np.sqrt(np.sum(spectrum[k * n - 24 : k * n + 25] ** 2)) for k in (1, 2, 3)]
    assert one.bridge.f_link.item() == (1 + int(np.argmax(parts))) * one.design.f.item()


@pytest.mark.parametrize("kind", MODULES)
def test_traits_tell_who_needs_a_transformer(kind):
    traits = MODULES[kind].TRAITS
    assert (traits.common_mode is CommonMode.PULSED) == (kind == "unipolar")
    assert traits.reactive


@pytest.mark.parametrize(
    ("grid", "share"), [("line_neutral", 0.5), ("split_phase", 0.0), ("line_line_wye", 0.28868)]
)
def test_current_to_earth_at_line_frequency_is_that_of_half_the_grid_and_half_the_link(
    grid, share
):
    one = Stage("bipolar", Point(v_grid=240.0), v_nominal=240.0, c="film-4.7u-900V", n=3.0)
    spec = one.case.spec.model_copy(
        update={"grid": (Grid(voltage_v=240, frequency_hz=60, kind=grid),)}
    )
    case = dataclasses.replace(one.case, spec=spec)
    omega = 2.0 * math.pi * 60.0
    t = (np.arange(4096) + 0.5) / 4096 / 60.0
    k, v_0 = one.link.k.item(), one.link.v_rms.item()
    link = v_0 * np.sqrt(1.0 + k * np.sin(2.0 * omega * t))
    voltage = share * math.sqrt(2.0) * 240.0 * np.sin(omega * t) - 0.5 * link
    slope = np.gradient(voltage, t, edge_order=2)
    wanted = math.sqrt(np.mean(slope**2)) / omega
    assert waves.earth_line(one.link, case).item() == pytest.approx(wanted, rel=0.01)


@pytest.mark.parametrize("kind", MODULES)
def test_an_idle_bridge_carries_nothing(kind):
    one = Stage(kind, Point(p_ac=0.0, v_grid=144.0, purpose=Purpose.IDLE))
    assert one.bridge.link_hf_rms.item() == 0.0
    assert one.bridge.v_earth_hf.item() == 0.0
    for part in one.parts.values():
        t = part.temperature(designs(60.0), designs(0.0))
        assert part.loss(t).item() == pytest.approx(0.0, abs=1e-12)


def test_three_levels_need_less_filter_than_two():
    two, three = stage("bipolar").bridge.ripple, stage("unipolar").bridge.ripple
    assert three.f.item() == 2.0 * two.f.item()
    first = grid_filter.place("filter", stage("bipolar").filter, stage("bipolar").side, two,
                              stage("bipolar").case)  # fmt: skip
    second = grid_filter.place("filter", stage("unipolar").filter, stage("unipolar").side, three,
                               stage("unipolar").case)  # fmt: skip
    path = "filter.ripple"
    ratio = second.books.find(path, Kind.LIMIT).actual / first.books.find(path, Kind.LIMIT).actual
    assert ratio.item() < 0.15
