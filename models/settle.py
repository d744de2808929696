"""Heat and power settle: parts at temperature, losses, box, module power.

Losses depend on temperatures, temperatures on losses, and the stage at the module
carries the losses of everything behind it.  All three are closed in one fixed schedule
without a data-dependent loop, so that a batch does what a single design does.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from models.axes import Array, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, booking, joined
from models.parts import enclosure
from models.parts.part import Anchor, Part
from models.stages.stage import Placed

# First guess of all losses, as a share of the power and a constant [1], [W]; common
# practice, no source.  It only has to be near enough for the secant below.
GUESS_SHARE, GUESS_CONSTANT = 0.05, 1.0


@dataclasses.dataclass(frozen=True)
class Settled:
    """A design with everything in balance, all arrays (design, point, 1) unless said."""

    parts: tuple[Part, ...]
    temperatures: tuple[Array, ...]  # [°C], one for each part
    books: Ledger
    p_module: Array  # [W], drawn from the module, as the stresses carry it
    heat: Array  # [W]
    t_surface: Array  # [°C]
    t_inside: Array  # [°C]
    residual: Array  # [1], |p_module − p_ac − heat| over heat


@dataclasses.dataclass(frozen=True)
class _Air:
    """Where heat paths end: temperatures of wall and inside [°C]."""

    surface: Array
    inside: Array

    def of(self, part: Part) -> Array:
        return self.surface if part.anchor is Anchor.SURFACE else self.inside


def settle(
    behind: Placed, front: Callable[[Array], Placed], box: enclosure.Design, case: Case
) -> Settled:
    """Return the balance of a converter.

    Parameters
    ----------
    behind : Placed
        Stages whose stress does not depend on the losses (grid side, links).
    front : Callable
        Places the stages that carry the whole module power [W], given that power.
    box : enclosure.Design
        The box that holds everything.
    case : Case
        Specification, operating points and catalogue.

    Notes
    -----
    The loss L as a function of the module power p is nearly straight, so that two
    evaluations and a secant step to the fixed point p = p_ac + L(p) leave a residual
    below 1e-3 of the loss (booked as ``balance.residual`` and tested).
    """
    p_ac = case.points.p_ac
    potted = enclosure.potted(box)
    p_0 = p_ac * (1.0 + GUESS_SHARE) + GUESS_CONSTANT + 0.0 * potted
    air = _air(box, p_0 - p_ac, case)
    placed = behind + front(p_0)
    loss_0, air = _heat(placed.parts, air, box, case, passes=2)
    p_1 = p_ac + loss_0
    placed = behind + front(p_1)
    loss_1, air = _heat(placed.parts, air, box, case, passes=1)
    p_2 = p_ac + fixed_point(p_0 - p_ac, loss_0, loss_1)
    placed = behind + front(p_2)
    heat, air = _heat(placed.parts, air, box, case, passes=2)
    return _books(placed, p_2, heat, air, box, case)


def fixed_point(guess: Array, first: Array, second: Array) -> Array:
    """Return the secant estimate of x = L(x) from guess, first = L(guess), second = L(first).

    The slope is held between −0.5 and 0.5, where the plain iteration would converge too.

    Source
    ------
    A. C. Aitken, "On Bernoulli's numerical solution of algebraic equations", 1926
    (from memory).
    """
    xp = array_namespace(guess, first)
    step = first - guess
    safe = xp.where(xp.abs(step) < 1e-9, 1e-9, step)
    slope = xp.clip((second - first) / safe, -0.5, 0.5)
    return first + (second - first) / (1.0 - slope)


def _air(box: enclosure.Design, heat: Array, case: Case) -> _Air:
    surface = enclosure.surface_temperature(box, heat, case)
    return _Air(surface, enclosure.inside_temperature(box, surface, heat))


def _heat(
    parts: tuple[Part, ...], air: _Air, box: enclosure.Design, case: Case, *, passes: int
) -> tuple[Array, _Air]:
    """Return the heat of all parts and the air it makes, after some passes."""
    potted = enclosure.potted(box)
    total: Array = air.surface
    for _ in range(passes):
        total = sum(
            (part.loss(part.temperature(air.of(part), potted)) for part in parts),
            start=0.0 * air.surface,
        )
        air = _air(box, total, case)
    return total, air


def _books(
    placed: Placed, p_module: Array, heat: Array, air: _Air, box: enclosure.Design, case: Case
) -> Settled:
    """Return the settled design with every part booked at its final temperature."""
    xp = array_namespace(heat)
    potted = enclosure.potted(box)
    temperatures = tuple(p.temperature(air.of(p), potted) for p in placed.parts)
    ledger = joined(
        placed.books,
        *(part.book(t, case) for part, t in zip(placed.parts, temperatures, strict=True)),
    )
    loss = sum((entry.value for entry in ledger.of(Kind.LOSS)), start=0.0 * heat)
    residual = xp.abs(p_module - case.points.p_ac - loss) / xp.maximum(loss, 1e-6)
    ledger += enclosure.book(box, ledger, air.surface, case)
    ledger += booking(
        "balance.residual", Kind.FIGURE, residual, "power balance left open, share of the loss", ""
    )
    ledger += booking("box.surface", Kind.TEMPERATURE, air.surface, "wall of the box")
    ledger += booking("box.inside", Kind.TEMPERATURE, air.inside, "inside of the box")
    return Settled(
        placed.parts, temperatures, ledger, p_module, loss, air.surface, air.inside, residual
    )
