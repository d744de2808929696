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
from models.physics.waveform import ramp_product, segment_square
from models.stages import series_capacitor_waves as waves

TINY = 1e-30  # keeps quotients finite where a power or a charge is zero


@dataclasses.dataclass(frozen=True)
class Stress:
    """What every device bears while the stage runs; tuples go by phase 1 … N.

    ``_square`` are mean squares [A²].  ``v_on`` is the voltage at which S_k turns on.
    On that edge the voltage of D_k rises by as much from zero, and that of D_(k−1) falls
    by as much to ``d_left[k−2]``, from ``d_held[k−2]``; all other devices keep theirs.
    (Two phases at low gain: S_1 falls instead, to ``s_left`` from ``s_held``.)
    """

    power: Array  # [W] while running
    active: Array  # share of time [1]
    duty: tuple[Array, ...]  # on-duty of S_k [1]
    l_avg: tuple[Array, ...]  # [A]
    l_square: tuple[Array, ...]
    l_peak: tuple[Array, ...]
    l_valley: tuple[Array, ...]
    l_ripple: tuple[Array, ...]  # peak to peak [A]
    s_square: tuple[Array, ...]
    s_off: tuple[Array, ...]  # current S_k gives up [A]
    s_on: tuple[Array, ...]  # current S_k takes over from D_k [A]
    v_on: tuple[Array, ...]  # [V]
    v_off: tuple[Array, ...]  # [V]
    s_block: tuple[Array, ...]  # [V], capacitor ripple left out, as in the next
    d_square: tuple[Array, ...]
    d_avg: Array  # of every D_k, the output current [A]
    d_block: tuple[Array, ...]  # [V]
    d_held: tuple[Array, ...]  # [V], D_1 … D_(N−1)
    d_left: tuple[Array, ...]  # [V]
    s_held: tuple[Array, ...]  # [V], S_1 if there are two phases in uniform gating
    s_left: tuple[Array, ...]  # [V]
    v_c: tuple[Array, ...]  # V_1 … V_(N−1) [V]
    c_square: tuple[Array, ...]
    c_charge: tuple[Array, ...]  # moved per period [A, that is C·Hz]
    in_ripple: Array  # summed input current, peak to peak [A]
    in_square: Array  # its mean square without the average
    link_square: Array  # current into the link, mean square without the average


@dataclasses.dataclass(frozen=True)
class Conditions:
    """One batch of operating conditions; the voltages may vary over the link's swing."""

    phases: int
    gating: str
    diodes: bool
    v_in: Array  # [V]
    v_out: Array  # [V]
    power: Array  # at the input of the lossless stage [W]
    least_power: Array  # the stage runs in bursts below [W]
    l_f: Array  # inductance times switching frequency [Ω]


def stress(on: Conditions) -> Stress:
    """Return the stress of every device.

    A gain below what the gating rule can give is raised to it by raising the output
    voltage; the caller holds the gain against ``waves.least_gain``.
    """
    xp = array_namespace(on.v_in, on.v_out, on.power)
    least = waves.least_gain(on.phases, on.gating)
    v_out = xp.maximum(on.v_out, least * on.v_in)
    gate = waves.gating(v_out / on.v_in, on.phases, on.gating)
    volts = waves.voltages(gate, on.v_in, v_out)
    ripple = waves.ripples(gate, volts, on.v_in, on.l_f)
    wanted = xp.maximum(on.power, on.least_power) / v_out
    if not on.diodes:
        return _continuous(on, gate, volts, ripple, wanted)
    touching = _touching_current(gate, ripple)
    lowest, highest = _discontinuous_range(on, v_out)
    discontinuous = wanted < highest
    continuous = _continuous(on, gate, volts, ripple, xp.maximum(wanted, touching))
    other = _discontinuous(on, v_out, xp.minimum(xp.maximum(wanted, lowest), highest))
    return _either(discontinuous, other, continuous)


def _touching_current(gate: waves.Gating, ripple: tuple[waves.Ripple, ...]) -> Array:
    """Return the output current [A] at which the first inductor valley touches zero."""
    nothing: tuple[waves.Wave, ...] = ({},) * len(ripple)
    zero = 0.0 * gate.length[0]
    unit = waves.currents(gate, nothing, zero + 1.0).start
    still = waves.currents(gate, tuple(r.middle for r in ripple), zero).start
    xp = array_namespace(zero)
    needed = zero
    for per_ampere, offset, wave in zip(unit, still, ripple, strict=True):
        needed = xp.maximum(needed, -(offset + wave.bottom) / per_ampere)
    return needed


