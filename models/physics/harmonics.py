"""Harmonics of switched currents, as squared rms values that add up to the whole.

Every function returns a tuple: entry n − 1 is the squared rms value of the n-th
harmonic, and the last one holds all the rest, so that the sum is exact whatever the
number of entries.  Average them over the line cycle, then take roots.
"""

from __future__ import annotations

import math

from models.axes import Array, array_namespace

# Shares closer to the ends have no harmonics worth telling apart from the rest [1].
SHARE_MIN = 1e-3

# Where the rest above ``count`` harmonics is evaluated, over count·f.  It decreases as
# n⁻⁴ or slower while eddy loss grows as n² at first, so that its centre lies above the
# lowest of it: √(Σn⁻²/Σn⁻⁴) from 4, 5, 6 … is 1.6 times that; common practice, no source.
REST = 1.6


def orders(count: int) -> tuple[float, ...]:
    """Return the frequencies over f [1] at which ``count`` entries are to be evaluated.

    Source
    ------
    As ``REST``.
    """
    if count == 1:
        return (1.0,)
    return (*(float(n) for n in range(1, count)), REST * count)


def triangle_harmonics(pp: Array, duty: Array, count: int) -> tuple[Array, ...]:
    """Return squared rms values of the harmonics of a triangle [A²]; their sum is pp²/12.

    Î_n = ΔI·|sin nπD| / (n²·π²·D·(1 − D))

    Parameters
    ----------
    pp : Array
        Peak to peak value ΔI [A].
    duty : Array
        Share D of the period during which it rises [1].
    count : int
        Number of entries; the last holds all harmonics from ``count`` on.

    Source
    ------
    Fourier series; textbooks.
    """
    xp = array_namespace(pp, duty)
    rise = xp.clip(duty, SHARE_MIN, 1.0 - SHARE_MIN)
    square = pp * pp
    scale = square / (2.0 * math.pi**4 * (rise * (1.0 - rise)) ** 2)
    # sin² nx = (1 − cos 2nx)/2, and cos 2nx by its recurrence: one cosine in all.
    cosine = xp.cos(2.0 * math.pi * rise)
    before, now = 1.0, cosine
    found: list[Array] = []
    rest = square / 12.0
    for n in range(1, count):
        found.append(scale * (0.5 / n**4) * (1.0 - now))
        rest = rest - found[-1]
        before, now = now, 2.0 * cosine * now - before
    return (*found, xp.maximum(rest, 0.0))


def pulse_harmonics(
    mean_square: Array, duty: Array, count: int, ramp: Array | float = 2.0
) -> tuple[Array, ...]:
    """Return squared rms values of the harmonics of a straight-topped pulse [A²].

    With x = nπD, mean m and ramp r = (last − first)/m of the pulse:
    I_n² = I_ac²·2D·[(sin x/x)² + r²/4·((cos x − sin x/x)/x)²] / (1 + r²/12 − D)

    Exact for one pulse per period with straight top; a pulse of another shape (leakage
    edges, clamp ringing) keeps its whole alternating current, but its split over the
    harmonics is that of the straight one, too low at high order where edges are steep.

    Parameters
    ----------
    mean_square : Array
        Square of the rms value of the alternating part, I_rms² − I_dc² [A²].
    duty : Array
        Width D of the pulse over the period [1].
    count : int
        Number of entries; the last holds all harmonics from ``count`` on.
    ramp : Array or float
        r [1]: 2 (or −2) for a triangle from (to) zero, 0 for a rectangle.

    Source
    ------
    Fourier integral; textbooks.
    """
    xp = array_namespace(mean_square, duty)
    width = xp.clip(duty, 20.0 * SHARE_MIN, 1.0 - 20.0 * SHARE_MIN)
    skew = ramp * ramp / 4.0
    scale = mean_square * (2.0 * width / (1.0 + skew / 3.0 - width))
    x = math.pi * width
    sin_1, cos_1 = xp.sin(x), xp.cos(x)
    sin_n, cos_n = sin_1, cos_1
    found: list[Array] = []
    rest = mean_square
    for n in range(1, count):
        x_n = n * x
        even = sin_n / x_n
        odd = (cos_n - even) / x_n
        found.append(scale * (even * even + skew * odd * odd))
        rest = rest - found[-1]
        sin_n, cos_n = sin_n * cos_1 + cos_n * sin_1, cos_n * cos_1 - sin_n * sin_1
    return (*found, xp.maximum(rest, 0.0))
