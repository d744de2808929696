"""What capacitor banks of every kind have in common: equal pieces in parallel."""

from __future__ import annotations

import dataclasses

from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, booking, joined
from models.parts.catalogue import Column, Table
from models.parts.part import Anchor, Fact, Item
from models.stress import CapacitorStress

# Columns that every capacitor table has.
COLUMNS = {
    "c": Column("µF", 1e-6, 1e5),
    "v_rated": Column("V", 1, 5000),
    "length": Column("mm", 0.5, 200),
    "breadth": Column("mm", 0.3, 200),
    "height": Column("mm", 0.2, 200),
    "mass": Column("g", 1e-4, 2000),
    "cost": Column("€", 1e-4, 500),
}

# No part gets hotter in these books [K above its surroundings]: past every limit.
RISE_MAX = 300.0


@dataclasses.dataclass(frozen=True)
class Bank:
    """Equal capacitors in parallel under one stress; the current divides evenly."""

    path: str
    table: Table
    row: Indices
    count: Array
    stress: CapacitorStress
    f_line: Array  # [Hz], of the ripple that the grid causes

    @property
    def anchor(self) -> Anchor:
        """Where the heat goes."""
        return Anchor.INSIDE

    @property
    def f_hf(self) -> Array:
        """Frequency of the switching ripple [Hz]; a bank without one may give 0."""
        xp = array_namespace(self.stress.f_hf)
        return xp.maximum(self.stress.f_hf, 1.0)

    def at(self, column: str) -> Array:
        """Return a column of the catalogue for every design."""
        return self.table.at(column, self.row)

    def books(self, what: str, *, footprint: Array, height: Array) -> Ledger:
        """Return volume, area, height, mass, cost and pieces.

        Parameters
        ----------
        what : str
            Name of the kind, in the plural.
        footprint : Array
            Board area of one piece [m²].
        height : Array
            Height of one piece above the board [m].
        """
        path, count = self.path, self.count
        return joined(
            booking(path, Kind.VOLUME, count * footprint * height, what),
            booking(path, Kind.AREA, count * footprint, what),
            booking(path, Kind.HEIGHT, height, what),
            booking(path, Kind.MASS, count * self.at("mass"), what),
            booking(path, Kind.COST, count * self.at("cost"), f"{what}; price of the catalogue"),
            booking(path, Kind.PIECES, count + 0.0 * height, what),
        )

    def item(self, what: str, build: tuple[Fact, ...], stress: tuple[Fact, ...]) -> Item:
        """Return the bill-of-materials line of the first design, with what all kinds share."""
        common = (
            Fact("part", self.table.rows[int(self.row[0, 0, 0])]),
            Fact("capacitance of one", first(self.at("c")), "F"),
            Fact("length", first(self.at("length")), "m"),
            Fact("breadth", first(self.at("breadth")), "m"),
            Fact("height", first(self.at("height")), "m"),
        )
        return Item(self.path, what, round(first(self.count)), (*common, *build), stress)


def first(x: Array) -> float:
    """Return the largest value over points and angles of the first design."""
    return float(x[0].max())


def line_ripple(case: Case) -> Array:
    """Return twice the line frequency [Hz] of every operating point."""
    return 2.0 * case.points.f_grid
