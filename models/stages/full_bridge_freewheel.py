"""Full bridges that cut the freewheeling current off the link: what both kinds share.

For the share |m| of a period two switches in series with the link, *opening* together,
put ±v across the choke; for the rest the current freewheels through a *freewheeling*
switch while nodes a and b float near the middle of the link.  Each pulse therefore ends
in a division of the link voltage: the first of the opening switches takes ``share`` of
it, the second the rest, as their charges divide it.

Everything is folded into the half cycle in which u is positive: the other does the same
with the other switches.  A freewheeling switch is gated whenever the opening ones are
not, so that current may flow either way (reactive power); its body diode conducts during
dead times.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace, line_mean
from models.ledger import Ledger, at_most
from models.parts.switch import Device
from models.physics.grid import line_product
from models.physics.semiconductor import charge_and_energy
from models.stages import full_bridge_waves as waves
from models.stages.common_ground_waves import T_LEAST
from models.stages.grid_filter import HALF, GridSide, Ripple
from models.stages.ports import Link
from models.stress import Edge, Moved, SwitchStress

# Where the floating nodes settle besides what the switches' charges say, over the link
# voltage [1]; common practice, no source.
NODE_SPREAD = 0.02
# Share of the grid's peak below which pulses may be too short to be made [1]: a thirtieth
# of the half cycle, within which the closed forms count currents that do not flow.
ZERO_CROSSING = 0.05

# A point of the line's sine over the mean of its neighbours half a step away [1].
CHORD = 1.0 / math.cos(0.5 * math.pi / HALF)


@dataclasses.dataclass(frozen=True)
class Pulses:
    """The commutations of a half cycle, folded; 16 angles."""

    valley: Array  # [A], at the start of a pulse
    peak: Array  # [A], at its end
    size: Array  # [1], |m|
    v: Array  # [V], link, rms over the line cycle
    f: Array  # [Hz], zero at idle, (design, point, 1)
    inductance: Array  # [H]
    t_open: Array  # [s], dead time before the opening switches turn on
    t_free: Array  # [s], before the freewheeling one does
    charge: Array  # [C], that takes the bridge from ±v to zero


def pulses(
    x: waves.Waves,
    side: GridSide,
    link: Link,
    *,
    inductance: Array,
    times: tuple[Array, Array],
    charge: Array,
) -> Pulses:
    """Return the commutations of ``x``.

    Parameters
    ----------
    x : Waves
        Of three levels.
    side : GridSide
        Whether the bridge runs.
    link : Link
        Link voltage.
    inductance : Array
        Of the choke [H].
    times : tuple of Array
        Dead times before the opening and the freewheeling switches turn on [s].
    charge : Array
        Charge that takes the bridge's voltage from ±v to zero [C].
    """
    xp = array_namespace(x.m)
    i = _paired(xp.where(x.m < 0.0, -x.i, x.i)) * CHORD
    half = 0.5 * _paired(x.pp)
    return Pulses(
        valley=i - half,
        peak=i + half,
        size=_paired(x.duty),
        v=link.v_rms,
        f=x.f * side.running,
        inductance=inductance,
        t_open=times[0],
        t_free=times[1],
        charge=charge,
    )


def _paired(x: Array) -> Array:
    """Return the means of neighbouring angles.

    Every second angle would lie to one side of its step, and the current jumps where a
    half cycle begins: currents against the grid's voltage would come out 17 % wrong.
    """
    mean: Array = 0.5 * (x[..., 0::2] + x[..., 1::2])
    return mean


def scaled(device: Device, factor: Array | float) -> Device:
    """Return a device with ``factor`` times its charges, for what several share."""
    charge = device.charge
    return dataclasses.replace(
        device,
        charge=dataclasses.replace(
            charge, q_ref=factor * charge.q_ref, extra=factor * charge.extra
        ),
        q_rr=factor * device.q_rr,
    )


def charge(device: Device, v: Array) -> Array:
    """Return the output charge of a device [C] at ``v`` [V]."""
    return charge_and_energy(device.charge, v)[0]


def opening(
    p: Pulses, *, share: Array | float, others: tuple[Moved, ...], i_rms: Array, v_block: Array,
    halves: float,
) -> SwitchStress:  # fmt: skip
    """Return the stress of a switch in series with the link.

    With its share of the voltage it sees the same share of choke and grid voltage.

    Parameters
    ----------
    p : Pulses
        Commutations.
    share : Array or float
        What it takes of the link voltage when both open [1].
    others : tuple of Moved
        The devices that it moves.
    i_rms : Array
        Its rms current over the line cycle [A].
    v_block : Array
        Highest voltage that it may see [V].
    halves : float
        Half cycles in which it switches over both [1].
    """
    xp = array_namespace(p.valley)
    v = share * p.v
    edge = Edge(
        rate=halves * p.f,
        i_on=p.valley,
        i_off=p.peak,
        v=v,
        others=others,
        i_drive=-p.valley,
        l_drive=share * p.inductance,
        v_far=v * p.size,
    )
    back = xp.maximum(-p.peak, 0.0) * p.t_free
    left = xp.maximum(-p.valley * p.t_open - p.charge, 0.0)
    return SwitchStress(i_rms, halves * p.f * line_mean(back + left), v_block, (edge,))


def freewheeling(
    p: Pulses, *, others: tuple[Moved, ...], i_rms: Array, v_block: Array
) -> SwitchStress:
    """Return the stress of a switch that carries the current between pulses of a half cycle.

    It turns on without voltage unless the current runs against the grid's voltage.

    Parameters
    ----------
    p : Pulses
        Commutations.
    others : tuple of Moved
        The devices that it moves when it turns on hard.
    i_rms : Array
        Its rms current over the line cycle [A].
    v_block : Array
        Highest voltage that it may see [V].
    """
    xp = array_namespace(p.valley)
    edge = Edge(
        rate=0.5 * p.f,
        i_on=-p.peak,
        i_off=-p.valley,
        v=p.v,
        others=others,
        i_drive=p.peak,
        l_drive=p.inductance,
        v_far=p.v * (1.0 - p.size),
    )
    before = xp.maximum(p.valley, 0.0) * p.t_open
    after = xp.maximum(p.peak * p.t_free - p.charge, 0.0)
    return SwitchStress(i_rms, 0.5 * p.f * line_mean(before + after), v_block, (edge,))


@dataclasses.dataclass(frozen=True)
class Squares:
    """Mean squares of the choke's current over the line cycle [A²]."""

    whole: Array
    pulsed: Array  # while the link drives it
    freewheeling: Array


