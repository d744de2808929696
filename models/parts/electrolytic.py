"""Aluminium electrolytic capacitors: much energy in little room, and a life of their own."""

from __future__ import annotations

import dataclasses
import functools
import math

from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts.bank import COLUMNS, RISE_MAX, Bank, first, line_ripple
from models.parts.catalogue import Catalogue, Column, Schema
from models.parts.part import Fact, Item
from models.physics.capacitor import (
    air_multiplier,
    electrolytic_resistance,
    equivalent_ripple,
    warm_share,
)
from models.physics.lifetime import HOURS_PER_YEAR, electrolytic_life, miner_life
from models.physics.thermal import part_resistance
from models.stress import CapacitorStress
from models.variables import choice, row, whole

TABLE = "electrolytic"
SCHEMA = Schema(
    COLUMNS
    | {
        "tan_delta": Column("1", 0.001, 2),  # limit at 120 Hz, 20 °C
        "i_ripple": Column("A", 0.01, 200),  # at 120 Hz in air of t_air
        "life": Column("h", 500, 1e6),  # with rated ripple in air of t_air
        "t_air": Column("°C", 40, 150),
        "rise": Column("K", 0, 40),  # of the core by rated ripple
    }
)

SPARE_VOLTAGE = 1.05  # [1], rated over highest voltage; common practice, no source
CORE_TO_CAN = 3.0  # [K/W]; 2 to 4, from memory


@dataclasses.dataclass(frozen=True)
class Design:
    """Equal electrolytic capacitors in parallel."""

    row: Indices = row(TABLE, "electrolytic capacitor")
    count: Array = whole(1, 6, "electrolytic capacitors in parallel", log=True)
    mounting: Indices = choice("standing", "lying", meaning="cans upright or along the board")


@dataclasses.dataclass(frozen=True)
class ElectrolyticBank(Bank):
    """A placed bank of electrolytic capacitors; a can is as broad as long, height its axis."""

    lying: Indices  # 1 or 0

    @functools.cached_property
    def current(self) -> Array:
        """Current of one can at 120 Hz that heats as much as both do [A]."""
        s = self.stress
        ripple = equivalent_ripple(s.i_line_rms, self.f_line, i_hf=s.i_hf_rms, f_hf=s.f_hf)
        return ripple / self.count

    @functools.cached_property
    def cold_heat(self) -> Array:
        """Heat of one can at 20 °C [W]."""
        r = electrolytic_resistance(self.at("c"), self.at("tan_delta"))
        return self.current * self.current * r

    @functools.cached_property
    def surface(self) -> Array:
        """Surface of one can [m²]."""
        d, h = self.at("length"), self.at("height")
        return math.pi * d * (h + 0.5 * d)

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return the core temperature [°C]: T = T_a + R_th·P_20·ESR(T)/ESR(20 °C).

        Two Newton steps from T_a, which approach the root from below; for rises up to
        15 K they end within 0.1 K.
        """
        xp = array_namespace(t_anchor)
        r_th = part_resistance(self.surface, potted) + CORE_TO_CAN
        push = xp.minimum(r_th * self.cold_heat, RISE_MAX)
        t = t_anchor
        for _ in range(2):
            share = warm_share(t)
            slope = 1.0 + push * (share - 0.45) / 25.0
            t = t + (t_anchor + push * share - t) / slope
        return t

    def loss(self, t: Array) -> Array:
        """Return the heat of all cans [W]."""
        return self.count * self.cold_heat * warm_share(t)

    def life(self, t: Array, case: Case) -> Array:
        """Return the wear-out life over the year [h] at core temperatures ``t`` [°C]."""
        one = electrolytic_life(
            self.at("life"),
            self.at("t_air") + self.at("rise"),
            t_hot=t,
            v=self.stress.v_mean + 0.5 * self.stress.v_swing,
            v_rated=self.at("v_rated"),
        )
        return miner_life(one, case.points.hours)

    def current_bound(self, t: Array) -> Array:
        """Return the ripple current allowed for one can at 120 Hz [A].

        The air around the can is taken as the core less the rise that the data sheet's
        rating implies, I²/I_R²·ΔT0.
        """
        xp = array_namespace(t)
        rated = self.at("i_ripple")
        share = xp.minimum(self.current / rated, 3.0)
        return rated * air_multiplier(t - share * share * self.at("rise"))

    def book(self, t: Array, case: Case) -> Ledger:
        """Return loss, size, price, life and limits."""
        xp = array_namespace(t)
        path, d, h = self.path, self.at("length"), self.at("height")
        hot = xp.where(case.points.thermal > 0.0, t, 0.0)
        life = self.life(t, case)
        years = xp.minimum(life / HOURS_PER_YEAR, case.spec.life.electrolytic_cap_years)
        flat = self.lying > 0
        return joined(
            self.books(
                "electrolytic capacitors",
                footprint=xp.where(flat, d * h, d * d),
                height=xp.where(flat, d, h),
            ),
            booking(f"{path}.ripple", Kind.LOSS, self.loss(t), "ripple in electrolytics"),
            booking(path, Kind.TEMPERATURE, t, "core of the electrolytic"),
            booking(path, Kind.LIFE, life, "electrolytic, computed"),
            booking(f"{path}.capped", Kind.FIGURE, years, "life under the ceiling of the "
                    "specification, for seals that age whatever the load", "years"),
            booking(f"{path}.electrolytics", Kind.FIGURE, self.count + 0.0 * d, "cans", ""),
            at_most(f"{path}.voltage", self.stress.v_max, self.at("v_rated") / SPARE_VOLTAGE,
                    "V", "peak voltage of the electrolytic, derated"),
            at_most(f"{path}.current", self.current, self.current_bound(t), "A",
                    "ripple current of one electrolytic at 120 Hz"),
            at_most(f"{path}.temperature", hot, self.at("t_air") + self.at("rise"), "°C",
                    "core of the electrolytic"),
        )  # fmt: skip

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the line of the first design."""
        lying = self.lying[0, 0, 0] > 0
        build = (Fact("mounting", "lying, glued" if lying else "standing"),)
        stress = (
            Fact("peak voltage", first(self.stress.v_max), "V", first(self.at("v_rated"))),
            Fact("ripple current at 120 Hz", first(self.current), "A",
                 float(self.current_bound(t)[0].min())),
            Fact("core", first(t), "°C", first(self.at("t_air") + self.at("rise"))),
            Fact("life", first(self.life(t, case)), "h"),
        )  # fmt: skip
        return (self.item("electrolytic capacitor", build, stress),)


def place(path: str, design: Design, stress: CapacitorStress, case: Case) -> ElectrolyticBank:
    """Return a bank of electrolytic capacitors under ``stress`` (of the whole bank)."""
    return ElectrolyticBank(
        path,
        case.catalogue[TABLE],
        design.row,
        design.count,
        stress,
        line_ripple(case),
        lying=design.mounting,
    )


def end_of_life(catalogue: Catalogue) -> Catalogue:
    """Return the catalogue with worn electrolytics, for a second evaluation of a design.

    A fifth of the capacitance is lost and the series resistance is doubled.

    Source
    ------
    Limits of a published endurance test of 5000 h at 105 °C, 2008 (20 % and tan δ × 2),
    the resistance taken as doubled.
    """
    table = catalogue[TABLE]
    worn = {
        "c": 0.8 * table.columns["c"],
        # ESR = tan δ/(ω·C): twice, though C falls to 0.8.
        "tan_delta": 1.6 * table.columns["tan_delta"],
    }
    aged = dataclasses.replace(table, columns={**table.columns, **worn})
    return Catalogue({**catalogue.tables, TABLE: aged})
