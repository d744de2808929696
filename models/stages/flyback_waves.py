"""Currents and voltages of one phase of an active-clamp flyback, at every line angle.

    v_in ── L_k ── primary (L_m) ──┬── S ── ground       x = n·(…) ── D ── C_f ── unfolder
              └────── C_c ── S_c ──┘

n = N_s/N_p, V_r = v_o/n.  Everything here is referred to the primary: divide currents of
the secondary by n.  T = 1/f.  Two ways to drive the clamp switch S_c:

- complementary to S: the current of L_m never stops (forced continuous conduction),
- a short pulse t_n just before S: discontinuous conduction; the body diode of S_c
  takes the leakage energy when S turns off, and the pulse gives it back, so that S
  turns on at zero voltage.

Both forms are exact for ideal devices and constant voltages within a period; the small
line-frequency charging of C_c is left out, which makes the clamp current 2 % low.

Source
------
Derived from the piecewise linear waves and the resonance of L_k with C_c; circuit after
R. Watson, F. C. Lee, G. C. Hua, "Utilization of an active-clamp circuit to achieve soft
switching in flyback converters", IEEE Trans. Power Electron. 11(1), 1996 (from memory).
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace
from models.physics.waveform import ramp_product

# Half the clamp's resonant angle while S is off, held within these: below, the clamp
# current is a straight line to 1e-4; above, it would ring round more than once.
H_MIN, H_MAX = 0.02, 2.8  # [rad]


@dataclasses.dataclass(frozen=True)
class Circuit:
    """What the waves of one phase depend on besides voltages and power; (design, 1, 1)."""

    l_m: Array  # [H], at the primary
    l_k: Array  # [H], at the primary
    c_clamp: Array  # [F], of one phase
    f: Array  # [Hz]
    t_pulse: Array  # [s], t_n; unused in complementary drive


@dataclasses.dataclass(frozen=True)
class PhaseWaves:
    """One switching period at every line angle; primary side, (design, point, angle)."""

    duty: Array  # [1], S on, commutation included
    commutation: Array  # [1], share t_c/T in which the secondary hands over to S
    fall: Array  # [1], share of the period in which L_m discharges
    i_peak: Array  # [A], in S when it turns off; −i_peak when it turns on
    i_start: Array  # [A], in S after the commutation
    ms_switch: Array  # [A²], mean square of the current of S
    ms_clamp: Array  # [A²], of C_c
    ms_secondary: Array  # [A²], of the secondary, times n²
    i_commutated: Array  # [A], n times the diode's current when S turns on
    v_edge: Array  # [V], across C_c when S turns on or off
    v_clamp: Array  # [V], largest across C_c
    outside: Array  # [1], how far outside the region of the forms, ≤ 0 inside
    i_secondary: tuple[Array, Array]  # [A], n times the diode's current, first and last
    bend: Array  # [A], of n times the diode's current off the straight line, see overlap
    hand_over: tuple[Array, Array]  # n times the diode's charge·f [A] at S's turn-on, and when [1]


def short_pulse(circuit: Circuit, power: Array, *, v_in: Array, v_r: Array) -> PhaseWaves:
    """Return the waves in discontinuous conduction with a short pulse of the clamp switch.

    The valley i₀ = −(V_r/L_m)·(t_n + t_c) and the peak follow from the charge balance
    I_pk² − i₀² = 2·P·T/(L_m + L_k)/(1 − V_i·L_k/((L_m + L_k)·W)),
    t_c = L_k·(I_pk + i₀)/W,   W = V_i + V_r·(1 + L_k/L_m): one quadratic equation.
    The clamp current is ±I_pk·sin ωt/sin ωt_n with ω = 1/√(L_k·C_c), twice for t_n.

    Outside its region (conduction longer than the period) the current would not return
    to zero: peaks and rms are then too low.

    Parameters
    ----------
    circuit : Circuit
        Inductances, clamp capacitor, frequency, pulse.
    power : Array
        Power of the phase averaged over a switching period [W], at least zero.
    v_in : Array
        Input voltage [V].
    v_r : Array
        Output voltage over n, V_r [V], above zero.
    """
    xp = array_namespace(power, v_r)
    l_m, l_k, f, t_n = circuit.l_m, circuit.l_k, circuit.f, circuit.t_pulse
    l_s = l_m + l_k
    w = v_in + (1.0 + l_k / l_m) * v_r
    square = (2.0 / (f * l_s)) * power * w / (w - (l_k / l_s) * v_in)
    inverse = 1.0 / (w + (l_k / l_m) * v_r)
    a = (t_n / l_m) * v_r * w * inverse
    b = (l_k / l_m) * v_r * inverse
    rest = 1.0 - b * b
    i_peak = (a * b + xp.sqrt(a * a + rest * square)) / rest
    valley = a + b * i_peak  # −i₀
    t_c = l_k * (i_peak - valley) / w
    ramp = (l_s / v_in) * (i_peak + valley)
    fall = l_m * i_peak / v_r
    peak_2 = i_peak * i_peak
    both = peak_2 + valley * valley
    cross = i_peak * valley
    i_secondary = xp.maximum(i_peak - (t_n / l_m) * v_r, 0.0)
    x = xp.minimum(t_n / xp.sqrt(l_k * circuit.c_clamp), H_MAX)
    sine, cosine = xp.sin(x), xp.cos(x)
    ring = (l_k / t_n) * (x / sine)  # [Ω]
    rms_share = (1.0 - sine * cosine / x) / (sine * sine)  # ⅔ for a straight line
    duty = f * (t_c + ramp)
    return PhaseWaves(
        duty=duty,
        commutation=f * t_c,
        fall=f * fall,
        i_peak=i_peak,
        i_start=-valley,
        ms_switch=(f / 3.0) * (t_c * (both + cross) + ramp * (both - cross)),
        ms_clamp=(t_n * f * rms_share) * peak_2,
        ms_secondary=(f / 3.0) * i_secondary * i_secondary * (fall + t_n + t_c),
        i_commutated=i_secondary,
        v_edge=v_r + (ring * cosine) * i_peak,
        v_clamp=v_r + ring * i_peak,
        outside=duty + f * (fall + t_n) - 1.0,
        i_secondary=(i_peak, 0.0 * i_peak),
        bend=0.0 * i_peak,
        hand_over=((0.5 * f) * i_secondary * (t_c + t_n), (f / 3.0) * (t_c - t_n)),
    )


def complementary(circuit: Circuit, power: Array, *, v_in: Array, v_r: Array) -> PhaseWaves:
    """Return the waves in forced continuous conduction, the clamp switch on when S is off.

    I_m = P/V_i + P/V_r,   D = D_e + t_c/T,   D_e = V_r/(V_r + V_i·L_m/(L_m + L_k)),
    t_c = 2·L_k·I_m/W,   W = V_i + V_r·(1 + L_k/L_m)

    The clamp current rings as −I_pk·sin ω(t − T_off/2)/sin h with ω = 1/√(L_k·C_c) and
    h = ω·T_off/2, from I_pk to −I_pk whatever h.

    Where a = V_r/L_m − ω·I_pk·cot h is above zero, the secondary does not conduct from
    the first instant, and the clamp and diode currents here are too high.  ``outside``
    is the charge ⅔·a³/(I_pk²·ω⁴) by which the form goes negative then, over that of the
    period, P·T/V_r; the diode's rms is 3 to 10 times that share too high.

    Parameters
    ----------
    circuit : Circuit
        Inductances, clamp capacitor, frequency.
    power : Array
        Power of the phase averaged over a switching period [W], at least zero.
    v_in : Array
        Input voltage [V].
    v_r : Array
        Output voltage over n, V_r [V], above zero.
    """
    xp = array_namespace(power, v_r)
    l_m, l_k, f = circuit.l_m, circuit.l_k, circuit.f
    share = l_m / (l_m + l_k)
    omega = 1.0 / xp.sqrt(l_k * circuit.c_clamp)
    d_e = v_r / (v_r + share * v_in)
    half = (0.5 * share * v_in / (f * l_m)) * d_e
    i_m = power / v_in + power / v_r
    i_peak, i_start = i_m + half, i_m - half
    commutation = (2.0 * f * l_k) * i_m / (v_in + (1.0 + l_k / l_m) * v_r)
    duty = d_e + commutation
    off = xp.maximum(1.0 - duty, 0.01)
    h = xp.clip((0.5 * omega / f) * off, H_MIN, H_MAX)
    cosine = xp.cos(h)
    sine = xp.sqrt(1.0 - cosine * cosine)  # h < π
    cot = cosine / sine
    h_cot = h * cot
    peak_2 = i_peak * i_peak
    ms_clamp = (0.5 * off) * peak_2 * (1.0 / (sine * sine) - h_cot / (h * h))
    drop = off * v_r / (f * l_m)  # current that L_m loses while S is off
    end = 2.0 * i_peak - drop
    mixed = (4.0 * f / (omega * omega * l_m)) * v_r * i_peak * (1.0 - h_cot)
    ms_secondary = (
        off * (peak_2 - drop * (i_peak - drop / 3.0))
        - mixed
        + ms_clamp
        + commutation * end * end / 3.0
    )
    handed = 0.5 * commutation * end
    start_2 = i_start * i_start
    cross = i_peak * i_start
    ring = (l_k * omega) * i_peak  # [V], Z·I_pk
    late = xp.maximum(v_r / l_m - (omega * i_peak) * cot, 0.0)
    ms_switch = (commutation * (peak_2 - cross + start_2) + d_e * (peak_2 + cross + start_2)) / 3.0
    return PhaseWaves(
        duty=duty,
        commutation=commutation,
        fall=off,
        i_peak=i_peak,
        i_start=i_start,
        ms_switch=ms_switch,
        ms_clamp=ms_clamp,
        ms_secondary=xp.maximum(ms_secondary, 0.0),
        i_commutated=xp.maximum(end, 0.0),
        # Far outside the region the form would discharge C_c below zero.
        v_edge=xp.maximum(v_r + ring * cot, 0.0),
        v_clamp=v_r + ring / sine,
        outside=(2.0 / 3.0 * f)
        * late
        * late
        * late
        * v_r
        / ((omega * omega * i_peak) ** 2 * xp.maximum(power, 1e-9)),
        i_secondary=(0.0 * end, end),
        bend=i_peak * (h * h / 6.0),
        hand_over=(handed, commutation / 3.0),
    )


def shared_ripple(waves: PhaseWaves) -> tuple[Array, Array]:
    """Return the mean product of two phases' currents half a period apart, in and out [A²].

    For two phases the mean square of the sum is twice (mean square + this).  The second
    value is for secondary currents times n.  Hand-overs are taken as short pulses on
    top of the other phase's straight line.
    """
    xp = array_namespace(waves.duty)
    width = waves.duty - waves.commutation
    both = overlap(width, waves.i_start, waves.i_peak)
    slope = (waves.i_peak - waves.i_start) / width
    returned = waves.commutation * (waves.i_start - waves.i_peak)
    meets = waves.i_start + slope * (0.5 - 0.5 * waves.commutation)
    both_in = both + xp.where(waves.duty > 0.5, returned * meets, 0.0)

    first, last = waves.i_secondary
    charge, time = waves.hand_over
    passed = (0.5 + time - waves.duty) / waves.fall
    meets = xp.where((passed > 0.0) & (passed < 1.0), first + (last - first) * passed, 0.0)
    return both_in, overlap(waves.fall, first, last, waves.bend) + 2.0 * charge * meets


def overlap(width: Array, first: Array, last: Array, bend: Array | float = 0.0) -> Array:
    """Return the mean product of a pulse with itself half a period later [A²].

    With s = width − ½ > 0 the two overlap twice in a period; else the mean is zero.
    The top is straight but for −bend·y·(1 − y²), y running from 1 to −1, which is what
    the sine of the clamp current adds; within an overlap it is taken as straight.

    Parameters
    ----------
    width : Array
        Share of the period [1].
    first, last : Array
        Current at both ends [A].
    bend : Array or float
        I·h²/6 of a clamp current I·sin(h·y)/sin h [A].
    """
    xp = array_namespace(width, first, last)
    s = xp.clip(width - 0.5, 0.0, 0.5)
    wide = xp.maximum(width, 0.5)
    slope = (last - first) / wide
    y = 1.0 - 2.0 * s / wide
    off = bend * (y * (1.0 - y * y))
    early, late = first + slope * s - off, first + 0.5 * slope + off
    return 2.0 * s * ramp_product(first, early, late, last)
