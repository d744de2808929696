"""What the coupled-inductor boost allows while it passes power, and its figures."""

from __future__ import annotations

import math

from models.axes import Array, array_namespace, point_max
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.stages import coupled_boost_waves as forms
from models.stages import swing
from models.stages.coupled_boost_parts import Setting
from models.stages.coupled_boost_snubber import Snubber
from models.stages.series_capacitor_boost import PAUSES_MAX, RIPPLE_MAX, STEADY_FROM, TIME_MIN

DUTY_MAX = 0.85  # common practice, no source
# Region in which the forms were compared with the switched circuit [1].
RATIO_LEAST, RATIO_MOST = 1.0, 8.0
DROP_MAX = 0.12  # voltage of the leakage while D_c conducts, over v_out − v_in
RESONANCE_MIN = 12.0  # ring of C_c with the leakage over the conduction of D_c
LEAST_GAIN = 1.5  # link over module voltage


def limits(at: Setting, *, gain: Array, ripple: Array) -> Ledger:
    """Return the limits of the stage.

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
    path, w, case, circuit = at.path, at.waves, at.case, at.circuit
    one = xp.ones_like(circuit.f)
    loaded = case.points.p_ac > 0.0
    full = point_max(case.points.p_ac)
    duty, least = swing.highest(w.duty), swing.lowest(w.duty)
    shortest = xp.minimum(least, 1.0 - duty) / circuit.f
    ring = 2.0 * math.pi * xp.sqrt(circuit.l_k * at.c_clamp) * circuit.f
    steady = xp.where(case.points.p_ac > STEADY_FROM * full, at.nodes.active, 1.0)

    def below(actual: Array) -> Array:
        return xp.where(loaded, actual, 0.0)

    def above(actual: Array, bound: float) -> Array:
        return xp.where(loaded, actual, 2.0 * bound)

    return joined(
        at_most(f"{path}.duty", below(duty), DUTY_MAX * one, "", "largest duty of the switch"),
        at_least(f"{path}.shortest", above(shortest, TIME_MIN), TIME_MIN * one, "s",
                 "shortest on or off time of the switch"),
        at_least(f"{path}.turns_least", circuit.ratio, RATIO_LEAST * one, "",
                 "ratio of turns within the region of the model"),
        at_most(f"{path}.turns_most", circuit.ratio, RATIO_MOST * one, "",
                "ratio of turns within the region of the model"),
        at_most(f"{path}.reset", below(swing.highest(w.crowding)), forms.RESET_MOST * one, "",
                "conduction of the clamp diode over the time that the switch leaves it"),
        at_most(f"{path}.leakage", below(swing.highest(w.drop)), DROP_MAX * one, "",
                "voltage of the leakage while the clamp conducts, over link less module"),
        at_least(f"{path}.resonance",
                 above(ring / swing.highest(w.reset), RESONANCE_MIN), RESONANCE_MIN * one, "",
                 "period of clamp capacitor and leakage over conduction of the clamp diode"),
        at_least(f"{path}.gain", above(gain, LEAST_GAIN / 0.99), LEAST_GAIN / 0.99 * one, "",
                 "link over module voltage"),
        at_most(f"{path}.pauses", 1.0 - steady, PAUSES_MAX * one, "",
                "share of time in pauses from half of full power on"),
        at_most(f"{path}.ripple", below(ripple), RIPPLE_MAX * one, "",
                "switching ripple at the module, peak to peak over its voltage"),
    )  # fmt: skip


def figures(at: Setting, snubber: Snubber) -> Ledger:
    """Return what is worth reading besides the parts."""
    path, circuit = at.path, at.circuit
    return joined(
        booking(f"{path}.ratio", Kind.FIGURE, circuit.ratio, "turns secondary to primary", ""),
        booking(f"{path}.l_m", Kind.FIGURE, circuit.l_m, "magnetising inductance wanted", "H"),
        booking(f"{path}.leakage_share", Kind.FIGURE, circuit.l_k / circuit.l_m,
                "leakage over magnetising inductance", ""),
        booking(f"{path}.largest_duty", Kind.FIGURE, swing.highest(at.waves.duty),
                "largest duty of the switch", ""),
        booking(f"{path}.overshoot", Kind.FIGURE, snubber.overshoot,
                "ringing of the output diode over its plateau", ""),
        booking(f"{path}.active", Kind.FIGURE, at.nodes.active, "share of time it runs", ""),
    )  # fmt: skip
