"""Half bridge whose grid neutral is the module's negative, with the doubler that feeds it.

    P ──┬───────┬──────┬──────
       C₁     S_au    S_bu
    M ──┼─ L_b ─a      b ─ L₁ ─ filter ─ line        M = neutral = module negative
        │     S_al    S_bl
    N ──┴───────┴──────┴──────  C₂ from P to N

Leg a runs at half duty and keeps V₂ = 2·V₁; leg b makes u = V₂·(d_b − ½).  The doubler
inductor carries the whole grid current at line frequency besides its direct current,
i_b = i_in − i − C₁·dV₁/dt.  For line-to-neutral grids only: on a split phase the module
would swing against earth.

What depends on the grid alone (``grid_leg``) is kept apart from what depends on the
power of the front stage (``doubler``), which changes while the heat settles.  Arrays
along the angle cover half a line cycle; in the other half u and i change sign.  Leg b
then does with its lower switch what it did with the upper one, so that both are alike.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import ANGLE, Array, Indices, array_namespace, line_max, line_mean
from models.case import Case
from models.ledger import Kind, at_most, booking
from models.parts import inductor, switch
from models.physics.grid import line_harmonics
from models.physics.harmonics import triangle_harmonics
from models.physics.semiconductor import charge_and_energy
from models.stages.film_links import Links
from models.stages.grid_filter import ORDERS, GridSide, Ripple
from models.stages.stage import Placed
from models.stress import Edge, Flux, InductorStress, SwitchStress, WindingStress
from models.variables import choice, part, real

T_LEAST = 100e-9  # [s], least on-time of a switch; common practice, no source
M_HIGHEST = 0.97  # [1], largest modulation index whatever the frequency

# Voltage between neutral and earth at the meter [V]; common practice, no source.
V_NEUTRAL = 2.0

# Share of the product of both ripples that their correlation leaves in C₁ [1]: 0.76 to 1
# with carriers aligned, taken at its mean of 0.9.
CORRELATION = 0.9

CARRIERS = ("aligned", "opposed")


@dataclasses.dataclass(frozen=True)
class Design:
    """Frequency, carriers, switches and chokes of both legs."""

    f: Array = real(40, 250, "kHz", "switching frequency", log=True)
    carriers: Indices = choice(*CARRIERS, meaning="carriers of the two legs")
    leg_a: switch.Design = part("switches of the doubler leg")
    leg_b: switch.Design = part("switches of the grid leg")
    doubler_inductance: Array = real(100, 1000, "µH", "doubler inductance", log=True)
    doubler: inductor.Design = part("doubler inductor")
    choke_inductance: Array = real(100, 5000, "µH", "bridge-side grid inductance", log=True)
    choke: inductor.Design = part("bridge-side grid choke")


@dataclasses.dataclass(frozen=True)
class GridLeg:
    """Leg b with its choke, and what the rest needs of it."""

    placed: Placed
    ripple: Ripple
    share_2: Array  # mean square in C₂ without the part of the doubler's even current [A²]
    share_1: Array  # mean square in C₁ [A²]


@dataclasses.dataclass(frozen=True)
class Leg:
    """One switching leg along the angle."""

    design: switch.Design
    device: switch.Device
    f: Array  # [Hz], zero at idle
    valley: Array  # [A], current out of the leg at its lowest
    peak: Array  # [A]
    v: Array  # [V] across the leg, rms over the line cycle
    v_block: Array  # [V]
    far: Array  # [1], far end of the inductor over the leg voltage, from below
    inductance: Array  # [H]
    i_rms: Array  # [A], of either switch


def modulation_limit(design: Design, case: Case) -> Array:
    """Return the largest modulation index 1 − 2·f·(t_d + t_min) [1], (design, 1, 1)."""
    xp = array_namespace(design.f)
    t_dead = switch.device(design.leg_b, case).t_dead
    return xp.clip(1.0 - 2.0 * design.f * (t_dead + T_LEAST), 0.5, M_HIGHEST)


def grid_leg(path: str, design: Design, side: GridSide, links: Links, case: Case) -> GridLeg:
    """Return leg b, its choke and the ripple that it sends into the filter.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : Design
        How it is built.
    side : GridSide
        Voltage and current that the grid wants.
    links : Links
        Voltages of the links.
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(side.i)
    v_2, i = links.v_2, side.i
    y = side.u / v_2
    size = xp.abs(y)
    pp = v_2 * (0.25 - y * y) * (side.running / (design.choke_inductance * design.f))
    square = line_mean(pp * pp)
    half = 0.5 * pp
    leg = Leg(
        design=design.leg_b,
        device=switch.device(design.leg_b, case),
        f=design.f * side.running,
        valley=i - half,
        peak=i + half,
        v=links.v_2_rms,
        v_block=links.v_2_max,
        far=0.5 + y,
        inductance=design.choke_inductance,
        i_rms=xp.sqrt(0.5 * (side.i_rms * side.i_rms + square / 12.0)),
    )
    modulation = 2.0 * line_max(size) * side.running
    books = at_most(
        f"{path}.modulation", modulation, modulation_limit(design, case), "1",
        "modulation index of the grid leg",
    ) + booking(
        f"{path}.ripple", Kind.FIGURE, line_max(pp), "ripple in the choke, peak to peak", "A"
    )  # fmt: skip
    ripple, harmonics = _ripple(design, side, links, leg=leg, y=y, pp=pp)
    parts = (
        _alike(f"{path}.leg_b", leg, case),
        inductor.place(
            f"{path}.choke",
            design.choke,
            _choke(design, side, y=y, pp=pp, harmonics=harmonics),
            case,
        ),
    )
    share_2, share_1 = _link_shares(design, side, links, size=size, pp=pp, square=square)
    return GridLeg(Placed(parts, books), ripple, share_2, share_1)


