"""What every converter carries besides its power path.

Control, sensing and communication with their supply, the relays that part it from the
grid, surge parts, connectors and the copper of board, fuse and terminals.
"""

from __future__ import annotations

import dataclasses
import math

from models import cost
from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts.part import Anchor, Fact, Item
from models.variables import choice

# Power of the electronics [W]; common practice, no source.
CONTROL, SENSING, COMMUNICATION = 0.35, 0.12, 0.15  # control 0.25 to 0.5
RELAY_POLE = 0.2  # to hold one pole; a latching relay needs none
NIGHT = 0.05  # from the grid, without light; listed products take 0.03 to 0.1

# Output over input of the auxiliary supply [1]; common practice, no source.  Gate power
# passes it too.
SUPPLY_EFFICIENCY = 0.78

# Series resistance of board, connectors, fuse and shunt [Ω]; common practice, no source.
R_MODULE, R_GRID = 5e-3, 20e-3

POLES_PER_RELAY = 2
LATCHING_PRICE = 1.5  # [1], over a plain relay; invented
SURGE_PRICE, CONNECTOR_PRICE = 0.4, 1.2  # [€]; invented
DENSITY = 2000.0  # [kg/m³], of small assemblies; common practice, no source
T_MAX = 105.0  # [°C], air or potting around electronics and relays; common practice, no source


@dataclasses.dataclass(frozen=True)
class Design:
    """What is left to choose."""

    relay: Indices = choice("holding", "latching", meaning="relays held by current or by magnets")


@dataclasses.dataclass(frozen=True)
class Size:
    """Room that one assembly takes."""

    volume: float  # [m³]
    height: float  # [m]
    pieces: float  # [1], components placed


# Volumes are common practice, heights and pieces invented.
CONTROL_SIZE = Size(6e-6, 8e-3, 80)
SUPPLY_SIZE = Size(3e-6, 11e-3, 25)
RELAY_SIZE = Size(2.5e-6, 11e-3, 4)
SURGE_SIZE = Size(2e-6, 10e-3, 6)
CONNECTOR_SIZE = Size(8e-6, 11e-3, 4)


@dataclasses.dataclass(frozen=True)
class Assembly:
    """A placed assembly that follows the temperature around it."""

    path: str
    what: str
    cause: str
    watts: Array
    size: Size
    price: Array  # [€] of one
    quantity: int = 1
    figures: Ledger = dataclasses.field(default_factory=Ledger)

    @property
    def anchor(self) -> Anchor:
        """Where the heat goes."""
        return Anchor.INSIDE

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return the temperature around the assembly [°C], which is what its limit means."""
        return t_anchor + 0.0 * potted

    def loss(self, t: Array) -> Array:
        """Return the heat [W]."""
        return self.watts + 0.0 * t

    def book(self, t: Array, case: Case) -> Ledger:
        """Return loss, size, price and the temperature limit."""
        xp = array_namespace(t)
        path, what, n = self.path, self.what, float(self.quantity)
        one = xp.ones_like(self.price)
        hot = xp.where(case.points.thermal > 0.0, t, 0.0)
        volume = n * self.size.volume
        return self.figures + joined(
            booking(f"{path}.{self.cause}", Kind.LOSS, self.loss(t), what),
            booking(path, Kind.VOLUME, one * volume, what),
            booking(path, Kind.AREA, one * (volume / self.size.height), what),
            booking(path, Kind.HEIGHT, one * self.size.height, what),
            booking(path, Kind.MASS, one * (volume * DENSITY), what),
            booking(path, Kind.COST, n * self.price, f"{what}; invented price"),
            booking(path, Kind.PIECES, one * (n * self.size.pieces), what),
            booking(path, Kind.TEMPERATURE, t, f"around {what}"),
            at_most(f"{path}.temperature", hot, one * T_MAX, "°C", f"around {what}"),
        )

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the line of the first design."""
        build = (Fact("room of one", self.size.volume, "m³"),)
        stress = (
            Fact("heat", float(self.loss(t)[0].max()), "W"),
            Fact("temperature around", float(t[0].max()), "°C", T_MAX),
        )
        return (Item(self.path, self.what, self.quantity, build, stress),)


def place(
    path: str, design: Design, case: Case, *, i_module: Array, i_grid: Array, relay_poles: int
) -> tuple[Assembly, ...]:
    """Return the assemblies of a converter.

    Electronics run while there is light, relays are held while power flows; at night a
    small constant draw is left, taken from the grid.

    Parameters
    ----------
    path : str
        Dotted path under which they are booked.
    design : Design
        Kind of relay.
    case : Case
        Specification, operating points and catalogue.
    i_module, i_grid : Array
        Rms currents through the copper of the module side and the grid side [A].
    relay_poles : int
        Poles that part the converter from the grid: two breaks in every live line.
    """
    points = case.points
    xp = array_namespace(points.p_ac)
    holding = xp.where(design.relay > 0, 0.0, 1.0)
    day = xp.where(points.irradiance > 0.0, 1.0, 0.0)
    hold = relay_poles * RELAY_POLE * holding * xp.where(points.p_ac > 0.0, 1.0, 0.0)
    run = (CONTROL + SENSING + COMMUNICATION) * day
    feed = (run + hold) * (1.0 / SUPPLY_EFFICIENCY - 1.0) + NIGHT * (1.0 - day)
    copper = R_MODULE * i_module * i_module + R_GRID * i_grid * i_grid
    none, zero = 0.0 * hold, 0.0 * holding
    night = booking(
        f"{path}.night", Kind.FIGURE, zero + NIGHT, "drawn from the grid at night", "W"
    )
    relay = cost.RELAY * (LATCHING_PRICE + (1.0 - LATCHING_PRICE) * holding)
    electronics = zero + cost.CONTROL + cost.COMMUNICATION
    return (
        Assembly(f"{path}.control", "control, sensing and communication", "supply", run + none,
                 CONTROL_SIZE, electronics, figures=night),
        Assembly(f"{path}.auxiliary", "auxiliary supply", "conversion", feed, SUPPLY_SIZE,
                 zero + cost.AUXILIARY_SUPPLY),
        Assembly(f"{path}.relay", "grid relays", "hold", hold, RELAY_SIZE, relay,
                 math.ceil(relay_poles / POLES_PER_RELAY)),
        Assembly(f"{path}.surge", "surge parts", "leakage", none, SURGE_SIZE, zero + SURGE_PRICE),
        Assembly(f"{path}.wiring", "connectors and copper", "copper", copper + none,
                 CONNECTOR_SIZE, zero + CONNECTOR_PRICE),
    )  # fmt: skip
