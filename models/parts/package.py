"""Package of a power semiconductor: size, pad to the wall, and the books that follow."""

from __future__ import annotations

import dataclasses

from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, booking, joined
from models.parts.catalogue import Column, Table
from models.physics.junction import pad_thermal_resistance

DENSITY = 3000.0  # [kg/m³], moulded package with lead frame; common practice, no source

# Rated over plateau voltage: ringing and derating together [1]; common practice, no source.
VOLTAGE_DERATING = 1.25

COLUMNS = {
    "length": Column("mm", 0.5, 60.0),
    "width": Column("mm", 0.5, 60.0),
    "height": Column("mm", 0.2, 30.0),
}


@dataclasses.dataclass(frozen=True)
class Package:
    """Outer size of one package [m] and the gap pad below it [K/W]; (design, 1, 1)."""

    footprint: Array  # [m²]
    height: Array  # [m]
    pad: Array  # [K/W]


def package(table: Table, index: Indices) -> Package:
    """Return the packages of rows of a table."""
    footprint = table.at("length", index) * table.at("width", index)
    return Package(footprint, table.at("height", index), pad_thermal_resistance(footprint))


def books(path: str, one: Package, pieces: Array, *, price: Array, meaning: str) -> Ledger:
    """Return size, mass, price and count of ``pieces`` packages [1] at ``price`` [€] each."""
    volume = pieces * one.footprint * one.height
    return joined(
        booking(path, Kind.VOLUME, volume, meaning),
        booking(path, Kind.AREA, pieces * one.footprint, meaning),
        booking(path, Kind.HEIGHT, one.height, meaning),
        booking(path, Kind.MASS, DENSITY * volume, meaning),
        booking(path, Kind.COST, pieces * price, f"{meaning}; invented price"),
        booking(path, Kind.PIECES, pieces, meaning),
    )


def where_hot(t: Array, case: Case) -> Array:
    """Return ``t`` [°C] at the operating points with temperature limits, else 0 °C."""
    xp = array_namespace(t)
    return xp.where(case.points.thermal > 0.0, t, 0.0)
