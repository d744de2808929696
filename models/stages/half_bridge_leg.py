"""One switching half-bridge leg along the line angle, whatever it feeds.

The leg gives current i with ripple ΔI into an inductor whose far end is known; upper and
lower switch follow from the valley i − ΔI/2 and the peak i + ΔI/2.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import ANGLE, Array, array_namespace, line_mean
from models.parts import switch
from models.physics.grid import line_harmonics
from models.physics.semiconductor import charge_and_energy
from models.stress import Edge, SwitchStress


@dataclasses.dataclass(frozen=True)
class Leg:
    """One switching leg along the angle."""

    device: switch.Device
    f: Array  # [Hz], zero at idle
    valley: Array  # [A], current out of the leg at its lowest
    peak: Array  # [A]
    v: Array  # [V] across the leg, rms over the line cycle
    far: Array  # [1], far end of the inductor over the leg voltage, from below
    inductance: Array  # [H]


def edges(leg: Leg) -> tuple[Edge, Edge]:
    """Return the edges of the upper and of the lower switch.

    The leg voltage is taken at its rms value over the line cycle: with a swing of
    k = 0.4 the energies come out 1 % high.
    """
    others = (switch.moved(leg.device, 0.0, leg.v),)
    upper = Edge(
        rate=leg.f,
        i_on=leg.valley,
        i_off=leg.peak,
        v=leg.v,
        others=others,
        i_drive=-leg.valley,
        l_drive=leg.inductance,
        v_far=leg.v * leg.far,
    )
    lower = Edge(
        rate=leg.f,
        i_on=-leg.peak,
        i_off=-leg.valley,
        v=leg.v,
        others=others,
        i_drive=leg.peak,
        l_drive=leg.inductance,
        v_far=leg.v * (1.0 - leg.far),
    )
    return upper, lower


def dead_time_currents(leg: Leg) -> tuple[Array, Array]:
    """Return the mean currents in reverse through the upper and the lower switch [A].

    A switch conducts in reverse for the whole dead time before the other turns on hard,
    and after the other turned off for what the node's charge leaves of it.
    """
    xp = array_namespace(leg.valley)
    t = leg.device.t_dead
    node = 2.0 * charge_and_energy(leg.device.charge, leg.v)[0] / t
    lower = xp.maximum(leg.valley, 0.0) + xp.maximum(leg.peak - node, 0.0)
    upper = xp.maximum(-leg.peak, 0.0) + xp.maximum(-leg.valley - node, 0.0)
    scale = leg.f * t
    return scale * line_mean(upper), scale * line_mean(lower)


def mirrored_stress(leg: Leg, i_rms: Array, v_block: Array) -> SwitchStress:
    """Return the stress of either switch of a leg whose half cycles mirror each other.

    Over half a line cycle each does what the other does in the second half.

    Parameters
    ----------
    leg : Leg
        The leg over half a line cycle, the far end's voltage along the angle too.
    i_rms : Array
        Rms current of either switch over the whole cycle [A].
    v_block : Array
        Highest voltage across the leg [V].
    """
    xp = array_namespace(leg.valley)
    whole = dataclasses.replace(
        leg,
        valley=xp.concat((leg.valley, -leg.peak), axis=-1),
        peak=xp.concat((leg.peak, -leg.valley), axis=-1),
        far=xp.concat((leg.far, 1.0 - leg.far), axis=-1),
    )
    return SwitchStress(
        i_rms=i_rms,
        i_reverse_dead=dead_time_currents(whole)[0],
        v_block=v_block,
        edges=edges(whole)[:1],
    )


def dead_time_voltages(
    valley: Array, peak: Array, v: Array, *, i_rms: Array, theta: Array, orders: tuple[int, ...]
) -> tuple[Array, ...]:
    """Return harmonics of what the dead time takes off the leg's voltage, over f·t_d [V].

    −v·(sgn i_valley + sgn i_peak)/2: an edge is late where the current keeps the node.

    Parameters
    ----------
    valley, peak : Array
        Lowest and highest current out of the leg [A], over half a line cycle.
    v : Array
        Voltage across the leg [V].
    i_rms : Array
        Rms of the current's fundamental [A], for its slope at the zero crossing.
    theta : Array
        Line angle [rad], equally spaced.
    orders : tuple of int
        Odd orders of the line frequency.
    """
    xp = array_namespace(valley, v)
    # The sign of a current, averaged over the step of the angle in which it crosses zero.
    step = math.pi / theta.shape[ANGLE]
    inverse = 1.0 / xp.maximum(i_rms * (0.5 * math.sqrt(2.0) * step), 1e-6)
    signs = xp.clip(valley * inverse, -1.0, 1.0) + xp.clip(peak * inverse, -1.0, 1.0)
    return line_harmonics(0.5 * v * signs, theta, orders)
