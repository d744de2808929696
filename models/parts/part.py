"""What every placed part can do, so that heat can settle and the books be written.

A stage *places* a part: it joins the part's own design, its row of data and the stress.
What is left is a small object with (design, point, 1) arrays, which answers a few
questions.  ``settle`` (models.settle) asks them in fixed passes; no part knows the
box, the topology or another part.
"""

from __future__ import annotations

import dataclasses
import enum
from typing import Protocol

from models.axes import Array
from models.case import Case
from models.ledger import Ledger


class Anchor(enum.Enum):
    """What a part's heat path ends on."""

    SURFACE = "surface"  # the wall of the box (semiconductors on a pad)
    INSIDE = "inside"  # air or potting inside the box


@dataclasses.dataclass(frozen=True)
class Fact:
    """One line about a part on the design sheet, of the first design in the arrays."""

    name: str  # "core", "turns", "air gap", "blocking voltage"
    value: float | str  # SI where a unit is given
    unit: str = ""
    bound: float | None = None  # rating or limit it stands against


@dataclasses.dataclass(frozen=True)
class Item:
    """One line of the bill of materials with how to build it and what it bears."""

    path: str
    what: str  # "gapped ferrite inductor", "film capacitor"
    quantity: int
    build: tuple[Fact, ...]
    stress: tuple[Fact, ...]


class Part(Protocol):
    """A placed part (all of its pieces together)."""

    @property
    def path(self) -> str:
        """Dotted path of the part in its topology."""

    @property
    def anchor(self) -> Anchor:
        """What its heat path ends on."""

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return the hottest temperature inside the part [°C] above its anchor.

        ``potted`` is 1 in a potted box, else 0, shape (design, 1, 1).  Finite for any
        input: past thermal runaway the value is clamped above the part's limit.
        """

    def loss(self, t: Array) -> Array:
        """Return the heat of all pieces [W] at hottest temperature ``t``."""

    def book(self, t: Array, case: Case) -> Ledger:
        """Return losses by cause, volume, area, mass, cost, temperature, life and limits."""

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the bill-of-materials lines of the first design."""
