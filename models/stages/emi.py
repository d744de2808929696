"""Mains filter: one or two stages of capacitor across the line and compensated choke.

    converter ── C_x ══ choke ══ (C_x ══ choke) ── relay ── grid
                            Y capacitors to earth on the converter's side

The choke's leakage is the inductance against differential noise.  Designed at the first
harmonic of the switching frequency at or above 150 kHz; nothing is said above 1 MHz.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

from models.axes import Array, Indices, array_namespace, point_max
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts import capacitor, emi_choke, film
from models.physics.emission import (
    COMMON,
    DIFFERENTIAL,
    Section,
    attenuation,
    need,
    order_in_band,
    transfer,
)
from models.physics.grid import ground_current
from models.stages.stage import Placed
from models.stress import CapacitorStress
from models.variables import choice, part, whole

Y_NAMES = ("none", "1 nF", "2.2 nF", "4.7 nF")
Y_VALUES = (0.0, 1.0e-9, 2.2e-9, 4.7e-9)  # [F], each of the two
Y_LENGTH, Y_BREADTH, Y_HEIGHT = 9e-3, 5e-3, 11e-3  # [m], common size, no source
Y_MASS, Y_COST = 0.8e-3, 0.06  # [kg], [€], invented

MOST_STAGES = 2
# Smallest attenuation that a limit is held against [dB].
LEAST = 1.0


@dataclasses.dataclass(frozen=True)
class Design:
    """How much filter, and which parts; every stage is alike."""

    stages: Array = whole(1, MOST_STAGES, "stages of the mains filter")
    choke: emi_choke.Design = part("current-compensated choke of each stage")
    x: capacitor.Film = part("capacitors across the line, of each stage", count=(1, 3))
    y: Indices = choice(*Y_NAMES, meaning="two capacitors from the lines to earth, each")


@dataclasses.dataclass(frozen=True)
class Noise:
    """What a converter sends into its filter: rms at the worst line angle.

    Entry n − 1 is the n-th harmonic of ``f``; beyond the last the last one holds.
    """

    f: Array  # [Hz], (design, 1, 1)
    differential: tuple[Array, ...]  # [A], (design, point, 1)
    common: tuple[Array, ...]  # [A]
    f_common: Array | None = None  # [Hz], of the latter where it is not f


@dataclasses.dataclass(frozen=True)
class Earth:
    """A voltage at switching frequency between converter and earth, and what it drives."""

    f: Array  # [Hz], (design, 1, 1)
    v: Array  # [V], rms at f; at n·f its n-th part, as of a square
    c: Array  # [F], through which it drives a current, (design, 1, 1)


def line_capacitance(design: Design, case: Case) -> Array:
    """Return the capacitance across the line of all stages [F]."""
    return design.stages * capacitor.capacitance(design.x, case)


def place(
    path: str,
    design: Design,
    noise: Noise,
    upstream: tuple[Section, ...],
    *,
    i_line: Array,
    v_line: Array,
    case: Case,
) -> Placed:
    """Return the mains filter with its attenuation limits.

    Parameters
    ----------
    path : str
        Dotted path in the topology.
    design : Design
        How it is built.
    noise : Noise
        What the converter sends.
    upstream : tuple of Section
        Filter between the converter's noise current and this one.
    i_line, v_line : Array
        Rms line current [A] and voltage [V].
    case : Case
        Specification, operating points and catalogue.
    """
    l_common, l_leakage = emi_choke.inductances(design.choke, case)
    c_x = capacitor.capacitance(design.x, case)
    stage = Section(c_x, l_leakage)
    earth = Section(2.0 * _y(design), l_common)
    n = order_in_band(noise.f)
    f = n * noise.f
    given = _staged(design, upstream, stage, lambda s: attenuation(f, s, DIFFERENTIAL))
    wanted = point_max(need(f, _picked(noise.differential, n), DIFFERENTIAL))
    base = noise.f if noise.f_common is None else noise.f_common
    m = order_in_band(base)
    given_common = _staged(design, (), earth, lambda s: attenuation(m * base, s, COMMON))
    wanted_common = point_max(need(m * base, _picked(noise.common, m), COMMON))
    xp = array_namespace(f)
    books = joined(
        at_most(f"{path}.differential", wanted, xp.maximum(given, LEAST), "dB",
                "attenuation of differential noise wanted and given, first harmonic in band"),
        at_most(f"{path}.common", wanted_common, xp.maximum(given_common, LEAST), "dB",
                "attenuation of common noise wanted and given, first harmonic in band"),
        booking(f"{path}.harmonic", Kind.FIGURE, f, "first harmonic at or above 150 kHz", "Hz"),
        _y_books(path, design),
    )  # fmt: skip
    stress = _across(v_line, case.points.f_grid, design.stages * c_x, noise.f)
    bank = dataclasses.replace(design.x, count=design.stages * design.x.count)
    parts = (
        film.place(f"{path}.x", bank, stress, case),
        emi_choke.place(f"{path}.choke", design.choke, i_line, case, design.stages),
    )
    return Placed(parts, books)


def _staged(
    design: Design,
    upstream: tuple[Section, ...],
    stage: Section,
    law: Callable[[tuple[Section, ...]], Array],
) -> Array:
    """Return what a law says of a ladder with as many alike stages as the design has."""
    given = law((*upstream, stage))
    xp = array_namespace(given)
    for count in range(2, MOST_STAGES + 1):
        more = law(upstream + count * (stage,))
        given = xp.where(design.stages > count - 0.5, more, given)
    return given


def earth_books(path: str, design: Design, source: Earth, case: Case) -> Ledger:
    """Return the limit on the noise of a voltage that drives a current to earth.

    ``path`` names the source; the attenuation counts from the source across the network.

    Parameters
    ----------
    path : str
        Dotted path of the limit.
    design : Design
        The mains filter.
    source : Earth
        Voltage and capacitance.
    case : Case
        Catalogue.
    """
    n = order_in_band(source.f)
    f = n * source.f
    stage = Section(2.0 * _y(design), emi_choke.inductances(design.choke, case)[0])
    ratio = _staged(design, (), stage, lambda s: transfer(f, source.c, s, COMMON))
    xp = array_namespace(ratio)
    wanted = point_max(need(f, source.v / (n * COMMON), COMMON))
    given = 20.0 * xp.log10(ratio / COMMON)
    return at_most(
        path, wanted, xp.maximum(given, LEAST), "dB",
        "attenuation of common noise wanted and given, first harmonic in band",
    )  # fmt: skip


def earth_current(design: Design, source: Earth, case: Case) -> Array:
    """Return the rms current to earth at the frequency of a source [A].

    Its capacitance, the common-mode inductance of the filter and the measuring network's
    resistance are in series; Y capacitors, which would lead part of it back, are left out.

    Parameters
    ----------
    design : Design
        The mains filter.
    source : Earth
        Voltage and capacitance.
    case : Case
        Catalogue.

    Source
    ------
    Ohm's law.
    """
    inductance = design.stages * emi_choke.inductances(design.choke, case)[0]
    loop = Section(0.0 * inductance, inductance)
    return source.v / transfer(source.f, source.c, (loop,), COMMON)


def leakage(
    design: Design, v_earth: Array, c_earth: Array, *, i_high: Array, case: Case
) -> Ledger:
    """Return the books of the current to earth.

    Line-frequency currents of module and Y capacitors are added as they are, which is
    their worst phase.

    Parameters
    ----------
    design : Design
        The mains filter.
    v_earth : Array
        Rms line-frequency voltage between module and earth [V].
    c_earth : Array
        Capacitance of that path [F].
    i_high : Array
        Rms current to earth at switching frequency [A].
    case : Case
        Limits and operating points.
    """
    xp = array_namespace(v_earth, c_earth)
    points, limits = case.points, case.spec.limits
    line = ground_current(v_earth, points.f_grid, c_earth) + ground_current(
        points.v_grid, points.f_grid, _y(design)
    )
    total = xp.sqrt(line * line + i_high * i_high)
    one = xp.ones_like(total)
    return joined(
        booking("grid.leakage", Kind.FIGURE, total, "current to earth, rms", "A"),
        at_most("grid.leakage.line", line, one * (1e-3 * limits.leakage_line_ma), "A",
                "current to earth at line frequency"),
        at_most("grid.leakage.total", total, one * (1e-3 * limits.leakage_total_ma), "A",
                "current to earth in all"),
    )  # fmt: skip


def module_capacitance(case: Case) -> Array:
    """Return the capacitance of one module to earth [F], shape (1, 1, 1)."""
    xp = array_namespace(case.points.p_ac)
    per_watt = case.spec.roof.capacitance_nf_per_kw * 1e-12
    return xp.full((1, 1, 1), per_watt * case.spec.output.rated_power_w)


def _picked(harmonics: tuple[Array, ...], n: Array) -> Array:
    """Return the n-th of the harmonics, the last for any beyond."""
    xp = array_namespace(n)
    found = harmonics[-1]
    for order in range(len(harmonics) - 1, 0, -1):
        found = xp.where(n < order + 0.5, harmonics[order - 1], found)
    return found


def _y(design: Design) -> Array:
    """Return the capacitance of each Y capacitor [F]."""
    xp = array_namespace(design.x.count)
    return xp.asarray(Y_VALUES)[design.y]


def _y_books(path: str, design: Design) -> Ledger:
    """Return size and price of the two Y capacitors."""
    xp = array_namespace(design.x.count)
    pieces = xp.where(design.y > 0, 2.0, 0.0)
    ground = Y_LENGTH * Y_BREADTH
    return joined(
        booking(f"{path}.y", Kind.VOLUME, pieces * (ground * Y_HEIGHT), "Y capacitors"),
        booking(f"{path}.y", Kind.AREA, pieces * ground, "Y capacitors"),
        booking(f"{path}.y", Kind.HEIGHT, xp.where(pieces > 0.0, Y_HEIGHT, 0.0), "Y capacitors"),
        booking(f"{path}.y", Kind.MASS, pieces * Y_MASS, "Y capacitors"),
        booking(f"{path}.y", Kind.COST, pieces * Y_COST, "Y capacitors; invented price"),
        booking(f"{path}.y", Kind.PIECES, pieces, "Y capacitors"),
    )


def _across(v_line: Array, f_line: Array, c: Array, f: Array) -> CapacitorStress:
    """Return the stress of a capacitor across the line; its ripple is what the rest left."""
    xp = array_namespace(v_line, c)
    peak = math.sqrt(2.0) * v_line
    i_line = 2.0 * math.pi * f_line * c * v_line
    return CapacitorStress(
        v_mean=xp.zeros_like(v_line),
        v_max=peak,
        v_swing=2.0 * peak,
        i_line_rms=i_line,
        i_hf_rms=xp.zeros_like(i_line),
        f_hf=f,
    )
