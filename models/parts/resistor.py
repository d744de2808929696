"""Power resistor that damps a filter; its heat does not depend on its temperature."""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts.part import Anchor, Fact, Item

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)  # IEC 60063 (from memory)

# One wire-wound resistor, lying: 3 W at 70 °C, common size, invented price.
LENGTH, BREADTH, HEIGHT = 13e-3, 6e-3, 6e-3  # [m]
MASS, COST = 1.0e-3, 0.06  # [kg], [€]
RATED = 3.0  # [W] up to RATED_AT, falling to nothing at T_MAX
RATED_AT, T_MAX = 70.0, 235.0  # [°C]


@dataclasses.dataclass(frozen=True)
class Resistor:
    """A placed resistor."""

    path: str
    resistance: Array  # [Ω], (design, 1, 1)
    i_rms: Array  # [A]

    @property
    def anchor(self) -> Anchor:
        """Resistors give their heat to the inside of the box."""
        return Anchor.INSIDE

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return the temperature of the wire [°C]; linear from the rating, potted or not."""
        return t_anchor + (T_MAX - RATED_AT) / RATED * self.loss(t_anchor)

    def loss(self, t: Array) -> Array:
        """Return the heat R·I² [W], whatever the temperature ``t`` [°C]."""
        return self.resistance * self.i_rms * self.i_rms + 0.0 * t

    def book(self, t: Array, case: Case) -> Ledger:
        """Return loss, size, price and the temperature limit."""
        xp = array_namespace(t)
        one, path = xp.ones_like(self.resistance), self.path
        hot = xp.where(case.points.thermal > 0.0, t, 0.0)
        return joined(
            booking(f"{path}.damping", Kind.LOSS, self.loss(t), "ripple through the resistor"),
            booking(path, Kind.VOLUME, one * (LENGTH * BREADTH * HEIGHT), "resistor"),
            booking(path, Kind.AREA, one * (LENGTH * BREADTH), "resistor"),
            booking(path, Kind.HEIGHT, one * HEIGHT, "resistor"),
            booking(path, Kind.MASS, one * MASS, "resistor"),
            booking(path, Kind.COST, one * COST, "resistor; invented price"),
            booking(path, Kind.PIECES, one, "resistor"),
            booking(path, Kind.TEMPERATURE, t, "wire of the resistor"),
            booking(f"{path}.resistance", Kind.FIGURE, self.resistance, "resistance", "Ω"),
            at_most(f"{path}.temperature", hot, one * T_MAX, "°C", "wire of the resistor"),
        )

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the line of the first design."""
        build = (Fact("resistance", float(self.resistance[0, 0, 0]), "Ω"),)
        stress = (Fact("power", float(self.loss(t)[0].max()), "W", RATED),)
        return (Item(self.path, "wire-wound resistor", 1, build, stress),)


def preferred(r: Array) -> Array:
    """Return the E12 value nearest to ``r`` [Ω] on a logarithmic scale.

    Source
    ------
    IEC 60063.
    """
    xp = array_namespace(r)
    safe = xp.clip(r, 1e-3, 1e9)
    decade = 10.0 ** xp.floor(xp.log10(safe))
    mantissa = safe / decade
    found = xp.ones_like(mantissa)
    for below, above in zip(E12, (*E12[1:], 10.0), strict=True):
        found = xp.where(mantissa * mantissa > below * above, above, found)
    return found * decade


def place(path: str, r: Array, i_rms: Array) -> Resistor:
    """Return the resistor of the E12 value nearest to ``r`` [Ω] that carries ``i_rms`` [A]."""
    return Resistor(path, preferred(r), i_rms)
