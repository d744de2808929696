"""Parts of an LLC resonant stage, their stress averaged over the swing of the link."""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.parts import capacitor, diode, inductor, switch, transformer
from models.parts.part import Part
from models.stages.llc_setting import Setting
from models.stages.llc_tank import Doubler, OwnChoke
from models.stages.swing import highest, link_ends, node_mean
from models.stress import (
    CapacitorStress,
    Commutation,
    DiodeStress,
    Edge,
    Flux,
    InductorStress,
    SwitchStress,
    TransformerStress,
    WindingStress,
)

# A sine counted as a triangle of equal height loses a tenth less in a core of α = 1.5,
# β = 2.5; a flux this much higher makes up for it [1]; computed here.
SINE_FLUX = 1.037
UNBALANCE = 0.1  # [1], swing between real windings over the link; common practice, no source


def switches(at: Setting) -> Part:
    """Return all switches at the module: soft turn-on by what the bridge turns off.

    What the rectifiers' charge takes of that current is missing at the bridge; what is
    left of the swing is burnt.
    """
    xp = array_namespace(at.v_out)
    own = at.own
    leg, rectifiers = at.swept
    i_off = at.nodes.running(at.i_off)
    driving = i_off - rectifiers / own.t_dead
    v = at.v_in + 0.0 * i_off
    edge = Edge(
        rate=at.rate,
        i_on=-i_off,
        i_off=i_off,
        v=v,
        others=(switch.moved(own, 0.0, v),),
        i_drive=driving,
    )
    waiting = xp.maximum(i_off * own.t_dead - leg - rectifiers, 0.0)
    stress = SwitchStress(
        i_rms=xp.sqrt(0.5 * at.tank_square),
        i_reverse_dead=at.rate * waiting,
        v_block=v,
        edges=(edge,),
    )
    count = 4 if at.design.primary == "full" else 2
    return switch.place(f"{at.path}.switch", at.design.switch, stress, at.case, count)


def rectifiers(at: Setting) -> Part:
    """Return all rectifiers; their charge is moved from the primary and counted there.

    Above resonance they give up the current they have as the bridge turns over, and
    recover: an upper bound, since it falls with the slope of L_r.  Transistors wait with
    their channels off for a dead time at either end of a half sine.
    """
    xp = array_namespace(at.v_out)
    x, count = at.design.rectifier, 2 if at.doubles else 4
    i_rms = xp.sqrt(0.5 * at.secondary_square)
    share = (1.0 if at.doubles else 0.5) / at.v_out
    i_avg = at.nodes.time(at.power * share)
    left = at.nodes.running(at.wave.commutated * at.unit) / at.tank.turns
    block = at.v_top + 0.0 * i_rms
    level = at.level + 0.0 * i_rms
    if isinstance(x, diode.Design):
        taken = DiodeStress(i_avg, i_rms, block, (Commutation(at.rate, left, level),))
        return diode.place(f"{at.path}.rectifier", x, taken, at.case, count)
    position = x.position()
    own = switch.device(position, at.case)
    angle = xp.minimum(2.0 * math.pi * at.f * own.t_dead, 0.5 * math.pi)
    # Of a half sine of mean I_avg, the share 1 − cos φ lies in both ends of φ together.
    waiting = i_avg * (1.0 - xp.cos(angle))
    zero = 0.0 * at.rate
    # Its voltage has moved by then: only the recovery of its body diode is left.
    edge = Edge(at.rate, left, zero, zero, (switch.moved(own, level, level),))
    stress = SwitchStress(i_rms, waiting, block, (edge,))
    return switch.place(f"{at.path}.rectifier", position, stress, at.case, count)


def _winding(at: Setting, whole: Array, first: Array, scale: Array | float) -> WindingStress:
    """Return a winding's current: its fundamental, and the rest at the third harmonic."""
    xp = array_namespace(whole)
    total = at.nodes.time((whole * at.unit) ** 2) * (scale * scale)
    slow = at.nodes.time((first * at.unit) ** 2) * (scale * scale)
    zero = 0.0 * total
    rest = xp.sqrt(xp.maximum(total - slow, 0.0))
    return WindingStress(zero, zero, at.f, (xp.sqrt(slow), rest))


def wound(at: Setting) -> Part:
    """Return the transformer.

    Its flux rises and falls at V_r as long as it must and rests between.
    """
    tank, w = at.tank, at.wave
    peak = w.magnetising_peak * at.unit
    linkage = 2.0 * tank.l_m * at.nodes.running(peak)
    xp = array_namespace(peak)
    rise = xp.minimum(linkage * at.f / at.nodes.running(at.v_r), 0.5)
    stress = TransformerStress(
        l_m=tank.l_m,
        i_m_peak=highest(peak),
        windings=(
            _winding(at, w.tank, w.tank_1, 1.0),
            _winding(at, w.secondary, w.secondary_1, 1.0 / tank.turns),
        ),
        flux=(Flux(at.f, linkage, rise, 1.0 - 2.0 * rise, at.nodes.active),),
        v_insulation=at.v_top + at.v_in,
    )
    return transformer.place(f"{at.path}.transformer", at.design.transformer, stress, at.case)


