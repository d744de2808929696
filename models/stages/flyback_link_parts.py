"""Parts of the flyback on a link: its stress, averaged over the link's swing.

Means, windings and edges are those of ``flyback_stress``, whose angles are here the nodes
of the swing; what counts at its extremes reaches to the ends of the swing.
"""

from __future__ import annotations

import dataclasses
import functools
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import capacitor, diode, switch, transformer
from models.parts.part import Part
from models.physics.interleaving import Chain, chain, summed_charge
from models.stages import flyback_stress as stress
from models.stages.coupled_boost_snubber import Snubber
from models.stages.flyback import Design, Running
from models.stages.flyback_waves import shared_ripple
from models.stages.llc_parts import UNBALANCE
from models.stages.swing import highest, lowest, node_mean
from models.stress import CapacitorStress

EDGE = 1e-4  # of the period, in which a current that jumps is taken to rise


@dataclasses.dataclass(frozen=True)
class LinkPhase(stress.Phase):
    """One phase at the nodes of the swing, and how many of them share the power."""

    phases: int
    run: Running
    lift: Array  # [V], of the link above its swing, at load rejection

    @property
    def f_sum(self) -> Array:
        """Lowest frequency of the current of all phases together [Hz]."""
        return self.run.phases * self.circuit.f

    @functools.cached_property
    def i_peak(self) -> Array:
        """Peak current of the primary over the swing [A]."""
        return highest(self.waves.i_peak)

    @functools.cached_property
    def v_block(self) -> Array:
        """Highest voltage across an open switch [V]; V_i alone when idle."""
        xp = array_namespace(self.v_in)
        clamped = highest(self.waves.v_clamp) + self.lift / self.ratio
        return self.v_in + xp.where(self.runs, clamped, 0.0)

    @property
    def v_top(self) -> Array:
        """Highest voltage of the link [V]."""
        return self.ratio * self.v_r_peak + self.lift

    @functools.cached_property
    def sums(self) -> tuple[Array, Array]:
        """Mean square of the current of all phases that run, in and out times n [A²]."""
        xp = array_namespace(self.v_r)
        w = self.waves
        if self.phases == 1:
            return w.ms_switch, w.ms_secondary
        both = self.run.phases > 1.5
        crossed_in, crossed_out = shared_ripple(w)
        return (
            xp.where(both, 2.0 * (w.ms_switch + crossed_in), w.ms_switch),
            xp.where(both, 2.0 * (w.ms_secondary + crossed_out), w.ms_secondary),
        )

    @functools.cached_property
    def primary(self) -> Chain:
        """Current that a phase draws from the module: that of S [A]."""
        xp = array_namespace(self.v_r)
        w = self.waves
        edge, zero = EDGE + 0.0 * w.duty, 0.0 * w.duty
        back = xp.maximum(w.commutation, EDGE)
        rising = xp.maximum(w.duty - back - EDGE, EDGE)
        rest = 1.0 - back - rising - 2.0 * EDGE
        return chain((edge, back, rising, edge, rest),
                     (zero, -w.i_peak, w.i_start, w.i_peak, zero))  # fmt: skip


def switches(path: str, one: LinkPhase, design: Design, case: Case) -> tuple[Part, Part]:
    """Return S and S_c of all phases."""
    main, clamp = switch.device(design.main, case), switch.device(design.clamp_switch, case)
    on, aid = stress.main_switch(one, main, clamp), stress.clamp_switch(one, clamp, main)
    return (
        switch.place(f"{path}.main", design.main, on, case, one.phases),
        switch.place(f"{path}.clamp_switch", design.clamp_switch, aid, case, one.phases),
    )


def wound(path: str, one: LinkPhase, design: Design, case: Case) -> Part:
    """Return the transformers of all phases."""
    taken = stress.transformer(one, one.v_top + one.v_in)
    return transformer.place(f"{path}.transformer", design.transformer, taken, case, one.phases)


