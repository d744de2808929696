"""Decoupled freewheeling: where nodes settle and what edges burn, against circuits."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from models.axes import designs
from models.ledger import Kind
from models.parts import switch
from models.physics.semiconductor import charge_and_energy
from models.physics.switching import turn_on
from tests.stages import full_bridge_circuit as circuit
from tests.stages.full_bridge_cases import MODULES, SWITCHES, Stage, bridge_design, plant_of
from tests.stages.grid_cases import Point, make_case, transistor

DEVICES = {
    "ac": {"diagonal": transistor(r_on=75e-3), "pair": transistor("SiC 650 V class", 60e-3)},
    "dc": {
        "upper": transistor("SiC 650 V class", 60e-3),
        "lower": transistor(r_on=75e-3),
        "bypass": transistor(r_on=120e-3),
    },
}
# Which device stands where: first node to P and N, second node to P and N, between them.
PLACES = {
    "ac": ("diagonal", "diagonal", "diagonal", "diagonal", "pair"),
    "dc": ("bypass", "lower", None, "lower", "upper"),
}
R_CHANNEL = 5.0  # [Ω]; the energy does not depend on it


def made(kind, point):
    return Stage(kind, point, **DEVICES[kind], ratio=1.25)


def capacitance(charge, v):
    """Slope of the charge of a device [F]."""
    v = np.maximum(v, 0.05)
    a, q, v_ref = charge.a.item(), charge.q_ref.item(), charge.v_ref.item()
    return a * q / v_ref * (v / v_ref) ** (a - 1.0) + charge.extra


class Nodes:
    """Both floating nodes with the capacitances of all devices around them."""

    def __init__(self, kind, stage):
        case = stage.case
        self.v = stage.link.v_rms.item()
        self.charges = [
            switch.device(getattr(stage.design, name), case).charge if name else None
            for name in PLACES[kind]
        ]

    def _currents(self, x, b, into):
        """Slopes of both nodes for given currents into them."""
        v = self.v
        across = (v - x, x, v - b, b, abs(x - b))
        c = [capacitance(q, u) if q else 0.0 for q, u in zip(self.charges, across, strict=True)]
        matrix = np.array([[c[0] + c[1] + c[4], -c[4]], [-c[4], c[2] + c[3] + c[4]]])
        return np.linalg.solve(matrix, into)

    def settled(self, current=3.0):
        """Voltage at which both nodes meet when a stiff current ends a pulse."""

        def meet(_, y):
            return y[0] - y[1]

        meet.terminal = True
        ran = solve_ivp(
            lambda _, y: self._currents(y[0], y[1], [-current, current]),
            (0.0, 1e-6), [self.v, 0.0], events=meet, rtol=1e-7, atol=1e-4,
        )  # fmt: skip
        self.time = ran.t[-1]
        return ran.y[0, -1]

    def charge(self, current=3.0):
        """Charge that the choke's current takes to bring the nodes together [C]."""
        self.settled(current)
        return current * self.time

    def burnt(self, start, channels):
        """Energy in ``channels``: from P to the first node, from the second to N, between."""

        def slopes(_, y):
            x, b = y[0], y[1]
            i = [on / R_CHANNEL * u
                 for on, u in zip(channels, (self.v - x, b, x - b), strict=True)]  # fmt: skip
            return [
                *self._currents(x, b, [i[0] - i[2], i[2] - i[1]]),
                sum(R_CHANNEL * j * j for j in i),
            ]

        ran = solve_ivp(
            slopes, (0.0, 4e-7), [*start, 0.0], rtol=1e-7, atol=[1e-4, 1e-4, 1e-14],
            method="LSODA",
        )  # fmt: skip
        return ran.y[2, -1]


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


def test_a_smaller_switch_in_the_line_of_the_link_calms_the_module():
    large, fit, small = (
        Stage("dc", Point(), bypass=transistor(r_on=r)).bridge.v_earth_hf.item()
        for r in (50e-3, 200e-3, 500e-3)
    )
    between = Stage("ac", Point()).bridge.v_earth_hf.item()
    assert between <= fit < 1.5 * between
    assert min(large, small) > 2.0 * fit


def test_the_deviation_of_the_nodes_is_that_of_its_pulses():
    # Pulses of height δ over the share 1 − |m|, their rms value around the carrier.
    stage = Stage("ac", Point())
    theta = (np.arange(4096) + 0.5) * math.pi / 4096
    k = stage.link.k.item()
    p = stage.side.power
    psi = math.atan2(p.sine.item(), p.cosine.item())
    v = stage.link.v_rms.item() * np.sqrt(1.0 + k * np.sin(2.0 * theta + psi))
    m = np.abs(stage.side.u_peak.item() * np.sin(theta)) / v
    delta = (0.02 + 0.5 * 0.01) * v
    wanted = math.sqrt(np.mean((2.0 * delta / math.pi * np.sin(math.pi * m)) ** 2) / 2.0)
    assert stage.bridge.v_earth_hf.item() == pytest.approx(wanted, rel=0.01)


@pytest.mark.parametrize("kind", DEVICES)
def test_pulses_too_short_around_zero_are_refused(kind):
    slow = Stage(kind, Point(), f=60e3, t_dead=80e-9).limit("zero_crossing")
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
