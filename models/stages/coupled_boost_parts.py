"""Parts of the coupled-inductor boost: its stress, averaged over the link's swing.

Losses of edges are evaluated at the running mean of current and voltage over the swing
(rms for the voltage).
"""

from __future__ import annotations

import dataclasses
import functools
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import capacitor, diode, switch, transformer
from models.parts.part import Part
from models.physics.harmonics import pulse_harmonics
from models.physics.interleaving import Chain, summed_charge, summed_square
from models.stages import coupled_boost_waves as forms
from models.stages.coupled_boost_snubber import Snubber
from models.stages.swing import Nodes, highest, lowest, node_mean
from models.stress import (
    CapacitorStress,
    Commutation,
    DiodeStress,
    Edge,
    Flux,
    Moved,
    SwitchStress,
    TransformerStress,
    WindingStress,
)

HARMONICS = 8
V_LEAST = 1.0  # [V], divisor floor
I_LEAST = 1e-6  # [A], divisor floor


@dataclasses.dataclass(frozen=True)
class Setting:
    """What every part of one stage is placed with."""

    path: str
    phases: int
    circuit: forms.Circuit
    v_in: Array  # [V]
    lift: Array  # [V], of the link above its swing, at load rejection
    waves: forms.Waves  # of one phase
    nodes: Nodes
    c_clamp: Array  # [F], of one phase
    case: Case

    @functools.cached_property
    def rate(self) -> Array:
        """Switching edges per second, pauses left out [Hz]."""
        return self.circuit.f * self.nodes.active

    @functools.cached_property
    def primary(self) -> Chain:
        """Current that a phase draws [A]."""
        return forms.primary(self.waves)

    @functools.cached_property
    def secondary(self) -> Chain:
        """Current that a phase gives, times n [A]."""
        return forms.secondary(self.waves)

    @functools.cached_property
    def input_charge(self) -> Array:
        """Charge that the module's capacitors give and take in a period, times f [A]."""
        return highest(summed_charge(self.primary, self.phases))

    @functools.cached_property
    def clamp_ripple(self) -> Array:
        """Switching ripple of C_c, peak to peak [V]."""
        charge = highest(self.waves.capacitor_charge(self.circuit.ratio))
        return charge / (self.circuit.f * self.c_clamp)

    @functools.cached_property
    def v_clamp(self) -> Array:
        """Highest voltage of C_c [V]."""
        raised = self.lift / (1.0 + self.circuit.ratio)
        return highest(self.waves.v_clamp) + raised + 0.5 * self.clamp_ripple

    @functools.cached_property
    def v_on(self) -> Array:
        """Voltage of S before turn-on [V]."""
        return self.nodes.running_rms(self.waves.v_on)

    @functools.cached_property
    def v_diode(self) -> Array:
        """Voltage that the output diode blocks, without ringing [V]."""
        return self.nodes.running_rms(self.waves.v_diode)


def wound(at: Setting, design: transformer.Design) -> Part:
    """Return the coupled inductors of all phases.

    Ripple of each winding is spread over the harmonics as that of a straight pulse of equal
    rms value.  The working voltage between the windings is no safety matter here; the
    insulation of the part is, for a stage that does not isolate, more than needed.
    """
    w, nodes = at.waves, at.nodes
    n = at.circuit.ratio
    flux = Flux(
        f=at.circuit.f,
        linkage_pp=nodes.running_rms(w.linkage),
        duty=nodes.running(w.flux_rise),
        flat=nodes.running(_rest(w)),
        active=nodes.active,
    )
    stress = TransformerStress(
        l_m=at.circuit.l_m,
        i_m_peak=highest(w.i_peak),
        windings=(
            _winding(at, w.i_in, w.switch_square + w.clamp_square, w.duty,
                     ends=(w.i_valley, w.i_peak)),
            _winding(at, w.i_out, w.secondary_square / (n * n), w.fall,
                     ends=(w.i_turn, w.i_end)),
        ),
        flux=(flux,),
        v_insulation=at.v_clamp,
        alternating=True,
    )  # fmt: skip
    return transformer.place(f"{at.path}.transformer", design, stress, at.case, at.phases)


def _rest(w: forms.Waves) -> Array:
    """Return the share of the period without voltage at the windings [1]."""
    xp = array_namespace(w.duty)
    return xp.clip(1.0 - w.duty - w.fall, 0.0, 0.95)


def _winding(
    at: Setting, mean: Array, square: Array, width: Array, *, ends: tuple[Array, Array]
) -> WindingStress:
    """Return one winding; pauses of bursts count in its mean squares."""
    xp = array_namespace(square)
    nodes = at.nodes
    direct = nodes.time(mean * mean)
    first, last = (nodes.running(i) for i in ends)
    ramp = 2.0 * (last - first) / xp.maximum(last + first, I_LEAST)
    ripple = xp.maximum(nodes.time(square) - direct, 0.0)
    parts = pulse_harmonics(ripple, nodes.running(width), HARMONICS, ramp)
    return WindingStress(
        i_dc=xp.sqrt(direct),
        i_line_rms=xp.zeros_like(direct),
        f=at.circuit.f,
        harmonics=tuple(xp.sqrt(part) for part in parts),
    )


