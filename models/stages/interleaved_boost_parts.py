"""Parts of the interleaved boost: its stress, averaged over the link's swing.

Where phases are shed they take turns, so that each bears the mean of all.  Losses of edges
are evaluated at the running mean of current and voltage over the swing (rms for the
voltage).
"""

from __future__ import annotations

import dataclasses
import functools

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import capacitor, diode, inductor, switch
from models.parts.part import Part
from models.physics.harmonics import triangle_harmonics
from models.physics.interleaving import Chain, summed_charge, summed_square
from models.stages import interleaved_boost_waves as forms
from models.stages.swing import Nodes, highest, node_mean
from models.stress import (
    CapacitorStress,
    Commutation,
    DiodeStress,
    Edge,
    Flux,
    InductorStress,
    Moved,
    SwitchStress,
    WindingStress,
)

HARMONICS = 3  # entries of the choke's ripple spectrum
V_LEAST = 1.0  # [V], divisor floor


@dataclasses.dataclass(frozen=True)
class Setting:
    """What every part of one stage is placed with."""

    path: str
    phases: int  # that are built
    f: Array  # [Hz]
    inductance: Array  # [H]
    v_in: Array  # [V]
    v_top: Array  # [V], highest of the link
    waves: forms.Waves
    nodes: Nodes
    case: Case

    @functools.cached_property
    def share(self) -> Array:
        """Share of the phases that run [1]."""
        return self.waves.phases * (1.0 / self.phases)

    @functools.cached_property
    def busy(self) -> Array:
        """Share of time in which a phase runs [1]."""
        return self.nodes.active * self.share

    @functools.cached_property
    def rate(self) -> Array:
        """Switching edges of a phase per second, pauses left out [Hz]."""
        return self.f * self.busy

    @functools.cached_property
    def drawn(self) -> Chain:
        """Current that a phase draws [A]."""
        return forms.drawn(self.waves)

    @functools.cached_property
    def input_charge(self) -> Array:
        """Charge that the module's capacitors give and take in a period, times f [A]."""
        return highest(summed_charge(self.drawn, self.waves.phases))

    @functools.cached_property
    def v_on(self) -> Array:
        """Voltage of S before turn-on [V]."""
        return self.nodes.running_rms(self.waves.v_on)

    @functools.cached_property
    def v_out(self) -> Array:
        """Voltage of the link while the stage runs [V]."""
        return self.nodes.running_rms(self.waves.v_out)

    @functools.cached_property
    def turn_on(self) -> Array:
        """Current of S at turn-on [A]."""
        return self.nodes.running(self.waves.i_valley)

    @functools.cached_property
    def turn_off(self) -> Array:
        """Current of S at turn-off [A]."""
        return self.nodes.running(self.waves.i_peak)

    def rms(self, square: Array) -> Array:
        """Return the rms value of one phase by its mean square while it runs [A]."""
        return array_namespace(square).sqrt(self.share * self.nodes.time(square))


def chokes(at: Setting, design: inductor.Design) -> Part:
    """Return the chokes of all phases as pieces alike."""
    xp = array_namespace(at.rate)
    w, nodes = at.waves, at.nodes
    direct = at.rms(w.i_in * w.i_in)
    total = at.rms(w.choke_square)
    variance = xp.maximum(total * total - direct * direct, 0.0)
    duty = nodes.running(w.duty)
    ripple = triangle_harmonics(xp.sqrt(12.0 * variance), duty, HARMONICS)
    flux = Flux(
        f=at.f,
        linkage_pp=at.inductance * nodes.running_rms(w.i_peak - w.i_valley),
        duty=duty,
        flat=nodes.running(xp.clip(1.0 - w.duty - w.fall, 0.0, 0.95)),
        active=at.busy,
    )
    winding = WindingStress(
        i_dc=direct,
        i_line_rms=xp.zeros_like(direct),
        f=at.f,
        harmonics=tuple(xp.sqrt(h) for h in ripple),
    )
    stress = InductorStress(at.inductance, highest(w.i_peak), winding, (flux,))
    return inductor.place(f"{at.path}.choke", design, stress, at.case, count=at.phases)


