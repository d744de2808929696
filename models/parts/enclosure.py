"""The box: its size is designed, its temperature solved, and everything must fit into it.

It hangs level with its large face (length × width) towards the module.
"""

from __future__ import annotations

import dataclasses

from models import cost
from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.physics import thermal
from models.variables import choice, real

# Boxes of all parts and the board over the inner volume [1]: 0.55 to 0.65 potted and
# dense, 0.45 otherwise; common practice, no source.
PACK_POTTED, PACK_AIR = 0.60, 0.45

BOARD_THICKNESS = 1.6e-3  # [m]
BOARD_PER_FOOTPRINT = 1.8  # [1], board over the footprints on it; common practice, no source
BOARD_LEAST = 0.6  # [1], board over the inner footprint of the box; common practice, no source
BOARD_LAYERS = 4.0  # [1]
ABOVE_PARTS = 4e-3  # [m], board, leads and air over the tallest part; common practice, no source

ALUMINIUM = 2700.0  # [kg/m³]
LAMINATE = 1900.0  # [kg/m³], with copper
POTTING = 1700.0  # [kg/m³], 1400 to 2000; common practice, no source
POTTING_FILL = 0.9  # [1], share of the free room that is poured; common practice, no source


@dataclasses.dataclass(frozen=True)
class Design:
    """An aluminium box."""

    length: Array = real(60, 300, "mm", "outer length")
    width: Array = real(60, 250, "mm", "outer width")
    height: Array = real(18, 60, "mm", "outer height")
    wall: Array = real(1.5, 3, "mm", "wall")
    potting: Indices = choice("none", "potted", meaning="filled with compound or air")


def potted(design: Design) -> Array:
    """Return 1 for a potted box, else 0."""
    return array_namespace(design.length).where(design.potting > 0, 1.0, 0.0)


def surface(design: Design) -> Array:
    """Return the outer surface [m²]."""
    a, b, h = design.length, design.width, design.height
    return 2.0 * (a * b + a * h + b * h)


def outer_volume(design: Design) -> Array:
    """Return the outer volume [m³]."""
    return design.length * design.width * design.height


def inner(design: Design) -> tuple[Array, Array, Array]:
    """Return inner length, width and height [m]."""
    two = 2.0 * design.wall
    return design.length - two, design.width - two, design.height - two


def surface_temperature(design: Design, heat: Array, case: Case) -> Array:
    """Return the wall temperature [°C] at which the box sheds ``heat`` [W]."""
    return thermal.surface_temperature(
        design.length,
        design.width,
        design.height,
        heat=heat,
        t_air=case.points.t_air,
        emissivity=case.spec.roof.emissivity,
        t_module=case.points.t_module if case.spec.roof.module_side else None,
    )


def inside_temperature(design: Design, t_surface: Array, heat: Array) -> Array:
    """Return the temperature of air or potting [°C] behind a wall at ``t_surface`` [°C]."""
    return thermal.inside_temperature(t_surface, heat, surface(design), potted(design))


def book(design: Design, parts: Ledger, t_surface: Array, case: Case) -> Ledger:
    """Return size, price and mass of box, board and potting, and whether all parts fit.

    Parameters
    ----------
    design : Design
        The boxes.
    parts : Ledger
        Books of everything inside.
    t_surface : Array
        Wall temperature [°C].
    case : Case
        Specification, operating points and catalogue.
    """
    length, width, height = inner(design)
    footprint, zero = length * width, 0.0 * length
    needed = BOARD_PER_FOOTPRINT * parts.total(Kind.AREA) + zero
    board = _board(needed, footprint)
    filled = parts.total(Kind.VOLUME) + board * BOARD_THICKNESS
    room = footprint * height
    pack = PACK_AIR + (PACK_POTTED - PACK_AIR) * potted(design)
    return joined(
        booking("box.outer", Kind.FIGURE, outer_volume(design), "outer volume", "m³"),
        booking("box.height", Kind.HEIGHT, design.height, "outer height"),
        booking("box.board_area", Kind.FIGURE, board, "printed board, one side", "m²"),
        at_most("box.packing", filled, pack * room, "m³",
                "boxes of all parts and the board in the room that packing leaves"),
        at_most("box.board", needed, footprint, "m²", "board that the parts need"),
        at_most("box.part_height", _tallest(parts, zero) + ABOVE_PARTS, height, "m",
                "tallest part with what it needs above and below"),
        _bill(design, board, _poured(design, room - filled), parts.total(Kind.PIECES) + zero),
        _wall_limits(design, t_surface, case),
    )  # fmt: skip


def _board(needed: Array, footprint: Array) -> Array:
    """Return the board area [m²]: what the parts need, not less than a share of the box."""
    xp = array_namespace(needed, footprint)
    return xp.clip(needed, BOARD_LEAST * footprint, footprint)


def _poured(design: Design, free: Array) -> Array:
    """Return the volume of potting [m³] in the ``free`` room."""
    xp = array_namespace(free)
    return POTTING_FILL * potted(design) * xp.maximum(free, 0.0)


def _tallest(parts: Ledger, zero: Array) -> Array:
    """Return the height of the tallest part [m]."""
    xp = array_namespace(zero)
    tallest = zero
    for entry in parts.of(Kind.HEIGHT):
        tallest = xp.maximum(tallest, entry.value)
    return tallest


def _bill(design: Design, board: Array, potting: Array, pieces: Array) -> Ledger:
    """Return prices and masses of box, board, potting and assembly."""
    area = surface(design)
    wall = ALUMINIUM * area * design.wall
    laminate = LAMINATE * BOARD_THICKNESS * board
    return joined(
        booking("box", Kind.COST, cost.enclosure(area, potting), "box and potting; invented"),
        booking("box.board", Kind.COST, cost.board(board, BOARD_LAYERS), "board; invented"),
        booking("box.assembly", Kind.COST, cost.assembly(pieces), "assembly and test; invented"),
        booking("box", Kind.MASS, wall, "aluminium box"),
        booking("box.board", Kind.MASS, laminate, "printed board"),
        booking("box.potting", Kind.MASS, POTTING * potting, "potting compound"),
    )


def _wall_limits(design: Design, t_surface: Array, case: Case) -> Ledger:
    """Return the limits of touch, cable entry and, if asked for, height."""
    xp = array_namespace(t_surface)
    roof, one = case.spec.roof, xp.ones_like(design.height)
    hot = xp.where(case.points.thermal > 0.0, t_surface, 0.0)
    limits = joined(
        at_most("box.touch", hot, one * roof.touch_limit_c, "°C", "wall that may be touched"),
        at_most("box.cable", hot, one * roof.cable_limit_c, "°C", "wall at cables and connectors"),
    )
    tallest = case.spec.limits.height_max_mm
    if tallest is None:
        return limits
    return limits + at_most(
        "box.height", design.height, one * (1e-3 * tallest), "m", "outer height of the box"
    )
