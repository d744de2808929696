"""Prices of parts, board, box and assembly; every default is invented demo data.

The forms follow the literature, the numbers do not come from any offer: they rank
designs and are never market prices.  Their level is that of about 100,000 pieces a
year.  All results are [€] for one piece unless said.

Source
------
Forms: R. Burkart and J. W. Kolar, "Component cost models for multi-objective
optimizations of switched-mode power converters", IEEE ECCE, 2013 (from memory).
Numbers: invented.
"""

from __future__ import annotations

from models.axes import Array, array_namespace

PACKAGE = 0.12  # [€], any power semiconductor; invented

# Price of die area [€/m²] by technology; invented.
DIE_SI = 9e4
DIE_SUPERJUNCTION = 12e4
DIE_SIC = 60e4
DIE_GAN_650 = 35e4
DIE_GAN_100 = 25e4

DRIVER = 0.35  # [€], one channel to ground; invented
DRIVER_ISOLATED = 0.80  # [€], one isolated channel; invented
CONTROL = 1.6  # [€], controller with sensing; invented
RELAY = 0.9  # [€], one relay with two poles; invented
COMMUNICATION = 1.0  # [€]; invented
AUXILIARY_SUPPLY = 0.9  # [€]; invented


def die(area: Array, price: Array | float) -> Array:
    """Return the price of a packaged device: package + price·area.

    Parameters
    ----------
    area : Array
        Die area [m²].
    price : Array or float
        Price of the die area [€/m²], one of the DIE constants or a catalogue column.
    """
    return PACKAGE + price * area


def ferrite_core(mass: Array, volume: Array) -> Array:
    """Return the price of a ferrite core set with its bobbin.

    Parameters
    ----------
    mass : Array
        Mass of the whole set [kg].
    volume : Array
        Volume of the core [m³], which sizes the bobbin.
    """
    return 0.05 + 9.0 * mass + 0.10 + 0.004e6 * volume


def powder_core(mass: Array) -> Array:
    """Return the price of a powder core of ``mass`` [kg]."""
    return 14.0 * mass


def solid_wire(mass: Array) -> Array:
    """Return the price of enamelled solid wire of ``mass`` [kg]."""
    return 12.0 * mass


def litz_wire(mass: Array, diameter: Array) -> Array:
    """Return the price of litz wire: (25 + 10·(0.1 mm/d)²)·m.

    Parameters
    ----------
    mass : Array
        Mass of copper [kg].
    diameter : Array
        Diameter d of a strand [m]; thin strands are dear.
    """
    return (25.0 + 10.0 * (0.1e-3 / diameter) ** 2) * mass


def foil(mass: Array) -> Array:
    """Return the price of copper foil of ``mass`` [kg]."""
    return 20.0 * mass


def insulated_wire(mass: Array) -> Array:
    """Return the price of triple-insulated wire of ``mass`` [kg]."""
    return 40.0 * mass


def winding_labour(turns: Array) -> Array:
    """Return the price of winding ``turns`` turns [1] of all windings of one part."""
    return 0.10 + 0.004 * turns


def film(capacitance: Array, voltage: Array, ac_rated: Array | float = 0.0) -> Array:
    """Return the price of a film capacitor: 0.08 + 0.9·C·V_R², half as much again for AC.

    Parameters
    ----------
    capacitance : Array
        Rated capacitance [F].
    voltage : Array
        Rated direct voltage [V].
    ac_rated : Array or float
        1 where the capacitor is rated for alternating voltage, else 0 [1].
    """
    return 0.08 + 0.9 * capacitance * voltage**2 * (1.0 + 0.5 * ac_rated)


def electrolytic(capacitance: Array, voltage: Array) -> Array:
    """Return the price of an electrolytic capacitor of [F] rated for [V]."""
    return 0.06 + 0.11 * capacitance * voltage**2


def ceramic(capacitance: Array, voltage: Array) -> Array:
    """Return the price of a ceramic capacitor of nominal [F] rated for [V]."""
    return 0.01 + 1.2e3 * capacitance * voltage


def board(area: Array, layers: Array | float) -> Array:
    """Return the price of a printed board of ``area`` [m²] with ``layers`` layers [1]."""
    return 0.012e4 * area * layers / 2.0


def enclosure(surface: Array, potting: Array) -> Array:
    """Return the price of a box of ``surface`` [m²] with ``potting`` [m³] poured in."""
    return 0.006e4 * surface + 0.0015e6 * potting


def assembly(pieces: Array) -> Array:
    """Return the price of assembly and test of ``pieces`` components [1]."""
    xp = array_namespace(pieces)
    return 1.5 + 0.01 * xp.maximum(pieces, 0.0)
