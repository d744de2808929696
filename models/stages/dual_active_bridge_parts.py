"""Switches and capacitors of a dual active bridge, averaged over the link's swing."""

from __future__ import annotations

import dataclasses
import functools

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import capacitor, switch
from models.parts.part import Part
from models.physics.semiconductor import charge_and_energy
from models.stages import dual_active_bridge_edges as edges
from models.stages.dual_active_bridge_circuit import Design
from models.stages.dual_active_bridge_edges import Turn
from models.stages.dual_active_bridge_waves import Circuit, Waves
from models.stages.swing import Nodes, highest, node_mean, smallest
from models.stress import CapacitorStress, Edge, SwitchStress

# Edges of a triangle without current have neither sign: so many of them find the full
# voltage, the others none [1]; common practice, no source.
HARD_SHARE = 0.5
# Direct voltage of a blocking capacitor over its side's: two edges of a bridge apart by
# 1 % of half a period [1]; common practice, no source.
UNEQUAL = 0.01


@dataclasses.dataclass(frozen=True)
class Setting:
    """What every part of one stage is placed with; arrays along the nodes of the swing."""

    path: str
    design: Design
    circuit: Circuit
    leakage: Array  # [H], of the transformer
    waves: Waves
    v_in: Array  # [V]
    v_out: Array  # [V]
    v_top: Array  # [V], highest of the link, load rejection included
    nodes: Nodes
    case: Case

    @property
    def triangles(self) -> bool:
        """Whether the control knows triangular currents."""
        return self.design.modulation == "triangular"

    @functools.cached_property
    def rate(self) -> Array:
        """Switching periods per second, pauses left out [Hz]."""
        return self.circuit.f * self.nodes.active

    @functools.cached_property
    def square(self) -> Array:
        """Mean square of the primary's current [A²], pauses included."""
        return self.nodes.time(self.waves.square)

    @functools.cached_property
    def secondary_square(self) -> Array:
        """Mean square of the secondary's current [A²], pauses included."""
        return self.nodes.time(self.waves.secondary_square) / self.circuit.ratio**2

    @functools.cached_property
    def turn_module(self) -> Turn:
        """How the legs at the module turn."""
        return edges.at_module(self.circuit, self.waves, triangles=self.triangles)

    @functools.cached_property
    def turns_link(self) -> tuple[Turn, ...]:
        """How the legs at the link turn."""
        return edges.at_link(self.circuit, self.waves, triangles=self.triangles)

    @functools.cached_property
    def node_rate(self) -> Array:
        """Edges of a switch per second [Hz], along the nodes."""
        return self.circuit.f * self.nodes.share


def module_switches(at: Setting) -> Part:
    """Return the four switches at the module."""
    xp = array_namespace(at.v_out)
    turn, v = at.turn_module, at.v_in
    own = switch.device(at.design.switch, at.case)
    turned = [_edge(own, turn, at.node_rate * turn.share, v)]
    zero = 0.0 * at.rate
    if at.triangles:
        still = node_mean(at.node_rate * (1.0 - turn.share))
        hard = (switch.moved(own, 0.0, v),)
        turned += [
            Edge(HARD_SHARE * still, zero, zero, v, hard),
            Edge((1.0 - HARD_SHARE) * still, zero, zero, zero),
        ]
    stress = SwitchStress(
        i_rms=xp.sqrt(0.5 * at.square),
        i_reverse_dead=_waiting(own, (turn,), at.node_rate, v),
        v_block=v + zero,
        edges=tuple(turned),
    )
    return switch.place(f"{at.path}.switch", at.design.switch, stress, at.case, 4)


def link_switches(at: Setting) -> Part:
    """Return the four switches at the link."""
    xp = array_namespace(at.v_out)
    own, v, rate = switch.device(at.design.rectifier, at.case), at.v_out, at.node_rate
    stress = SwitchStress(
        i_rms=xp.sqrt(0.5 * at.secondary_square),
        i_reverse_dead=_waiting(own, at.turns_link, rate, v),
        v_block=at.v_top + 0.0 * at.rate,
        edges=tuple(_edge(own, turn, rate * turn.share, v) for turn in at.turns_link),
    )
    return switch.place(f"{at.path}.rectifier", at.design.rectifier, stress, at.case, 4)


def _edge(own: switch.Device, turn: Turn, rate: Array, v: Array) -> Edge:
    """Return the edges of one leg."""
    return Edge(
        rate=rate,
        i_on=-turn.i,
        i_off=turn.i,
        v=v,
        others=(switch.moved(own, 0.0, v),),
        i_drive=turn.i,
        l_drive=turn.inductance,
        v_far=turn.v_far,
    )


