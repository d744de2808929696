"""Edges against time-domain integration of nonlinear capacitances."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from models.axes import angles, designs
from models.physics.semiconductor import charge_and_energy, curve_charge_and_energy
from models.physics.switching import (
    arc,
    burnt_energy,
    transition_time,
    turn_off_energy,
    turn_off_time,
    turn_on,
    turn_on_time,
)
from models.stress import Charge, Edge, Moved

V = 400.0
C_J0, V_B, M, C_EXTRA = 3108e-12, 2.0, 0.46, 20e-12


def capacitance(v):
    return C_J0 / (1 + np.maximum(v, 0.0) / V_B) ** M + C_EXTRA


def stored(v):
    """Charge and energy of the curve above."""
    v = designs(v)
    q, e = curve_charge_and_energy(designs(C_J0), designs(V_B), designs(M), v=v)
    return q + C_EXTRA * v, e + 0.5 * C_EXTRA * v**2


def charged_by_channel(v_start, r=5.0):
    """Energy burnt by a resistor that charges the node of a half bridge from ``v_start``."""

    def rhs(_, y):
        i = (V - y[0]) / r
        return [i / (capacitance(y[0]) + capacitance(V - y[0])), (V - y[0]) * i]

    return solve_ivp(rhs, [0, 3e-6], [v_start, 0.0], rtol=1e-9, atol=[1e-6, 1e-15],
                     method="LSODA").y[1, -1]  # fmt: skip


# The printed values were computed independently by the same integration.
@pytest.mark.parametrize(
    ("v_start", "microjoule"), [(0.0, 79.301), (100.0, 37.211), (200.0, 16.982), (300.0, 4.939)]
)
def test_hard_turn_on_burns_what_the_channel_dissipates(v_start, microjoule):
    q_1, e_1 = stored(V)
    q_0, e_0 = stored(v_start)
    energy = burnt_energy(stored(V - v_start)[1], ((designs(V), q_1 - q_0, e_1 - e_0),)).item()
    assert energy == pytest.approx(charged_by_channel(v_start), rel=1e-4)
    assert energy == pytest.approx(microjoule * 1e-6, rel=1e-4)


def test_identical_devices_burn_charge_times_voltage():
    own = Charge(designs(60e-9), designs(400.0), designs(0.5))
    v = designs(350.0)
    edge = Edge(designs(1e5), designs(1.0), designs(1.0), v, (Moved(own, 0.0, v),))
    q, _ = charge_and_energy(own, v)
    assert turn_on(own, edge, designs(50e-9)).energy == pytest.approx(q * v, rel=1e-12)


def power_law_capacitance(charge, v):
    q, v_ref, a = (x.item() for x in (charge.q_ref, charge.v_ref, charge.a))
    return a * q / v_ref * (np.maximum(v, 1e-6) / v_ref) ** (a - 1) + charge.extra


def dissipated(own, others, v, *, start, stiff=100e-6, r=2.0):
    """Energy in a channel of ``r`` that takes its node from ``start`` to zero.

    Each other device ends at ``v_to`` and moves by ``ratio`` times the node's swing,
    through a capacitor of ``stiff`` charged to any voltage.
    """

    def rhs(_, y):
        u = y[0]
        total = power_law_capacitance(own, u)
        for charge, v_to, ratio in others:
            c = ratio**2 * power_law_capacitance(charge, v_to - ratio * u)
            total += c / (1 + c / stiff)
        return [-u / r / total, u * u / r]

    run = solve_ivp(rhs, [0, 1e-6], [start, 0.0], rtol=1e-9, atol=[1e-7, 1e-16], method="LSODA")
    return run.y[1, -1]


OWN = Charge(designs(20e-9), designs(100.0), designs(0.57), 40e-12)
DIODE = Charge(designs(12e-9), designs(100.0), designs(0.5), 0.0)
NEIGHBOUR = Charge(designs(30e-9), designs(200.0), designs(0.6), 15e-12)


@pytest.mark.parametrize("ratio", [1.0, 0.5, -0.4])
@pytest.mark.parametrize("reached", [0.0, 40.0])
def test_edge_that_moves_two_others_through_stiff_capacitors(ratio, reached):
    """The neighbour starts at 60 V and may move less than the node, or the other way."""
    v, v_from = 95.0, 60.0
    v_to = v_from + ratio * v
    moved = (Moved(DIODE, 0.0, designs(v)), Moved(NEIGHBOUR, v_from, designs(v_to)))
    edge = Edge(designs(1e5), designs(1.0), designs(1.0), designs(v), moved)
    exact = dissipated(OWN, [(DIODE, v, 1.0), (NEIGHBOUR, v_to, ratio)], v, start=v - reached)
    node = turn_on(OWN, edge, designs(0.0)).node_charge
    parts = [charge_and_energy(c, designs(u))[0] for c, u in
             ((OWN, v), (DIODE, v), (NEIGHBOUR, v_to), (NEIGHBOUR, v_from))]  # fmt: skip
    assert node == pytest.approx(parts[0] + parts[1] + ratio * (parts[2] - parts[3]), rel=1e-3)
    # A constant current that has moved the node so far when the dead time ends.
    t_dead = designs(50e-9)
    driven = dataclasses.replace(edge, i_drive=reached * node / v / t_dead)
    assert turn_on(OWN, driven, t_dead).energy.item() == pytest.approx(exact, rel=1e-3)


def test_turn_on_after_a_short_arc_starts_where_the_arc_ends():
    """The power-law half bridge with a node at v_r is the partial form of the hard law."""
    own = Charge(designs(20e-9), designs(400.0), designs(0.51), 40e-12)
    other = Charge(designs(25e-9), designs(400.0), designs(0.6))
    v, t_dead = designs(V), designs(40e-9)
    drive = {"i_drive": designs(0.8), "l_drive": designs(20e-6), "v_far": 50.0}
    edge = Edge(designs(1e5), designs(0.0), designs(1.0), v, (Moved(other, 0.0, v),), **drive)
    found = turn_on(own, edge, t_dead)
    v_r = v - found.v_left
    assert 50.0 < v_r.item() < 350.0
    (q_1, e_1), (q_0, e_0) = charge_and_energy(other, v), charge_and_energy(other, v_r)
    left = charge_and_energy(own, v - v_r)[1]
    assert found.energy == pytest.approx(left + v * (q_1 - q_0) - (e_1 - e_0), rel=1e-12)
    assert found.energy < turn_on(own, dataclasses.replace(edge, i_drive=None), t_dead).energy


def course(i_0, v_far, inductance=20e-6):
    """Time-domain course of the node: highest voltage [V] and its time [s]."""

    def rhs(_, y):
        return [y[1] / (capacitance(y[0]) + capacitance(V - y[0])), (v_far - y[0]) / inductance]

    def full(_, y):
        return y[0] - V

    def crest(_, y):
        return y[1]

    full.terminal = crest.terminal = True
    crest.direction = -1
    run = solve_ivp(rhs, [0, 1e-5], [0.0, i_0], rtol=1e-9, atol=1e-9, events=[full, crest])
    return run.y[0, -1], run.t[-1]


# The printed values were computed independently by integration in time.
@pytest.mark.parametrize(
    ("v_far", "i_least"), [(0.0, 2.816), (50.0, 2.439), (100.0, 1.991), (150.0, 1.408)]
)
def test_least_current_for_a_full_swing(v_far, i_least):
    charge = stored(V)[0] * 2.0

    def lacking(i):
        return (
            arc(designs(i), designs(V), v_far, inductance=designs(20e-6), charge=charge,
                t_dead=designs(1.0)).item() - V + 1e-3
        )  # fmt: skip

    found = brentq(lacking, 0.01, 20.0, xtol=1e-6)
    exact = brentq(lambda i: course(i, v_far)[0] - V + 1e-3, 0.05, 20.0, xtol=1e-4)
    assert found == pytest.approx(exact, rel=1e-3)
    assert found == pytest.approx(i_least, rel=1e-3)


@pytest.mark.parametrize(
    ("v_far", "i", "nanosecond"), [(0.0, 4.0, 109.35), (100.0, 3.0, 137.58), (200.0, 1.0, 261.5)]
)
def test_time_of_a_full_swing(v_far, i, nanosecond):
    found = transition_time(
        designs(i), designs(V), v_far, inductance=designs(20e-6), charge=stored(V)[0] * 2.0
    ).item()
    assert found == pytest.approx(course(i, v_far)[1], rel=0.03)
    assert found == pytest.approx(nanosecond * 1e-9, rel=0.03)


def test_arc_arrives_when_the_transition_time_is_over():
    i, v, far = designs([3.0, 4.0]), designs(V), 80.0
    node = {"inductance": designs(20e-6), "charge": designs(396.5e-9)}
    t = transition_time(i, v, far, **node)
    assert arc(i, v, far, t_dead=t, **node) == pytest.approx(v + 0.0 * i, rel=1e-9)
    assert np.all(arc(i, v, far, t_dead=0.9 * t, **node) < 0.99 * V)


def test_arc_holds_its_crest_and_waits_for_a_current_of_the_wrong_sign():
    node = {"inductance": designs(20e-6), "charge": designs(396.5e-9), "t_dead": designs(2e-6)}
    v, far = designs(V), 50.0
    assert arc(designs(0.0), v, far, **node).item() == pytest.approx(100.0, rel=1e-12)
    # 20 µH at 50 V take 2 µs to stop 5 A: nothing of the dead time is left.
    assert arc(designs(-5.0), v, far, **node).item() == 0.0
    assert arc(designs(-5.0), v, 0.0, **node).item() == 0.0
    assert 0.0 < arc(designs(-1.0), v, far, **node).item() < 100.0


def test_a_node_without_swing_costs_nothing_and_a_far_end_below_it_only_hinders():
    own = Charge(designs(20e-9), designs(400.0), designs(0.51), 40e-12)
    v = designs([0.0, 300.0])
    drive = {"i_drive": designs(0.5), "l_drive": designs(20e-6), "v_far": designs(-60.0)}
    edge = Edge(designs(1e5), designs(1.0), designs(1.0), v, (Moved(own, 0.0, v),), **drive)
    worse = turn_on(own, edge, designs([50e-9, 2e-6]))
    neutral = turn_on(own, dataclasses.replace(edge, v_far=0.0), designs(50e-9))
    assert worse.energy.ravel()[0] == 0.0
    assert worse.energy.ravel()[1] > neutral.energy.ravel()[1]


def test_constant_current_moves_the_node_in_proportion():
    node = {"inductance": None, "charge": designs(400e-9), "t_dead": designs(50e-9)}
    found = arc(designs([-1.0, 0.0, 2.0, 8.0, 20.0]), designs(V), 0.0, **node)
    assert found.ravel() == pytest.approx([0.0, 0.0, 100.0, 400.0, 400.0], rel=1e-12)


# The printed values were computed independently by quadrature.
@pytest.mark.parametrize(
    ("picofarad", "microjoule"), [(20, 10.933), (100, 4.1486), (300, 1.3889), (1000, 0.41667)]
)
def test_turn_off_into_the_capacitance_of_the_node(picofarad, microjoule):
    c, i, t_f = picofarad * 1e-12, 5.0, 20e-9

    def overlap(t):
        return min(i * t * t / (2 * t_f * c), V) * i * (1 - t / t_f)

    full = np.sqrt(2 * c * V * t_f / i)
    exact = quad(overlap, 0, t_f, points=[min(full, t_f)])[0]
    found = turn_off_energy(designs(V), designs(i), designs(t_f), designs(c * V)).item()
    assert found == pytest.approx(exact, rel=1e-6)
    assert found == pytest.approx(microjoule * 1e-6, rel=1e-4)


def test_turn_off_without_current_costs_nothing():
    found = turn_off_energy(designs(V), designs([-3.0, 0.0]), designs(20e-9), designs(40e-9))
    assert not found.any()


def test_overlap_times_follow_the_gate_resistance():
    q_gs2, q_gd, r_g = designs(2e-9), designs(4e-9), designs(10.0)
    rise = turn_on_time(q_gs2, q_gd, r_g, v_on=designs(12.0), v_th=designs(3.0), v_pl=designs(5.0))
    assert rise.item() == pytest.approx(20e-9 / 8 + 40e-9 / 7, rel=1e-12)
    fall = turn_off_time(q_gs2, q_gd, r_g, v_off=designs(-4.0), v_pl=designs(5.0))
    assert fall.item() == pytest.approx(60e-9 / 9, rel=1e-12)


def test_angles_and_designs_evaluate_together_as_alone(rng):
    own = Charge(designs([20e-9, 60e-9]), designs(400.0), designs([0.5, 0.05]), 40e-12)
    v = designs([300.0, 390.0]) + 20.0 * np.sin(2 * angles(8))
    i = 3.0 * np.sin(angles(8)) + designs([0.5, -0.5])
    moved = Moved(own, 0.0, v)
    edge = Edge(designs(1e5), i, i, v, (moved,), i_drive=-i, l_drive=designs([30e-6, 90e-6]),
                v_far=0.5 * v)  # fmt: skip
    both = turn_on(own, edge, designs([50e-9, 90e-9]))
    assert np.isfinite(both.energy).all()
    assert (both.energy >= 0.0).all()
    for n in range(2):
        one_own = Charge(own.q_ref[[n]], own.v_ref, own.a[[n]], 40e-12)
        one = Edge(edge.rate, i[[n]], i[[n]], v[[n]], (Moved(one_own, 0.0, v[[n]]),),
                   i_drive=-i[[n]], l_drive=edge.l_drive[[n]], v_far=0.5 * v[[n]])  # fmt: skip
        alone = turn_on(one_own, one, designs([50e-9, 90e-9][n]))
        assert np.array_equal(alone.energy, both.energy[[n]])
