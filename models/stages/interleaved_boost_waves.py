"""Currents of the interleaved boost, exact for ideal devices.

    in ── L_j ── s_j ──┬─ D_j ── link        j = 1 … N, gates 1/N of the period apart
                      S_j

Times are shares of the period.  With transistors as rectifiers the current never stops and
may turn negative; with diodes it stops at light load, and the node is then taken to rest at
the module's voltage until the next turn-on.  Phases that are shed leave the rest evenly
spaced, so that everything depends on the number that runs.

Source
------
R. W. Erickson, D. Maksimović, "Fundamentals of Power Electronics" (from memory) for both
modes of one phase; sums of phases derived here.
"""

from __future__ import annotations

import dataclasses
import functools

from models.axes import Array, array_namespace
from models.physics.interleaving import Chain, chain
from models.physics.waveform import ramp_square

CURRENT_LEAST = 1e-9  # [A], divisor floor


@dataclasses.dataclass(frozen=True)
class Waves:
    """One switching period while the stage runs; currents of one running phase."""

    phases: Array  # that run [1]
    i_in: Array  # [A], mean of a phase
    i_out: Array  # [A], mean of a phase
    duty: Array  # of S
    fall: Array  # share in which D conducts
    i_peak: Array  # [A]
    i_valley: Array  # [A]
    v_on: Array  # [V], of S at turn-on
    v_out: Array  # [V]

    @functools.cached_property
    def ramp(self) -> Array:
        """Mean square of the current while it flows [A²]."""
        return ramp_square(self.i_valley, self.i_peak)

    @property
    def choke_square(self) -> Array:
        """Mean square of the choke's current [A²]."""
        return (self.duty + self.fall) * self.ramp

    @property
    def switch_square(self) -> Array:
        """Mean square of the current of S [A²]."""
        return self.duty * self.ramp

    @property
    def rectifier_square(self) -> Array:
        """Mean square of the current of D [A²]."""
        return self.fall * self.ramp

    @functools.cached_property
    def link_square(self) -> Array:
        """Mean square of all phases' current into the link [A²].

        From one turn-off to the next F + 1 phases deliver until the oldest stops, then F.
        """
        xp = array_namespace(self.fall)
        n = self.phases
        whole = xp.floor(n * self.fall)
        step = 1.0 / n
        early = self.fall - whole * step
        slope = (self.i_peak - self.i_valley) / self.fall
        return n * (
            early * self._delivered(whole + 1.0, 0.0, early, slope)
            + (step - early) * self._delivered(whole, early, step, slope)
        )

    def _delivered(
        self, count: Array, begin: Array | float, end: Array | float, slope: Array
    ) -> Array:
        """Return the mean square of ``count`` currents, each one step older than the next."""
        older = 0.5 * (count - 1.0) / self.phases
        first = count * (self.i_peak - slope * (begin + older))
        last = count * (self.i_peak - slope * (end + older))
        return ramp_square(first, last)


def waves(
    l_f: Array, phases: Array, power: Array, *, v_in: Array, v_out: Array, diodes: bool
) -> Waves:
    """Return the waves at a power.

    Continuous: D = 1 − V_i/V_o, ΔI = V_i·D/(L·f).  With diodes, where ΔI/2 exceeds the mean
    current I of a phase: D = √(2·L·f·I·(M − 1)/(V_i·M)), D₂ = D/(M − 1), I_pk = V_i·D/(L·f).

    Parameters
    ----------
    l_f : Array
        Inductance of a phase times switching frequency [Ω].
    phases : Array
        Phases that run [1].
    power : Array
        Of the whole stage while it runs [W], above zero.
    v_in, v_out : Array
        Module and link voltage [V], the latter the higher.
    diodes : bool
        Whether the rectifiers stop the current at zero.
    """
    xp = array_namespace(power, v_out)
    i_in, i_out = power / (phases * v_in), power / (phases * v_out)
    duty = 1.0 - v_in / v_out
    half = 0.5 * v_in * duty / l_f
    i_in = i_in + 0.0 * half
    i_peak, i_valley = i_in + half, i_in - half
    fall, v_on = 1.0 - duty, v_out + 0.0 * half
    if diodes:
        stops = i_valley < 0.0
        rise = xp.sqrt(xp.maximum(2.0 * l_f * i_in * duty / v_in, CURRENT_LEAST**2))
        i_peak = xp.where(stops, v_in * rise / l_f, i_peak)
        i_valley = xp.where(stops, 0.0, i_valley)
        fall = xp.where(stops, rise * v_in / (v_out - v_in), fall)
        v_on = xp.where(stops, v_in, v_on)
        duty = xp.where(stops, rise, duty)
    return Waves(phases, i_in, i_out, duty + 0.0 * half, fall + 0.0 * half, i_peak, i_valley,
                 v_on, v_out + 0.0 * half)  # fmt: skip


def drawn(waves: Waves) -> Chain:
    """Return the current that a phase draws from the module [A]."""
    xp = array_namespace(waves.duty)
    idle = xp.maximum(1.0 - waves.duty - waves.fall, 0.0)
    return chain((waves.duty, waves.fall, idle), (waves.i_valley, waves.i_peak, waves.i_valley))
