"""Waveforms of the interleaved boost with series capacitors, exact but for losses.

    L_k: in → s_k ; S_k: s_k → ground ; D_k: x_(k−1) → x_k (x_0 = s_1, x_N = link) ;
    C_k: x_k → s_(k+1), k = 1 … N−1

Phase k is off from (k−1)/N for d_k of the period.  What leaves node k while it is off
arrives through C_k at node k+1, so that with ``off`` as a 0/1 wave

    s_k = off_k·(V_k + s_(k+1) − V_(k−1)),   V_0 = 0, V_N = v_out    (voltages, backward)
    J_k = i_k + off_(k−1)·J_(k−1)                                     (currents, forward)
    i(S_k) = (1 − off_k)·J_k,   i(D_k) = off_k·J_k,   i(C_k) = i(D_k) − i(D_(k+1))

V_k follow from volt-seconds, mean(s_k) = v_in, and the phase currents from charge,
mean(off_k·J_k) = i_out; both are explicit, ripple included.  Off windows start evenly,
so that a period is N slots of two segments each, the same for every slot: no break
times need sorting.  Devices are ideal here and the capacitors' ripple is left out of
the inductor voltages; against switched simulation with 1 mΩ and 0.1 mΩ everywhere every
rms, average, peak, ripple and blocking voltage is within 1.1 %, and the voltages at one
instant, which miss the capacitors' momentary ripple, within 2 % of the blocking voltage.

Source
------
Derived here; the gain and its sources are in ``series_capacitor_gain``.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, TypeAlias

from models.axes import Array, array_namespace
from models.physics.waveform import segment_square
from models.stages.series_capacitor_gain import GAIN, off_duty

# Segment number (2·slot + part) → value; a segment that is missing holds zero.
Wave: TypeAlias = Mapping[int, Array]


@dataclasses.dataclass(frozen=True)
class Gating:
    """Which phase is off in which segment."""

    phases: int
    length: tuple[Array, Array]  # of the two segments of a slot [period]
    off: tuple[Wave, ...]  # by phase: 1.0 (always) or 0/1 arrays
    share: tuple[Array, ...]  # off-duty by phase [1]
    deeper: tuple[Any, ...]  # booleans: true where at least 2, 3 … phases are off at a time

    def last(self, phase: int, wave: Wave) -> Array:
        """Return a wave's value in the segment that ends a phase's off window."""
        xp = array_namespace(*self.length)
        found = wave[2 * phase]
        for q, deep in enumerate(self.deeper, start=1):
            segment = 2 * ((phase + q) % self.phases)
            # An even phase held at 1/N ends with its own slot.
            segment = segment if segment in self.off[phase] else 2 * phase + 1
            found = xp.where(deep, wave[segment], found)
        return found

    def mean(self, wave: Wave, *, where: Wave | None = None) -> Array:
        """Return a wave's mean, counting only where a 0/1 wave is set if one is given."""
        sums: list[Array | None] = [None, None]
        for segment, value in wave.items():
            if where is not None:
                if segment not in where:
                    continue
                value = _gated(where[segment], value)
            held = sums[segment % 2]
            sums[segment % 2] = value if held is None else held + value
        parts = [
            length * total
            for length, total in zip(self.length, sums, strict=True)
            if total is not None
        ]
        return sum(parts[1:], start=parts[0]) if parts else 0.0 * self.length[0]


def _gated(mask: Array, value: Array) -> Array:
    """Return value·mask without the work where the mask is constant."""
    return value if isinstance(mask, float) else mask * value


def gating(gain: Array, phases: int, rule: str) -> Gating:
    """Return the gating that gives a gain.

    "uniform": all phases alike.  "equal_current": even phases are never off for longer
    than 1/N and odd ones for N/M, which keeps the phase currents equal (but for ripple)
    down to M = N²/2, at the price of higher voltages.

    Parameters
    ----------
    gain : Array
        Output over input voltage M [1], at least ``least_gain``.
    phases : int
        Number N of phases.
    rule : str
        "uniform" or "equal_current".
    """
    xp = array_namespace(gain)
    uniform = rule == "uniform"
    d = off_duty(gain, phases) if uniform else phases / gain
    deeper = tuple(d > q / phases for q in range(1, len(GAIN[phases]) if uniform else 2))
    masks = [1.0, *(xp.astype(deep, d.dtype) for deep in deeper)]
    x = d - sum(masks[1:]) * (1.0 / phases)
    off: list[dict[int, Array]] = [{} for _ in range(phases)]
    for k in range(phases):
        for q, mask in enumerate(masks):
            slot = 2 * ((k + q) % phases)
            if uniform or k % 2 == 0 or q == 0:
                off[k][slot] = mask
            if q + 1 < len(masks) and (uniform or q == 0):
                off[k][slot + 1] = masks[q + 1]
    short = d if uniform else xp.minimum(d, 1.0 / phases)
    share = tuple(d if k % 2 == 0 else short for k in range(phases))
    return Gating(phases, (x, 1.0 / phases - x), tuple(off), share, deeper)


