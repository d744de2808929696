"""Currents and voltages of the coupled-inductor boost with diode clamp.

    in ── L_k ── primary (L_m) ──┬ sw ── D_c ──┬ c ── secondary ── D_o ── link
                                 S            C_c

n = N_s/N_p.  While S is on, L_m takes up energy from the module alone.  When S turns off,
the leakage current charges C_c through D_c, falling to zero in t₁, and the secondary, in
series with C_c, delivers to the link.  When S turns on, L_k limits the rise of its current
and the fall of the secondary's: no turn-on current, no steep recovery.

Times are shares of the period.  Exact for ideal devices and a stiff C_c but for the
triangle that the magnetising current is taken to be; with C_c so small that it rings with
the leakage within 12·t₁ its rms current is 3 % low.  Between the end of the current and the
next turn-on (discontinuous conduction) the node is taken to rest at the module's voltage.

Source
------
Circuit and ideal gain (1 + n·D)/(1 − D): Q. Zhao, F. C. Lee, "High-efficiency, high step-up
DC-DC converters", IEEE Trans. Power Electron. 18(1), 2003 (from memory); the forms with
leakage are derived here.
"""

from __future__ import annotations

import dataclasses
import functools

from models.axes import Array, array_namespace
from models.physics.interleaving import Chain, chain
from models.physics.waveform import ramp_square

# Passes of the magnetising ripple and the leakage drop through one another; the second
# leaves 1e-4 of the peak current, the fourth 1e-8.
PASSES = 4
# The leakage may take this share of v_out − v_in; beyond, the forms are held [1].
DROP_MOST = 0.6
# Of the secondary's conduction, for D_c; beyond, S would cut its current off.
RESET_MOST = 0.98
# Of the time in which the flux falls, for the hand-over; the duty is far too large there.
HANDOVER_MOST = 0.9
CURRENT_LEAST = 1e-9  # [A], divisor floor


@dataclasses.dataclass(frozen=True)
class Circuit:
    """What the waves depend on besides voltages and power; (design, 1, 1)."""

    ratio: Array  # n [1]
    l_m: Array  # [H], at the primary
    l_k: Array  # [H], at the primary
    f: Array  # [Hz]


@dataclasses.dataclass(frozen=True)
class Waves:
    """One switching period while the stage runs."""

    power: Array  # [W]
    i_in: Array  # [A], mean of the primary
    i_out: Array  # [A], mean of either diode
    duty: Array  # of S, commutation included
    commutation: Array  # t_c, in which the secondary hands over to S
    reset: Array  # t₁, in which D_c conducts
    fall: Array  # of the secondary's current while S is off
    i_peak: Array  # [A], of S, D_c and L_m
    i_valley: Array  # [A], of S after the commutation; 0 in discontinuous conduction
    i_turn: Array  # [A], n times the current of D_o as D_c stops
    i_end: Array  # [A], n times the current of D_o as S turns on
    v_on: Array  # [V], of S at turn-on
    v_clamp: Array  # [V], of C_c
    v_diode: Array  # [V], that D_o blocks, without ringing
    linkage: Array  # [V·s], of the primary, peak to peak
    flux_rise: Array  # share of the period in which it rises
    drop: Array  # of the leakage, over v_out − v_in [1]
    crowding: Array  # t₁ wanted over what S leaves of the period [1]

    @functools.cached_property
    def switch_square(self) -> Array:
        """Mean square of the current of S [A²]."""
        rising = self.duty - self.commutation
        start = self.commutation * (self.i_valley * self.i_valley / 3.0)
        return start + rising * ramp_square(self.i_valley, self.i_peak)

    @functools.cached_property
    def clamp_square(self) -> Array:
        """Mean square of the current of D_c [A²]."""
        return self.reset * (self.i_peak * self.i_peak / 3.0)

    @functools.cached_property
    def secondary_square(self) -> Array:
        """Mean square of n times the current of D_o [A²]."""
        ends = self.reset * self.i_turn * self.i_turn + self.commutation * self.i_end * self.i_end
        return ends / 3.0 + (self.fall - self.reset) * ramp_square(self.i_turn, self.i_end)

    def capacitor_square(self, ratio: Array) -> Array:
        """Return the mean square of the current of C_c [A²] with the ratio n [1].

        Source
        ------
        Both diode currents less twice their overlap in t₁, where they are straight.
        """
        both = self.reset * self.i_peak * self.i_turn / (3.0 * ratio)
        return self.clamp_square + self.secondary_square / (ratio * ratio) - both

    def capacitor_charge(self, ratio: Array) -> Array:
        """Return the charge that C_c takes up in a period, times f [A]."""
        until = self.i_peak / (self.i_peak + self.i_turn / ratio)
        return 0.5 * self.i_peak * until * self.reset


@dataclasses.dataclass(frozen=True)
class _Mode:
    """What differs between the two modes."""

    i_peak: Array
    i_valley: Array
    v_m: Array  # reflected voltage of L_m while S is off [V]
    duty: Array
    commutation: Array
    fall: Array
    v_on: Array
    linkage: Array
    flux_rise: Array


