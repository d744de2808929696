"""Currents of a dual active bridge: phase shift of two squares, or triangles.

    v₁ (bridge at the module, ±V₁) ── L_s ─┬── ideal 1 : n ── v₂·n (bridge at the link, ±n·V₂)
                                          L_m

Half a period is three straight lines from corner to corner; the other half is the same with
the opposite sign.  Currents are those on the module's side.

Phase shift: both bridges give full squares, the link's later by φ = π·x.  Triangular: both
give pulses, and the current starts and ends a pulse at zero::

    V₁ ≥ V₂   both rise together, v₁ falls at the crest, v₂ at zero
    V₁ < V₂   v₁ rises first, v₂ at the crest, both fall together at zero

Exact for ideal devices, stiff voltages and all series inductance on the module's side.  Dead
times, whose share of the period is limited, and the voltage of the blocking capacitors,
whose ripple is, are left out.

Source
------
Phase shift: R. W. De Doncker, D. M. Divan, M. H. Kheraluwala, "A three-phase soft-switched
high-power-density dc/dc converter for high-power applications", IEEE Trans. Ind. Appl.
27(1), 1991; triangles: F. Krismer, J. W. Kolar on modulation of this bridge (both from
memory); what L_m adds is derived here.
"""

from __future__ import annotations

import dataclasses
import functools
import itertools

from models.axes import Array, array_namespace
from models.physics.waveform import ramp_square
from models.stages.swing import total

LEAST_STEP = 1e-6  # of V₁ from V₂ over the higher, where triangles are worked out [1]
MOST_POWER = 1.0 - 1e-9  # of what the phase shift can pass [1]


@dataclasses.dataclass(frozen=True)
class Circuit:
    """What the waves depend on besides voltages and power; (design, 1, 1)."""

    ratio: Array  # n [1]
    l_s: Array  # [H], in series, at the module's side
    l_m: Array  # [H], at the module's side
    f: Array  # [Hz]


@dataclasses.dataclass(frozen=True)
class Waves:
    """One half period while the stage runs; tuples go by corner or by line."""

    power: Array  # [W]
    v_1: Array  # [V]
    v_2: Array  # [V], link over n
    triangular: Array  # True where the current is triangular
    time: tuple[Array, ...]  # of the three lines, shares of half a period
    current: tuple[Array, ...]  # in L at the four corners [A]
    magnetising: tuple[Array, ...]  # in L_m at the four corners [A]
    sign_1: tuple[Array, ...]  # of v₁ on the three lines: 1, 0
    sign_2: tuple[Array, ...]  # of v₂: −1, 0, 1
    duty_1: Array  # of v₁, share of half a period
    duty_2: Array  # of v₂
    shift: Array  # from the middle of v₁ to that of v₂, share of half a period
    i_crest: Array  # [A], largest in L
    i_m: Array  # [A], peak of the magnetising current

    @property
    def lines(self) -> tuple[tuple[Array, Array], ...]:
        """Current in L at both ends of every line [A]."""
        return tuple(itertools.pairwise(self.current))

    @property
    def secondary_lines(self) -> tuple[tuple[Array, Array], ...]:
        """Current of the secondary times n at both ends of every line [A]."""
        corner = [i - m for i, m in zip(self.current, self.magnetising, strict=True)]
        return tuple(itertools.pairwise(corner))

    @functools.cached_property
    def squares(self) -> tuple[Array, ...]:
        """Square of the current in L over every line, times its length [A²]."""
        return _squares(self.time, self.lines)

    @functools.cached_property
    def secondary_squares(self) -> tuple[Array, ...]:
        """The same of n times the secondary's current [A²]."""
        return _squares(self.time, self.secondary_lines)

    @property
    def drawn_square(self) -> Array:
        """Mean square of the current drawn from the module [A²]."""
        return total([s * q for s, q in zip(self.sign_1, self.squares, strict=True)])

    @property
    def given_square(self) -> Array:
        """Mean square of n times the current given to the link [A²]."""
        return total([s * s * q for s, q in zip(self.sign_2, self.secondary_squares, strict=True)])

    @property
    def drawn(self) -> Array:
        """Mean current drawn from the module [A]."""
        return _mean(self.time, self.sign_1, self.lines)

    @property
    def given(self) -> Array:
        """Mean of n times the current given to the link [A]."""
        return _mean(self.time, self.sign_2, self.secondary_lines)

    @functools.cached_property
    def input_charge(self) -> Array:
        """Charge that the module's capacitors give and take in half a period, times 2·f [A]."""
        xp = array_namespace(self.power)
        mean = self.power / self.v_1
        moved = top = bottom = 0.0 * self.power
        for t, s, (a, b) in zip(self.time, self.sign_1, self.lines, strict=True):
            first, last = s * a - mean, s * b - mean
            # Within a line the charge turns where the current crosses its mean.
            size = xp.abs(first) + xp.abs(last)
            share = xp.where(first * last < 0.0, xp.abs(first) / xp.maximum(size, 1e-12), 0.0)
            turn = moved + (0.5 * t) * share * first
            moved = moved + (0.5 * t) * (first + last)
            top = xp.maximum(top, xp.maximum(turn, moved))
            bottom = xp.minimum(bottom, xp.minimum(turn, moved))
        return top - bottom


def _squares(time: tuple[Array, ...], lines: tuple[tuple[Array, Array], ...]) -> tuple[Array, ...]:
    return tuple(t * ramp_square(a, b) for t, (a, b) in zip(time, lines, strict=True))


def _mean(
    time: tuple[Array, ...], sign: tuple[Array, ...], lines: tuple[tuple[Array, Array], ...]
) -> Array:
    return total([0.5 * t * s * (a + b) for t, s, (a, b) in zip(time, sign, lines, strict=True)])


