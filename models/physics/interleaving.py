"""Ripple of several phases that run alike, each 1/N of the period behind the one before.

A phase's current is a closed chain of straight lines, told by its corners.  Its second
derivative is a pulse at each corner, so that sums over shifted phases are sums of
Bernoulli polynomials, Σ_j B_m({x + j/N}) = N^(1−m)·B_m({N·x}): no corner needs sorting
for a mean square, and N may differ from design to design.
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace

# Length below which a line between two corners is a step whose height counts for
# nothing; share of the period.
SHORT = 1e-7
FLAT = 1e-12  # divisor floor of a line that does not rise [A]


@dataclasses.dataclass(frozen=True)
class Chain:
    """One phase's current over a period; lines run from corner to corner and back."""

    time: tuple[Array, ...]  # of the corners, rising, shares of the period
    bend: tuple[Array, ...]  # change of slope at each [A per period]
    mean: Array  # [A]


def chain(lengths: tuple[Array, ...], values: tuple[Array, ...]) -> Chain:
    """Return a current by the lengths of its lines [1] and the values they start from [A].

    Parameters
    ----------
    lengths : tuple of Array
        Shares of the period, which sum to one [1]; a line of no length must not rise.
    values : tuple of Array
        Current at the start of each line [A].

    Source
    ------
    Geometry.
    """
    xp = array_namespace(*lengths)
    ends = (*values[1:], values[0])
    slopes = [
        (b - a) / xp.maximum(t, SHORT) for a, b, t in zip(values, ends, lengths, strict=True)
    ]
    time, at = [], 0.0 * lengths[0]
    mean = at
    for a, b, t in zip(values, ends, lengths, strict=True):
        time.append(at)
        at = at + t
        mean = mean + 0.5 * t * (a + b)
    before = (slopes[-1], *slopes[:-1])
    bend = tuple(s - r for s, r in zip(slopes, before, strict=True))
    return Chain(tuple(time), bend, mean)


def summed_square(wave: Chain, phases: Array | int) -> Array:
    """Return the mean square of the sum of all phases without its average [A²].

    −Σ_k Σ_l s_k·s_l·B₄({N·(t_k − t_l)})/(24·N²),  B₄ = x²·(x − 1)² − 1/30

    Parameters
    ----------
    wave : Chain
        Current of one phase.
    phases : Array or int
        Number N of phases [1].

    Source
    ------
    Correlation of piecewise straight waves, derived here; polynomials: Abramowitz and
    Stegun, "Handbook of Mathematical Functions", 1964, chapter 23 (from memory).
    """
    xp = array_namespace(wave.mean)
    total = 0.0 * wave.mean
    # The constant of B₄ and all pairs k = l drop out: the bends sum to zero.
    for k, (t, s) in enumerate(zip(wave.time, wave.bend, strict=True)):
        for t_l, s_l in zip(wave.time[:k], wave.bend[:k], strict=True):
            x = phases * (t - t_l)
            x = x - xp.floor(x)
            y = x * (x - 1.0)
            total = total - s * s_l * (y * y)
    return xp.maximum(total / (12.0 * phases * phases), 0.0)


def summed_charge(wave: Chain, phases: Array | int) -> Array:
    """Return the charge that the sum without its average moves to and fro, times f [A].

    A capacitor that supplies the sum ripples by this over f·C, peak to peak.

    Parameters
    ----------
    wave : Chain
        Current of one phase.
    phases : Array or int
        Number N of phases [1].

    Source
    ------
    As ``summed_square``; B₂ = x·(x − 1) + 1/6.
    """
    xp = array_namespace(wave.mean)
    time = _sorted([phases * t - xp.floor(phases * t) for t in wave.time])
    heights = [_ripple(wave, u, phases) for u in time]
    ends = zip((*time[1:], time[0] + 1.0), (*heights[1:], heights[0]), strict=True)
    moved = top = bottom = 0.0 * wave.mean
    for u, a, (u_next, b) in zip(time, heights, ends, strict=True):
        length = u_next - u
        # The charge turns where the sum crosses its average.
        turn = moved + length * _until_zero(a, b)
        top, bottom = xp.maximum(top, turn), xp.minimum(bottom, turn)
        moved = moved + (0.5 * length) * (a + b)
    return (top - bottom) / phases


def _ripple(wave: Chain, u: Array, phases: Array | int) -> Array:
    """Return the sum without its average at a time N·t = u: −Σ s_k·B₂({u − N·t_k})/(2·N)."""
    xp = array_namespace(u)
    total = 0.0 * wave.mean
    for t, s in zip(wave.time, wave.bend, strict=True):
        x = u - phases * t
        x = x - xp.floor(x)
        total = total - s * (x * (x - 1.0))
    return total / (2.0 * phases)


def _sorted(values: list[Array]) -> list[Array]:
    """Return few arrays in rising order, element by element."""
    xp = array_namespace(values[0])
    found = list(values)
    for end in range(len(found) - 1, 0, -1):
        for k in range(end):
            a, b = found[k], found[k + 1]
            found[k], found[k + 1] = xp.minimum(a, b), xp.maximum(a, b)
    return found


def _until_zero(a: Array, b: Array) -> Array:
    """Return the integral from ``a`` to the zero of a line to ``b``, over its length.

    Zero where it has none.
    """
    xp = array_namespace(a, b)
    size = xp.abs(a)
    share = size / xp.maximum(size + xp.abs(b), FLAT)
    return xp.where(a * b < 0.0, 0.5 * a * share, 0.0)
