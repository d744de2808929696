"""Size, series resistance and heating of film, electrolytic and ceramic capacitors."""

from __future__ import annotations

import itertools
import math

from models.axes import Array, array_namespace

# Values of a decade, IEC 60063; E12, E6 and E3 are every second, fourth and eighth.
E24 = (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
       3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1)  # fmt: skip
E12, E6, E3 = E24[::2], E24[::4], E24[::8]

FILM_LOSS = 5e-4  # tan δ of polypropylene [1], from memory

# Ripple multipliers of a 450 V electrolytic series, 2008: (frequency [Hz], multiplier [1]).
FREQUENCY_MULTIPLIERS = ((50.0, 0.90), (120.0, 1.0), (1e3, 1.20), (1e4, 1.50), (2e4, 1.55))
# … and by the air around the can: (temperature [°C], multiplier [1]).
AIR_MULTIPLIERS = ((40.0, 2.7), (55.0, 2.5), (70.0, 2.1), (85.0, 1.7), (105.0, 1.0))

# Series resistance of a typical electrolytic over the limit of its data sheet [1], from memory.
TYPICAL_ESR = 0.55

# Where and how class II ceramics lose capacitance under bias: half of it at this share of
# the rated voltage, with this exponent; typical shape, invented.
CERAMIC_HALF, CERAMIC_EXPONENT = 0.45, 1.6

# Gauss-Legendre nodes and weights of five points on 0 … 1 (Abramowitz and Stegun, 25.4.30).
_GAUSS = tuple(
    (0.5 + 0.5 * x, 0.5 * w)
    for x, w in (
        (-0.9061798459386640, 0.2369268850561891), (-0.5384693101056831, 0.4786286704993665),
        (0.0, 0.5688888888888889),
        (0.5384693101056831, 0.4786286704993665), (0.9061798459386640, 0.2369268850561891),
    )
)  # fmt: skip


def film_volume(capacitance: Array, v_rated: Array, ac_rated: Array | float = 0.0) -> Array:
    """Return the boxed volume of a polypropylene film capacitor: ½·C·V_R²/e.

    e = 0.086 J/cm³·(V_R/500 V)^0.3, below 450 V times √(V_R/450 V); half of it where
    rated for alternating voltage (invented).  Series differ by 15 to 25 %.

    Parameters
    ----------
    capacitance : Array
        Capacitance [F].
    v_rated : Array
        Rated direct voltage V_R [V].
    ac_rated : Array or float
        1 where rated for alternating voltage, else 0 [1].

    Returns
    -------
    Array
        Volume [m³].

    Source
    ------
    Fitted to one published part, 5 µF and 500 V, 11 × 21 × 31.5 mm, 2022.
    """
    xp = array_namespace(capacitance, v_rated)
    density = 0.086e6 * (v_rated / 500.0) ** 0.3 * xp.sqrt(xp.minimum(v_rated / 450.0, 1.0))
    return 0.5 * capacitance * v_rated**2 / (density * (1.0 - 0.5 * ac_rated))


def electrolytic_volume(capacitance: Array, v_rated: Array) -> Array:
    """Return the boxed volume of an electrolytic: ½·C·V_R²/(0.80 J/cm³·(V_R/450)^0.43) + 0.3 cm³.

    Parameters
    ----------
    capacitance, v_rated : Array
        Capacitance [F] and rated voltage V_R [V].

    Returns
    -------
    Array
        Volume of the square box around the can [m³].

    Source
    ------
    Fitted to case sizes from memory.
    """
    return 0.5 * capacitance * v_rated**2 / (0.80e6 * (v_rated / 450.0) ** 0.43) + 0.3e-6


def film_resistance(r_series: Array, capacitance: Array, f: Array) -> Array:
    """Return the equivalent series resistance of a film capacitor: R_s + tan δ/(2π·f·C).

    Parameters
    ----------
    r_series : Array
        Resistance R_s of metallisation and leads [Ω].
    capacitance : Array
        Capacitance [F].
    f : Array
        Frequency [Hz], above 0.

    Source
    ------
    Common practice, no source; skin effect in the leads is left out.
    """
    return r_series + FILM_LOSS / (2.0 * math.pi * f * capacitance)


