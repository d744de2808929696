"""The books of a design: watts, litres, money, years, temperatures and limits.

Every figure shown anywhere is a booking here.  A booking has a path (the part and what
of it: ``boost.switch.conduction``), a kind and a value; a limit also keeps the actual
value and the bound, so that a sheet can print both.  Ledgers add; booking a path of the
same kind twice is a fault.
"""

from __future__ import annotations

import dataclasses
import enum
import functools
import itertools
from collections.abc import Iterator

from models.axes import Array, array_namespace, check_axes
from models.errors import ModelError


class Kind(enum.Enum):
    """What a booking counts."""

    LOSS = "loss"  # [W] (design, point, 1), heat of all pieces
    VOLUME = "volume"  # [m³] (design, 1, 1), bounding box of all pieces
    AREA = "area"  # [m²] (design, 1, 1), board area under all pieces
    HEIGHT = "height"  # [m] (design, 1, 1), of the tallest piece above the board
    MASS = "mass"  # [kg] (design, 1, 1)
    COST = "cost"  # [€] (design, 1, 1), invented price level
    PIECES = "pieces"  # [1] (design, 1, 1), components placed on the board
    LIFE = "life"  # [h] (design, 1, 1), wear-out life over the climate
    TEMPERATURE = "temperature"  # [°C] (design, point, 1)
    LIMIT = "limit"  # [1] (design, point or 1, 1), feasible ≤ 0
    FIGURE = "figure"  # anything else worth reading; unit in the entry

    # Members are single objects: their identity hashes five times faster than their name.
    __hash__ = object.__hash__


UNIT = {
    Kind.LOSS: "W",
    Kind.VOLUME: "m³",
    Kind.AREA: "m²",
    Kind.HEIGHT: "m",
    Kind.MASS: "kg",
    Kind.COST: "€",
    Kind.PIECES: "",
    Kind.LIFE: "h",
    Kind.TEMPERATURE: "°C",
    Kind.LIMIT: "",
    Kind.FIGURE: "",
}


@dataclasses.dataclass(frozen=True)
class Entry:
    """One booking."""

    path: str
    kind: Kind
    value: Array
    unit: str
    meaning: str
    actual: Array | None = None  # limits: the quantity itself …
    bound: Array | None = None  # … and what it is held against
    sense: str = ""  # "<=" or ">="


@dataclasses.dataclass(frozen=True)
class Ledger:
    """A tuple of bookings with sums."""

    entries: tuple[Entry, ...] = ()

    def __add__(self, other: Ledger) -> Ledger:
        """Join two sets of books; ModelError on a path booked twice with one kind."""
        return joined(self, other)

    def of(self, kind: Kind) -> Iterator[Entry]:
        """Iterate over the bookings of one kind."""
        return iter(self._by_kind.get(kind, ()))

    @functools.cached_property
    def _by_kind(self) -> dict[Kind, list[Entry]]:
        found: dict[Kind, list[Entry]] = {}
        for entry in self.entries:
            found.setdefault(entry.kind, []).append(entry)
        return found

    def find(self, path: str, kind: Kind) -> Entry:
        """Return one booking, or raise KeyError."""
        for entry in self.of(kind):
            if entry.path == path:
                return entry
        raise KeyError(f"{path} ({kind.name})")

    def total(self, kind: Kind) -> Array | float:
        """Return the sum of all bookings of a kind."""
        return sum((e.value for e in self.of(kind)), start=0.0)


def joined(*ledgers: Ledger) -> Ledger:
    """Return all bookings of several ledgers in one; ModelError on one booked twice."""
    entries = tuple(itertools.chain.from_iterable(part.entries for part in ledgers))
    if len({(e.path, e.kind) for e in entries}) < len(entries):
        _refuse_doubles(entries)
    return Ledger(entries)


def _refuse_doubles(entries: tuple[Entry, ...]) -> None:
    """Raise for the first path that is booked a second time with one kind."""
    seen: set[tuple[str, Kind]] = set()
    for entry in entries:
        if (entry.path, entry.kind) in seen:
            raise ModelError(f"{entry.path} is booked twice as {entry.kind.name}")
        seen.add((entry.path, entry.kind))


def booking(path: str, kind: Kind, value: Array, meaning: str, unit: str | None = None) -> Ledger:
    """Return a ledger with one booking of any kind but LIMIT."""
    check_axes(path, value)
    return Ledger((Entry(path, kind, value, UNIT[kind] if unit is None else unit, meaning),))


def at_most(path: str, actual: Array, bound: Array, unit: str, meaning: str) -> Ledger:
    """Return the limit actual ≤ bound (bound > 0), margin = actual/bound − 1."""
    return _limit(path, actual / bound - 1.0, actual, bound, "<=", unit, meaning)


def at_least(path: str, actual: Array, bound: Array, unit: str, meaning: str) -> Ledger:
    """Return the limit actual ≥ bound (bound > 0), margin = 1 − actual/bound."""
    return _limit(path, 1.0 - actual / bound, actual, bound, ">=", unit, meaning)


def _limit(
    path: str, margin: Array, actual: Array, bound: Array, sense: str, unit: str, meaning: str
) -> Ledger:
    check_axes(path, margin)
    xp = array_namespace(actual, margin)
    full = xp.asarray(bound) + 0.0 * margin
    return Ledger((Entry(path, Kind.LIMIT, margin, unit, meaning, actual, full, sense),))