@dataclasses.dataclass(frozen=True)
class Voltages:
    """Voltages of one operating point; they do not depend on the power."""

    v_c: tuple[Array, ...]  # V_0 = 0, V_1 … V_N = v_out [V]
    node: tuple[Wave, ...]  # s_k [V] where the phase may be off


def voltages(gate: Gating, v_in: Array, v_out: Array) -> Voltages:
    """Return capacitor and node voltages from volt-second balance, last phase first."""
    n = gate.phases
    v_c: list[Array] = [v_out] * (n + 1)
    node: list[Wave] = [{}] * (n + 1)
    for k in range(n - 1, -1, -1):
        above, off = node[k + 1], gate.off[k]
        if k == 0:
            v_c[0] = 0.0 * v_out
        else:
            lift = gate.mean(above, where=off) - v_in
            v_c[k] = v_c[k + 1] + lift / gate.share[k]
        rise = v_c[k + 1] - v_c[k] if k else v_c[1]
        node[k] = {
            segment: _gated(mask, rise + above[segment] if segment in above else rise)
            for segment, mask in off.items()
        }
    return Voltages(tuple(v_c), tuple(node[:n]))


@dataclasses.dataclass(frozen=True)
class Ripple:
    """Inductor currents of one phase above their value when the off window starts."""

    middle: Wave  # [A]
    half: Wave  # [A]
    mean: Array  # [A]
    top: Array  # [A]
    bottom: Array  # [A]
    variance: Array  # mean square about the mean [A²]


def ripples(gate: Gating, volts: Voltages, v_in: Array, l_f: Array) -> tuple[Ripple, ...]:
    """Return the ripple of every phase; ``l_f`` is inductance times frequency [Ω]."""
    xp = array_namespace(v_in, l_f)
    n = gate.phases
    per_volt = tuple(length * (0.5 / l_f) for length in gate.length)
    rising = tuple(v_in * p for p in per_volt)
    found = []
    for k in range(n):
        middle, half = {}, {}
        level = 0.0 * rising[0]
        top = bottom = level
        for step in range(2 * n):
            segment = (2 * k + step) % (2 * n)
            h = rising[segment % 2]
            if segment in volts.node[k]:
                h = h - volts.node[k][segment] * per_volt[segment % 2]
            half[segment] = h
            middle[segment] = level + h
            level = middle[segment] + h
            if segment in volts.node[k]:
                top, bottom = xp.maximum(top, level), xp.minimum(bottom, level)
        mean = gate.mean(middle)
        variance = gate.mean(squares(middle, half)) - mean * mean
        found.append(Ripple(middle, half, mean, top, bottom, variance))
    return tuple(found)


@dataclasses.dataclass(frozen=True)
class Currents:
    """Middle values of the currents J_k into every node, for one output current."""

    start: tuple[Array, ...]  # inductor current as the off window starts [A]
    node: tuple[Wave, ...]  # J_k [A]
    both: tuple[Array, ...]  # mean of off_(k+1)·off_k·J_k [A], k = 1 … N−1


def currents(gate: Gating, ripple: tuple[Wave, ...], i_out: Array) -> Currents:
    """Return the node currents from charge balance, first phase first.

    ``ripple`` are the middle values of every phase's ripple; the result is affine in
    ripple and output current.
    """
    start, node, both = [], [], []
    passed: Wave = {}
    for k in range(gate.phases):
        off = gate.off[k]
        drawn = i_out
        if ripple[k]:
            drawn = drawn - gate.mean(ripple[k], where=off)
        if k:
            both.append(gate.mean(passed, where=off))
            drawn = drawn - both[-1]
        start.append(drawn / gate.share[k])
        node.append(
            {
                s: _plus(_plus(start[k], ripple[k].get(s)), passed.get(s))
                for s in range(2 * gate.phases)
            }
        )
        passed = {s: _gated(mask, node[k][s]) for s, mask in off.items()}
    return Currents(tuple(start), tuple(node), tuple(both))


def _plus(a: Array, b: Array | None) -> Array:
    return a if b is None else a + b


def at_output(still: Currents, unit: Currents, i_out: Array) -> tuple[Wave, ...]:
    """Return node currents at an output current from those at zero and of one ampere."""
    scaled: dict[int, Array] = {}
    found: list[Wave] = []
    for base, per_ampere in zip(still.node, unit.node, strict=True):
        for value in per_ampere.values():
            scaled.setdefault(id(value), value * i_out)
        found.append({s: base[s] + scaled[id(per_ampere[s])] for s in base})
    return tuple(found)


def half_rises(gate: Gating, ripple: tuple[Ripple, ...]) -> tuple[Wave, ...]:
    """Return the half rises of the node currents J_k [A] in every segment."""
    found: list[Wave] = []
    for k in range(gate.phases):
        own, before = ripple[k].half, gate.off[k - 1]
        if k == 0:
            found.append(own)
        else:
            found.append(
                {
                    s: own[s] + _gated(before[s], found[k - 1][s]) if s in before else own[s]
                    for s in own
                }
            )
    return tuple(found)


def squares(middle: Wave, half: Wave) -> Wave:
    """Return the mean square of a wave in every segment."""
    return {s: segment_square(middle[s], half[s]) for s in middle}