def switches(
    at: Setting,
    design: switch.Design,
    own: switch.Device,
    rectifier: switch.Device | diode.DiodeDevice,
) -> Part:
    """Return S of all phases.

    Its turn-off current is scaled so that voltage times current is right.
    """
    xp = array_namespace(at.rate)
    soft = isinstance(rectifier, switch.Device)
    if isinstance(rectifier, switch.Device):
        others = switch.moved(rectifier, 0.0, at.v_on)
    else:
        others = Moved(rectifier.charge, xp.maximum(at.v_out - at.v_on, 0.0), at.v_out)
    edge = Edge(
        rate=at.rate,
        i_on=at.turn_on,
        i_off=at.turn_off * at.v_out / xp.maximum(at.v_on, V_LEAST),
        v=at.v_on,
        others=(others,),
        i_drive=-at.turn_on if soft else None,
        l_drive=at.inductance if soft else None,
        v_far=at.v_on - at.v_in,
    )
    stress = SwitchStress(
        i_rms=at.rms(at.waves.switch_square),
        i_reverse_dead=xp.maximum(-at.turn_on, 0.0) * at.rate * own.t_dead,
        v_block=at.v_top,
        edges=(edge,),
    )
    return switch.place(f"{at.path}.switch", design, stress, at.case, at.phases)


def diodes(at: Setting, design: diode.Design) -> Part:
    """Return D of all phases as diodes."""
    stress = DiodeStress(
        i_avg=at.share * at.nodes.time(at.waves.i_out),
        i_rms=at.rms(at.waves.rectifier_square),
        v_block=at.v_top,
        commutations=(Commutation(at.rate, at.turn_on, at.v_out),),
    )
    return diode.place(f"{at.path}.rectifier", design, stress, at.case, at.phases)


def transistors(
    at: Setting, design: switch.Design, rectifier: switch.Device, own: switch.Device
) -> Part:
    """Return D of all phases as transistors: soft turn-on after S turns off."""
    xp = array_namespace(at.rate)
    edge = Edge(
        rate=at.rate,
        i_on=xp.zeros_like(at.rate),
        i_off=-at.turn_on,
        v=at.v_out,
        others=(Moved(own.charge, 0.0, at.v_out),),
        i_drive=at.turn_off,
        l_drive=at.inductance,
        v_far=at.v_in,
    )
    waiting = rectifier.t_dead * at.turn_off + own.t_dead * xp.maximum(at.turn_on, 0.0)
    stress = SwitchStress(
        i_rms=at.rms(at.waves.rectifier_square),
        i_reverse_dead=at.rate * waiting,
        v_block=at.v_top,
        edges=(edge,),
    )
    return switch.place(f"{at.path}.rectifier", design, stress, at.case, at.phases)


def module_port(at: Setting, design: capacitor.Ceramic) -> Part:
    """Return the capacitors at the module; pauses count as ripple of their current."""
    xp = array_namespace(at.rate)
    zero = xp.zeros_like(at.rate)
    w = at.waves
    current = w.phases * w.i_in
    drawn = at.nodes.share * current
    inside = summed_square(at.drawn, w.phases) + current * current
    square = at.nodes.time(inside) - node_mean(drawn * drawn)
    stress = CapacitorStress(
        v_mean=at.v_in + zero,
        v_max=at.v_in + 0.5 * switching_ripple(at, design),
        v_swing=zero,
        i_line_rms=zero,
        i_hf_rms=xp.sqrt(xp.maximum(square, 0.0)),
        f_hf=w.phases * at.f,
    )
    return capacitor.place(f"{at.path}.input", design, stress, at.case)


def switching_ripple(at: Setting, design: capacitor.Ceramic) -> Array:
    """Return the switching ripple at the module, peak to peak [V]."""
    c = capacitor.capacitance_at(design, at.v_in, at.case)
    return at.input_charge / (at.f * c)


def link_current(at: Setting) -> Array:
    """Return the rms current into the link without its mean at every instant [A]."""
    xp = array_namespace(at.rate)
    given = at.nodes.share * at.waves.phases * at.waves.i_out
    square = at.nodes.time(at.waves.link_square) - node_mean(given * given)
    return xp.sqrt(xp.maximum(square, 0.0))
