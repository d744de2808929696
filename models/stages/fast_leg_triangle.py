"""One switching period of triangular current mode along the line angle, in closed form.

Everything is folded: the *active* switch drives the current away from zero against the
voltage w at the far end of the choke, the *passive* one takes it back, so that mean current
i, w and b = v − w are never below zero.  Power into the grid makes w = |u|, power out of
it w = v − |u|, and upper and lower switch change roles.

    valley ⌒ rise of the node ⌒ ramp up (active) ⌒ peak ⌒ fall of the node ⌒ ramp down (passive)

With y = C/L of node and choke, α = w·√y and β = b·√y are the currents that w and b stand
for: node voltage and current move on circles of radius √(α² + i²) and √(β² + i²).
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace
from models.physics.semiconductor import charge_and_energy
from models.stages.common_ground_waves import COARSE
from models.stages.grid_filter import GridSide
from models.stages.ports import Link
from models.stress import Charge

LEAST = 1e-3  # [1], least w and b over the link voltage
LEAST_RIPPLE = 0.2  # [1], of what the arcs may leave of the ripple at a bounded frequency


@dataclasses.dataclass(frozen=True)
class Law:
    """What the control is told, all (design, 1, 1)."""

    inductance: Array  # [H]
    i_reverse: Array  # [A], least current against the flow at the end of a period
    f_low: Array  # [Hz]
    f_high: Array  # [Hz]


@dataclasses.dataclass(frozen=True)
class Period:
    """One period along half a line cycle, folded; 16 angles."""

    forward: Array  # 1 where power flows into the grid, else 0
    i: Array  # [A], its mean
    v: Array  # [V], link
    duty: Array  # [1], w/v
    f: Array  # [Hz]
    valley: Array  # [A], below zero where the node swings by itself
    peak: Array  # [A]
    # Mean squares of the current [A²]: of the choke, of the active and the passive switch.
    square: Array
    square_active: Array
    square_passive: Array
    # Current in the choke after the node has arrived [A]: before active and passive turn on.
    i_arrived: tuple[Array, Array]
    t_arc: tuple[Array, Array]  # [s], of the node before active and passive turn on


@dataclasses.dataclass(frozen=True)
class _Node:
    """The node's voltages as currents: w, b and what a volt stands for."""

    w: Array  # [V]
    b: Array
    alpha: Array  # [A]
    beta: Array
    share: Array  # [1], w/v
    slope: Array  # [A/s], ripple of a period over its length, w·b/(v·L)
    omega: Array  # [rad/s], of node and choke


@dataclasses.dataclass(frozen=True)
class _Arc:
    """A swing of the node."""

    time: Array  # [s]
    swing: Array  # [A], voltage passed, as a current
    i_end: Array  # [A], current that is left
    square: Array  # [A²·s], integral of its square


def node_capacitance(charge: Charge, v: Array) -> Array:
    """Return what takes as much charge over ``v`` [V] as two devices of a leg [F]."""
    return 2.0 * charge_and_energy(charge, v)[0] / v


def period(law: Law, side: GridSide, link: Link, c: Array) -> Period:
    """Return the period along the angle.

    The valley is −max(I_R, √(C·v·(v − 2w)/L)), the least that turns the node all the way,
    and the peak follows from the mean current.  Where the period would be shorter than at
    f_high the ripple is larger, at light load above all; where it would be longer than at
    f_low, near zero crossings, it is smaller, and the node is not turned all the way.

    A first estimate of valley and peak gives the arcs; their times and charges correct
    peak and period.

    Parameters
    ----------
    law : Law
        What the control is told.
    side : GridSide
        Voltage and current that the grid wants.
    link : Link
        Voltage of the link.
    c : Array
        Capacitance of the node [F].
    """
    xp = array_namespace(side.u)
    u, i = side.u[..., COARSE], side.i[..., COARSE]
    v = (link.v + 0.0 * side.u)[..., COARSE]
    forward, size, i = xp.where(u * i < 0.0, 0.0, 1.0), xp.abs(u) / v, xp.abs(i)
    share = xp.clip(xp.where(forward > 0.0, size, 1.0 - size), LEAST, 1.0 - LEAST)
    root = xp.sqrt(c / law.inductance)
    x = _Node(
        w=share * v,
        b=(1.0 - share) * v,
        alpha=share * (v * root),
        beta=(1.0 - share) * (v * root),
        share=share,
        slope=share * (1.0 - share) * v * (1.0 / law.inductance),
        omega=1.0 / (law.inductance * root),
    )
    valley = i - 0.5 * _ripple(law, x, i)
    return _closed(law, x, i, valley, forward)