def waves(circuit: Circuit, power: Array, *, v_in: Array, v_out: Array) -> Waves:
    """Return the waves at a power, continuous or discontinuous.

    I_m = P/V_i + n·P/V_o,   t₁ = 2·I_o·T/I_pk,   e = (V_o − V_i − L_k·I_pk/t₁)/(1 + n)

    with e the voltage of L_m while S is off; V_c = V_i + e + L_k·I_pk/t₁.

    Parameters
    ----------
    circuit : Circuit
        Turns, inductances, frequency.
    power : Array
        Power while the stage runs [W], above zero.
    v_in, v_out : Array
        Module and link voltage [V].
    """
    xp = array_namespace(power, v_out)
    n, f = circuit.ratio, circuit.f
    i_in, i_out = power / v_in, power / v_out
    gain = v_out - v_in
    alone = _discontinuous(circuit, i_out, gain, v_in)
    both = _continuous(circuit, i_in + n * i_out, i_out, gain=gain, v_in=v_in)
    stops = alone.duty + alone.fall < 1.0
    mode = _Mode(
        **{
            field.name: xp.where(stops, getattr(alone, field.name), getattr(both, field.name))
            for field in dataclasses.fields(_Mode)
        }
    )
    wanted = 2.0 * i_out / mode.i_peak
    reset = xp.minimum(wanted, RESET_MOST * mode.fall)
    drop = circuit.l_k * f * mode.i_peak / wanted
    i_turn = mode.i_peak - mode.v_m * reset / (circuit.l_m * f)
    share = circuit.l_m / (circuit.l_m + circuit.l_k)
    v_clamp = v_in + mode.v_m + drop
    return Waves(
        power=power + 0.0 * v_out,
        i_in=i_in + 0.0 * v_out,
        i_out=i_out,
        duty=mode.duty,
        commutation=mode.commutation,
        reset=reset,
        fall=mode.fall,
        i_peak=mode.i_peak,
        i_valley=mode.i_valley,
        i_turn=i_turn,
        i_end=xp.maximum(mode.i_peak - mode.v_m * mode.fall / (circuit.l_m * f), 0.0),
        v_on=mode.v_on,
        v_clamp=v_clamp,
        v_diode=v_out - v_clamp + n * share * v_in,
        linkage=mode.linkage,
        flux_rise=mode.flux_rise,
        drop=drop / gain,
        crowding=wanted / mode.fall,
    )


def _continuous(circuit: Circuit, i_m: Array, i_out: Array, *, gain: Array, v_in: Array) -> _Mode:
    """Return the mode in which the magnetising current never stops."""
    xp = array_namespace(i_m)
    n, l_m, l_k, f = circuit.ratio, circuit.l_m, circuit.l_k, circuit.f
    rise = (l_m / (l_m + l_k)) * v_in
    per_square = 0.5 * l_k * f / xp.maximum(i_out, CURRENT_LEAST)
    i_peak = i_m
    v_m = half = i_m
    for _ in range(PASSES):
        v_m = (gain - xp.minimum(per_square * i_peak * i_peak, DROP_MOST * gain)) / (1.0 + n)
        half = 0.5 * rise * v_m / ((v_m + rise) * f * l_m)
        i_peak = i_m + half
    i_valley = xp.maximum(i_m - half, 0.0)
    flux_rise = v_m / (v_m + rise)
    wanted = i_valley * l_k * f / (v_in + v_m)
    commutation = xp.minimum(wanted, HANDOVER_MOST * (1.0 - flux_rise))
    duty = flux_rise + commutation
    return _Mode(
        i_peak=i_peak,
        i_valley=i_valley,
        v_m=v_m,
        duty=duty,
        commutation=commutation,
        fall=1.0 - duty,
        v_on=v_in + v_m,
        linkage=2.0 * l_m * half,
        flux_rise=flux_rise,
    )


def _discontinuous(circuit: Circuit, i_out: Array, gain: Array, v_in: Array) -> _Mode:
    """Return the mode in which the magnetising current starts from zero; exact."""
    xp = array_namespace(i_out, gain)
    l_s, f = circuit.l_m + circuit.l_k, circuit.f
    i_peak = xp.maximum(xp.sqrt(2.0 * i_out * gain / (l_s * f)), CURRENT_LEAST)
    fall = (1.0 + circuit.ratio) * 2.0 * i_out / i_peak
    duty = i_peak * l_s * f / v_in
    return _Mode(
        i_peak=i_peak,
        i_valley=0.0 * i_peak,
        v_m=circuit.l_m * f * i_peak / fall,
        duty=duty,
        commutation=0.0 * i_peak,
        fall=fall,
        v_on=v_in + 0.0 * i_peak,
        linkage=circuit.l_m * i_peak,
        flux_rise=duty,
    )


def primary(waves: Waves) -> Chain:
    """Return the current that a phase draws from the module [A]."""
    zero = 0.0 * waves.i_peak
    lengths = (waves.commutation, waves.duty - waves.commutation, waves.reset)
    return chain(
        (*lengths, 1.0 - waves.duty - waves.reset), (zero, waves.i_valley, waves.i_peak, zero)
    )


def secondary(waves: Waves) -> Chain:
    """Return n times the current that a phase gives to the link [A], from S's turn-off."""
    zero = 0.0 * waves.i_peak
    lengths = (waves.reset, waves.fall - waves.reset, waves.commutation)
    return chain(
        (*lengths, 1.0 - waves.fall - waves.commutation), (zero, waves.i_turn, waves.i_end, zero)
    )
