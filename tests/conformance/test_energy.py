"""Energy three ways for designs of the tool's own fronts: books, ports, balance.

Input power defined as output plus losses proves nothing by itself: at every port the
power is taken from the voltages and currents of the stress.
"""

import numpy as np
import pytest

from models.axes import line_mean
from models.ledger import Kind
from models.parts import capacitor
from models.stages import common_ground_half_bridge as half_bridge
from models.stages import swing
from models.stages.common_ground_waves import EDGES
from tests.front import reference as front
from tests.front.wiring import bridge_of, flyback_of

FLYBACK = front.names("flyback_unfolder")
BRIDGE = front.names("series_capacitor_boost_half_bridge")
PORT, BALANCE = 1e-3, 1e-3
DRAWN = 3e-3  # what is left where a mode of conduction changes between two evaluations


def busy(name):
    """Rows with power into the grid."""
    return front.case().points.p_ac[0, :, 0] > 0.0


@pytest.mark.parametrize("name", front.NAMES)
def test_the_books_sum_to_the_heat(name):
    found = front.reference(name).evaluation
    heat = found.settled.heat
    total = sum(entry.value + 0.0 * heat for entry in found.ledger.of(Kind.LOSS))
    assert total == pytest.approx(heat, rel=1e-12)
    per_part = sum(
        part.loss(t) + 0.0 * heat
        for part, t in zip(found.settled.parts, found.settled.temperatures, strict=True)
    )
    assert per_part == pytest.approx(heat, rel=1e-9)


@pytest.mark.parametrize("name", front.NAMES)
def test_module_power_is_grid_power_and_heat(name):
    settled, rows = front.reference(name).evaluation.settled, busy(name)
    assert (settled.residual[0, rows, 0] < BALANCE).all()
    told = front.case().points.p_ac + settled.heat
    assert settled.p_module[0, rows, 0] == pytest.approx(told[0, rows, 0], rel=DRAWN)


@pytest.mark.parametrize("name", FLYBACK)
def test_flyback_draws_its_power_from_the_module(name):
    # Σ v·i over all line angles and periods: the currents of S as the switch bears them.
    power = front.reference(name).evaluation.settled.p_module
    found = flyback_of(name).ports.p_in
    assert found[0, busy(name), 0] == pytest.approx(power[0, busy(name), 0], rel=PORT)


@pytest.mark.parametrize("name", FLYBACK)
def test_flyback_gives_its_power_to_the_unfolder(name):
    # The charge of the diode out of its own triangles, not out of the power.
    item, phase = front.reference(name), flyback_of(name).phase
    w, c = phase.waves, phase.circuit
    if phase.short:
        current = 0.5 * w.i_commutated * (w.fall + c.f * c.t_pulse + w.commutation)
    else:
        lost = w.fall * phase.v_r / (c.f * c.l_m)
        current = w.fall * (w.i_peak - 0.5 * lost) + 0.5 * w.commutation * w.i_commutated
    given = item.design.flyback.phases * phase.busy * line_mean(phase.v_r * current)
    power, rows = item.evaluation.settled.p_module, busy(name)
    assert given[0, rows, 0] == pytest.approx(power[0, rows, 0], rel=PORT)


@pytest.mark.parametrize("name", BRIDGE)
def test_boost_draws_and_gives_its_power(name):
    one, power = bridge_of(name), front.reference(name).evaluation.settled.p_module
    nodes = swing.Nodes(one.stress.active)
    drawn = one.prepared.ready.on.v_in * nodes.time(sum(one.stress.l_avg))
    given = nodes.time(one.stress.d_avg * one.prepared.ready.v_out)
    rows = busy(name)
    for found in (drawn, given):
        assert found[0, rows, 0] == pytest.approx(power[0, rows, 0], rel=PORT)


@pytest.mark.parametrize("name", BRIDGE)
def test_links_pass_the_power_of_the_front_to_the_grid(name):
    """Both links take up nothing over a cycle and the grid leg gives the grid's power."""
    one, points = bridge_of(name), front.case().points
    side, links = one.side, one.links
    rows = busy(name)
    p_ac = points.p_ac
    # Half the line cycle is mirrored: voltage and current of the grid leg change sign.
    u = np.concatenate([side.u, -side.u], axis=-1)
    i = np.concatenate([side.i, -side.i], axis=-1)
    v_2 = np.concatenate([links.v_2, links.v_2], axis=-1)
    assert line_mean(u * i)[0, rows, 0] == pytest.approx(p_ac[0, rows, 0], rel=PORT)
    # The doubler's current at the power that the edges of its switches were taken at.
    power = p_ac * (1.0 + half_bridge.LOSS_SHARE) + half_bridge.LOSS_CONSTANT * side.running
    edge = one.legs.upper.edge
    i_b = 0.5 * (edge.i_on + edge.i_off)
    into_1 = line_mean(0.5 * v_2[..., EDGES] * (i_b + i[..., EDGES]))
    into_2 = line_mean(
        v_2[..., EDGES] * (0.5 * i_b + (0.5 - (u / v_2)[..., EDGES]) * i[..., EDGES])
    )
    assert into_1[0, rows, 0] == pytest.approx(power[0, rows, 0], rel=PORT)
    # What the front passes beyond the grid's power is heat, taken out of link 2.
    left = (into_2 - (power - p_ac) * side.running)[0, rows, 0]
    assert left == pytest.approx(0.0 * left, abs=PORT * p_ac[0, rows, 0].max())


@pytest.mark.parametrize("name", BRIDGE)
def test_at_each_angle_front_grid_and_links_balance(name):
    """C₁·v₁·dv₁/dt + C₂·v₂·dv₂/dt = P − u·i, by differences along the angle."""
    item, one = front.reference(name), bridge_of(name)
    c_1, c_2 = (
        capacitor.capacitance(c, item.case) for c in (item.design.links.c_1, item.design.links.c_2)
    )
    stored = 0.5 * (c_2 + 0.25 * c_1) * one.links.v_2**2
    step = np.pi / one.side.theta.shape[-1]
    # Central differences of the second harmonic are low by sin(2h)/2h.
    slope = (np.roll(stored, -1, axis=-1) - np.roll(stored, 1, axis=-1)) / np.sin(2.0 * step)
    taken = one.side.omega * slope
    left = taken - (item.case.points.p_ac - one.side.u * one.side.i)
    rows = busy(name)
    share = abs(left).max(axis=-1)[0, rows] / item.case.points.p_ac[0, rows, 0]
    assert (share < PORT).all()
