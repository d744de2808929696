"""What the waves of a flyback phase ask of its parts, averaged over the line cycle.

Every function takes the same ``Phase``; bursts and shed phases scale mean squares,
averages and rates by ``busy``, peaks by nothing.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from models.axes import Array, array_namespace, line_max, line_mean
from models.parts.diode import DiodeDevice
from models.parts.switch import Device, moved
from models.physics.harmonics import pulse_harmonics
from models.physics.semiconductor import charge_and_energy
from models.stages.flyback_waves import Circuit, PhaseWaves
from models.stress import (
    CapacitorStress,
    Commutation,
    DiodeStress,
    Edge,
    Flux,
    SwitchStress,
    TransformerStress,
    WindingStress,
)

Mask: TypeAlias = NDArray[np.bool_]

HARMONICS = 8


@dataclasses.dataclass(frozen=True)
class Phase:
    """One phase at every operating point and line angle, as its parts see it."""

    circuit: Circuit
    waves: PhaseWaves
    short: bool  # driven by short pulses of the clamp switch
    ratio: Array  # n [1]
    v_in: Array  # [V]
    v_r: Array  # [V], along the angle
    v_r_peak: Array  # [V]
    i_in: Array  # [A], mean over a switching period, along the angle
    busy: Array  # share of time in which a phase runs [1], (design, point, 1)
    runs: Mask  # True where the converter feeds the grid

    @property
    def rate(self) -> Array:
        """Switching periods a second [Hz], bursts counted."""
        return self.circuit.f * self.busy

    @functools.cached_property
    def i_out(self) -> Array:
        """Output current, mean over a switching period [A] times n, along the angle."""
        return self.i_in * self.v_in / self.v_r

    @functools.cached_property
    def i_peak(self) -> Array:
        """Peak current of the primary over the line cycle [A]."""
        return line_max(self.waves.i_peak)

    @functools.cached_property
    def v_block(self) -> Array:
        """Highest voltage across an open switch [V]; V_i alone when idle."""
        xp = array_namespace(self.v_in)
        return self.v_in + xp.where(self.runs, line_max(self.waves.v_clamp), 0.0)

    @functools.cached_property
    def ms_secondary(self) -> Array:
        """Line mean of n² times the mean square of the secondary's current [A²]."""
        return line_mean(self.waves.ms_secondary)

    @functools.cached_property
    def ms_switch(self) -> Array:
        """Line mean of the mean square of the current of S [A²]."""
        return line_mean(self.waves.ms_switch)

    @functools.cached_property
    def ms_clamp(self) -> Array:
        """Line mean of the mean square of the clamp current [A²]."""
        return line_mean(self.waves.ms_clamp)

    @functools.cached_property
    def v_diode(self) -> Array:
        """Blocking voltage of the diode while S is on [V], along the angle."""
        c = self.circuit
        return self.ratio * (self.v_r + c.l_m / (c.l_m + c.l_k) * self.v_in)


def main_switch(phase: Phase, own: Device, clamp: Device) -> SwitchStress:
    """Return the stress of S: zero-voltage turn-on by the leakage, turn-off at the peak.

    Before its turn-on the node leaves V_i + V_C towards V_i + V_r, driven by L_k.
    What is left of the dead time then flows through the body diode, falling at
    (V_i + V_r)/L_k; the time of the swing itself is not taken off.
    """
    xp = array_namespace(phase.v_r)
    w, l_k = phase.waves, phase.circuit.l_k
    i_peak, v_edge, v_r = w.i_peak, w.v_edge, phase.v_r
    v = phase.v_in + v_edge
    edge = Edge(
        rate=phase.rate,
        i_on=-i_peak,
        i_off=i_peak,
        v=v,
        others=(moved(clamp, 0.0, v),),
        i_drive=i_peak,
        l_drive=l_k,
        v_far=v_edge - v_r,
    )
    slope = (phase.v_in + v_r) / l_k
    time = xp.minimum(own.t_dead, i_peak / slope)
    return SwitchStress(
        i_rms=xp.sqrt(phase.busy * phase.ms_switch),
        i_reverse_dead=phase.rate * line_mean(time * (i_peak - 0.5 * slope * time)),
        v_block=phase.v_block,
        edges=(edge,),
    )


def clamp_switch(phase: Phase, own: Device, main: Device) -> SwitchStress:
    """Return the stress of S_c, which always turns off at the peak current.

    Complementary, it turns on at zero voltage after a dead time in its body diode.  With
    short pulses it turns on hard, S resting at V_i, and its body diode carries the
    first of the two pulses of the clamp current.
    """
    xp = array_namespace(phase.v_r)
    w = phase.waves
    i_peak, v_edge = w.i_peak, w.v_edge
    ms_clamp = phase.ms_clamp
    v = phase.v_in + v_edge
    if phase.short:
        others = (moved(main, phase.v_in, v),)
        edge = Edge(rate=phase.rate, i_on=0.0 * i_peak, i_off=i_peak, v=v_edge, others=others)
        square, reverse = 0.5 * ms_clamp, 0.5 * phase.circuit.t_pulse
    else:
        edge = Edge(
            rate=phase.rate, i_on=-i_peak, i_off=i_peak, v=v, others=(moved(main, 0.0, v),),
            i_drive=i_peak, v_far=phase.v_in,
        )  # fmt: skip
        square, reverse = ms_clamp, own.t_dead
    return SwitchStress(
        i_rms=xp.sqrt(phase.busy * square),
        i_reverse_dead=phase.rate * reverse * line_mean(i_peak),
        v_block=phase.v_block,
        edges=(edge,),
    )