def main_switch(at: Setting, design: switch.Design, clamp: diode.DiodeDevice) -> Part:
    """Return S: the leakage holds its current at turn-on, C_c its voltage at turn-off.

    Its turn-off current is scaled so that voltage times current is right.  The charge of
    the output diode moves through the leakage and is burnt in the snubber.  The ring of the
    node after D_c has stopped, L_k·I_pk/t₁ high, is left out: some milliwatts.
    """
    xp = array_namespace(at.rate)
    w, nodes = at.waves, at.nodes
    v_clamp = nodes.running_rms(w.v_clamp)
    edge = Edge(
        rate=at.rate,
        i_on=xp.zeros_like(at.rate),
        i_off=nodes.running(w.i_peak) * v_clamp / xp.maximum(at.v_on, V_LEAST),
        v=at.v_on,
        others=(Moved(clamp.charge, xp.maximum(v_clamp - at.v_on, 0.0), v_clamp),),
    )
    stress = SwitchStress(
        i_rms=xp.sqrt(nodes.time(w.switch_square)),
        i_reverse_dead=xp.zeros_like(at.rate),
        v_block=at.v_clamp,
        edges=(edge,),
    )
    return switch.place(f"{at.path}.switch", design, stress, at.case, at.phases)


def clamp_diode(at: Setting, design: diode.Design) -> Part:
    """Return D_c, whose current ends by itself: no recovery."""
    xp = array_namespace(at.rate)
    stress = DiodeStress(
        i_avg=at.nodes.time(at.waves.i_out),
        i_rms=xp.sqrt(at.nodes.time(at.waves.clamp_square)),
        v_block=at.v_clamp,
    )
    return diode.place(f"{at.path}.clamp", design, stress, at.case, at.phases)


def rectifier(at: Setting, design: diode.Design, snubber: Snubber) -> Part:
    """Return D_o: its current ends at (V_i + e)/(n·L_k), then its voltage rings."""
    xp = array_namespace(at.rate)
    w, n = at.waves, at.circuit.ratio
    slope = w.v_on / (n * at.circuit.l_k)
    plateau = highest(w.v_diode) + (n / (1.0 + n)) * at.lift
    kicked = highest(snubber.kicked(w.i_end / n, slope))
    ends = at.nodes.running(w.i_end) / n
    stress = DiodeStress(
        i_avg=at.nodes.time(w.i_out),
        i_rms=xp.sqrt(at.nodes.time(w.secondary_square)) / n,
        v_block=plateau * (1.0 + snubber.overshoot) + kicked,
        commutations=(Commutation(at.rate, ends, at.v_diode),),
    )
    return diode.place(f"{at.path}.rectifier", design, stress, at.case, at.phases)


def clamp_capacitor(at: Setting, design: capacitor.Film) -> Part:
    """Return the clamp capacitors of all phases as one bank; the link's swing reaches them."""
    xp = array_namespace(at.rate)
    w, n = at.waves, at.circuit.ratio
    bank = dataclasses.replace(design, count=at.phases * design.count)
    swing = highest(w.v_clamp) - lowest(w.v_clamp)
    omega = 4.0 * math.pi * at.case.points.f_grid
    stress = CapacitorStress(
        v_mean=node_mean(w.v_clamp),
        v_max=at.v_clamp,
        v_swing=swing,
        i_line_rms=omega * (at.phases * at.c_clamp) * swing * (0.5 / math.sqrt(2.0)),
        i_hf_rms=at.phases * xp.sqrt(at.nodes.time(w.capacitor_square(n))),
        f_hf=at.circuit.f,
    )
    return capacitor.place(f"{at.path}.clamp_capacitor", bank, stress, at.case)


def module_port(at: Setting, design: capacitor.Ceramic) -> Part:
    """Return the capacitors at the module; pauses count as ripple of their current."""
    xp = array_namespace(at.rate)
    zero = xp.zeros_like(at.rate)
    current = at.phases * at.waves.i_in
    drawn = at.nodes.share * current
    inside = summed_square(at.primary, at.phases) + current * current
    square = at.nodes.time(inside) - node_mean(drawn * drawn)
    stress = CapacitorStress(
        v_mean=at.v_in + zero,
        v_max=at.v_in + 0.5 * switching_ripple(at, design),
        v_swing=zero,
        i_line_rms=zero,
        i_hf_rms=xp.sqrt(xp.maximum(square, 0.0)),
        f_hf=at.phases * at.circuit.f,
    )
    return capacitor.place(f"{at.path}.input", design, stress, at.case)


def switching_ripple(at: Setting, design: capacitor.Ceramic) -> Array:
    """Return the switching ripple at the module, peak to peak [V]."""
    c = capacitor.capacitance_at(design, at.v_in, at.case)
    return at.input_charge / (at.circuit.f * c)


def link_current(at: Setting) -> Array:
    """Return the rms current into the link without its mean at every instant [A]."""
    xp = array_namespace(at.rate)
    n, phases = at.circuit.ratio, at.phases
    mean = phases * at.waves.i_out
    inside = summed_square(at.secondary, phases) / (n * n) + mean * mean
    given = at.nodes.share * mean
    return xp.sqrt(xp.maximum(at.nodes.time(inside) - node_mean(given * given), 0.0))
