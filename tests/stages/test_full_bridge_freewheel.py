"""Decoupled freewheeling: where nodes settle and what edges burn, against circuits."""

import dataclasses

import numpy as np
import pytest

from models.axes import designs
from models.ledger import Kind
from models.parts import switch
from models.parts import transistor as transistor_parts
from models.physics.semiconductor import charge_and_energy
from models.physics.switching import turn_on
from tests.stages import full_bridge_circuit as circuit
from tests.stages.full_bridge_cases import (
    MODULES,
    POINTS,
    SWITCHES,
    Stage,
    bridge_design,
    plant_of,
)
from tests.stages.full_bridge_nodes import DEVICES, Nodes, made
from tests.stages.grid_cases import Point, make_case, transistor


def hardest(stage, name):
    """Energy of a hard turn-on of one switch [J]."""
    stress = stage.stress(name)
    own = switch.device(getattr(stage.design, name), stage.case)
    return turn_on(own.charge, stress.edges[0], own.t_dead).energy.max()


@pytest.mark.parametrize("kind", DEVICES)
def test_nodes_settle_as_the_charges_divide_the_link(kind):
    stage = made(kind, Point())
    edge = stage.stress("diagonal" if kind == "ac" else "bypass").edges[0]
    v = stage.link.v_rms.item()
    wanted = v - Nodes(kind, stage).settled()
    assert edge.v.item() == pytest.approx(wanted, rel=5e-3)
    if kind == "ac":
        assert wanted == pytest.approx(0.5 * v, rel=1e-3)
    else:
        # The side of S_5 has two switches to the rails: it moves less.
        assert wanted < 0.45 * v


@pytest.mark.parametrize("kind", DEVICES)
def test_a_pulse_that_begins_hard_burns_what_its_channels_dissipate(kind):
    stage = made(kind, Point())
    v = stage.link.v_rms.item()
    names = ("diagonal", "diagonal") if kind == "ac" else ("bypass", "lower")
    first = stage.stress(names[0]).edges[0].v.item()
    wanted = Nodes(kind, stage).burnt((v - first, v - first), (1.0, 1.0, 0.0))
    found = sum(hardest(stage, name) for name in names)
    assert found == pytest.approx(wanted, rel=0.01)


@pytest.mark.parametrize("kind", DEVICES)
def test_freewheeling_that_begins_hard_burns_what_its_channel_dissipates(kind):
    # Current against the grid's voltage: the pulse's body diodes hold the nodes till then.
    stage = made(kind, Point(power_factor=-0.8))
    v = stage.link.v_rms.item()
    wanted = Nodes(kind, stage).burnt((v, 0.0), (0.0, 0.0, 1.0))
    name = "pair" if kind == "ac" else "upper"
    assert hardest(stage, name) == pytest.approx(wanted, rel=0.02)