def _continuous(
    on: Conditions,
    gate: waves.Gating,
    volts: waves.Voltages,
    ripple: tuple[waves.Ripple, ...],
    i_out: Array,
) -> Stress:
    """Return the stress in continuous conduction at an output current."""
    n, off = gate.phases, gate.off
    flow = waves.currents(gate, tuple(r.middle for r in ripple), i_out)
    half = waves.half_rises(gate, ripple)
    own = [
        {s: segment_square(r.middle[s] + i0, r.half[s]) for s in r.middle}
        for r, i0 in zip(ripple, flow.start, strict=True)
    ]
    node = [own[0], *(waves.squares(flow.node[k], half[k]) for k in range(1, n))]
    d_square = tuple(gate.mean(node[k], where=off[k]) for k in range(n))
    step = [volts.v_c[k + 1] - volts.v_c[k] for k in range(n)]
    ends = [{s: flow.node[k][s] + half[k][s] for s in off[k]} for k in range(n)]
    before = [(2 * k - 1) % (2 * n) for k in range(n)]
    l_avg = tuple(i0 + r.mean for i0, r in zip(flow.start, ripple, strict=True))
    in_ripple, in_square = _input_ripple(gate, ripple, flow.start, l_avg)
    v_on = tuple(gate.last(k, volts.node[k]) for k in range(n))
    v_out = volts.v_c[n]
    return Stress(
        power=i_out * v_out,
        active=_active(on, i_out * v_out),
        duty=tuple(1.0 - d for d in gate.share),
        l_avg=l_avg,
        l_square=tuple(gate.mean(w) for w in own),
        l_peak=tuple(i0 + r.top for i0, r in zip(flow.start, ripple, strict=True)),
        l_valley=tuple(i0 + r.bottom for i0, r in zip(flow.start, ripple, strict=True)),
        l_ripple=tuple(r.top - r.bottom for r in ripple),
        s_square=tuple(gate.mean(node[k]) - d_square[k] for k in range(n)),
        s_off=tuple(flow.node[k][s] + half[k][s] for k, s in enumerate(before)),
        s_on=tuple(gate.last(k, ends[k]) for k in range(n)),
        v_on=v_on,
        v_off=tuple(volts.node[k][2 * k] for k in range(n)),
        s_block=tuple(_largest(w) for w in volts.node),
        d_square=d_square,
        d_avg=i_out,
        d_block=_diode_blocking(gate, volts, step),
        **_falling(on, gate, volts, v_on),
        v_c=volts.v_c[1:n],
        c_square=tuple(_capacitor_square(gate, own, node, k) for k in range(n - 1)),
        c_charge=tuple(i_out - both for both in flow.both),
        in_ripple=in_ripple,
        in_square=in_square,
        link_square=d_square[-1] - i_out * i_out,
    )


def _active(on: Conditions, power: Array) -> Array:
    xp = array_namespace(power)
    return xp.minimum(on.power / xp.maximum(power, TINY), 1.0)


def _largest(wave: waves.Wave) -> Array:
    values = list(wave.values())
    found = values[0]
    for value in values[1:]:
        found = array_namespace(found).maximum(found, value)
    return found


def _neighbours(on: Conditions) -> int:
    """Return how many switches may see their voltage fall as another turns on."""
    return 1 if on.phases == 2 and on.gating == "uniform" else 0


def _falling(
    on: Conditions, gate: waves.Gating, volts: waves.Voltages, v_on: tuple[Array, ...]
) -> dict[str, tuple[Array, ...]]:
    """Return the voltages that fall as S_2 … S_N turn on."""
    left = [volts.v_c[k] - volts.v_c[k - 1] for k in range(1, gate.phases)]
    held = [v + step for v, step in zip(left, v_on[1:], strict=True)]
    if not _neighbours(on):
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


def _capacitor_square(
    gate: waves.Gating, own: Sequence[waves.Wave], node: Sequence[waves.Wave], k: int
) -> Array:
    """Return mean i(C_k)²: D_k's current while phase k+1 is on, else minus its own."""
    this, after = gate.off[k], gate.off[k + 1]
    shared = {s: node[k][s] * m for s, m in this.items() if s in after}
    given = gate.mean(own[k + 1], where=after)
    taken = gate.mean(node[k], where=this)
    return given + taken - gate.mean(shared, where=after) if shared else given + taken


def _total(values: Sequence[Array]) -> Array:
    return sum(values[1:], start=values[0])


def _input_ripple(
    gate: waves.Gating,
    ripple: tuple[waves.Ripple, ...],
    start: tuple[Array, ...],
    average: tuple[Array, ...],
) -> tuple[Array, Array]:
    """Return the summed inductor current's ripple, peak to peak and mean square."""
    xp = array_namespace(start[0])
    offset = _total(start) - _total(average)
    middle = {s: _total([r.middle[s] for r in ripple]) + offset for s in ripple[0].middle}
    half = {s: _total([r.half[s] for r in ripple]) for s in middle}
    top = bottom = middle[0] - half[0]
    for s in range(2 * gate.phases - 1):
        level = middle[s] + half[s]
        top, bottom = xp.maximum(top, level), xp.minimum(bottom, level)
    return top - bottom, gate.mean(waves.squares(middle, half))