def doubler(
    path: str,
    design: Design,
    side: GridSide,
    links: Links,
    *,
    leg: GridLeg,
    power: Array,
    case: Case,
) -> tuple[Placed, Array, Array]:
    """Return leg a and its inductor, and the rms currents of C₁ and C₂ at f [A].

    The current of C₁ is that of this stage alone; the pulses of the front stage come on
    top, not synchronous, so that mean squares add.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : Design
        How it is built.
    side : GridSide
        Voltage and current that the grid wants.
    links : Links
        Voltages of the links.
    leg : GridLeg
        Leg b of the same stage.
    power : Array
        Power that the front stage passes to link 1 [W], (design, point, 1).
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(side.i)
    v_2, i = links.v_2, side.i
    # The part of i_b that repeats every half cycle; the grid current comes off it.
    even = (2.0 * power - links.share_1 * side.swing_cosine) / v_2
    half = v_2 * (side.running / (8.0 * design.doubler_inductance * design.f))
    mean, even_square = line_mean(even), line_mean(even * even)
    square = side.i_rms * side.i_rms + even_square
    pp_square = _doubler_ripple(design, side, links)
    low, high = even - half, even + half
    wave = Leg(
        design=design.leg_a,
        device=switch.device(design.leg_a, case),
        f=design.f * side.running,
        valley=xp.concat((low - i, low + i), axis=-1),
        peak=xp.concat((high - i, high + i), axis=-1),
        v=links.v_2_rms,
        v_block=links.v_2_max,
        far=xp.asarray(0.5),
        inductance=design.doubler_inductance,
        i_rms=xp.sqrt(0.5 * (square + pp_square / 12.0)),
    )
    upper, lower = _edges(wave)
    dead_upper, dead_lower = _dead_time_currents(wave)
    i_peak = line_max(xp.abs(even) + xp.abs(i) + half)
    line = xp.sqrt(xp.maximum(square - mean * mean, 0.0))
    parts = (
        switch.place(f"{path}.leg_a.upper", design.leg_a,
                     SwitchStress(wave.i_rms, dead_upper, wave.v_block, (upper,)), case),
        switch.place(f"{path}.leg_a.lower", design.leg_a,
                     SwitchStress(wave.i_rms, dead_lower, wave.v_block, (lower,)), case),
        inductor.place(f"{path}.doubler", design.doubler,
                       _doubler_stress(design, side, links, i_peak, mean, line), case),
    )  # fmt: skip
    i_2 = xp.sqrt(xp.maximum(leg.share_2 + 0.25 * even_square, 0.0))
    return Placed(parts), xp.sqrt(leg.share_1), i_2


def _alike(path: str, leg: Leg, case: Case) -> switch.Switch:
    """Return both switches of a leg whose halves of the line cycle mirror each other."""
    upper, lower = _edges(leg)
    dead = _dead_time_currents(leg)
    stress = SwitchStress(
        i_rms=leg.i_rms,
        i_reverse_dead=0.5 * (dead[0] + dead[1]),
        v_block=leg.v_block,
        edges=tuple(dataclasses.replace(e, rate=0.5 * e.rate) for e in (upper, lower)),
    )
    return switch.place(path, leg.design, stress, case, count=2)


def _edges(leg: Leg) -> tuple[Edge, Edge]:
    """Return the edges of the upper and of the lower switch.

    The leg voltage is taken at its rms value over the line cycle: with a swing of
    k = 0.4 the energies come out 1 % high.
    """
    others = (switch.moved(leg.device, 0.0, leg.v),)
    upper = Edge(
        rate=leg.f,
        i_on=leg.valley,
        i_off=leg.peak,
        v=leg.v,
        others=others,
        i_drive=-leg.valley,
        l_drive=leg.inductance,
        v_far=leg.v * leg.far,
    )
    lower = Edge(
        rate=leg.f,
        i_on=-leg.peak,
        i_off=-leg.valley,
        v=leg.v,
        others=others,
        i_drive=leg.peak,
        l_drive=leg.inductance,
        v_far=leg.v * (1.0 - leg.far),
    )
    return upper, lower


def _dead_time_currents(leg: Leg) -> tuple[Array, Array]:
    """Return the mean currents in reverse through the upper and the lower switch [A].

    A switch conducts in reverse for the whole dead time before the other turns on hard,
    and after the other turned off for what the node's charge leaves of it.
    """
    xp = array_namespace(leg.valley)
    t = leg.device.t_dead
    node = 2.0 * charge_and_energy(leg.device.charge, leg.v)[0] / t
    lower = xp.maximum(leg.valley, 0.0) + xp.maximum(leg.peak - node, 0.0)
    upper = xp.maximum(-leg.peak, 0.0) + xp.maximum(-leg.valley - node, 0.0)
    scale = leg.f * t
    return scale * line_mean(upper), scale * line_mean(lower)


def _ripple(
    design: Design, side: GridSide, links: Links, *, leg: Leg, y: Array, pp: Array
) -> tuple[Ripple, tuple[Array, ...]]:
    """Return what goes into the filter, and the harmonics of the choke's ripple [A]."""
    xp = array_namespace(y)
    # Every other angle is enough for what is smooth and repeats.
    squares = triangle_harmonics(pp[..., ::2], 0.5 + y[..., ::2], 4)
    harmonics = tuple(xp.sqrt(line_mean(s)) for s in squares)
    reactance = 2.0 * math.pi * design.f * design.choke_inductance
    error = (0.5 * leg.device.t_dead) * leg.f
    # The sign of a current, averaged over the step of the angle in which it crosses zero.
    step = math.pi / side.theta.shape[ANGLE]
    inverse = 1.0 / xp.maximum(side.i_rms * (0.5 * math.sqrt(2.0) * step), 1e-6)
    signs = xp.clip(leg.valley * inverse, -1.0, 1.0) + xp.clip(leg.peak * inverse, -1.0, 1.0)
    dead_time = tuple(error * v for v in line_harmonics(links.v_2 * signs, side.theta, ORDERS))
    ripple = Ripple(
        f=design.f,
        i_rms=xp.sqrt(sum((i * i for i in harmonics), start=0.0 * side.i_rms)),
        voltages=tuple(n * reactance * i for n, i in enumerate(harmonics[:3], start=1)),
        v_worst=side.running * links.v_2_rms * (math.sqrt(2.0) / math.pi),
        v_node=side.running * links.v_2_rms,
        dead_time=dead_time,
    )
    return ripple, harmonics