def _ripple(law: Law, x: _Node, i: Array) -> Array:
    """Return the ripple of a triangle without arcs [A].

    At the highest frequency the arcs take (α + β)/2·(α/|valley| + β/peak) of it, which
    holds for currents well above α and β.
    """
    xp = array_namespace(i)
    turning = xp.sqrt(xp.maximum(x.beta * x.beta - x.alpha * x.alpha, 0.0))
    wanted = 2.0 * (i + xp.maximum(law.i_reverse, turning))
    shortest, whole = x.slope * (1.0 / law.f_high), x.alpha + x.beta
    half = 0.5 * shortest
    arcs = (0.5 * whole) * (
        x.alpha / xp.maximum(half - i, whole) + x.beta / xp.maximum(half + i, whole)
    )
    return xp.minimum(xp.maximum(wanted, shortest - arcs), x.slope * (1.0 / law.f_low))


def _arc(behind: Array, ahead: Array, i: Array, omega: Array) -> _Arc:
    """Return the swing of a node that the current ``i`` drives past the choke's far end.

    Parameters
    ----------
    behind, ahead : Array
        Voltage from the node's start to the far end and from there to its goal, as
        currents [A].
    i : Array
        Current that drives it [A].
    omega : Array
        Of node and choke [rad/s].
    """
    xp = array_namespace(i)
    radius = behind * behind + i * i
    reached = xp.minimum(ahead, xp.sqrt(radius))
    left = xp.sqrt(xp.maximum(radius - reached * reached, 0.0))
    # Sum of the two angles on the circle, by its cosine.
    phi = xp.acos(xp.clip((left * i - behind * reached) / radius, -1.0, 1.0))
    half = 0.5 / omega
    return _Arc(
        time=phi * (2.0 * half),
        swing=behind + reached,
        i_end=left,
        square=(radius * phi + reached * left + behind * i) * half,
    )


def _closed(law: Law, x: _Node, i: Array, valley: Array, forward: Array) -> Period:
    """Return the period whose valley is estimated.

    Over a period T the choke carries i·T and drops no voltage:
    (peak + valley)·D = 2·i·(D + ε) − κ,  T = (D + ε)/slope,  D = peak − valley
    with ε and κ from times and charges of the arcs.
    """
    xp = array_namespace(i)
    inductance, soft = law.inductance, valley < 0.0
    top = 2.0 * i - valley
    rise = _arc(x.alpha, x.beta, xp.maximum(-valley, 0.0), x.omega)
    fall = _arc(x.beta, x.alpha, top, x.omega)
    t_rise, start = xp.where(soft, rise.time, 0.0), xp.where(soft, -rise.i_end, valley)
    charge = (fall.swing - xp.where(soft, rise.swing, 0.0)) * (1.0 / x.omega)
    excess = (
        x.slope * (t_rise + fall.time)
        + x.share * (valley - start)
        + (1.0 - x.share) * (fall.i_end - top)
    )
    kappa = (
        x.share * (valley * valley - start * start)
        + (1.0 - x.share) * (fall.i_end * fall.i_end - top * top)
        + 2.0 * x.slope * charge
    )
    half = i - valley
    free = half + xp.sqrt(xp.maximum(half * half - kappa + 2.0 * i * excess, 0.0))
    shortest = x.slope * (1.0 / law.f_high)
    d = xp.clip(free, shortest - excess, x.slope * (1.0 / law.f_low) - excess)
    d = xp.maximum(d, LEAST_RIPPLE * shortest)
    centre = i + (i * excess - 0.5 * kappa) / d
    low, high = centre - 0.5 * d, centre + 0.5 * d
    start = xp.where(soft, start, low)
    end = xp.sqrt(xp.maximum(fall.i_end * fall.i_end + high * high - top * top, 0.0))
    t_up, t_down = inductance * (high - start) / x.b, inductance * (end - low) / x.w
    f = 1.0 / (t_rise + t_up + fall.time + t_down)
    active = f * t_up * (high * high + high * start + start * start) * (1.0 / 3.0)
    passive = f * t_down * (end * end + end * low + low * low) * (1.0 / 3.0)
    arcs = f * (xp.where(soft, rise.square, 0.0) + fall.square)
    return Period(
        forward=forward, i=i, v=x.w + x.b, duty=x.share, f=f, valley=low, peak=high,
        square=active + passive + arcs, square_active=active, square_passive=passive,
        i_arrived=(xp.maximum(-start, 0.0), end), t_arc=(t_rise, fall.time),
    )  # fmt: skip