def _waiting(own: switch.Device, turns: tuple[Turn, ...], rate: Array, v: Array) -> Array:
    """Return the mean current in reverse conduction during dead times [A].

    A current of the right sign first moves the charge of its node; one of the wrong sign
    flows all the time in the switch that just turned off.
    """
    xp = array_namespace(v)
    charge = 2.0 * charge_and_energy(own.charge, v)[0]
    waiting = 0.0 * rate
    for turn in turns:
        moved = turn.i * own.t_dead
        waiting = waiting + turn.share * xp.maximum(xp.maximum(moved - charge, -moved), 0.0)
    return node_mean(rate * waiting)


def blocking_ripple(at: Setting) -> tuple[Array, Array]:
    """Return the ripple of the blocking capacitors of either side, peak to peak [V].

    ΔV = I/(2·f·C) with the rms for the mean current: up to a sixth too high, more at light
    load.
    """
    xp = array_namespace(at.v_out)
    x, w, double = at.design, at.waves, 2.0 * at.circuit.f
    first = xp.sqrt(highest(w.square))
    second = xp.sqrt(highest(w.secondary_square)) / at.circuit.ratio
    bias = UNEQUAL * at.v_in
    return (
        first / (double * capacitor.capacitance_at(x.blocking, bias, at.case)),
        second / (double * capacitor.capacitance(x.blocking_link, at.case)),
    )


def blocking(at: Setting) -> tuple[Part, Part]:
    """Return the capacitors in series with primary and secondary."""
    xp = array_namespace(at.v_out)
    x, ripple = at.design, blocking_ripple(at)
    first = _in_series(at, UNEQUAL * at.v_in, ripple[0], xp.sqrt(at.square))
    second = _in_series(at, UNEQUAL * at.v_top, ripple[1], xp.sqrt(at.secondary_square))
    return (
        capacitor.place(f"{at.path}.blocking", x.blocking, first, at.case),
        capacitor.place(f"{at.path}.blocking_link", x.blocking_link, second, at.case),
    )


def _in_series(at: Setting, v_mean: Array, ripple: Array, i_rms: Array) -> CapacitorStress:
    """Return the stress of a capacitor in series with a winding."""
    zero = 0.0 * i_rms
    return CapacitorStress(
        v_mean=v_mean + zero,
        v_max=v_mean + 0.5 * ripple + zero,
        v_swing=zero,
        i_line_rms=zero,
        i_hf_rms=i_rms,
        f_hf=at.circuit.f,
    )


def module_ripple(at: Setting) -> Array:
    """Return the switching ripple at the module, peak to peak [V]."""
    c = capacitor.capacitance_at(at.design.input, at.v_in, at.case)
    return highest(at.waves.input_charge) / (2.0 * at.circuit.f * c)


def module_port(at: Setting) -> Part:
    """Return the capacitors at the module; pauses count as ripple of their current."""
    xp = array_namespace(at.v_out)
    mean = at.nodes.time(at.waves.power) / at.v_in
    square = at.nodes.time(at.waves.drawn_square) - mean * mean
    zero = 0.0 * mean
    stress = CapacitorStress(
        v_mean=at.v_in + zero,
        v_max=at.v_in + 0.5 * module_ripple(at),
        v_swing=zero,
        i_line_rms=zero,
        i_hf_rms=xp.sqrt(xp.maximum(square, 0.0)),
        f_hf=2.0 * at.circuit.f,
    )
    return capacitor.place(f"{at.path}.input", at.design.input, stress, at.case)


def link_current(at: Setting) -> Array:
    """Return the rms current into the link without its mean at every instant [A]."""
    xp = array_namespace(at.v_out)
    mean = at.nodes.share * at.waves.power / at.v_out
    square = at.nodes.time(at.waves.given_square) / at.circuit.ratio**2
    return xp.sqrt(xp.maximum(square - node_mean(mean * mean), 0.0))


def moved_charge(at: Setting) -> tuple[Array, Array]:
    """Return the charge that a leg moves in its dead time over that of its node [1].

    Of the leg at the module and of that at the link that move least.
    """
    xp = array_namespace(at.v_out)
    turn, x = at.turn_module, at.design
    module = switch.device(x.switch, at.case)
    link = switch.device(x.rectifier, at.case)
    first = xp.where(xp.asarray(turn.share) < 1.0, xp.minimum(turn.i, 0.0), turn.i)
    second = smallest([turn.i for turn in at.turns_link])
    return (
        first * module.t_dead / (2.0 * charge_and_energy(module.charge, at.v_in)[0]),
        second * link.t_dead / (2.0 * charge_and_energy(link.charge, at.v_out)[0]),
    )