@pytest.mark.parametrize("kind", DEVICES)
def test_freewheeling_begins_soft_while_current_and_voltage_agree(kind):
    stage = Stage(kind, Point(), t_dead=200e-9)
    name = "pair" if kind == "ac" else "upper"
    own = switch.device(getattr(stage.design, name), stage.case)
    energy = turn_on(own.charge, stage.stress(name).edges[0], own.t_dead).energy
    hard = charge_and_energy(own.charge, stage.link.v_rms)[1].item()
    middle = energy[..., energy.shape[-1] // 2]
    assert middle.item() < 1e-3 * hard


# Of each kind: switch that turns on, where its nodes stand before (over the link voltage).
ARCS = {
    "bipolar": ("switch", (0.0, 1.0)),
    "unipolar": ("switch", (0.0, 0.0)),
    "ac": ("diagonal", None),
    "dc": ("bypass", None),
    "ac, pair": ("pair", (1.0, 0.0)),
    "dc, upper": ("upper", (1.0, 0.0)),
}


@pytest.mark.parametrize("name", ARCS)
def test_the_choke_moves_the_nodes_as_far_as_in_the_circuit(name, monkeypatch):
    # A small choke rings with the nodes within the dead time.  Capacitance that is nearly
    # constant, as the arc has it: real charges leave some percent of the swing.
    monkeypatch.setattr(transistor_parts, "LAYOUT_CAPACITANCE", 600e-12)
    kind, (which, start) = name.partition(",")[0], ARCS[name]
    one = Stage(
        kind, Point(p_ac=20.0), inductance=100e-6, f=250e3, t_dead=120e-9,
        **{n: transistor(r_on=500e-3, t_dead=120e-9) for n in SWITCHES[kind]},
    )  # fmt: skip
    edge, v = one.stress(which).edges[0], one.link.v_rms.item()
    own = switch.device(getattr(one.design, which), one.case)
    left = turn_on(own.charge, edge, own.t_dead).v_left
    floats = v - edge.v.item()
    before = (floats, floats) if start is None else (start[0] * v, start[1] * v)
    m = one.side.u / one.link.v
    m = m[..., 2::4] if kind in ("bipolar", "unipolar") else 0.5 * (m[..., 0::2] + m[..., 1::2])
    falls = before[0] > before[1]
    nodes, seen = Nodes(kind, one), []
    for k in range(m.shape[-1]):
        i = edge.i_drive[0, 0, k] * (1.0 if falls else -1.0)
        if edge.i_drive[0, 0, k] < 0.0:
            continue
        x, b = nodes.drifted(
            before, i, u=m[0, 0, k] * v, inductance=100e-6, time=120e-9, held=kind == "unipolar"
        )
        wanted = (x - b if falls else v - x) / edge.v.item()
        seen.append(wanted)
        assert left[0, 0, k] / edge.v.item() == pytest.approx(max(wanted, 0.0), abs=0.02)
    assert any(0.1 < x < 0.9 for x in seen)


def test_a_smaller_switch_in_the_line_of_the_link_calms_the_module():
    large, fit, small = (
        Stage("dc", Point(), bypass=transistor(r_on=r)).bridge.v_earth_hf.item()
        for r in (50e-3, 200e-3, 500e-3)
    )
    between = Stage("ac", Point()).bridge.v_earth_hf.item()
    assert between <= fit < 1.5 * between
    assert min(large, small) > 2.0 * fit


@pytest.mark.parametrize("name", ["300 W, 120 V", "leading 0.8"])
def test_what_moves_the_module_is_that_of_floating_nodes_and_unlike_halves(name):
    stage = Stage("ac", **POINTS[name])
    trace = circuit.decoupled(plant_of(stage), floating=0.52)
    middle = 0.5 * (trace.a + trace.b) + 0.5 * 0.01 * (trace.a - trace.b)
    assert stage.bridge.v_earth_hf.item() == pytest.approx(trace.around(middle, 1), rel=0.01)


@pytest.mark.parametrize("kind", DEVICES)
def test_pulses_too_short_around_zero_are_refused(kind):
    stage = Stage(kind, Point(), f=60e3, t_dead=80e-9)
    slow = stage.limit("zero_crossing")
    shortest = 60e3 * (80e-9 + 100e-9) * stage.link.v_rms.item()
    assert slow.actual.item() == pytest.approx(shortest / stage.side.u_peak.item(), rel=1e-9)
    fast = Stage(kind, Point(), f=240e3, t_dead=250e-9).limit("zero_crossing")
    assert slow.value.item() < 0.0 < fast.value.item()


@pytest.mark.parametrize("kind", MODULES)
def test_modulation_leaves_room_for_the_longest_dead_time(kind):
    case = make_case(Point())
    design = bridge_design(kind, f=200e3)
    last = SWITCHES[kind][-1]
    slow = dataclasses.replace(
        design, **{last: dataclasses.replace(getattr(design, last), t_dead=designs(200e-9))}
    )
    limit = MODULES[kind].modulation_limit(slow, case)
    assert limit.item() == pytest.approx(1.0 - 2.0 * 200e3 * 300e-9, rel=1e-12)


@pytest.mark.parametrize("r_on", [40e-3, 400e-3])
def test_nodes_settle_whatever_the_size_of_the_switch_in_the_line(r_on):
    stage = Stage("dc", Point(), bypass=transistor(r_on=r_on))
    wanted = stage.link.v_rms.item() - Nodes("dc", stage).settled()
    assert stage.stress("bypass").edges[0].v.item() == pytest.approx(wanted, rel=5e-3)


# Switches that turn on together, and how many alike turn on with each.
TOGETHER = {"ac": ({"diagonal": 2}, {"pair": 1}), "dc": ({"bypass": 1, "lower": 1}, {"upper": 1})}


@pytest.mark.parametrize("kind", DEVICES)
def test_every_hard_commutation_recovers_one_charge_at_the_link_voltage(kind):
    # Body diodes in series carry the same current and share the voltage.
    alike = transistor("SiC 650 V class", 60e-3)
    one = Stage(kind, Point(), **dict.fromkeys(SWITCHES[kind], alike))
    q_rr = switch.device(alike, one.case).q_rr.item()
    assert q_rr > 0.0
    for group in TOGETHER[kind]:
        found = sum(
            count * other.v_to.item() * other.q_rr.item()
            for name, count in group.items()
            for other in one.stress(name).edges[0].others
            if other.q_rr is not None
        )
        assert found == pytest.approx(one.link.v_rms.item() * q_rr, rel=1e-9)


# Dead times before the freewheeling and before the opening switches turn on [s].
T_FREE, T_OPEN = 150e-9, 90e-9


@pytest.mark.parametrize("kind", DEVICES)
@pytest.mark.parametrize("factor", [1.0, -0.8])
def test_reverse_conduction_is_what_the_charge_leaves_of_the_dead_times(kind, factor):
    free = "pair" if kind == "ac" else "upper"
    devices = {
        name: dataclasses.replace(x, t_dead=designs(T_FREE if name == free else T_OPEN))
        for name, x in DEVICES[kind].items()
    }
    one = Stage(kind, Point(power_factor=factor), **devices, ratio=1.25)
    charge = Nodes(kind, one).charge()
    trace = circuit.decoupled(plant_of(one))
    rise, fall = trace.pulses[0]
    sign = np.sign(trace.plant.u(rise))
    begins, ends = sign * trace.at(rise), sign * trace.at(fall)

    def per_period(kept, t_kept, moved, t_moved):
        """Charge in reverse: all of the time, and what moving the nodes leaves of it."""
        whole = np.maximum(kept, 0.0) * t_kept
        return np.mean(whole + np.maximum(moved * t_moved - charge, 0.0))

    f = one.design.f.item()
    # Each of two switches alike has every second half cycle.
    found = one.stress(free).i_reverse_dead.item()
    wanted = 0.5 * f * per_period(begins, T_OPEN, ends, T_FREE)
    assert found == pytest.approx(wanted, rel=0.02)
    opening = one.stress("diagonal" if kind == "ac" else "lower").i_reverse_dead.item()
    back = 0.5 * f * per_period(-ends, T_FREE, -begins, T_OPEN)
    assert opening == pytest.approx(back, rel=0.02, abs=1e-6)
    if kind == "dc":
        assert one.stress("bypass").i_reverse_dead.item() == pytest.approx(2.0 * opening)


@pytest.mark.parametrize("kind", DEVICES)
def test_three_gates_move_in_every_period(kind):
    one = Stage(kind, Point())
    counts = {part.path.rpartition(".")[2]: part.count for part in one.parts.values()}
    total = sum(
        counts[name] * edge.rate.item()
        for name in SWITCHES[kind]
        for edge in one.stress(name).edges
    )
    assert total == pytest.approx(3.0 * one.design.f.item(), rel=1e-12)


def test_reactive_power_costs_recovery_in_the_freewheeling_switches():
    one = Stage("ac", Point(), pair=transistor("SJ 650 V class"))
    hard = one.parts["diagonal"].edges.forbidden.item()
    assert hard > 0.1  # their body diodes must not be commutated, but are
    fine = Stage("ac", Point(), diagonal=transistor("SJ 650 V class"))
    assert fine.parts["pair"].edges.forbidden.item() < hard
    assert fine.books.find("bridge.ripple", Kind.FIGURE).value.item() > 0.0
