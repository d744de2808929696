"""What a stage hands on: placed parts and the books that need no temperature."""

from __future__ import annotations

import dataclasses

from models.ledger import Ledger
from models.parts.part import Part


@dataclasses.dataclass(frozen=True)
class Placed:
    """Parts of a stage, ready to settle, with its limits and figures."""

    parts: tuple[Part, ...] = ()
    books: Ledger = dataclasses.field(default_factory=Ledger)

    def __add__(self, other: Placed) -> Placed:
        """Join two stages."""
        return Placed(self.parts + other.parts, self.books + other.books)
