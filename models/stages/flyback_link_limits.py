"""What the flyback on a link allows while it passes power, and its figures."""

from __future__ import annotations

import math

from models.axes import Array, array_namespace, point_max
from models.case import Case
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.parts import switch
from models.physics.semiconductor import charge_and_energy
from models.stages import flyback, swing
from models.stages import flyback_ripple as waves_ripple
from models.stages.coupled_boost_snubber import Snubber
from models.stages.flyback_link_parts import LinkPhase
from models.stages.series_capacitor_boost import PAUSES_MAX, RIPPLE_MAX, STEADY_FROM, TIME_MIN


def limits(path: str, one: LinkPhase, *, t_dead: Array, ripple: Array, case: Case) -> Ledger:
    """Return the limits of the stage.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    one : LinkPhase
        The waves of one phase.
    t_dead : Array
        Dead times of both switches together, which a short pulse needs besides [s].
    ripple : Array
        Switching ripple at the module, peak to peak [V].
    case : Case
        Operating points.
    """
    xp = array_namespace(one.v_r)
    c, points = one.circuit, case.points
    unit = xp.ones_like(c.f)
    duty, least = swing.highest(one.waves.duty), swing.lowest(one.waves.duty)
    shortest = xp.minimum(least, 1.0 - duty) / c.f
    steady = xp.where(points.p_ac > STEADY_FROM * point_max(points.p_ac), one.run.share, 1.0)
    amplitude = 0.5 * (swing.highest(one.v_r) - swing.lowest(one.v_r))
    pulse = c.t_pulse if one.short else 0.25 / c.f
    follow = 4.0 * math.pi * points.f_grid * c.c_clamp * amplitude / c.f
    followed = follow / (0.5 * pulse * swing.lowest(one.waves.i_peak))

    def below(actual: Array) -> Array:
        return xp.where(one.runs, actual, 0.0)

    def above(actual: Array, bound: float) -> Array:
        return xp.where(one.runs, actual, 2.0 * bound)

    return joined(
        _region(path, one, t_dead),
        at_most(f"{path}.duty", below(duty), flyback.DUTY_MAX * unit, "", "largest duty of S"),
        at_least(f"{path}.shortest", above(shortest, TIME_MIN), TIME_MIN * unit, "s",
                 "shortest on or off time of S"),
        at_most(f"{path}.clamp_follows", below(followed), flyback.FOLLOW_MAX * unit, "",
                "charge of C_c in following the link, over its pulse"),
        at_most(f"{path}.pauses", 1.0 - steady, PAUSES_MAX * unit, "",
                "share of time in pauses from half of full power on"),
        at_most(f"{path}.ripple", below(ripple / one.v_in), RIPPLE_MAX * unit, "",
                "switching ripple at the module, peak to peak over its voltage"),
    )  # fmt: skip


def _region(path: str, one: LinkPhase, t_dead: Array) -> Ledger:
    """Return where the forms of either drive hold."""
    xp = array_namespace(one.v_r)
    c, unit = one.circuit, xp.ones_like(one.circuit.f)
    if one.short:
        flows = 1.0 + swing.highest(one.waves.outside) + t_dead * c.f
        return joined(
            at_most(f"{path}.discontinuous", xp.where(one.runs, flows, 0.0), unit, "",
                    "period in which current flows, and dead times"),
            at_least(f"{path}.pulse", c.t_pulse, flyback.PULSE_MIN * unit, "s", "pulse of S_c"),
        )  # fmt: skip
    error = xp.where(one.runs, waves_ripple.overstated(one), 0.0)
    return at_most(f"{path}.clamp_region", error, waves_ripple.OVERSTATED_MAX * unit, "",
                   "error of the diode's current where S_c delays it")  # fmt: skip


def figures(
    path: str, one: LinkPhase, main: switch.Device, clamp: switch.Device, snubber: Snubber
) -> Ledger:
    """Return what is worth reading besides the parts."""
    xp = array_namespace(one.v_r)
    c = one.circuit
    v = one.v_in + one.v_r_peak
    charge = charge_and_energy(main.charge, v)[0] + charge_and_energy(clamp.charge, v)[0]
    soft = swing.lowest(one.waves.i_peak) * xp.sqrt(c.l_k / (charge * v))
    books = joined(
        booking(f"{path}.ratio", Kind.FIGURE, one.ratio, "turns secondary to primary", ""),
        booking(f"{path}.i_peak", Kind.FIGURE, one.i_peak, "peak current of the primary", "A"),
        booking(f"{path}.zero_voltage", Kind.FIGURE, soft,
                "current for a full swing at the link's highest, over needed: 1 is enough", ""),
        booking(f"{path}.active", Kind.FIGURE, one.run.share, "share of time it runs", ""),
        booking(f"{path}.phases_active", Kind.FIGURE, one.run.phases, "phases that run", ""),
        booking(f"{path}.l_m", Kind.FIGURE, c.l_m, "magnetising inductance wanted", "H"),
        booking(f"{path}.leakage_share", Kind.FIGURE, c.l_k / c.l_m,
                "leakage over magnetising inductance", ""),
        booking(f"{path}.largest_duty", Kind.FIGURE, swing.highest(one.waves.duty),
                "largest duty of S", ""),
        booking(f"{path}.overshoot", Kind.FIGURE, snubber.overshoot,
                "ringing of the diode over its plateau", ""),
    )  # fmt: skip
    if not one.short:
        return books
    return books + booking(f"{path}.pulse", Kind.FIGURE, c.t_pulse, "pulse of S_c", "s")