def _choke(
    design: Design, side: GridSide, *, y: Array, pp: Array, harmonics: tuple[Array, ...]
) -> InductorStress:
    """Return the stress of the bridge-side choke."""
    xp = array_namespace(pp)
    linkage = design.choke_inductance * pp[..., ::2]
    return InductorStress(
        inductance=design.choke_inductance,
        i_peak=line_max(xp.abs(side.i) + 0.5 * pp),
        winding=WindingStress(
            i_dc=0.0 * side.i_rms, i_line_rms=side.i_rms, f=design.f, harmonics=harmonics
        ),
        flux=(Flux(design.f, linkage, 0.5 + y[..., ::2]),),
    )


def _doubler_ripple(design: Design, side: GridSide, links: Links) -> Array:
    """Return the mean square of the doubler's ripple, peak to peak [A²]."""
    pp = links.v_2_rms * (side.running / (4.0 * design.doubler_inductance * design.f))
    return pp * pp


def _doubler_stress(
    design: Design, side: GridSide, links: Links, i_peak: Array, mean: Array, line: Array
) -> InductorStress:
    """Return the stress of the doubler inductor: a symmetrical triangle at half duty."""
    xp = array_namespace(mean)
    square = _doubler_ripple(design, side, links) / 12.0
    # Shares of the harmonics 1 and 3 in a symmetrical triangle; the even ones are zero.
    first, third = 96.0 / math.pi**4, 96.0 / (81.0 * math.pi**4)
    shares = (first, 0.0, third, 1.0 - first - third)
    return InductorStress(
        inductance=design.doubler_inductance,
        i_peak=i_peak,
        winding=WindingStress(
            i_dc=mean,
            i_line_rms=line,
            f=design.f,
            harmonics=tuple(xp.sqrt(s * square) for s in shares),
        ),
        flux=(
            Flux(
                design.f,
                links.v_2_rms * (side.running / (4.0 * design.f)),
                0.5 + 0.0 * mean,
                active=side.running,
            ),
        ),
    )