def frequency_multiplier(f: Array) -> Array:
    """Return k(f), by which an electrolytic bears more ripple current than at 120 Hz.

    Straight lines over log f, held outside 50 Hz to 20 kHz; ESR(f) = ESR(120 Hz)/k².

    Parameters
    ----------
    f : Array
        Frequency [Hz].

    Source
    ------
    Data sheet of a 450 V series for 105 °C, 2008; low-voltage cans gain less.
    """
    xp = array_namespace(f)
    table = tuple((math.log(x), y) for x, y in FREQUENCY_MULTIPLIERS)
    return _ramps(xp.log(xp.maximum(f, 1.0)), table)


def air_multiplier(t_air: Array) -> Array:
    """Return by how much the rated ripple current grows below 105 °C around the can [1].

    Parameters
    ----------
    t_air : Array
        Temperature around the can [°C].

    Source
    ------
    As ``frequency_multiplier``.
    """
    return _ramps(t_air, AIR_MULTIPLIERS)


def equivalent_ripple(i_line: Array, f_line: Array, *, i_hf: Array, f_hf: Array) -> Array:
    """Return the 120 Hz current that heats an electrolytic as two currents do.

    I² = (I_line/k(f_line))² + (I_hf/k(f_hf))²

    Parameters
    ----------
    i_line, i_hf : Array
        Rms currents at twice the line frequency and from switching [A].
    f_line, f_hf : Array
        Their frequencies [Hz].

    Returns
    -------
    Array
        Rms current at 120 Hz [A].

    Source
    ------
    Heats of different frequencies add, each at its own resistance.
    """
    xp = array_namespace(i_line, i_hf)
    slow = i_line / frequency_multiplier(f_line)
    fast = i_hf / frequency_multiplier(f_hf)
    return xp.sqrt(slow * slow + fast * fast)


def electrolytic_resistance(capacitance: Array, loss_factor: Array) -> Array:
    """Return the typical ESR of an electrolytic at 120 Hz and 20 °C: 0.55·tan δ/(ω·C).

    Parameters
    ----------
    capacitance : Array
        Capacitance [F].
    loss_factor : Array
        Limit of tan δ at 120 Hz [1].

    Source
    ------
    Definition of the loss factor; 0.55 from memory.
    """
    return TYPICAL_ESR * loss_factor / (2.0 * math.pi * 120.0 * capacitance)


def warm_share(t: Array) -> Array:
    """Return ESR(T)/ESR(20 °C) of an electrolytic: 0.45 + 0.55·exp(−(T − 20)/25).

    Parameters
    ----------
    t : Array
        Temperature T [°C], held within −40 and 150.

    Source
    ------
    Common practice, no source.
    """
    xp = array_namespace(t)
    return 0.45 + 0.55 * xp.exp((20.0 - xp.clip(t, -40.0, 150.0)) / 25.0)


def bias_share(v: Array, v_half: Array) -> Array:
    """Return C(V)/C(0) of a class II ceramic for small ripple: 1/(1 + (V/V_half)^1.6).

    Parameters
    ----------
    v : Array
        Bias V [V]; its sign does not matter.
    v_half : Array
        Bias at which half the capacitance is left [V].

    Source
    ------
    Typical shape, invented.
    """
    xp = array_namespace(v, v_half)
    return 1.0 / (1.0 + (xp.abs(v) / v_half) ** CERAMIC_EXPONENT)


def charge_share(v: Array, v_half: Array) -> Array:
    """Return Q/(V·C(0)) [1] of a class II ceramic charged to V.

    Parameters and source as in ``bias_share``; Gauss-Legendre quadrature, within 0.1 %.
    """
    return sum((w * bias_share(x * v, v_half) for x, w in _GAUSS), start=0.0 * v)


def energy_share(v: Array, v_half: Array) -> Array:
    """Return 2·E/(V²·C(0)) [1] of a class II ceramic charged to V.

    Parameters and source as in ``bias_share``; Gauss-Legendre quadrature, within 0.1 %.
    """
    parts = (2.0 * x * w * bias_share(x * v, v_half) for x, w in _GAUSS)
    return sum(parts, start=0.0 * v)


def _ramps(x: Array, table: tuple[tuple[float, float], ...]) -> Array:
    """Return straight lines through the points of ``table``, held beyond its ends."""
    xp = array_namespace(x)
    y = table[0][1] + 0.0 * x
    for (x_0, y_0), (x_1, y_1) in itertools.pairwise(table):
        y = y + (y_1 - y_0) / (x_1 - x_0) * xp.clip(x - x_0, 0.0, x_1 - x_0)
    return y