def _discontinuous_range(on: Conditions, v_out: Array) -> tuple[Array, Array]:
    """Return the output currents [A] between which discontinuous conduction is exact.

    D₂ ≤ 1/N, D ≥ 1/N and D + D₂ ≤ 1; nothing (0, 0) if M < 2·N.
    """
    xp = array_namespace(v_out)
    n = on.phases
    ratio = v_out / (n * on.v_in)
    m = xp.maximum(ratio, 2.0)
    scale = v_out / (2.0 * n * on.l_f)
    edge = xp.minimum(1.0 / (n * n), 1.0 / (m * m))
    lowest = scale / (n * n * m * (m - 1.0))
    highest = scale * (1.0 - 1.0 / m) * edge
    exists = ratio >= 2.0
    return lowest, xp.where(exists, highest, 0.0)


def _discontinuous(on: Conditions, v_out: Array, i_out: Array) -> Stress:
    """Return the stress in discontinuous conduction: N boosts to v_out/N.

    The node of a phase without current is taken to rest at v_in when its switch turns
    on; ringing may leave it lower or higher.
    """
    xp = array_namespace(v_out, i_out)
    n = on.phases
    v = v_out / n
    m = xp.maximum(v / on.v_in, 2.0)
    rise = xp.sqrt(i_out * 2.0 * on.l_f / v * m * (m - 1.0))
    rise = xp.maximum(rise, TINY)
    fall = rise / (m - 1.0)
    peak = on.v_in * rise / on.l_f
    third = peak * peak * (1.0 / 3.0)
    # S_k, k > 1, carries its neighbour's falling current from 1/N before its turn-off.
    meeting = peak * (1.0 - 1.0 / (n * rise))
    crossing = fall * ramp_product(meeting, meeting + peak / (m - 1.0), peak, 0.0 * peak)
    first = rise * third
    falling = fall * third
    in_ripple, in_square = _discontinuous_input(on, rise, fall)
    zero = 0.0 * peak
    power = i_out * v_out
    return Stress(
        power=power,
        active=_active(on, power),
        duty=(rise,) * n,
        l_avg=(power / (n * on.v_in),) * n,
        l_square=(first + falling,) * n,
        l_peak=(peak,) * n,
        l_valley=(zero,) * n,
        l_ripple=(peak,) * n,
        s_square=(first, *(first + falling + 2.0 * crossing,) * (n - 1)),
        s_off=(peak,) * n,
        s_on=(zero,) * n,
        v_on=(on.v_in + zero,) * n,
        v_off=(v,) * n,
        s_block=(v,) * n,
        d_square=(falling,) * n,
        d_avg=i_out,
        d_block=(*(2.0 * v,) * (n - 1), v),
        d_held=(v + on.v_in,) * (n - 1),
        d_left=(v,) * (n - 1),
        s_held=(zero,) * _neighbours(on),
        s_left=(zero,) * _neighbours(on),
        v_c=tuple(k * v for k in range(1, n)),
        c_square=(2.0 * falling,) * (n - 1),
        c_charge=(i_out,) * (n - 1),
        in_ripple=in_ripple,
        in_square=in_square,
        link_square=falling - i_out * i_out,
    )


def _discontinuous_input(on: Conditions, rise: Array, fall: Array) -> tuple[Array, Array]:
    """Return the input ripple of N shifted triangles, peak to peak and mean square.

    The sum repeats N times a period: from one turn-off to the next it has three
    slopes, changed by the end of the falling current and by the next turn-on.
    """
    xp = array_namespace(rise)
    n = on.phases
    up = on.v_in / on.l_f
    down = up * rise / fall
    rising = xp.floor(n * rise)
    turn_on = (1.0 + rising) * (1.0 / n) - rise
    first, second = xp.minimum(fall, turn_on), xp.maximum(fall, turn_on)
    slope = rising * up - down
    between = slope + xp.where(fall < turn_on, down, up)
    lengths = (first, second - first, 1.0 / n - second)
    gains = tuple(
        s * t for s, t in zip((slope, between, (rising + 1.0) * up), lengths, strict=True)
    )
    low = (0.0 * up, gains[0], gains[0] + gains[1])
    middle = [a + 0.5 * g for a, g in zip(low, gains, strict=True)]
    mean = n * sum(t * m for t, m in zip(lengths, middle, strict=True))
    square = n * sum(
        t * segment_square(m - mean, 0.5 * g)
        for t, m, g in zip(lengths, middle, gains, strict=True)
    )
    top = xp.maximum(xp.maximum(low[1], low[2]), low[0])
    return top - xp.minimum(xp.minimum(low[1], low[2]), low[0]), square


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
