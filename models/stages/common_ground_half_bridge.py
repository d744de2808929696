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

What depends on the grid alone (``legs``) is kept apart from what depends on the power of
the front stage (``doubler``), which changes while the heat settles.  The edges of leg a
belong to the former: they are taken at an estimate of that power, a few percent off in
the direct current at most, which moves their loss by less than its own uncertainty.

Arrays along the angle cover half a line cycle; in the other half u and i change sign.
Leg b then does with its lower switch what it did with the upper one: both are alike.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace, line_max, line_mean
from models.case import Case
from models.ledger import Kind, at_most, booking
from models.parts import inductor, switch
from models.physics.buffer import K_LARGEST, modulation_peak
from models.physics.grid import line_product
from models.physics.harmonics import triangle_harmonics
from models.stages.common_ground_waves import (
    COARSE,
    EDGES,
    Design,
    choke_stress,
    doubler_ripple,
    doubler_stress,
    even_current,
    link_squares,
    modulation_limit,
    ripple_scale,
)
from models.stages.film_links import Links
from models.stages.grid_filter import ORDERS, GridSide, Ripple
from models.stages.half_bridge_leg import (
    Leg,
    dead_time_currents,
    dead_time_voltages,
    edges,
    mirrored_stress,
)
from models.stages.ports import BridgeTraits, CommonMode, Output
from models.stages.stage import Placed
from models.stress import Edge, SwitchStress

# A topology needs this module alone.
__all__ = ["TRAITS", "V_NEUTRAL", "Design", "Legs", "doubler", "legs", "modulation_limit"]

TRAITS = BridgeTraits(
    "common-ground half bridge", CommonMode.ZERO, takes=Output.LINK, reactive=True
)

# Voltage between neutral and earth at the meter [V]; common practice, no source.
V_NEUTRAL = 2.0

# Estimate of the front's power over that of the grid, as a share and a constant [1], [W];
# common practice, no source.
LOSS_SHARE, LOSS_CONSTANT = 0.05, 1.0


@dataclasses.dataclass(frozen=True)
class Position:
    """One switch position of leg a at the estimated power."""

    edge: Edge
    loss: switch.EdgeLoss
    i_dead: Array  # [A], in reverse during dead times


@dataclasses.dataclass(frozen=True)
class Legs:
    """Leg b with its choke, and what the doubler and the filter need."""

    placed: Placed
    ripple: Ripple
    upper: Position  # of leg a
    lower: Position
    square_2: Array  # mean square in C₂ without that of the doubler's even current [A²]
    square_1: Array  # mean square in C₁ [A²]