def most_power(circuit: Circuit, *, v_1: Array, v_2: Array) -> Array:
    """Return what the phase shift passes at 90° [W]: V₁·V₂/(8·f·L).

    Source
    ------
    As the module.
    """
    return v_1 * v_2 / (8.0 * circuit.f * circuit.l_s)


def inductance(power: Array, shift: Array, *, v_1: Array, v_2: Array, f: Array) -> Array:
    """Return the L that takes a phase shift φ for a power [H]: V₁·V₂·φ·(π − φ)/(2·π²·f·P).

    Parameters
    ----------
    power : Array
        Power P [W], above zero.
    shift : Array
        φ/π [1].
    v_1, v_2 : Array
        Voltage at the module, and of the link over n [V].
    f : Array
        Switching frequency [Hz].

    Source
    ------
    As the module.
    """
    return v_1 * v_2 * shift * (1.0 - shift) / (2.0 * f * power)


def waves(circuit: Circuit, power: Array, *, v_1: Array, v_2: Array, triangles: bool) -> Waves:
    """Return the waves at a power; triangular where allowed, possible and of less current.

    x = ½·(1 − √(1 − P/P_max)),  P_max = V₁·V₂/(8·f·L)
    I₁ = [V₁ + (2x − 1)·V₂]/(4·f·L),  I₂ = [(2x − 1)·V₁ + V₂]/(4·f·L)

    with −I₁ in L as v₁ rises and I₂ as v₂ does.

    Parameters
    ----------
    circuit : Circuit
        Turns, inductances, frequency.
    power : Array
        Power while the stage runs [W], above zero.
    v_1, v_2 : Array
        Voltage at the module, and of the link over n [V].
    triangles : bool
        Whether the control knows triangular currents.
    """
    xp = array_namespace(power, v_2)
    full = 0.0 * v_2
    v_1, power = v_1 + full, power + full
    share = xp.clip(power / most_power(circuit, v_1=v_1, v_2=v_2), 0.0, MOST_POWER)
    x = 0.5 * (1.0 - xp.sqrt(1.0 - share))
    slope = 1.0 / (4.0 * circuit.f * circuit.l_s)
    i_1 = (v_1 - (1.0 - 2.0 * x) * v_2) * slope
    i_2 = (v_2 - (1.0 - 2.0 * x) * v_1) * slope
    i_m = v_2 / (4.0 * circuit.f * circuit.l_m)
    bend = (1.0 - 2.0 * x) * i_m
    zero, one = 0.0 * x, 1.0 + 0.0 * x
    shifted = Waves(
        power=power,
        v_1=v_1,
        v_2=v_2,
        triangular=one < 0.0,
        time=(x, 1.0 - x, zero),
        current=(-i_1, i_2, i_1, i_1),
        magnetising=(-bend, -i_m, bend, bend),
        sign_1=(one, one, one),
        sign_2=(-one, one, one),
        duty_1=one,
        duty_2=one,
        shift=x,
        i_crest=xp.maximum(xp.abs(i_1), xp.abs(i_2)),
        i_m=i_m,
    )
    return _better(_triangular(circuit, shifted), shifted) if triangles else shifted


def _triangular(circuit: Circuit, shifted: Waves) -> Waves:
    """Return triangles of the same power; their pulses are too long where it is too much.

    d_hi = √(4·f·L·P/((V_hi − V_lo)·V_hi)),  d_lo = d_hi·V_hi/V_lo,
    I_crest = (V_hi − V_lo)·d_hi/(2·f·L)
    """
    v_1, v_2 = shifted.v_1, shifted.v_2
    xp = array_namespace(v_2)
    down = v_1 >= v_2
    high, low = xp.maximum(v_1, v_2), xp.minimum(v_1, v_2)
    step = xp.maximum(high - low, LEAST_STEP * high)
    impedance = 2.0 * circuit.f * circuit.l_s
    short = xp.sqrt(2.0 * impedance * shifted.power / (step * high))
    long = short * high / low
    crest = step * short / impedance
    rest = 1.0 - long
    i_m = shifted.i_m * xp.where(down, long, short)
    turned = xp.where(down, (2.0 * low / high - 1.0) * i_m, -i_m)
    zero, one = shifted.time[2], shifted.sign_1[0]
    return dataclasses.replace(
        shifted,
        triangular=long <= one,
        time=(xp.where(down, short, long - short), xp.where(down, long - short, short), rest),
        current=(zero, crest, zero, zero),
        magnetising=(-i_m, turned, i_m, i_m),
        sign_1=(one, xp.where(down, 0.0, one), zero),
        sign_2=(xp.where(down, one, 0.0), one, zero),
        duty_1=xp.where(down, short, long),
        duty_2=xp.where(down, long, short),
        shift=0.5 * (long - short),
        i_crest=crest,
        i_m=i_m,
    )


def _better(triangular: Waves, shifted: Waves) -> Waves:
    """Return triangles where they are possible and take less current."""
    xp = array_namespace(shifted.v_2)
    smaller = total(triangular.squares) < total(shifted.squares)
    taken = xp.logical_and(triangular.triangular, smaller)

    def pick(a: Array, b: Array) -> Array:
        return a if a is b else xp.where(taken, a, b)

    chosen: dict[str, Array | tuple[Array, ...]] = {}
    for field in dataclasses.fields(Waves):
        a, b = getattr(triangular, field.name), getattr(shifted, field.name)
        if isinstance(a, tuple):
            chosen[field.name] = tuple(pick(x, y) for x, y in zip(a, b, strict=True))
        else:
            chosen[field.name] = pick(a, b)
    return Waves(**chosen)  # type: ignore[arg-type]
