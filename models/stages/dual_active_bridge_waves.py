"""Currents of a dual active bridge: phase shift of two squares, or triangles.

    v₁ (bridge at the module, ±V₁) ── L_s ─┬── ideal 1 : n ── v₂·n (bridge at the link, ±n·V₂)
                                          L_m

Half a period is two straight lines and a rest; the other half is the same with the opposite
sign.  Currents are those on the module's side.

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

from models.axes import Array, array_namespace
from models.physics.waveform import ramp_square

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
    """One half period while the stage runs: two lines, then a rest with both bridges at zero."""

    power: Array  # [W]
    v_1: Array  # [V]
    v_2: Array  # [V], link over n
    triangular: Array  # True where the current is triangular
    time: tuple[Array, Array]  # of both lines, shares of half a period
    end: Array  # [A], in L_s as the second line ends, and minus that as the first begins
    turn: Array  # [A], in L_s between the lines
    m_end: Array  # [A], in L_m as the second line ends, and minus that as the first begins
    m_turn: Array  # [A], in L_m between the lines
    sign_1: Array  # of v₁ on the second line: 1 or 0; 1 on the first
    sign_2: Array  # of v₂ on the first line: −1, 0 or 1; 1 on the second
    duty_1: Array  # of v₁, share of half a period
    duty_2: Array  # of v₂
    shift: Array  # from the middle of v₁ to that of v₂, share of half a period
    i_crest: Array  # [A], largest in L_s
    i_m: Array  # [A], peak of the magnetising current

    @property
    def lines(self) -> tuple[tuple[Array, Array], ...]:
        """Current in L_s at both ends of either line [A]."""
        return ((-self.end, self.turn), (self.turn, self.end))

    @property
    def secondary_lines(self) -> tuple[tuple[Array, Array], ...]:
        """Current of the secondary times n at both ends of either line [A]."""
        end, turn = self.end - self.m_end, self.turn - self.m_turn
        return ((-end, turn), (turn, end))

    @functools.cached_property
    def squares(self) -> tuple[Array, Array]:
        """Square of the current in L_s over either line, times its length [A²]."""
        (a, b), (c, d) = self.lines
        return self.time[0] * ramp_square(a, b), self.time[1] * ramp_square(c, d)

    @functools.cached_property
    def secondary_squares(self) -> tuple[Array, Array]:
        """The same of n times the secondary's current [A²]."""
        (a, b), (c, d) = self.secondary_lines
        return self.time[0] * ramp_square(a, b), self.time[1] * ramp_square(c, d)

    @functools.cached_property
    def square(self) -> Array:
        """Mean square of the current in L_s [A²]; it rests at zero."""
        return self.squares[0] + self.squares[1]

    @functools.cached_property
    def secondary_square(self) -> Array:
        """Mean square of n times the secondary's current [A²]; L_m keeps its own at rest."""
        rest = 1.0 - self.time[0] - self.time[1]
        lines = self.secondary_squares[0] + self.secondary_squares[1]
        return lines + rest * (self.m_end * self.m_end)

    @property
    def drawn_square(self) -> Array:
        """Mean square of the current drawn from the module [A²]."""
        return self.squares[0] + self.sign_1 * self.squares[1]

    @property
    def given_square(self) -> Array:
        """Mean square of n times the current given to the link [A²]."""
        first, second = self.secondary_squares
        return self.sign_2 * self.sign_2 * first + second

    @property
    def drawn(self) -> Array:
        """Mean current drawn from the module [A]."""
        (a, b), (c, d) = self.lines
        return 0.5 * (self.time[0] * (a + b) + self.sign_1 * self.time[1] * (c + d))

    @property
    def given(self) -> Array:
        """Mean of n times the current given to the link [A]."""
        (a, b), (c, d) = self.secondary_lines
        return 0.5 * (self.sign_2 * self.time[0] * (a + b) + self.time[1] * (c + d))

    @functools.cached_property
    def input_charge(self) -> Array:
        """Charge that the module's capacitors give and take in half a period, times 2·f [A]."""
        xp = array_namespace(self.power)
        mean = self.power / self.v_1
        moved = top = bottom = 0.0 * self.power
        ends = (-self.end, self.turn, self.sign_1 * self.turn, self.sign_1 * self.end)
        for t, a, b in zip(self.time, ends[::2], ends[1::2], strict=True):
            first, last = a - mean, b - mean
            # Within a line the charge turns where the current crosses its mean.
            crosses = first * last < 0.0
            share = xp.where(crosses, first / xp.where(crosses, first - last, 1.0), 0.0)
            turn = moved + (0.5 * t) * share * first
            moved = moved + (0.5 * t) * (first + last)
            top = xp.maximum(top, xp.maximum(turn, moved))
            bottom = xp.minimum(bottom, xp.minimum(turn, moved))
        return top - bottom


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
    one = 1.0 + 0.0 * x
    shifted = Waves(
        power=power,
        v_1=v_1,
        v_2=v_2,
        triangular=one < 0.0,
        time=(x, 1.0 - x),
        end=i_1,
        turn=i_2,
        m_end=(1.0 - 2.0 * x) * i_m,
        m_turn=-i_m,
        sign_1=one,
        sign_2=-one,
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
    i_m = shifted.i_m * xp.where(down, long, short)
    return dataclasses.replace(
        shifted,
        triangular=long <= 1.0,
        time=(xp.where(down, short, long - short), xp.where(down, long - short, short)),
        end=0.0 * crest,
        turn=crest,
        m_end=i_m,
        m_turn=xp.where(down, (2.0 * low / high - 1.0) * i_m, -i_m),
        sign_1=xp.where(down, 0.0, 1.0),
        sign_2=xp.where(down, 1.0, 0.0),
        duty_1=xp.where(down, short, long),
        duty_2=xp.where(down, long, short),
        shift=0.5 * (long - short),
        i_crest=crest,
        i_m=i_m,
    )


def _better(triangular: Waves, shifted: Waves) -> Waves:
    """Return triangles where they are possible and take less current."""
    xp = array_namespace(shifted.v_2)
    taken = xp.logical_and(triangular.triangular, triangular.square < shifted.square)

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