def rectifier(path: str, one: LinkPhase, design: Design, snubber: Snubber, case: Case) -> Part:
    """Return D_o, whose current ends at (V_i + V_r)/(n·L_k); then its voltage rings."""
    xp = array_namespace(one.v_r)
    n, above = one.ratio, 1.0 + snubber.overshoot
    slope = (one.v_in + one.v_r) / (n * one.circuit.l_k)
    ring = one.v_diode * above + snubber.kicked(one.waves.i_commutated / n, slope)
    running = highest(ring) + above * one.lift
    taken = dataclasses.replace(
        stress.rectifier(one), v_block=xp.where(one.runs, running, one.v_top)
    )
    return diode.place(f"{path}.rectifier", design.rectifier, taken, case, one.phases)


def ringing(one: LinkPhase, snubber: Snubber) -> Array:
    """Return the heat of the snubber of one phase [W].

    Its capacitor is charged to the diode's blocking voltage and back once a period; with
    short pulses to the link's voltage and back as well, once the current has ended.
    """
    square = one.v_diode * one.v_diode
    if one.short:
        v_out = one.ratio * one.v_r
        square = square + v_out * v_out
    own = one.rate * snubber.c * node_mean(square)
    return own + stress.ringing_power(one, snubber.device)


def clamp_capacitor(path: str, one: LinkPhase, design: Design, case: Case) -> Part:
    """Return the clamp capacitors of all phases as one bank, which follow the swing."""
    xp = array_namespace(one.v_r)
    bank = dataclasses.replace(
        design.clamp_capacitor, count=one.phases * design.clamp_capacitor.count
    )
    swing = highest(one.v_r) - lowest(one.v_r)
    omega = 4.0 * math.pi * case.points.f_grid
    taken = CapacitorStress(
        v_mean=node_mean(one.v_r),
        v_max=one.v_block - one.v_in,
        v_swing=swing,
        i_line_rms=omega * (one.phases * one.circuit.c_clamp) * swing * (0.5 / math.sqrt(2.0)),
        i_hf_rms=one.phases * xp.sqrt(one.busy * one.ms_clamp),
        f_hf=one.circuit.f,
    )
    return capacitor.place(f"{path}.clamp_capacitor", bank, taken, case)


def switching_ripple(one: LinkPhase, design: capacitor.Ceramic, case: Case) -> Array:
    """Return the switching ripple at the module, peak to peak [V]."""
    charge = highest(summed_charge(one.primary, one.run.phases))
    return charge / (one.circuit.f * capacitor.capacitance_at(design, one.v_in, case))


def module_port(
    path: str, one: LinkPhase, design: capacitor.Ceramic, ripple: Array, case: Case
) -> Part:
    """Return the capacitors at the module; pauses count as ripple of their current."""
    xp = array_namespace(one.v_r)
    share = one.run.share
    mean = share * one.run.p_run / one.v_in
    zero = 0.0 * mean
    square = share * node_mean(one.sums[0]) - mean * mean
    taken = CapacitorStress(
        v_mean=one.v_in + zero,
        v_max=one.v_in + 0.5 * ripple,
        v_swing=zero,
        i_line_rms=zero,
        i_hf_rms=xp.sqrt(xp.maximum(square, 0.0)),
        f_hf=one.f_sum,
    )
    return capacitor.place(f"{path}.input", design, taken, case)


def link_current(one: LinkPhase) -> Array:
    """Return the rms current into the link without its mean at every instant [A]."""
    xp = array_namespace(one.v_r)
    share = one.run.share
    mean = share * one.run.p_run / one.v_r
    square = share * node_mean(one.sums[1]) - node_mean(mean * mean)
    return xp.sqrt(xp.maximum(square, 0.0)) / one.ratio


def winding_swing(one: LinkPhase) -> Array:
    """Return the swing between the middles of both windings [V].

    The diode stands at the positive end, so that both windings move the same way while
    one end of each is still: (n − 1)/2·(V_i + V_r).  What two phases cancel is left out.

    Source
    ------
    Potentials of ideal windings, derived here; least unbalance as in ``llc_parts``.
    """
    xp = array_namespace(one.v_r)
    v_r = node_mean(one.v_r)
    middles = 0.5 * xp.abs(one.ratio - 1.0) * (one.v_in + v_r)
    return xp.maximum(middles, UNBALANCE * one.ratio * v_r)