def squares(x: waves.Waves) -> Squares:
    """Return the mean squares of i² + ΔI²/12 over the shares 1, |m| and 1 − |m|."""
    q = x.i * x.i + x.pp * x.pp * (1.0 / 12.0)
    whole, pulsed = line_mean(q), line_product(x.duty, q)
    return Squares(whole, pulsed, whole - pulsed)


def zero_crossing(path: str, side: GridSide, link: Link, late: Array) -> Ledger:
    """Return the limit on the stretch around zero in which pulses are too short.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    side : GridSide
        The grid's peak.
    link : Link
        Link voltage.
    late : Array
        Dead time and least on-time over the switching period [1].
    """
    stretch = side.running * late * link.v_rms / side.u_peak
    return at_most(
        f"{path}.zero_crossing", stretch, 0.0 * stretch + ZERO_CROSSING, "1",
        "voltage of the shortest pulse that can be made, over the grid's peak",
    )  # fmt: skip


def earth_pulses(ripple: Ripple, share: Array | float) -> Array:
    """Return the rms voltage between link negative and earth around f [V].

    The part δ of what the bridge makes there, where δ is how far the floating nodes settle
    beside the middle, |½ − share| and a spread, and half of the difference between the
    halves of the choke.  The latter has the other sign in every other half cycle, so that
    squares add.
    """
    xp = array_namespace(ripple.v_worst)
    beside = xp.abs(xp.asarray(0.5 - share)) + NODE_SPREAD
    return xp.hypot(beside, xp.asarray(0.5 * waves.CHOKE_IMBALANCE)) * ripple.voltages[0]


def longest(*times: Array) -> Array:
    """Return the longest of dead times [s]."""
    xp = array_namespace(*times)
    found = times[0]
    for t in times[1:]:
        found = xp.maximum(found, t)
    return found


def shortest_pulse(f: Array, t_dead: Array) -> Array:
    """Return dead time and least on-time over the switching period [1]."""
    return f * (t_dead + T_LEAST)
