"""Energy of one edge: charge moved, resonant arc, overlap of voltage and current.

One model serves all stages.  A stage says which devices move on an edge and by how much
(``models.stress.Edge``); what they cost stands here and only here.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.physics.semiconductor import bare_charge_and_energy
from models.stress import Charge, Edge, Moved

V_LEAST = 1e-3  # [V], divisor floor where an edge has no swing
Q_LEAST = 1e-15  # [C], least charge of a node
I_LEAST = 1e-9  # [A], divisor floor of the current that a node's charge stands for
I_LARGE = 1e9  # [A], beyond any


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

    During the dead time every device moves in proportion to the node; the channel burns
    the rest (``burnt_energy``).  Losses inside the capacitances themselves are not in it
    (up to 30 % of E_own in some technologies).

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
    v, others = edge.v, edge.others
    ratios = [_ratio(moved, v) for moved in others]
    # Constant capacitances act as one at the node, so that the power laws stay bare.
    linear = own.extra
    for moved, ratio in zip(others, ratios, strict=True):
        linear = linear + moved.charge.extra * (ratio * ratio)
    ends = [bare_charge_and_energy(m.charge, m.v_to) for m in others]
    starts = [bare_charge_and_energy(m.charge, m.v_from) for m in others]
    q_own, e_own = _own(own, edge, ends)
    node, v_left = q_own + linear * v, v
    for ratio, (q_1, _), (q_0, _) in zip(ratios, ends, starts, strict=True):
        node = node + ratio * (q_1 - q_0)
    if edge.i_drive is not None:
        reached = arc(
            edge.i_drive, v, edge.v_far, inductance=edge.l_drive, charge=node, t_dead=t_dead
        )
        v_left = v - reached
        _, e_own = bare_charge_and_energy(own, v_left)
        starts = [
            bare_charge_and_energy(m.charge, _start(m, ratio, reached, v_left))
            for m, ratio in zip(others, ratios, strict=True)
        ]
    rises = tuple(
        (moved.v_to, q_1 - q_0, e_1 - e_0)
        for moved, (q_1, e_1), (q_0, e_0) in zip(others, ends, starts, strict=True)
    )
    return TurnOn(node, v_left, burnt_energy(e_own + (0.5 * linear) * v_left * v_left, rises))


def _own(own: Charge, edge: Edge, ends: list[tuple[Array, Array]]) -> tuple[Array, Array]:
    """Return charge and energy of the device itself, taken over from one alike at its end."""
    for moved, end in zip(edge.others, ends, strict=True):
        if moved.charge is own and moved.v_to is edge.v:
            return end
    return bare_charge_and_energy(own, edge.v)


def _ratio(moved: Moved, v: Array) -> Array | float:
    """Return the swing of a device over that of the node [1]."""
    if isinstance(moved.v_from, float) and moved.v_from == 0.0 and moved.v_to is v:
        return 1.0
    xp = array_namespace(v)
    return (moved.v_to - moved.v_from) / xp.maximum(v, V_LEAST)


def _start(moved: Moved, ratio: Array | float, reached: Array, v_left: Array) -> Array:
    """Return the voltage of a device when its node has moved by ``reached`` [V]."""
    return reached if isinstance(ratio, float) else moved.v_to - ratio * v_left


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
    and the time within 3 %.  A current of the wrong sign first has to run down; what
    the node then moves is taken in proportion to the dead time left, which is a little
    high for an arc shorter than a quarter of the period.

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
    c_e = xp.maximum(charge, Q_LEAST) / xp.maximum(v, V_LEAST)
    if inductance is None:
        return xp.minimum(forward * (t_dead / c_e), v)
    z = xp.sqrt(inductance / c_e)
    cosine = xp.cos(xp.minimum(t_dead / (z * c_e), math.pi))
    sine = xp.sqrt(xp.maximum(1.0 - cosine * cosine, 0.0))
    # Past a quarter of the period the current that just reaches its crest at φ tells the
    # two branches apart, without an arcsine.
    late = cosine < 0.0
    i_crest = xp.where(late, v_far * sine / (z * xp.where(late, -cosine, 1.0)), I_LARGE)
    drive = z * forward
    crest = v_far + xp.sqrt(drive * drive + v_far * v_far)
    course = (z * sine) * forward + v_far * (1.0 - cosine)
    reached = xp.clip(xp.where(forward < i_crest, course, crest), 0.0, v)
    run_down = inductance / (xp.maximum(xp.asarray(v_far), V_LEAST) * t_dead)
    return reached * xp.clip(1.0 + run_down * i, 0.0, 1.0)


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
    c_e = xp.maximum(charge, Q_LEAST) / xp.maximum(v, V_LEAST)
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
    As ``turn_on_time``.
    """
    return r_g * (q_gs2 + q_gd) / (v_pl - v_off)


def turn_off_energy(v: Array, i: Array, t_fall: Array, node_charge: Array) -> Array:
    """Return the overlap energy of a turn-off into the node's capacitance [J].

    I_c = 2·Q/t_f,  x = √(I_c/I)
    x ≤ 1: V·I·t_f·(½ − ⅔x + ¼x²),  x > 1: V·I·t_f/(12x²)

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
    i_c = xp.maximum(2.0 * node_charge / t_fall, I_LEAST)
    # Both branches in one: I_c/12 at I = I_c, completed to a square above it.
    above = xp.sqrt(xp.maximum(i, i_c)) - (2.0 / 3.0) * xp.sqrt(i_c)
    below = xp.clip((1.0 / i_c) * i, 0.0, 1.0)
    return (0.5 * v * t_fall) * (above * above + i_c / 18.0) * (below * below)
