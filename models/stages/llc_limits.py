"""What an LLC resonant stage allows while it passes power, and its figures."""

from __future__ import annotations

from models.axes import Array, array_namespace, point_max
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.parts import ceramic, film
from models.stages import llc_parts as parts
from models.stages.llc_setting import Setting
from models.stages.llc_tank import Doubler, OwnChoke
from models.stages.series_capacitor_boost import PAUSES_MAX, RIPPLE_MAX, STEADY_FROM
from models.stages.swing import highest, lowest

F_LEAST = 0.4  # f/f₀, lower end of the window [1]; common practice, no source
# Dead time over half a period, which the waves leave out [1]; common practice, no source.
DEAD_MAX = 0.15
# Of the resonant inductance; the rest is the choke [1]; common practice, no source.
LEAKAGE_MAX = 0.8
DOUBLER_RIPPLE_MAX = 0.03  # peak to peak over the voltage of a half, region of the model [1]
# Bias over rated voltage at which a ceramic keeps half: class I keeps all far beyond [1].
CLASS_1 = 100.0


def limits(at: Setting) -> Ledger:
    """Return the limits that both uses share."""
    xp = array_namespace(at.v_out)
    path, points = at.path, at.case.points
    one = xp.ones_like(at.tank.l_r)
    loaded = points.p_ac > 0.0
    t_dead = at.own.t_dead
    swept = lowest(at.i_off) * t_dead / sum(at.swept)
    frequency = highest(at.f_nodes)
    full = point_max(points.p_ac)
    steady = xp.where(points.p_ac > STEADY_FROM * full, at.nodes.active, 1.0)
    ripple = at.module_ripple / at.v_in

    def below(actual: Array) -> Array:
        return xp.where(loaded, actual, 0.0)

    def above(actual: Array, bound: float) -> Array:
        return xp.where(loaded, actual, 2.0 * bound)

    return joined(
        at_least(f"{path}.zero_voltage", above(swept, 1.0), one, "",
                 "charge moved in the dead time, over that of bridge and rectifier"),
        at_most(f"{path}.dead_time", below(2.0 * t_dead * frequency), DEAD_MAX * one, "",
                "dead time over half a period"),
        at_most(f"{path}.pauses", 1.0 - steady, PAUSES_MAX * one, "",
                "share of time in pauses from half of full power on"),
        at_most(f"{path}.ripple", below(ripple), RIPPLE_MAX * one, "",
                "switching ripple at the module, peak to peak over its voltage"),
        _resonant(at),
        *_doubler(at),
        *_choke(at),
        booking(f"{path}.f", Kind.FIGURE, at.f, "mean switching frequency", "Hz"),
        booking(f"{path}.f_0", Kind.FIGURE, at.tank.f_0, "resonant frequency", "Hz"),
        booking(f"{path}.l_r", Kind.FIGURE, at.tank.l_r, "resonant inductance, leakage included",
                "H"),
        booking(f"{path}.c_r", Kind.FIGURE, at.tank.c_r, "resonant capacitance", "F"),
        booking(f"{path}.active", Kind.FIGURE, at.nodes.active, "share of time it runs", ""),
    )  # fmt: skip


def _resonant(at: Setting) -> Ledger:
    """Return what the resonant capacitor bears besides the limits of its kind.

    Film for direct voltage bears alternating voltage up to its rated value peak to peak:
    common practice, no source.  Only class I ceramics keep the resonance where it is.
    """
    x, case, path = at.design.resonant, at.case, f"{at.path}.resonant"
    amplitude = parts.capacitor_peak(at)
    if isinstance(x, ceramic.Design):
        half = case.catalogue[ceramic.TABLE].at("half", x.row)
        return at_least(f"{path}_class", half, CLASS_1 + 0.0 * half, "",
                        "ceramic of class I, whose capacitance keeps")  # fmt: skip
    table = case.catalogue[film.TABLE]
    xp = array_namespace(amplitude)
    alternating = 2.0**1.5 * table.at("v_ac", x.row)
    bound = xp.maximum(table.at("v_rated", x.row), alternating)
    return at_most(f"{path}_alternating", 2.0 * amplitude, bound, "V",
                   "alternating voltage of the resonant film, peak to peak")  # fmt: skip


def _doubler(at: Setting) -> tuple[Ledger, ...]:
    """Return what the halves of a doubler allow."""
    x = at.design.secondary
    if not isinstance(x, Doubler):
        return ()
    xp = array_namespace(at.v_out)
    ripple = 2.0 * parts.doubler_ripple(at, x.half) / lowest(at.v_out)
    held = xp.where(at.case.points.p_ac > 0.0, ripple, 0.0)
    bound = DOUBLER_RIPPLE_MAX + 0.0 * at.tank.l_r
    return (
        at_most(f"{at.path}.doubler", held, bound, "",
                "ripple of a half of the doubler, peak to peak over its voltage"),
    )  # fmt: skip


def _choke(at: Setting) -> tuple[Ledger, ...]:
    """Return what the leakage may take of the resonant inductance beside a choke."""
    if not isinstance(at.design.resonance, OwnChoke):
        return ()
    share = at.tank.leakage / at.tank.l_r
    bound = LEAKAGE_MAX + 0.0 * share
    return (
        at_most(f"{at.path}.leakage", share, bound, "",
                "leakage of the transformer over the resonant inductance"),
    )  # fmt: skip
