"""What the interleaved boost allows while it passes power, and its figures."""

from __future__ import annotations

from models.axes import Array, array_namespace, point_max
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.stages import swing
from models.stages.interleaved_boost_parts import Setting
from models.stages.series_capacitor_boost import PAUSES_MAX, RIPPLE_MAX, STEADY_FROM, TIME_MIN

DUTY_MAX = 0.88  # common practice, no source
LEAST_GAIN = 1.1  # link over module voltage


def books(at: Setting, *, gain: Array, ripple: Array) -> Ledger:
    """Return limits and figures of the stage.

    Parameters
    ----------
    at : Setting
        The stage and its waves.
    gain : Array
        Least link voltage over that of the module [1].
    ripple : Array
        Switching ripple at the module, peak to peak over its voltage [1].
    """
    xp = array_namespace(at.rate)
    path, w, case = at.path, at.waves, at.case
    one = xp.ones_like(at.inductance)
    loaded = case.points.p_ac > 0.0
    full = point_max(case.points.p_ac)
    duty = swing.highest(w.duty)
    shortest = xp.minimum(swing.lowest(w.duty), 1.0 - duty) / at.f
    steady = xp.where(case.points.p_ac > STEADY_FROM * full, at.nodes.active, 1.0)

    def below(actual: Array) -> Array:
        return xp.where(loaded, actual, 0.0)

    def above(actual: Array, bound: float) -> Array:
        return xp.where(loaded, actual, 2.0 * bound)

    return joined(
        at_most(f"{path}.duty", below(duty), DUTY_MAX * one, "", "largest duty of a switch"),
        at_least(f"{path}.shortest", above(shortest, TIME_MIN), TIME_MIN * one, "s",
                 "shortest on or off time of a switch"),
        at_least(f"{path}.gain", above(gain, LEAST_GAIN / 0.99), LEAST_GAIN / 0.99 * one, "",
                 "link over module voltage"),
        at_most(f"{path}.pauses", 1.0 - steady, PAUSES_MAX * one, "",
                "share of time in pauses from half of full power on"),
        at_most(f"{path}.ripple", below(ripple), RIPPLE_MAX * one, "",
                "switching ripple at the module, peak to peak over its voltage"),
        booking(f"{path}.largest_duty", Kind.FIGURE, duty, "largest duty of a switch", ""),
        booking(f"{path}.phases_active", Kind.FIGURE, w.phases, "phases that run", ""),
        booking(f"{path}.active", Kind.FIGURE, at.nodes.active, "share of time it runs", ""),
    )  # fmt: skip
