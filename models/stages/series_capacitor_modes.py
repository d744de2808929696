"""Stress of the interleaved boost with series capacitors at every power.

Synchronous rectifiers keep the inductors in continuous conduction at every load; the
valley may turn negative.  With diodes the stage runs, from high to low power,

1. in continuous conduction down to the power at which the first valley touches zero;
2. if M ≥ 2·N, in discontinuous conduction, each phase a boost to v_out/N, while the
   diodes of neighbours do not overlap (D₂ ≤ 1/N) and D ≥ 1/N;
3. below, and between the two where they do not meet, in bursts at the nearest power
   that one of them allows.

No phase is ever dropped: the chain of capacitors would break.  Figures are those of
the running time; ``active`` is its share.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

from models.axes import Array, array_namespace
from models.physics.waveform import segment_square
from models.stages import series_capacitor_waves as waves
from models.stages.series_capacitor_gain import least_gain
from models.stages.series_capacitor_stress import (
    Conditions,
    Pattern,
    Stress,
    active_share,
    discontinuous,
    discontinuous_range,
    falling_switches,
)


@dataclasses.dataclass(frozen=True)
class Ready:
    """Everything that does not depend on the power, worked out once."""

    on: Conditions
    v_out: Array  # [V], raised to the least gain
    pattern: Pattern  # of continuous conduction
    gate: waves.Gating
    ripple: tuple[waves.Ripple, ...]
    half: tuple[waves.Wave, ...]
    still: waves.Currents  # at no output current
    unit: waves.Currents  # of one ampere, without ripple
    # Currents at turn-on and at turn-off by phase: offset, slope against i_out.
    affine: tuple[tuple[tuple[Array, Array], ...], ...]
    squares: tuple[tuple[Array, Array], ...]  # moments of the ripple while off
    touching: Array  # output current of the first valley at zero [A]


def ready(on: Conditions) -> Ready:
    """Return waves without their power.

    A gain below what the gating rule can give is raised to it by raising the output
    voltage; the caller holds the gain against ``series_capacitor_gain.least_gain``.
    """
    xp = array_namespace(on.v_in, on.v_out)
    n = on.phases
    v_out = xp.maximum(on.v_out, least_gain(n, on.gating) * on.v_in)
    gate = waves.gating(v_out / on.v_in, n, on.gating)
    volts = waves.voltages(gate, on.v_in, v_out)
    ripple = waves.ripples(gate, volts, on.v_in, on.l_f)
    half = waves.half_rises(gate, ripple)
    zero = 0.0 * v_out
    nothing: tuple[waves.Wave, ...] = ({},) * n
    still = waves.currents(gate, tuple(r.middle for r in ripple), zero)
    unit = waves.currents(gate, nothing, zero + 1.0)
    squares = []
    for k in range(n):
        off = gate.off[k]
        middle = {s: ripple[k].middle[s] for s in off}
        square = {s: segment_square(m, ripple[k].half[s]) for s, m in middle.items()}
        squares.append((gate.mean(square, where=off), gate.mean(middle, where=off)))
    return Ready(
        on=on,
        v_out=v_out,
        pattern=_pattern(on, gate, volts, ripple),
        gate=gate,
        ripple=ripple,
        half=half,
        still=still,
        unit=unit,
        affine=_commutations(gate, half, still, unit),
        squares=tuple(squares),
        touching=_touching_current(ripple, still, unit),
    )


def _pattern(
    on: Conditions,
    gate: waves.Gating,
    volts: waves.Voltages,
    ripple: tuple[waves.Ripple, ...],
) -> Pattern:
    n = gate.phases
    v_on = tuple(gate.last(k, volts.node[k]) for k in range(n))
    step = [volts.v_c[k + 1] - volts.v_c[k] for k in range(n)]
    in_ripple, in_square = _input_ripple(gate, ripple)
    return Pattern(
        duty=tuple(1.0 - d for d in gate.share),
        idle=0.0 * volts.v_c[n],
        l_ripple=tuple(r.top - r.bottom for r in ripple),
        v_on=v_on,
        v_off=tuple(volts.node[k][2 * k] for k in range(n)),
        s_block=tuple(_largest(w) for w in volts.node),
        d_block=_diode_blocking(gate, volts, step),
        **_falling(on, gate, volts, v_on),
        v_c=volts.v_c[1:n],
        in_ripple=in_ripple,
        in_square=in_square,
    )


def _commutations(
    gate: waves.Gating, half: tuple[waves.Wave, ...], still: waves.Currents, unit: waves.Currents
) -> tuple[tuple[tuple[Array, Array], ...], ...]:
    """Return currents at turn-on and turn-off as offset and slope against i_out."""
    n = gate.phases
    turn_on, turn_off = [], []
    for k in range(n):
        ends = {s: still.node[k][s] + half[k][s] for s in gate.off[k]}
        turn_on.append((gate.last(k, ends), gate.last(k, unit.node[k])))
        s = (2 * k - 1) % (2 * n)
        turn_off.append((still.node[k][s] + half[k][s], unit.node[k][s]))
    return tuple(turn_on), tuple(turn_off)


def _touching_current(
    ripple: tuple[waves.Ripple, ...], still: waves.Currents, unit: waves.Currents
) -> Array:
    """Return the output current [A] at which the first inductor valley touches zero."""
    needed = -(still.start[0] + ripple[0].bottom) / unit.start[0]
    xp = array_namespace(needed)
    for offset, per_ampere, wave in zip(still.start, unit.start, ripple, strict=True):
        needed = xp.maximum(needed, -(offset + wave.bottom) / per_ampere)
    return xp.maximum(needed, 0.0)


def stress(waiting: Ready, power: Array, least_power: Array) -> Stress:
    """Return the stress of every device.

    Parameters
    ----------
    waiting : Ready
        Waves without their power.
    power : Array
        At the input of the lossless stage [W].
    least_power : Array
        The stage runs in bursts of at least this [W].
    """
    xp = array_namespace(power, waiting.v_out)
    on, v_out = waiting.on, waiting.v_out
    wanted = xp.maximum(power, least_power) / v_out
    if not on.diodes:
        return _continuous(waiting, wanted, power)
    lowest, highest = discontinuous_range(on, v_out)
    continuous = _continuous(waiting, xp.maximum(wanted, waiting.touching), power)
    held = xp.minimum(xp.maximum(wanted, lowest), xp.maximum(highest, lowest))
    return _either(wanted < highest, discontinuous(on, v_out, held, power), continuous)


def _continuous(waiting: Ready, i_out: Array, power: Array) -> Stress:
    """Return the stress in continuous conduction at an output current."""
    gate, ripple = waiting.gate, waiting.ripple
    n, off = gate.phases, gate.off
    start = [a + b * i_out for a, b in zip(waiting.still.start, waiting.unit.start, strict=True)]
    # Of every inductor's own current while its phase is off, ∫(i₀ + ripple)².
    own = [
        square + i0 * (2.0 * mean + i0 * share)
        for (square, mean), i0, share in zip(waiting.squares, start, gate.share, strict=True)
    ]
    l_avg = tuple(i0 + r.mean for i0, r in zip(start, ripple, strict=True))
    l_square = tuple(i * i + r.variance for i, r in zip(l_avg, ripple, strict=True))
    flow = waves.at_output(waiting.still, waiting.unit, i_out)
    node = [{}, *(waves.squares(flow[k], waiting.half[k]) for k in range(1, n))]
    total = [l_square[0], *(gate.mean(node[k]) for k in range(1, n))]
    d_square = [own[0], *(gate.mean(node[k], where=off[k]) for k in range(1, n))]
    node[0] = {s: segment_square(flow[0][s], waiting.half[0][s]) for s in off[0] if s in off[1]}
    turn_on, turn_off = (tuple(a + b * i_out for a, b in ends) for ends in waiting.affine)
    both = [a + b * i_out for a, b in zip(waiting.still.both, waiting.unit.both, strict=True)]
    return Stress(
        **vars(waiting.pattern),
        power=i_out * waiting.v_out,
        active=active_share(power, i_out * waiting.v_out),
        l_avg=l_avg,
        l_square=l_square,
        l_peak=tuple(i0 + r.top for i0, r in zip(start, ripple, strict=True)),
        l_valley=tuple(i0 + r.bottom for i0, r in zip(start, ripple, strict=True)),
        s_square=tuple(a - b for a, b in zip(total, d_square, strict=True)),
        s_off=turn_off,
        s_on=turn_on,
        d_square=tuple(d_square),
        d_avg=i_out,
        c_square=tuple(d_square[k] + own[k + 1] - _shared(gate, node[k], k) for k in range(n - 1)),
        c_charge=tuple(i_out - b for b in both),
        link_square=d_square[-1] - i_out * i_out,
    )


def _shared(gate: waves.Gating, square: waves.Wave, k: int) -> Array:
    """Return mean off_k·off_(k+1)·J_k²: what passes C_k without staying in it."""
    this, after = gate.off[k], gate.off[k + 1]
    passing = {s: square[s] * this[s] for s in this if s in after}
    return gate.mean(passing, where=after)


def _largest(wave: waves.Wave) -> Array:
    values = list(wave.values())
    found = values[0]
    for value in values[1:]:
        found = array_namespace(found).maximum(found, value)
    return found


def _falling(
    on: Conditions, gate: waves.Gating, volts: waves.Voltages, v_on: tuple[Array, ...]
) -> dict[str, tuple[Array, ...]]:
    """Return the voltages that fall as S_2 … S_N turn on."""
    left = [volts.v_c[k] - volts.v_c[k - 1] for k in range(1, gate.phases)]
    held = [v + step for v, step in zip(left, v_on[1:], strict=True)]
    if not falling_switches(on):
        return {"d_held": tuple(held), "d_left": tuple(left), "s_held": (), "s_left": ()}
    # Where both phases are off together D_1 still conducts as S_2 turns on.
    xp = array_namespace(left[0])
    together, zero = gate.deeper[0], 0.0 * left[0]
    return {
        "d_held": (xp.where(together, zero, held[0]),),
        "d_left": (xp.where(together, zero, left[0]),),
        "s_held": (xp.where(together, volts.v_c[2], zero),),
        "s_left": (xp.where(together, volts.v_c[1], zero),),
    }


def _diode_blocking(
    gate: waves.Gating, volts: waves.Voltages, step: list[Array]
) -> tuple[Array, ...]:
    """Return the largest V_k + s_(k+1) − V_(k−1) while phase k is on."""
    found = []
    for k in range(gate.phases - 1):
        off, after = gate.off[k], volts.node[k + 1]
        free = {
            s: (1.0 - off[s]) * v if s in off else v
            for s, v in after.items()
            if not isinstance(off.get(s), float)
        }
        found.append(step[k] + _largest(free))
    return (*found, step[-1])


def _total(values: Sequence[Array]) -> Array:
    return sum(values[1:], start=values[0])


def _input_ripple(gate: waves.Gating, ripple: tuple[waves.Ripple, ...]) -> tuple[Array, Array]:
    """Return the summed inductor current's ripple, peak to peak and mean square."""
    xp = array_namespace(ripple[0].mean)
    mean = _total([r.mean for r in ripple])
    middle = {s: _total([r.middle[s] for r in ripple]) - mean for s in ripple[0].middle}
    half = {s: _total([r.half[s] for r in ripple]) for s in middle}
    top = bottom = middle[0] - half[0]
    for s in range(2 * gate.phases - 1):
        level = middle[s] + half[s]
        top, bottom = xp.maximum(top, level), xp.minimum(bottom, level)
    return top - bottom, gate.mean(waves.squares(middle, half))


def _either(first: Array, a: Stress, b: Stress) -> Stress:
    """Return ``a`` where ``first`` is true, else ``b``."""
    xp = array_namespace(first)
    chosen: dict[str, Any] = {}
    for field in dataclasses.fields(Stress):
        x, y = getattr(a, field.name), getattr(b, field.name)
        chosen[field.name] = (
            tuple(xp.where(first, p, q) for p, q in zip(x, y, strict=True))
            if isinstance(x, tuple)
            else xp.where(first, x, y)
        )
    return Stress(**chosen)