def rectifier(phase: Phase) -> DiodeStress:
    """Return the stress of the diode: its current ends at a slope of (V_i + V_r)/(n·L_k)."""
    xp = array_namespace(phase.v_r)
    w, n = phase.waves, phase.ratio
    v = phase.v_diode
    commutation = Commutation(phase.rate, w.i_commutated / n, v)
    return DiodeStress(
        i_avg=phase.busy * line_mean(phase.i_out) / n,
        i_rms=xp.sqrt(phase.busy * phase.ms_secondary) / n,
        v_block=xp.where(phase.runs, line_max(v), n * phase.v_r_peak),
        commutations=(commutation,),
    )


def ringing_power(phase: Phase, diode: DiodeDevice) -> Array:
    """Return the power [W] of one phase that the diode's charge turns into ringing.

    Charging the junction through L_k to V costs V·Q − E whatever the switches do; with
    short pulses the charge at v_o is lost before that.  Taken at the mean of average
    and rms voltage, within 1 % of the line mean.
    """
    lost = _typical(phase.v_diode)
    charge, energy = charge_and_energy(diode.charge, lost)
    burnt = lost * charge - energy
    if phase.short:
        burnt = burnt + charge_and_energy(diode.charge, _typical(phase.ratio * phase.v_r))[1]
    return phase.rate * burnt


def _typical(v: Array) -> Array:
    xp = array_namespace(v)
    return 0.5 * (line_mean(v) + xp.sqrt(line_mean(v * v)))


def transformer(phase: Phase, v_insulation: Array) -> TransformerStress:
    """Return windings, flux and peak of the magnetising current."""
    xp = array_namespace(phase.v_r)
    w, n, c = phase.waves, phase.ratio, phase.circuit
    duty, fall = w.duty, w.fall
    rest = 1.0 - duty - fall
    flux = Flux(
        f=c.f,
        linkage_pp=c.l_m * (w.i_peak - w.i_start),
        duty=duty,
        flat=xp.clip(rest, 0.0, 0.95) if phase.short else 0.0,
        active=phase.busy,
    )
    top, start = line_mean(w.i_peak), line_mean(w.i_start)
    ramp = 2.0 if phase.short else 2.0 * (top - start) / xp.maximum(top + start, 0.05 * top)
    return TransformerStress(
        l_m=c.l_m,
        i_m_peak=xp.where(phase.runs, phase.i_peak, 0.0),
        windings=(
            _winding(phase, phase.i_in, phase.ms_switch + phase.ms_clamp, ramp=ramp,
                     weighted=line_mean((w.ms_switch + w.ms_clamp) * duty)),
            _winding(phase, phase.i_out / n, phase.ms_secondary / n**2, ramp=2.0,
                     weighted=line_mean(w.ms_secondary * fall) / n**2),
        ),
        flux=(flux,),
        v_insulation=v_insulation,
        alternating=True,
    )  # fmt: skip


def _winding(
    phase: Phase, mean: Array, square: Array, *, weighted: Array, ramp: Array | float
) -> WindingStress:
    """Return one winding: its current averaged over a period, and all above it.

    ``square`` and ``weighted`` are the line means of the mean square and of its product
    with the width of the pulse; the ripple is split as that of a straight pulse of the
    width weighted so.
    """
    xp = array_namespace(mean)
    ms_slow = line_mean(mean * mean)
    share = weighted / xp.maximum(square, 1e-12)
    i_dc = phase.busy * line_mean(mean)
    parts = pulse_harmonics(xp.maximum(square - ms_slow, 0.0), share, HARMONICS, ramp)
    return WindingStress(
        i_dc=i_dc,
        i_line_rms=xp.sqrt(xp.maximum(phase.busy * ms_slow - i_dc * i_dc, 0.0)),
        f=phase.circuit.f,
        harmonics=tuple(xp.sqrt(phase.busy * part) for part in parts),
    )


def clamp_capacitor(phase: Phase, phases: int, f_grid: Array) -> CapacitorStress:
    """Return the stress of the clamp capacitors of all phases as one bank."""
    xp = array_namespace(phase.v_r)
    # Second harmonic of a rectified sine of amplitude V: 4·V/(3π).
    second = 4.0 / (3.0 * math.pi) * phase.v_r_peak / math.sqrt(2.0)
    c = phases * phase.circuit.c_clamp
    return CapacitorStress(
        v_mean=line_mean(phase.v_r),
        v_max=phase.v_block - phase.v_in,
        v_swing=phase.v_r_peak,
        i_line_rms=4.0 * math.pi * f_grid * c * second * phase.busy,
        i_hf_rms=phases * xp.sqrt(phase.busy * phase.ms_clamp),
        f_hf=phase.circuit.f,
    )