def _link_shares(
    design: Design, side: GridSide, links: Links, *, size: Array, pp: Array, square: Array
) -> tuple[Array, Array]:
    """Return the mean squares in C₂ and C₁ that do not depend on the front's power [A²].

    With b = ½ − |y| and both halves of the line cycle taken together, the mean square in
    C₂ is that of g/2 (g the even part of i_b), of i·√(¼ + e·b − b²) and of both ripples
    through their lower switches, whose product leaves the polynomial in b below.
    """
    xp = array_namespace(pp)
    aligned = design.carriers == 0
    b = 0.5 - size
    i, v_2 = side.i, links.v_2
    current = i * i * (0.25 + b * (xp.where(aligned, 0.0, 2.0) - b))
    per_volt = side.running / design.f
    scale = per_volt * per_volt / (8.0 * design.doubler_inductance * design.choke_inductance)
    first = xp.where(aligned, 1.0 / 24.0, -1.0 / 12.0)
    third = xp.where(aligned, 1.0 / 3.0, 0.5)
    product = v_2 * v_2 * b * (first + b * b * (third - b / 3.0))
    doubler_square = _doubler_ripple(design, side, links)
    share_2 = line_mean(current) + scale * line_mean(product) + (doubler_square + square) / 24.0
    sign = xp.where(aligned, 2.0, -2.0) * CORRELATION
    both = per_volt / (4.0 * design.doubler_inductance) * line_mean(v_2 * pp)
    share_1 = (doubler_square + square + sign * both) / 12.0
    return share_2, xp.maximum(share_1, 0.0)
