"""Current-compensated mains choke, bought as it is; its leakage filters differential noise."""

from __future__ import annotations

import dataclasses

from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts.catalogue import Column, Schema
from models.parts.part import Anchor, Fact, Item
from models.physics.winding import ALPHA_CU
from models.variables import row

SCHEMA = Schema(
    {
        "l": Column("µH", 50, 100_000),
        "leakage": Column("µH", 0.1, 2_000),
        "i_rated": Column("A", 0.1, 30),
        "r": Column("mΩ", 0.1, 5_000),
        "length": Column("mm", 3, 80),
        "breadth": Column("mm", 3, 80),
        "height": Column("mm", 3, 80),
        "mass": Column("g", 0.3, 300),
        "cost": Column("€", 0.01, 50),
    }
)

RISE = 50.0  # [K], of the winding at rated current; common in data sheets, no source
T_LIMIT = 125.0  # [°C], common practice, no source


@dataclasses.dataclass(frozen=True)
class Design:
    """Which choke."""

    row: Indices = row("emi_chokes", "current-compensated choke")


@dataclasses.dataclass(frozen=True)
class EmiChoke:
    """Placed chokes, one behind the other."""

    path: str
    count: Array  # pieces, (design, 1, 1)
    design: Design
    r: Array  # [Ω] of both windings at 20 °C, one piece
    i_rated: Array  # [A]
    i_rms: Array  # [A]

    @property
    def anchor(self) -> Anchor:
        """Chokes give their heat to the inside of the box."""
        return Anchor.INSIDE

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return the winding temperature [°C]: 50 K above its surroundings at rated current."""
        x = self.i_rms / self.i_rated
        return t_anchor + RISE * x * x

    def loss(self, t: Array) -> Array:
        """Return the heat of all chokes [W] at ``t`` [°C]; the core adds nothing of weight."""
        return (self.count * self.i_rms * self.i_rms) * (self.r * (1.0 + ALPHA_CU * (t - 20.0)))

    def book(self, t: Array, case: Case) -> Ledger:
        """Return loss, size, price and limits."""
        xp = array_namespace(t)
        path, n = self.path, self.count
        ground = self._at("length", case) * self._at("breadth", case)
        height = self._at("height", case)
        hot = xp.where(case.points.thermal > 0.0, t, 0.0)
        one = xp.ones_like(ground)
        return joined(
            booking(f"{path}.copper_dc", Kind.LOSS, self.loss(t), "line current"),
            booking(path, Kind.VOLUME, n * ground * height, "mains chokes"),
            booking(path, Kind.AREA, n * ground, "mains chokes"),
            booking(path, Kind.HEIGHT, height, "mains chokes"),
            booking(path, Kind.MASS, n * self._at("mass", case), "mains chokes"),
            booking(path, Kind.COST, n * self._at("cost", case), "mains chokes; invented price"),
            booking(path, Kind.PIECES, n * one, "mains chokes"),
            booking(path, Kind.TEMPERATURE, t, "winding of the mains choke"),
            at_most(f"{path}.temperature", hot, one * T_LIMIT, "°C", "winding of the mains choke"),
            at_most(f"{path}.current", self.i_rms, self.i_rated, "A", "rated current"),
        )  # fmt: skip

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the line of the first design."""
        table = case.catalogue["emi_chokes"]
        build = (
            Fact("part", table.rows[int(self.design.row[0, 0, 0])]),
            Fact("inductance", float(self._at("l", case)[0, 0, 0]), "H"),
            Fact("leakage inductance", float(self._at("leakage", case)[0, 0, 0]), "H"),
        )
        stress = (
            Fact("rms current", float(self.i_rms[0].max()), "A", float(self.i_rated[0, 0, 0])),
            Fact("temperature", float(t[0].max()), "°C", T_LIMIT),
        )
        pieces = int(self.count[0, 0, 0])
        return (Item(self.path, "current-compensated choke", pieces, build, stress),)

    def _at(self, column: str, case: Case) -> Array:
        return case.catalogue["emi_chokes"].at(column, self.design.row)


def inductances(design: Design, case: Case) -> tuple[Array, Array]:
    """Return common-mode and leakage inductance [H]; their fall with frequency is left out."""
    table = case.catalogue["emi_chokes"]
    return table.at("l", design.row), table.at("leakage", design.row)


def place(path: str, design: Design, i_rms: Array, case: Case, count: Array) -> EmiChoke:
    """Return ``count`` chokes in a row that carry the line current ``i_rms`` [A]."""
    table = case.catalogue["emi_chokes"]
    return EmiChoke(
        path, count, design, table.at("r", design.row), table.at("i_rated", design.row), i_rms
    )
