"""How long capacitors last: wear by voltage and temperature, summed over the year.

Lives are in hours.  None of these laws knows humidity, which often decides outdoors for
metallised film: take a humidity-graded part or a potted box.
"""

from __future__ import annotations

from models.axes import POINT, Array, array_namespace

HOURS_PER_YEAR = 8760.0

# Life is not claimed to grow below this hot spot [°C]; common practice, no source.
T_CLAIM_MIN = 40.0

# Nor past this life [h], some thousand years: it only keeps the numbers finite.
LIFE_MAX = 1e7

# Voltage acceleration of an electrolytic with a forming voltage reserve [1], for rated
# voltages from V_FORMED [V]; published factors go from 0 to 5, none below (from memory).
EXPONENT_ELECTROLYTIC, V_FORMED = 2.5, 160.0

# Kelvin for half the life of polypropylene film: 200,000 h at 70 °C and 100,000 h at
# 85 °C in one published DC-link series, 2017; many papers take 10 K (from memory).
HALVING_FILM = 15.0


def electrolytic_life(
    life: Array, t_rated: Array, *, t_hot: Array, v: Array, v_rated: Array
) -> Array:
    """Return the life of an aluminium electrolytic capacitor at constant conditions.

    L = L0·2^((T0 − T_h)/10 K)·min(V_R/V, 1.25)^n,  n = 2.5 from 160 V, 0 below

    Uncertain by a factor of 2.  End of life as in the endurance test behind L0: mostly
    20 % of the capacitance lost and twice the loss factor.

    Parameters
    ----------
    life : Array
        Rated life L0 [h].
    t_rated : Array
        Hot spot T0 of that test [°C]: rated air plus the rise by the rated ripple.
    t_hot : Array
        Hot spot T_h [°C]; below 40 °C no longer life is claimed.
    v, v_rated : Array
        Voltage V with its ripple peak, and rated voltage V_R [V].

    Returns
    -------
    Array
        Life [h].

    Source
    ------
    The 10-kelvin rule, in makers' application notes; exponent from memory.
    """
    xp = array_namespace(life, t_hot, v)
    # 150 °C is far past every limit; the bounds keep powers finite.
    hot = xp.clip(t_hot, T_CLAIM_MIN, 150.0)
    ratio = xp.clip(v_rated / xp.maximum(v, 1e-3 * v_rated), 0.5, 1.25)
    relief = xp.where(v_rated >= V_FORMED, ratio * ratio * xp.sqrt(ratio), 1.0)
    return life * relief * xp.exp2((t_rated - hot) / 10.0)


def film_life(life: Array, t_rated: Array, *, t_hot: Array, v: Array, v_rated: Array) -> Array:
    """Return the life of a polypropylene film capacitor at constant conditions.

    L = L0·(V_R/V)^7·2^((T0 − T_h)/15 K)

    Uncertain by a factor of 3; the exponent lies between 5 and 9.

    Parameters
    ----------
    life, t_rated : Array
        Rated life L0 [h] at rated voltage and hot spot T0 [°C].
    t_hot : Array
        Hot spot T_h [°C].
    v : Array
        Voltage V [V] that wears as much as the real one, see ``equivalent_voltage``;
        counted as at least 0.3·V_R.
    v_rated : Array
        Rated voltage V_R [V].

    Returns
    -------
    Array
        Life [h].

    Source
    ------
    Inverse power law of voltage with the 15-kelvin rule of one published series, 2017;
    exponent from memory.
    """
    xp = array_namespace(life, t_hot, v)
    ratio = xp.clip(v / v_rated, 0.3, 3.0)
    hot = xp.clip(t_hot, -60.0, 150.0)
    return life * xp.exp2((t_rated - hot) / HALVING_FILM) / _seventh(ratio)


def swing_wear(k: Array) -> Array:
    """Return how much more film wears because its voltage swings: mean of (1 + k·s)^3.5.

    The stored energy swings as a sine s, so v = V_0·√(1 + k·s), and wear goes with v⁷.
    The binomial series, 1 + 35/16·k² + 105/1024·k⁴ + …, is within 0.01 % up to k = 1.

    Parameters
    ----------
    k : Array
        Swing of the stored energy over its mean [1], 0 to 1.

    Source
    ------
    Binomial series, derived here.
    """
    k2 = k * k
    return 1.0 + k2 * (2.1875 + k2 * (0.102539 + k2 * (0.002136 + k2 * 0.000292)))


def equivalent_voltage(v_mean: Array, v_swing: Array) -> Array:
    """Return the steady voltage that wears film as much as one that swings.

    (mean of v⁷)^(1/7), v² going as a sine between its extremes v_mean ± v_swing/2.  The mean
    is taken for the middle of the extremes, which overstates wear by 9 % at a swing of
    45 %.  An alternating voltage of amplitude V̂ is v_mean = 0, v_swing = 2·V̂.

    Parameters
    ----------
    v_mean : Array
        Mean voltage [V].
    v_swing : Array
        Swing at twice the line frequency, peak to peak [V].

    Returns
    -------
    Array
        Voltage [V].

    Source
    ------
    Energy of the capacitor as a sine, derived here.
    """
    xp = array_namespace(v_mean, v_swing)
    high = v_mean + 0.5 * v_swing
    low = xp.maximum(v_mean - 0.5 * v_swing, 0.0)
    square = xp.maximum(0.5 * (high * high + low * low), 1e-12)
    k = xp.clip(0.5 * (high * high - low * low) / square, 0.0, 1.0)
    return xp.sqrt(square) * xp.exp(xp.log(swing_wear(k)) / 7.0)


def miner_life(life: Array, hours: Array) -> Array:
    """Return the life of a part that sees several conditions in a year.

    Palmgren and Miner: damages add, 1/L_years = Σ h/L.  Conditions with h = 0 do not count.

    Parameters
    ----------
    life : Array
        Life under each condition [h].
    hours : Array
        Hours h of each condition a year [h].

    Returns
    -------
    Array
        Life [h], at most 1e7; the operating-point axis has length 1.

    Source
    ------
    M. A. Miner, "Cumulative damage in fatigue", J. Appl. Mech. 12, 1945 (from memory).
    """
    xp = array_namespace(life, hours)
    damage = xp.sum(hours / xp.maximum(life, 1e-3), axis=POINT, keepdims=True)
    return HOURS_PER_YEAR / xp.maximum(damage, HOURS_PER_YEAR / LIFE_MAX)


def _seventh(x: Array) -> Array:
    """Return x⁷ by products, several times faster than a power."""
    square = x * x
    return square * square * square * x
