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
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts import enclosure
from models.parts.part import Anchor, Part
from models.stages.stage import Placed

# First guess of the losses, as a share of the power and a constant by day [1], [W], of all
# parts and of the front alone; common practice, no source.
GUESS_ALL, GUESS_FRONT, GUESS_DAY, GUESS_NIGHT = 0.07, 0.045, 0.8, 0.05

# Growth of the front's loss with power, over loss per power: nothing of it is fixed at full
# load, most of it at light load.  Fitted to good designs of both topologies, within ±0.4.
GROWTH_IDLE, GROWTH_LOADED = 0.3, 0.7
RESIDUAL_MAX = 1e-3  # [1], error of the heat over it with which a design may be shown
SLOPE_MAX = 0.5  # [1], least efficiency of a watt more that the balance is sought for


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
    residual: Array  # [1], error of the heat that is left by the balance, over heat


@dataclasses.dataclass(frozen=True)
class _Air:
    """Where heat paths end: temperatures of wall and inside [°C]."""

    surface: Array
    inside: Array

    def of(self, part: Part) -> Array:
        return self.surface if part.anchor is Anchor.SURFACE else self.inside


@dataclasses.dataclass(frozen=True)
class _Guess:
    """The first evaluation of the front."""

    power: Array  # [W]
    heat: Array  # [W], of everything
    slope: Array  # [1], estimate of dL/dp


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
    p = p_ac + L(p).  The front is evaluated twice: at a guess p_0, and at the power p_1 to
    which L(p_0) and an estimate of the slope lead.  The heat booked is L(p_1); its error
    is m/(1 − m)·|p_1 − p_ac − L(p_1)|, with m the slope between the two, and booked over
    the heat as ``balance.residual``.  At 90 to 97 % of efficiency it stays below 1e-3, and
    p_1 within 1e-3 of p_ac + L(p_1), where L has no step in between (tested).  Without
    load the loss of some stages is no function that settles; the figure then says so.
    """
    p_ac = case.points.p_ac
    potted = enclosure.potted(box)
    idle = _idle_guess(case)
    air = _air(box, p_ac * GUESS_ALL + idle + 0.0 * potted, case)
    fixed = _heat(behind.parts, air, potted)
    p_0 = p_ac * (1.0 + GUESS_FRONT) + idle + fixed
    carrying = front(p_0).parts
    air = _air(box, fixed + _heat(carrying, air, potted), case)
    carried = _heat(carrying, air, potted)
    first = _heat(behind.parts, air, potted) + carried
    slope = _slope(carried, p_0, p_ac)
    p_1 = p_ac + first + slope / (1.0 - slope) * (p_ac + first - p_0)
    placed = behind + front(p_1)
    air = _air(box, _heat(placed.parts, _air(box, p_1 - p_ac, case), potted), case)
    return _books(placed, p_1, air, _Guess(p_0, first, slope), box=box, case=case)


def _idle_guess(case: Case) -> Array:
    """Return a guess of what is drawn without load [W]."""
    irradiance = case.points.irradiance
    return array_namespace(irradiance).where(irradiance > 0.0, GUESS_DAY, GUESS_NIGHT)


def _slope(loss: Array, p: Array, p_ac: Array) -> Array:
    """Return an estimate of dL/dp [1] of the front's ``loss`` [W] at a power ``p`` [W]."""
    xp = array_namespace(loss)
    load = p_ac / xp.max(p_ac)
    growth = (p_ac / p) * (GROWTH_IDLE + GROWTH_LOADED * load)
    return xp.minimum(growth * loss / p, SLOPE_MAX)


def _left(guess: _Guess, p: Array, heat: Array, case: Case) -> Array:
    """Return the error of ``heat`` at a power ``p`` that the balance leaves, over it [1].

    The slope is that between both evaluations, not below the estimate; where they fall
    together it would be noise over nothing, so that the step counts as at least 1e-3.
    """
    xp = array_namespace(p)
    step = xp.maximum(xp.abs(p - guess.power), 1e-3 * guess.power)
    found = xp.abs(heat - guess.heat) / step
    m = xp.minimum(xp.maximum(found, guess.slope), SLOPE_MAX)
    return m / (1.0 - m) * xp.abs(p - case.points.p_ac - heat) / xp.maximum(heat, 1e-6)


def _air(box: enclosure.Design, heat: Array, case: Case) -> _Air:
    surface = enclosure.surface_temperature(box, heat, case)
    return _Air(surface, enclosure.inside_temperature(box, surface, heat))


def _heat(parts: tuple[Part, ...], air: _Air, potted: Array) -> Array:
    """Return the heat of parts in the given air [W]."""
    total = 0.0 * air.surface
    for part in parts:
        total = total + part.loss(part.temperature(air.of(part), potted))
    return total


def _balance_limit(left: Array, case: Case) -> Ledger:
    """Return the limit on the error of the heat while power flows.

    It is a bound on trust, not on hardware: a design whose loss steps between the two
    passes has figures that may not be used.
    """
    xp = array_namespace(left)
    flowing = xp.where(case.points.p_ac > 0.0, left, 0.0)
    return at_most(
        "balance.residual", flowing, xp.full((1, 1, 1), RESIDUAL_MAX), "",
        "error of the heat left by the power balance, over it",
    )  # fmt: skip


def _books(
    placed: Placed, p_module: Array, air: _Air, guess: _Guess, *, box: enclosure.Design, case: Case
) -> Settled:
    """Return the settled design with every part booked at its final temperature."""
    potted = enclosure.potted(box)
    temperatures = tuple(p.temperature(air.of(p), potted) for p in placed.parts)
    ledger = joined(
        placed.books,
        *(part.book(t, case) for part, t in zip(placed.parts, temperatures, strict=True)),
    )
    loss = sum((entry.value for entry in ledger.of(Kind.LOSS)), start=0.0 * p_module)
    left = _left(guess, p_module, loss, case)
    ledger = joined(
        ledger,
        enclosure.book(box, ledger, air.surface, case),
        booking("balance.residual", Kind.FIGURE, left, "error of the heat, over it", ""),
        _balance_limit(left, case),
        booking("box.surface", Kind.TEMPERATURE, air.surface, "wall of the box"),
        booking("box.inside", Kind.TEMPERATURE, air.inside, "inside of the box"),
    )
    return Settled(
        placed.parts, temperatures, ledger, p_module, loss, air.surface, air.inside, left
    )
