"""Ceramic capacitors for switching ripple; class II loses capacitance under bias."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Callable

from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts.bank import COLUMNS, RISE_MAX, Bank, first, line_ripple
from models.parts.catalogue import Column, Schema
from models.parts.part import Fact, Item
from models.physics.capacitor import bias_share
from models.stress import CapacitorStress
from models.variables import row, whole

TABLE = "ceramic"
SCHEMA = Schema(
    COLUMNS
    | {
        "half": Column("1", 0.05, 1e4),  # bias over v_rated that leaves half; class I: large
        "tan_delta": Column("1", 1e-5, 0.2),
        "r_series": Column("mΩ", 0.01, 1e4),
        "aging": Column("%", 0, 20),  # a decade of hours
    }
)

SPARE_VOLTAGE = 1.2  # [1], rated over highest voltage; common practice, no source
DECADES = 5.0  # hours of service, 10^5 h
PIECE_TO_INSIDE = 40.0  # [K/W], a piece on its board; common practice, no source
RISE_LIMIT = 20.0  # [K], self-heating; common practice, no source
T_MAX = 125.0  # [°C], class limit


@dataclasses.dataclass(frozen=True)
class Design:
    """Equal ceramic capacitors in parallel."""

    row: Indices = row(TABLE, "ceramic capacitor")
    count: Array = whole(1, 40, "ceramic capacitors in parallel", log=True)


@dataclasses.dataclass(frozen=True)
class CeramicBank(Bank):
    """A placed bank of ceramic capacitors."""

    @functools.cached_property
    def heat(self) -> Array:
        """Heat of all pieces [W]: I²·(R_s + tan δ/(ω·C)) of both currents."""
        s = self.stress
        c = capacitance(self.at, s.v_mean)
        lossy = self.at("tan_delta") / (2.0 * math.pi * c)
        slow = s.i_line_rms * s.i_line_rms * (self.at("r_series") + lossy / self.f_line)
        fast = s.i_hf_rms * s.i_hf_rms * (self.at("r_series") + lossy / self.f_hf)
        return (slow + fast) / self.count

    @functools.cached_property
    def rise(self) -> Array:
        """Self-heating of one piece [K]."""
        xp = array_namespace(self.heat)
        return xp.minimum(PIECE_TO_INSIDE * self.heat / self.count, RISE_MAX)

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return the temperature of a piece [°C]; the board takes the heat, potted or not."""
        return t_anchor + self.rise + 0.0 * potted

    def loss(self, t: Array) -> Array:
        """Return the heat of all pieces [W]."""
        return self.heat + 0.0 * t

    def book(self, t: Array, case: Case) -> Ledger:
        """Return loss, size, price and limits; no wear-out is known."""
        xp = array_namespace(t)
        path = self.path
        hot = xp.where(case.points.thermal > 0.0, t, 0.0)
        return joined(
            self.books(
                "ceramic capacitors",
                footprint=self.at("length") * self.at("breadth"),
                height=self.at("height"),
            ),
            booking(f"{path}.ripple", Kind.LOSS, self.loss(t), "ripple in ceramic capacitors"),
            booking(path, Kind.TEMPERATURE, t, "ceramic capacitor"),
            at_most(f"{path}.voltage", self.stress.v_max, self.at("v_rated") / SPARE_VOLTAGE,
                    "V", "peak voltage of the ceramic, derated"),
            at_most(f"{path}.rise", self.rise, 0.0 * self.count + RISE_LIMIT, "K",
                    "self-heating of one ceramic capacitor"),
            at_most(f"{path}.temperature", hot, 0.0 * self.count + T_MAX, "°C",
                    "ceramic capacitor"),
        )  # fmt: skip

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the line of the first design."""
        at_bias = capacitance(self.at, self.stress.v_mean)
        build = (
            Fact("least capacitance of one at its bias", float(at_bias[0].min()), "F"),
            Fact("mounting", "away from edges and screws, which crack ceramics"),
        )
        stress = (
            Fact("peak voltage", first(self.stress.v_max), "V", first(self.at("v_rated"))),
            Fact("self-heating", first(self.rise), "K", RISE_LIMIT),
            Fact("temperature", first(t), "°C", T_MAX),
        )
        return (self.item("ceramic capacitor", build, stress),)


def capacitance(at: Callable[[str], Array], v_bias: Array) -> Array:
    """Return the small-signal capacitance of one piece [F] at a bias, after 10^5 hours.

    Temperature moves class II by another ±15 %, which is left out.

    Parameters
    ----------
    at : Callable
        Returns a column of the catalogue.
    v_bias : Array
        Bias [V].
    """
    aged = 1.0 - at("aging") * DECADES
    return at("c") * aged * bias_share(v_bias, at("half") * at("v_rated"))


def place(path: str, design: Design, stress: CapacitorStress, case: Case) -> CeramicBank:
    """Return a bank of ceramic capacitors under ``stress`` (of the whole bank)."""
    table = case.catalogue[TABLE]
    return CeramicBank(path, table, design.row, design.count, stress, line_ripple(case))
