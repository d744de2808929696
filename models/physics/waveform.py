"""Moments of piecewise-linear waves, segment by segment.

A segment of a wave is told by its middle value and its half rise (half of what it
gains from one end to the other), or by its two ends.  A wave is a tuple or mapping of
segments; their lengths are shares of the period.
"""

from __future__ import annotations

from models.axes import Array


def ramp_square(a: Array, b: Array) -> Array:
    """Return the mean square of a straight line from ``a`` to ``b``.

    (a² + a·b + b²)/3, exact.

    Parameters
    ----------
    a, b : Array
        Values at the two ends, any unit [1].

    Source
    ------
    Integral of a straight line; textbooks.
    """
    return (a * a + a * b + b * b) * (1.0 / 3.0)


def segment_square(middle: Array, half: Array) -> Array:
    """Return the mean square of a straight line by its middle value and half rise.

    m² + h²/3, the same number as ``ramp_square(m − h, m + h)``.

    Parameters
    ----------
    middle : Array
        Value in the middle, any unit.
    half : Array
        Half of the rise from one end to the other, same unit [1], either sign.

    Source
    ------
    Integral of a straight line; textbooks.
    """
    return middle * middle + half * (half * (1.0 / 3.0))


def ramp_product(a: Array, b: Array, c: Array, d: Array) -> Array:
    """Return the mean of the product of two straight lines, a → b and c → d.

    (2·a·c + a·d + b·c + 2·b·d)/6, exact.

    Parameters
    ----------
    a, b : Array
        Ends of the first line, any unit.
    c, d : Array
        Ends of the second line over the same time, any unit [1].

    Source
    ------
    Integral of two straight lines; textbooks.
    """
    return (a * (2.0 * c + d) + b * (c + 2.0 * d)) * (1.0 / 6.0)
