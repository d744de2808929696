"""What the devices of the series-capacitor boost bear, and its discontinuous mode."""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace
from models.physics.waveform import ramp_product, segment_square

TINY = 1e-30  # keeps quotients finite where a power or a charge is zero


@dataclasses.dataclass(frozen=True)
class Pattern:
    """What follows from the voltages alone in one mode; tuples go by phase 1 … N.

    ``v_on`` is the voltage at which S_k turns on.  On that edge the voltage of D_k rises
    by as much from zero, and that of D_(k−1) falls by as much to ``d_left[k−2]``, from
    ``d_held[k−2]``; all other devices keep theirs.  (Two phases at low gain: S_1 falls
    instead, to ``s_left`` from ``s_held``.)  Capacitor ripple is left out of voltages.
    """

    duty: tuple[Array, ...]  # on-duty of S_k [1]
    idle: Array  # share of the period in which a choke carries no current [1]
    l_ripple: tuple[Array, ...]  # peak to peak [A]
    v_on: tuple[Array, ...]  # [V]
    v_off: tuple[Array, ...]  # [V], to which S_k turns off
    s_block: tuple[Array, ...]  # [V]
    d_block: tuple[Array, ...]  # [V]
    d_held: tuple[Array, ...]  # [V], D_1 … D_(N−1)
    d_left: tuple[Array, ...]  # [V]
    s_held: tuple[Array, ...]  # [V], S_1 if there are two phases in uniform gating
    s_left: tuple[Array, ...]  # [V]
    v_c: tuple[Array, ...]  # V_1 … V_(N−1) [V]
    in_ripple: Array  # summed input current, peak to peak [A]
    in_square: Array  # its mean square without the average [A²]


@dataclasses.dataclass(frozen=True)
class Stress(Pattern):
    """What every device bears while the stage runs; ``_square`` are mean squares [A²]."""

    power: Array  # [W] while running
    active: Array  # share of time [1]
    l_avg: tuple[Array, ...]  # [A]
    l_square: tuple[Array, ...]
    l_peak: tuple[Array, ...]  # [A]
    l_valley: tuple[Array, ...]  # [A]
    s_square: tuple[Array, ...]
    s_off: tuple[Array, ...]  # current S_k gives up [A]
    s_on: tuple[Array, ...]  # current S_k takes over from D_k [A]
    d_square: tuple[Array, ...]
    d_avg: Array  # of every D_k, the output current [A]
    c_square: tuple[Array, ...]
    c_charge: tuple[Array, ...]  # moved per period [A, that is C·Hz]
    link_square: Array  # current into the link, mean square without the average


@dataclasses.dataclass(frozen=True)
class Conditions:
    """A batch of operating conditions; voltages may vary over the link's swing."""

    phases: int
    gating: str
    diodes: bool
    v_in: Array  # [V]
    v_out: Array  # [V]
    l_f: Array  # inductance times switching frequency [Ω]


def active_share(power: Array, running: Array) -> Array:
    """Return the share of time [1] in which a stage of some power [W] has to run."""
    xp = array_namespace(running)
    return xp.minimum(power / xp.maximum(running, TINY), 1.0)


def falling_switches(on: Conditions) -> int:
    """Return how many switches may see their voltage fall as another turns on."""
    return 1 if on.phases == 2 and on.gating == "uniform" else 0


def discontinuous_range(on: Conditions, v_out: Array) -> tuple[Array, Array]:
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


def discontinuous(on: Conditions, v_out: Array, i_out: Array, power: Array) -> Stress:
    """Return the stress in discontinuous conduction: N boosts to v_out/N.

    The node of a phase without current is taken to rest at v_in when its switch turns
    on; ringing may leave it lower or higher.  Blocking voltages of D_1 … D_(N−1) are
    bounds, up to v_in too high.
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
    in_ripple, in_square = _summed_triangles(on, rise, fall)
    zero = 0.0 * peak
    running = i_out * v_out
    return Stress(
        power=running,
        active=active_share(power, running),
        duty=(rise,) * n,
        idle=1.0 - rise - fall,
        l_avg=(running / (n * on.v_in),) * n,
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
        s_held=(zero,) * falling_switches(on),
        s_left=(zero,) * falling_switches(on),
        v_c=tuple(k * v for k in range(1, n)),
        c_square=(2.0 * falling,) * (n - 1),
        c_charge=(i_out,) * (n - 1),
        in_ripple=in_ripple,
        in_square=in_square,
        link_square=falling - i_out * i_out,
    )


def _summed_triangles(on: Conditions, rise: Array, fall: Array) -> tuple[Array, Array]:
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
