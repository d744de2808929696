"""Energy of one edge: charge moved, resonant arc, overlap of voltage and current.

One model serves all stages.  A stage says which devices move on an edge and by how much
(``models.stress.Edge``); what they cost stands here and only here.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.physics.semiconductor import charge_and_energy
from models.stress import Charge, Edge

V_LEAST = 1e-3  # [V], divisor floor where an edge has no swing
Q_LEAST = 1e-18  # [C], divisor floor of the charge that a falling current takes along


@dataclasses.dataclass(frozen=True)
class TurnOn:
    """What a turn-on finds and burns; angle axis where the edge has one."""

    node_charge: Array  # [C], of all devices over the full swing, seen from this one
    v_left: Array  # [V], voltage that the channel has to take away
    energy: Array  # [J], burnt in the channel


def burnt_energy(e_own: Array, rises: tuple[tuple[Array, Array, Array], ...]) -> Array:
    """Return the energy burnt by a channel that moves other devices' voltages [J].

    E = E_own + Σ_j [V_j·ΔQ_j − ΔE_j],  V_j the voltage at which device j ends

    The channel passes the charge of device j while it still has the voltage that j
    lacks, so that ∫(V_j − v) dQ_j is lost; its own energy burns inside.  The channel's
    resistance drops out.  Stiff capacitors between the devices may carry any voltage;
    a soft one shares the swing and makes the true value a little lower.

    Parameters
    ----------
    e_own : Array
        Energy stored in the device that turns on [J].
    rises : tuple of (Array, Array, Array)
        Final voltage [V], charge taken [C] and energy taken [J] of each other device.

    Source
    ------
    M. Kasper, R. Burkart, G. Deboy and J. W. Kolar, "ZVS of power MOSFETs revisited",
    IEEE Trans. Power Electronics, 2016 (from memory), extended to several devices.
    """
    energy = e_own
    for v_to, dq, de in rises:
        energy = energy + (v_to * dq - de)
    return energy


def turn_on(own: Charge, edge: Edge, t_dead: Array) -> TurnOn:
    """Return what a turn-on burns after the resonant arc of its dead time.

    During the dead time every device moves in proportion to the node, which reaches
    the share s of its swing; the channel burns the rest (``burnt_energy``) from s on.
    Capacitance losses of the material itself are not in it (up to 30 % of E_own).

    Parameters
    ----------
    own : Charge
        Output charge of the device, layout included.
    edge : Edge
        Swing [V], driving current [A] and the other devices.
    t_dead : Array
        Dead time before the turn-on [s].

    Source
    ------
    As ``burnt_energy`` and ``arc``.
    """
    xp = array_namespace(own.q_ref, edge.v)
    q_own, e_own = charge_and_energy(own, edge.v)
    ends = [charge_and_energy(moved.charge, moved.v_to) for moved in edge.others]
    starts = [_stored(moved.charge, moved.v_from) for moved in edge.others]
    v = xp.maximum(edge.v, V_LEAST)
    node = q_own
    for moved, (q_1, _), (q_0, _) in zip(edge.others, ends, starts, strict=True):
        swing = moved.v_to - moved.v_from
        node = node + (q_1 - q_0) * (1.0 if swing is edge.v else swing / v)
    v_left = edge.v
    if edge.i_drive is not None:
        v_left = edge.v - arc(
            edge.i_drive, edge.v, edge.v_far, inductance=edge.l_drive, charge=node, t_dead=t_dead
        )
        _, e_own = charge_and_energy(own, v_left)
        share = v_left / v
        starts = [
            charge_and_energy(m.charge, m.v_to - share * (m.v_to - m.v_from)) for m in edge.others
        ]
    rises = tuple(
        (moved.v_to, q_1 - q_0, e_1 - e_0)
        for moved, (q_1, e_1), (q_0, e_0) in zip(edge.others, ends, starts, strict=True)
    )
    return TurnOn(node, v_left, burnt_energy(e_own, rises))


def _stored(charge: Charge, v: Array | float) -> tuple[Array | float, Array | float]:
    """Return charge and energy; nothing to compute for a device that starts empty."""
    if isinstance(v, float | int) and v <= 0.0:
        return 0.0, 0.0
    return charge_and_energy(charge, v)


def arc(
    i: Array,
    v: Array,
    v_far: Array | float,
    *,
    inductance: Array | None,
    charge: Array,
    t_dead: Array,
) -> Array:
    """Return the voltage by which an inductor has moved a node at the end of a dead time [V].

    C_e = Q/V,  Z = √(L/C_e),  φ = t_d/√(L·C_e)
    v_r = V_x·(1 − cos φ) + I·Z·sin φ  up to the crest  V_x + √(V_x² + (I·Z)²),
    held between 0 and V

    The charge-equivalent capacitance gives the least current for a full swing exactly
    and the time within 3 %.  A current of the wrong sign first has to run down; the
    swing left after that is taken as that of a short arc, which is a little low.

    Parameters
    ----------
    i : Array
        Current I that moves the node [A].
    v : Array
        Full swing V [V].
    v_far : Array or float
        Voltage V_x of the inductor's other end from the node's start [V].
    inductance : Array or None
        Inductance L [H]; None holds the current constant.
    charge : Array
        Charge Q of all devices over the full swing [C].
    t_dead : Array
        Dead time t_d [s].

    Source
    ------
    Resonance of L and C_e; M. Kasper et al., 2016 (from memory) for the charge view.
    """
    xp = array_namespace(i, v, charge)
    forward = xp.maximum(i, 0.0)
    c_e = charge / xp.maximum(v, V_LEAST)
    if inductance is None:
        return xp.minimum(forward * (t_dead / c_e), v)
    iz = forward * xp.sqrt(inductance / c_e)
    phi = xp.minimum(t_dead / xp.sqrt(inductance * c_e), math.pi)
    cosine, sine = xp.cos(phi), xp.sin(phi)
    # The slope at φ tells which side of the crest it is on, without an arcsine.
    rising = iz * cosine + v_far * sine > 0.0
    crest = v_far + xp.sqrt(iz * iz + v_far * v_far)
    reached = xp.where(rising, iz * sine + v_far * (1.0 - cosine), crest)
    run_down = inductance / (xp.maximum(xp.asarray(v_far), V_LEAST) * t_dead)
    remaining = xp.maximum(1.0 + xp.minimum(i, 0.0) * run_down, 0.0)
    return xp.clip(reached * (remaining * remaining), 0.0, v)


def transition_time(
    i: Array, v: Array, v_far: Array | float, *, inductance: Array, charge: Array
) -> Array:
    """Return the time that an inductor needs to move a node, or to reach its crest [s].

    t = √(L·C_e)·[asin(min(1, (V − V_x)/A)) + asin(V_x/A)],  A = √(V_x² + (I·Z)²)

    0.6 to 3 % off the nonlinear course.  Stages subtract it from the dead time to find
    how long a device conducts in reverse.

    Parameters
    ----------
    i : Array
        Current I that moves the node [A]; below zero it is taken as zero.
    v : Array
        Full swing V [V].
    v_far : Array or float
        Voltage V_x of the inductor's other end from the node's start [V].
    inductance : Array
        Inductance L [H].
    charge : Array
        Charge of all devices over the full swing [C], C_e = Q/V.

    Source
    ------
    As ``arc``.
    """
    xp = array_namespace(i, v, charge)
    c_e = charge / xp.maximum(v, V_LEAST)
    iz = xp.maximum(i, 0.0) * xp.sqrt(inductance / c_e)
    amplitude = xp.maximum(xp.sqrt(v_far * v_far + iz * iz), V_LEAST)
    rise = xp.asin(xp.clip((v - v_far) / amplitude, -1.0, 1.0))
    return xp.sqrt(inductance * c_e) * (rise + xp.asin(v_far / amplitude))


def turn_on_time(
    q_gs2: Array, q_gd: Array, r_g: Array, *, v_on: Array, v_th: Array, v_pl: Array
) -> Array:
    """Return the overlap time of a turn-on [s]: current rise and voltage fall.

    t = R_g·[Q_gs2/(V_on − ½(V_th + V_pl)) + Q_gd/(V_on − V_pl)],  E_on = ½·V·I·t

    Linear transitions; the gate loop's inductance makes the true value up to twice.

    Parameters
    ----------
    q_gs2, q_gd : Array
        Gate charge from threshold to plateau and of the plateau [C].
    r_g : Array
        Resistance of driver, gate resistor and gate [Ω].
    v_on, v_th, v_pl : Array
        Drive, threshold and plateau voltage [V].

    Source
    ------
    N. Mohan, T. Undeland and W. Robbins, "Power Electronics" (from memory).
    """
    return r_g * (q_gs2 / (v_on - 0.5 * (v_th + v_pl)) + q_gd / (v_on - v_pl))


def turn_off_time(q_gs2: Array, q_gd: Array, r_g: Array, *, v_off: Array, v_pl: Array) -> Array:
    """Return the time in which the channel gives up its current [s].

    t_f = R_g·(Q_gs2 + Q_gd)/(V_pl − V_off)

    Parameters
    ----------
    q_gs2, q_gd : Array
        Gate charge from threshold to plateau and of the plateau [C].
    r_g : Array
        Resistance of driver, gate resistor and gate [Ω].
    v_off, v_pl : Array
        Gate voltage when off (zero or negative) and plateau [V].

    Source
    ------
    N. Mohan, T. Undeland and W. Robbins, "Power Electronics" (from memory).
    """
    return r_g * (q_gs2 + q_gd) / (v_pl - v_off)


def turn_off_energy(v: Array, i: Array, t_fall: Array, node_charge: Array) -> Array:
    """Return the overlap energy of a turn-off into the node's capacitance [J].

    x = √(2·Q/(I·t_f));  x ≤ 1: V·I·t_f·(½ − ⅔x + ¼x²),  x > 1: V·I·t_f/(12x²)

    The node rises while the channel current falls in a straight line.  5 to 25 % high
    for real capacitances of equal charge, which are larger at low voltage.

    Parameters
    ----------
    v : Array
        Voltage V after the turn-off [V].
    i : Array
        Current I given up [A]; none below zero.
    t_fall : Array
        Fall time t_f of the channel current [s].
    node_charge : Array
        Charge Q of all devices at the node over the swing [C].

    Source
    ------
    Integration of a linear fall into a constant capacitance Q/V; ours.
    """
    xp = array_namespace(v, i, node_charge)
    taken = xp.maximum(i, 0.0) * t_fall
    x_squared = 2.0 * node_charge / xp.maximum(taken, Q_LEAST)
    # Both branches in one: with y = min(x, 1) the first is 1/12 at y = 1.
    y_squared = xp.minimum(x_squared, 1.0)
    overlap = 0.5 + 0.25 * y_squared - (2.0 / 3.0) * xp.sqrt(y_squared)
    return v * taken * overlap / xp.maximum(x_squared, 1.0)
