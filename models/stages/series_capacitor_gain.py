"""Gain of the interleaved boost with series capacitors, zone by zone.

Source
------
The gain laws N/d at high duty follow from Y. Jang and M. M. Jovanović, "Interleaved boost
converter with intrinsic voltage-doubler characteristic", IEEE Trans. Power Electronics,
2007 (from memory), for N = 2; the recursions and the equal-current rule are derived here.
"""

from __future__ import annotations

from typing import TypeAlias

from models.axes import Array, array_namespace

# Gain M as a polynomial in a = 1/(N·d), by N, from the deepest overlap of off windows to
# none: where the zone begins (a), and the coefficients of a, a² …  With three and four
# phases the zone in which all are off together is left out: its currents differ by
# more than 1.3 : 1 (1 : D/d : D/d² for N = 3) and its edges also move other switches.
Zone: TypeAlias = tuple[float, tuple[float, ...]]
GAIN: dict[int, tuple[Zone, ...]] = {
    2: ((1 / 2, (0.0, 4.0)), (1.0, (4.0,))),
    3: ((1 / 2, (6.0, 0.0, 3.0)), (1.0, (9.0,))),
    4: ((1 / 3, (8.0, 0.0, 12.0, 4.0)), (1 / 2, (8.0, 8.0, -4.0, 4.0)), (1.0, (16.0,))),
}
INSIDE = 1.02  # [1], distance kept from the least gain of a rule


def least_gain(phases: int, gating: str) -> float:
    """Return the smallest gain [1] that a gating rule can give, just inside its edge."""
    edge, coefficients = GAIN[phases][0]
    uniform = _polynomial(coefficients, edge)
    return INSIDE * (0.5 * phases * phases if gating == "equal_current" else uniform)


def off_duty(gain: Array, phases: int) -> Array:
    """Return the off-duty d [1] of uniform gating at a gain, at least ``least_gain``.

    Inverts M(d) zone by zone: N/d where at most one phase is off at a time, 1/d² for
    two phases below, 2/d + 1/(9·d³) for three; four Newton steps from the chord of
    the zone leave less than 1e-9.

    Parameters
    ----------
    gain : Array
        Output over input voltage M [1].
    phases : int
        Number N of phases, 2 to 4.
    """
    xp = array_namespace(gain)
    zones = GAIN[phases]
    order = max(len(coefficients) for _, coefficients in zones)
    c: list[Array | float] = [0.0] * order
    a = 0.0 * gain
    inside = gain > 0.0
    for z, (edge, coefficients) in enumerate(zones):
        start = _polynomial(coefficients, edge)
        slope = 1.0 / coefficients[0] if z == len(zones) - 1 else _chord(zones[z], zones[z + 1])
        inside = gain > start if z else inside
        padded = (*coefficients, *(0.0,) * (order - len(coefficients)))
        c = [xp.where(inside, new, old) for new, old in zip(padded, c, strict=True)]
        a = xp.where(inside, edge + (gain - start) * slope, a)
    for _ in range(4):
        value, rise = c[-1] * a, order * c[-1]
        for n in range(order - 2, -1, -1):
            value, rise = (value + c[n]) * a, rise * a + (n + 1) * c[n]
        a = a - (value - gain) / rise
    return 1.0 / (phases * a)


def _chord(zone: Zone, following: Zone) -> float:
    """Return the slope of a against the gain across a zone."""
    gained = _polynomial(following[1], following[0]) - _polynomial(zone[1], zone[0])
    return (following[0] - zone[0]) / gained


def _polynomial(coefficients: tuple[float, ...], a: float) -> float:
    return sum(c * a ** (n + 1) for n, c in enumerate(coefficients))