def legs(path: str, design: Design, side: GridSide, links: Links, case: Case) -> Legs:
    """Return leg b with its choke, the edges of leg a, and the ripple into the filter.

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
    pp = v_2 * (0.25 - y * y) * (side.running / (design.choke_inductance * design.f))
    square = line_product(pp, pp)
    half = 0.5 * pp
    valley, peak = i - half, i + half
    leg = Leg(
        device=switch.device(design.leg_b, case),
        f=design.f * side.running,
        valley=valley[..., EDGES],
        peak=peak[..., EDGES],
        v=links.v_2_rms,
        far=0.5 + y[..., EDGES],
        inductance=design.choke_inductance,
    )
    i_rms = xp.sqrt(0.5 * (side.i_rms * side.i_rms + square / 12.0))
    modulation = side.running * modulation_peak(
        side.u_peak,
        links.v_1_rms,
        k=xp.minimum(links.k, K_LARGEST),
        sin_phi=side.power.sin_phi,
    )
    books = at_most(
        f"{path}.modulation", modulation, modulation_limit(design, case), "1",
        "modulation index of the grid leg",
    ) + booking(
        f"{path}.ripple", Kind.FIGURE, line_max(pp), "ripple in the choke, peak to peak", "A"
    )  # fmt: skip
    harmonics = tuple(
        xp.sqrt(line_mean(s)) for s in triangle_harmonics(pp[..., EDGES], leg.far, 4)
    )
    ripple = _ripple(design, side, links, valley=valley, peak=peak, harmonics=harmonics)
    parts = (
        switch.place(
            f"{path}.leg_b",
            design.leg_b,
            mirrored_stress(leg, i_rms, links.v_2_max),
            case,
            count=2,
        ),
        inductor.place(
            f"{path}.choke",
            design.choke,
            choke_stress(design, side, duty=leg.far, pp=pp, harmonics=harmonics),
            case,
        ),
    )
    square_2, square_1 = link_squares(design, side, links, y=y, pp=pp, square=square)
    upper, lower = _positions(design, side, links, case)
    return Legs(Placed(parts, books), ripple, upper, lower, square_2, square_1)


def doubler(
    path: str,
    design: Design,
    side: GridSide,
    links: Links,
    *,
    both: Legs,
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
    both : Legs
        What ``legs`` returned.
    power : Array
        Power that the front stage passes to link 1 [W], (design, point, 1).
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(side.i)
    even = even_current(side, links, power, COARSE)
    half = links.v_2[..., COARSE] * ripple_scale(design, side)
    mean, even_square = line_mean(even), line_product(even, even)
    square = side.i_rms * side.i_rms + even_square
    i_peak = line_max(xp.abs(even) + xp.abs(side.i[..., COARSE]) + half)
    line = xp.sqrt(xp.maximum(square - mean * mean, 0.0))
    i_rms = xp.sqrt(0.5 * (square + doubler_ripple(design, side, links) / 12.0))
    parts = (
        _placed(f"{path}.leg_a.upper", design.leg_a, both.upper, (i_rms, links.v_2_max), case),
        _placed(f"{path}.leg_a.lower", design.leg_a, both.lower, (i_rms, links.v_2_max), case),
        inductor.place(
            f"{path}.doubler",
            design.doubler,
            doubler_stress(design, side, links, i_peak, mean, line),
            case,
        ),
    )
    i_2 = xp.sqrt(xp.maximum(both.square_2 + 0.25 * even_square, 0.0))
    return Placed(parts), xp.sqrt(both.square_1), i_2


def _positions(
    design: Design, side: GridSide, links: Links, case: Case
) -> tuple[Position, Position]:
    """Return upper and lower switch of leg a at the estimated power."""
    xp = array_namespace(side.i)
    p_ac = case.points.p_ac
    power = (p_ac * (1.0 + LOSS_SHARE) + LOSS_CONSTANT) * side.running
    even = even_current(side, links, power, EDGES)
    half = links.v_2[..., EDGES] * ripple_scale(design, side)
    i = side.i[..., EDGES]
    low, high = even - half, even + half
    leg = Leg(
        device=switch.device(design.leg_a, case),
        f=design.f * side.running,
        valley=xp.concat((low - i, low + i), axis=-1),
        peak=xp.concat((high - i, high + i), axis=-1),
        v=links.v_2_rms,
        far=xp.asarray(0.5),
        inductance=design.doubler_inductance,
    )
    upper, lower = (
        Position(edge, switch.edge_loss(leg.device, edge), dead)
        for edge, dead in zip(edges(leg), dead_time_currents(leg), strict=True)
    )
    return upper, lower


def _placed(
    path: str, design: switch.Design, x: Position, current_voltage: tuple[Array, Array], case: Case
) -> switch.Switch:
    """Return one switch of leg a, its edges taken over as they are."""
    i_rms, v_block = current_voltage
    rest = switch.place(path, design, SwitchStress(i_rms, x.i_dead, v_block), case)
    stress = SwitchStress(i_rms, x.i_dead, v_block, (x.edge,))
    return dataclasses.replace(rest, stress=stress, edges=x.loss)


def _ripple(
    design: Design,
    side: GridSide,
    links: Links,
    *,
    valley: Array,
    peak: Array,
    harmonics: tuple[Array, ...],
) -> Ripple:
    """Return what goes into the filter besides the fundamental."""
    reactance = 2.0 * math.pi * design.f * design.choke_inductance
    share = design.leg_b.t_dead * design.f * side.running
    errors = dead_time_voltages(
        valley, peak, links.v_2, i_rms=side.i_rms, theta=side.theta, orders=ORDERS
    )
    return Ripple(
        f=design.f,
        voltages=tuple(n * reactance * i for n, i in enumerate(harmonics[:3], start=1)),
        v_worst=side.running * links.v_2_rms * (math.sqrt(2.0) / math.pi),
        v_node=side.running * links.v_2_rms,
        dead_time=tuple(share * v for v in errors),
    )
