"""Film capacitors for links, ripple ports, filters and the module port."""

from __future__ import annotations

import dataclasses
import functools
import math

from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts.bank import COLUMNS, RISE_MAX, Bank, first, line_ripple
from models.parts.catalogue import Column, Schema
from models.parts.part import Fact, Item
from models.physics.capacitor import film_resistance
from models.physics.lifetime import equivalent_voltage, film_life, miner_life
from models.physics.thermal import part_resistance
from models.stress import CapacitorStress
from models.variables import row, whole

TABLE = "film"
SCHEMA = Schema(
    COLUMNS
    | {
        "ac_rated": Column("1", 0, 1, integer=True),
        "v_ac": Column("V", 0, 2000),  # rms at line frequency; 0 where not rated
        "r_series": Column("mΩ", 0.01, 1e4),
        "i_rms": Column("A", 0.01, 1000),  # at 10 kHz
        "life": Column("h", 1e3, 1e7),  # at v_rated and t_rated
        "t_rated": Column("°C", 40, 125),
    }
)

SPARE_VOLTAGE = 1.1  # [1], rated over highest voltage; common practice, no source
# Swing over rated voltage that a direct-voltage film bears at twice the line frequency,
# peak to peak [1]; published for a DC-link series.
SWING = 0.2
# Hottest spot [°C]; above T_FULL the voltage falls by DERATING a kelvin: published for a
# DC-link series, 2017.
T_MAX, T_FULL, DERATING = 105.0, 85.0, 0.015


@dataclasses.dataclass(frozen=True)
class Design:
    """Equal film capacitors in parallel."""

    row: Indices = row(TABLE, "film capacitor")
    count: Array = whole(1, 12, "film capacitors in parallel", log=True)


@dataclasses.dataclass(frozen=True)
class FilmBank(Bank):
    """A placed bank of film capacitors."""

    @functools.cached_property
    def heat(self) -> Array:
        """Heat of all pieces [W]: I²·(R_s + tan δ/(ω·C)) of both currents."""
        s, c, r = self.stress, self.at("c"), self.at("r_series")
        slow = s.i_line_rms * s.i_line_rms * film_resistance(r, c, self.f_line)
        fast = s.i_hf_rms * s.i_hf_rms * film_resistance(r, c, self.f_hf)
        return (slow + fast) / self.count

    @functools.cached_property
    def surface(self) -> Array:
        """Surface of one piece [m²]."""
        a, b, h = self.at("length"), self.at("breadth"), self.at("height")
        return 2.0 * (a * b + a * h + b * h)

    @functools.cached_property
    def current(self) -> Array:
        """Current of one piece at 10 kHz that heats as much as both do [A]."""
        xp = array_namespace(self.heat)
        r = film_resistance(self.at("r_series"), self.at("c"), 0.0 * self.count + 1e4)
        return xp.sqrt(self.heat / (self.count * r))

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return the hot spot [°C]."""
        xp = array_namespace(t_anchor)
        rise = part_resistance(self.surface, potted) * self.heat / self.count
        return t_anchor + xp.minimum(rise, RISE_MAX)

    def loss(self, t: Array) -> Array:
        """Return the heat of all pieces [W]; film hardly changes with temperature."""
        return self.heat + 0.0 * t

    def life(self, t: Array, case: Case) -> Array:
        """Return the wear-out life over the year [h] at hot spots ``t`` [°C]."""
        v = equivalent_voltage(self.stress.v_mean, self.stress.v_swing)
        one = film_life(
            self.at("life"), self.at("t_rated"), t_hot=t, v=v, v_rated=self.at("v_rated")
        )
        return miner_life(one, case.points.hours)

    def voltage_bound(self, t: Array, case: Case) -> Array:
        """Return the highest voltage allowed [V], derated above 85 °C."""
        xp = array_namespace(t)
        over = xp.where(case.points.thermal > 0.0, xp.clip(t - T_FULL, 0.0, T_MAX - T_FULL), 0.0)
        return self.at("v_rated") * (1.0 - DERATING * over) / SPARE_VOLTAGE

    def swing_bound(self) -> Array:
        """Return the swing allowed, peak to peak [V]; rated alternating voltage swings 2√2·V."""
        xp = array_namespace(self.count)
        direct = SWING * self.at("v_rated")
        alternating = xp.maximum(2.0 * math.sqrt(2.0) * self.at("v_ac"), direct)
        return xp.where(self.at("ac_rated") > 0.0, alternating, direct)

    def book(self, t: Array, case: Case) -> Ledger:
        """Return loss, size, price, life and limits."""
        xp = array_namespace(t)
        path, stress = self.path, self.stress
        hot = xp.where(case.points.thermal > 0.0, t, 0.0)
        return joined(
            self.books(
                "film capacitors",
                footprint=self.at("length") * self.at("breadth"),
                height=self.at("height"),
            ),
            booking(f"{path}.ripple", Kind.LOSS, self.loss(t), "ripple in film capacitors"),
            booking(path, Kind.TEMPERATURE, t, "hot spot of the film"),
            booking(path, Kind.LIFE, self.life(t, case), "film, without humidity"),
            at_most(f"{path}.voltage", stress.v_max, self.voltage_bound(t, case), "V",
                    "peak voltage of the film, derated"),
            at_most(f"{path}.swing", stress.v_swing, self.swing_bound(), "V",
                    "swing of the film at twice the line frequency, peak to peak"),
            at_most(f"{path}.current", self.current, self.at("i_rms"), "A",
                    "ripple current of one film capacitor at 10 kHz"),
            at_most(f"{path}.temperature", hot, 0.0 * self.count + T_MAX, "°C",
                    "hot spot of the film"),
        )  # fmt: skip

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the line of the first design."""
        rated = self.at("ac_rated")[0, 0, 0] > 0.0
        build = (
            Fact("dielectric", "polypropylene, graded for humidity or potted"),
            Fact("rating", "alternating voltage" if rated else "direct voltage"),
        )
        stress = (
            Fact("peak voltage", first(self.stress.v_max), "V", first(self.at("v_rated"))),
            Fact("swing", first(self.stress.v_swing), "V", first(self.swing_bound())),
            Fact("ripple current at 10 kHz", first(self.current), "A", first(self.at("i_rms"))),
            Fact("hot spot", first(t), "°C", T_MAX),
            Fact("life", first(self.life(t, case)), "h"),
        )
        return (self.item("film capacitor", build, stress),)


def place(path: str, design: Design, stress: CapacitorStress, case: Case) -> FilmBank:
    """Return a bank of film capacitors under ``stress`` (of the whole bank)."""
    table = case.catalogue[TABLE]
    return FilmBank(path, table, design.row, design.count, stress, line_ripple(case))