def choke(at: Setting) -> tuple[Part, ...]:
    """Return the resonant choke, if it is one of its own, less the leakage."""
    x = at.design.resonance
    if not isinstance(x, OwnChoke):
        return ()
    xp = array_namespace(at.v_out)
    w, least = at.wave, 0.05 * at.tank.l_r
    inductance = xp.maximum(at.tank.l_r - at.tank.leakage, least)
    peak = w.tank_peak * at.unit
    half = 0.5 + 0.0 * at.f
    linkage = (2.0 * SINE_FLUX) * inductance * at.nodes.running(peak)
    stress = InductorStress(
        inductance=inductance,
        i_peak=highest(peak),
        winding=_winding(at, w.tank, w.tank_1, 1.0),
        flux=(Flux(at.f, linkage, half, active=at.nodes.active),),
    )
    return (inductor.place(f"{at.path}.choke", x.choke, stress, at.case),)


def capacitor_peak(at: Setting) -> Array:
    """Return the amplitude of the resonant capacitor's alternating voltage [V]."""
    return highest(at.wave.capacitor_peak * at.v_r)


def resonant(at: Setting) -> Part:
    """Return the resonant capacitors; a half bridge adds half of the module's voltage.

    Their life is that at the rms value of the whole voltage.
    """
    xp = array_namespace(at.v_out)
    mean = (1.0 - at.tank.drive) * at.v_in
    amplitude = capacitor_peak(at)
    zero = 0.0 * amplitude
    stress = CapacitorStress(
        v_mean=xp.sqrt(mean * mean + 0.5 * amplitude * amplitude),
        v_max=mean + amplitude,
        v_swing=zero,
        i_line_rms=zero,
        i_hf_rms=xp.sqrt(at.tank_square),
        f_hf=at.f,
    )
    return capacitor.place(f"{at.path}.resonant", at.design.resonant, stress, at.case)


def doubler_ripple(at: Setting, half: capacitor.Film) -> Array:
    """Return the ripple of either half of a doubler, peak to peak [V]: I_out/(2·f·C)."""
    c = capacitor.capacitance(half, at.case)
    return highest(at.power / (at.v_out * at.f_nodes)) / (2.0 * c)


def halves(at: Setting) -> tuple[Part, ...]:
    """Return the doubler's capacitors, of which each carries half of the secondary's current."""
    x = at.design.secondary
    if not isinstance(x, Doubler):
        return ()
    xp = array_namespace(at.v_out)
    bottom, top = link_ends(at.v_out)
    current = 0.5 * xp.sqrt(at.secondary_square)
    # Both in one bank: twice the pieces, twice the current.
    bank = dataclasses.replace(x.half, count=2.0 * x.half.count)
    double = 4.0 * math.pi * at.case.points.f_grid
    line = double * capacitor.capacitance(x.half, at.case) * (top - bottom)
    stress = CapacitorStress(
        v_mean=0.5 * node_mean(at.v_out) + 0.0 * current,
        v_max=0.5 * at.v_top + 0.5 * doubler_ripple(at, x.half),
        v_swing=0.5 * (top - bottom) + 0.0 * current,
        i_line_rms=line * (0.5 / math.sqrt(2.0)),
        i_hf_rms=2.0 * current,
        f_hf=at.f,
    )
    return (capacitor.place(f"{at.path}.half", bank, stress, at.case),)


def module_port(at: Setting) -> Part:
    """Return the capacitors at the module; pauses count as ripple of their current."""
    xp = array_namespace(at.v_out)
    mean = at.nodes.time(at.power) / at.v_in
    zero = 0.0 * mean
    stress = CapacitorStress(
        v_mean=at.v_in + zero,
        v_max=at.v_in + 0.5 * at.module_ripple,
        v_swing=zero,
        i_line_rms=zero,
        i_hf_rms=xp.sqrt(xp.maximum(at.drawn_square - mean * mean, 0.0)),
        f_hf=at.pulses,
    )
    return capacitor.place(f"{at.path}.input", at.design.input, stress, at.case)


def link_current(at: Setting) -> Array:
    """Return the rms current into the link without its mean at every instant [A].

    A doubler gives half of the secondary's current, its halves the rest.
    """
    xp = array_namespace(at.v_out)
    mean = at.nodes.share * at.power / at.v_out
    square = at.secondary_square * (0.25 if at.doubles else 1.0) - node_mean(mean * mean)
    return xp.sqrt(xp.maximum(square, 0.0))


def winding_swing(at: Setting) -> Array:
    """Return the swing between the middles of both windings [V].

    A full bridge leaves the primary's middle at |V_in − V_r|, a half bridge at V_r; a
    rectifier bridge holds the secondary's still, a doubler moves it by V_out/2.  Real
    windings are not that symmetrical: at least ``UNBALANCE`` of the link is taken.

    Source
    ------
    Potentials of ideal windings, derived here; unbalance common practice, no source.
    """
    xp = array_namespace(at.v_out)
    v_r = node_mean(at.v_r)
    primary = xp.abs(at.v_in - v_r) if at.design.primary == "full" else v_r
    secondary = 0.5 if at.doubles else 0.0
    v_out = node_mean(at.v_out)
    return xp.maximum(xp.abs(secondary * v_out - primary), UNBALANCE * v_out)
