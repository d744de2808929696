"""What a dual active bridge allows while it passes power, and its figures."""

from __future__ import annotations

from models.axes import Array, array_namespace, point_max
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.stages import dual_active_bridge_parts as parts
from models.stages.dual_active_bridge_circuit import OwnChoke
from models.stages.dual_active_bridge_waves import most_power
from models.stages.series_capacitor_boost import PAUSES_MAX, RIPPLE_MAX, STEADY_FROM
from models.stages.swing import highest, link_ends, lowest, node_max, node_mean

POWER_MAX = 0.8  # of what the phase shift can pass; common practice, no source [1]
# Shortest line of the current from half of full power on: below it the edges' own time
# decides on the power; common practice, no source [s].
SHORTEST = 50e-9
# Dead time over half a period, which the waves leave out [1]; common practice, no source.
DEAD_MAX = 0.15
# Of the series inductance; the rest is the choke [1]; common practice, no source.
LEAKAGE_MAX = 0.8
# Ripple of a blocking capacitor over its side's voltage, peak to peak: region of the waves [1].
BLOCKING_MAX = 0.02


def limits(at: parts.Setting) -> Ledger:
    """Return the limits of the stage."""
    xp = array_namespace(at.v_out)
    path, points, w, circuit = at.path, at.case.points, at.waves, at.circuit
    one = xp.ones_like(circuit.l_s)
    loaded = points.p_ac > 0.0
    strong = points.p_ac > STEADY_FROM * point_max(points.p_ac)
    least = link_ends(at.v_out)[0]
    passed = highest(w.power) / most_power(circuit, v_1=at.v_in, v_2=least / circuit.ratio)
    shortest = xp.where(w.triangular, xp.minimum(w.time[0], w.time[1]), w.time[0])
    dead = xp.maximum(at.design.switch.t_dead, at.design.rectifier.t_dead)
    module, link = parts.blocking_ripple(at)
    ripple = parts.module_ripple(at) / at.v_in

    def below(actual: Array) -> Array:
        return xp.where(loaded, actual, 0.0)

    return joined(
        at_most(f"{path}.power", below(passed), POWER_MAX * one, "",
                "power over the most that a phase shift passes at the lowest link"),
        at_least(f"{path}.shortest",
                 xp.where(strong, 0.5 * lowest(shortest) / circuit.f, 2.0 * SHORTEST),
                 SHORTEST * one, "s", "shortest line of the current from half of full power on"),
        at_most(f"{path}.dead_time", 2.0 * dead * circuit.f, DEAD_MAX * one, "",
                "longer dead time over half a period"),
        at_most(f"{path}.blocking_ripple", below(module / at.v_in), BLOCKING_MAX * one, "",
                "ripple of the primary's blocking capacitors over the module's voltage"),
        at_most(f"{path}.blocking_link_ripple", below(link / least), BLOCKING_MAX * one, "",
                "ripple of the secondary's blocking capacitors over the link's voltage"),
        at_most(f"{path}.pauses", xp.where(strong, 1.0 - at.nodes.active, 0.0), PAUSES_MAX * one,
                "", "share of time in pauses from half of full power on"),
        at_most(f"{path}.ripple", below(ripple), RIPPLE_MAX * one, "",
                "switching ripple at the module, peak to peak over its voltage"),
        *_choke(at),
    )  # fmt: skip


def _choke(at: parts.Setting) -> tuple[Ledger, ...]:
    """Return what the leakage may take of the series inductance beside a choke."""
    if not isinstance(at.design.series, OwnChoke):
        return ()
    share = at.leakage / at.circuit.l_s
    bound = LEAKAGE_MAX + 0.0 * share
    return (
        at_most(f"{at.path}.leakage", share, bound, "",
                "leakage of the transformer over the series inductance"),
    )  # fmt: skip


def figures(at: parts.Setting) -> Ledger:
    """Return what is worth reading besides the parts."""
    xp = array_namespace(at.v_out)
    path, w, circuit = at.path, at.waves, at.circuit
    shift = node_max(xp.where(w.triangular, 0.0, 180.0 * w.shift))
    triangular = node_mean(xp.where(w.triangular, 1.0, 0.0) + 0.0 * w.v_2)
    moved, moved_link = parts.moved_charge(at)
    return joined(
        booking(f"{path}.l_s", Kind.FIGURE, circuit.l_s,
                "series inductance at the module's side, leakage included", "H"),
        booking(f"{path}.ratio", Kind.FIGURE, circuit.ratio, "turns secondary to primary", ""),
        booking(f"{path}.shift", Kind.FIGURE, shift,
                "largest phase shift; 0 where the current is triangular", "°"),
        booking(f"{path}.triangular", Kind.FIGURE, triangular,
                "share of the running time with triangular current", ""),
        booking(f"{path}.zero_voltage", Kind.FIGURE, lowest(moved),
                "charge that a leg at the module moves in its dead time over that of its node; "
                "what is missing is burnt", ""),
        booking(f"{path}.zero_voltage_link", Kind.FIGURE, lowest(moved_link),
                "the same of a leg at the link", ""),
        booking(f"{path}.active", Kind.FIGURE, at.nodes.active, "share of time it runs", ""),
    )  # fmt: skip
