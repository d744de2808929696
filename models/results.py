"""The reported results of a design: name, unit, meaning, and how each follows from the books.

The list is the one source of the names that pins, files, tables and pages use.
"""

from __future__ import annotations

import dataclasses
import functools

import numpy as np

from models.axes import ANGLE, POINT, Array
from models.case import Case
from models.ledger import Entry, Kind, Ledger
from models.points import Purpose
from models.settle import Settled

HOURS_PER_YEAR = 8760.0
NO_WEAR_YEARS = 999.0  # shown where nothing in the box wears out

SEMICONDUCTOR = ("conduction", "capacitive", "overlap", "recovery", "dead_time", "gate")
MAGNETIC = ("copper_dc", "copper_ac", "core")
CAPACITOR = ("ripple",)


@dataclasses.dataclass(frozen=True)
class Result:
    """One reported quantity."""

    name: str
    unit: str
    meaning: str


RESULTS = (
    Result("power_density_kw_l", "kW/l", "rated power over the outer volume of the box"),
    Result("weighted_efficiency_pct", "%", "weighted efficiency, conversion times MPPT"),
    Result("conversion_efficiency_pct", "%", "weighted efficiency of the conversion alone"),
    Result("mppt_efficiency_pct", "%", "weighted share of the module's power left by the ripple"),
    Result("full_power_efficiency_pct", "%", "conversion at full power, nominal voltage"),
    Result("peak_efficiency_pct", "%", "best conversion among the weighted loads"),
    Result("light_load_efficiency_pct", "%", "conversion at the lightest weighted load"),
    Result("cost", "€", "all parts, board, box and assembly; invented prices"),
    Result("life_years", "years", "shortest computed wear-out life of any part"),
    Result("electrolytics", "1", "electrolytic capacitors in the box"),
    Result("volume_l", "l", "outer volume of the box"),
    Result("height_mm", "mm", "outer height of the box"),
    Result("mass_kg", "kg", "mass of everything"),
    Result("loss_full_w", "W", "all losses at full power, nominal voltage"),
    Result("loss_semiconductor_w", "W", "transistors and diodes at full power"),
    Result("loss_magnetic_w", "W", "chokes and transformers at full power"),
    Result("loss_capacitor_w", "W", "capacitors at full power"),
    Result("loss_other_w", "W", "supply, control, relays, wiring at full power"),
    Result("loss_light_w", "W", "all losses at the lightest weighted load"),
    Result("volume_semiconductor_l", "l", "transistors, diodes and drivers"),
    Result("volume_magnetic_l", "l", "chokes and transformers"),
    Result("volume_capacitor_l", "l", "capacitors"),
    Result("box_surface_max_c", "°C", "hottest wall of the box at any thermal row"),
    Result("box_inside_max_c", "°C", "hottest inside of the box at any thermal row"),
    Result("part_max_c", "°C", "hottest part at any thermal row"),
    Result("pieces", "1", "components on the board"),
    Result("ground_leakage_ma", "mA", "capacitive current to earth, rms"),
    Result("trd_pct", "%", "total rated-current distortion, estimated"),
    Result("module_ripple_pct", "%", "voltage ripple at the module, amplitude, full power"),
    Result("worst_margin", "1", "largest margin of all limits; feasible when at or below zero"),
)
NAMES = tuple(r.name for r in RESULTS)


def results(settled: Settled, ledger: Ledger, margins: Array, case: Case) -> list[Array]:
    """Return the results in the order of ``RESULTS``, each of shape (n,).

    Parameters
    ----------
    settled : Settled
        The designs with heat and power in balance.
    ledger : Ledger
        Everything booked.
    margins : Array
        Worst margin of every limit [1], shape (n, limits).
    case : Case
        Specification, operating points and catalogue.
    """
    n = settled.p_module.shape[0]
    found = {
        "worst_margin": margins.max(axis=1),
        **_efficiencies(settled, ledger, case),
        **_totals(ledger, case),
        **_temperatures(settled, ledger, case),
    }
    return [np.broadcast_to(found[name], (n,)).astype(float) for name in NAMES]


def weighted_rows(case: Case) -> list[int]:
    """Return the numbers of the weighted operating points."""
    return [i for i, p in enumerate(case.points.purpose) if p is Purpose.WEIGHTED]


def full_row(case: Case) -> int:
    """Return the weighted row at full power whose module voltage is nearest the median."""
    rows = weighted_rows(case)
    power = case.points.p_ac[0, :, 0]
    full = [i for i in rows if power[i] >= max(power[rows]) - 1e-6]
    voltage = case.points.v_pv[0, :, 0]
    middle = float(np.median(voltage[full]))
    return min(full, key=lambda i: abs(voltage[i] - middle))


def _efficiencies(settled: Settled, ledger: Ledger, case: Case) -> dict[str, Array]:
    p_ac = case.points.p_ac
    conversion = p_ac / np.maximum(p_ac + settled.heat, 1e-9)
    mppt = _figure(ledger, "module.mppt_efficiency", 1.0) + 0.0 * conversion
    weight = case.points.weight
    rows, full = weighted_rows(case), full_row(case)
    light = min(rows, key=lambda i: p_ac[0, i, 0])

    def mean(x: Array) -> Array:
        return (x * weight).sum(axis=(POINT, ANGLE))

    return {
        "weighted_efficiency_pct": 100.0 * mean(conversion * mppt),
        "conversion_efficiency_pct": 100.0 * mean(conversion),
        "mppt_efficiency_pct": 100.0 * mean(mppt),
        "full_power_efficiency_pct": 100.0 * conversion[:, full, 0],
        "peak_efficiency_pct": 100.0 * conversion[:, rows, 0].max(axis=1),
        "light_load_efficiency_pct": 100.0 * conversion[:, light, 0],
        "loss_full_w": settled.heat[:, full, 0],
        "loss_light_w": settled.heat[:, light, 0],
        **_losses(ledger, full),
    }


def _losses(ledger: Ledger, row: int) -> dict[str, Array]:
    """Return the losses at one operating point by kind of part [W]."""
    groups: dict[str, Array | float] = {
        "semiconductor": 0.0,
        "magnetic": 0.0,
        "capacitor": 0.0,
        "other": 0.0,
    }
    for entry in ledger.of(Kind.LOSS):
        at = row if entry.value.shape[POINT] > 1 else 0
        groups[group(entry)] = groups[group(entry)] + entry.value[:, at, 0]
    return {f"loss_{name}_w": np.asarray(value) for name, value in groups.items()}


def group(entry: Entry) -> str:
    """Return the kind of part that a loss booking belongs to."""
    cause = entry.path.rsplit(".", 1)[-1]
    if cause in SEMICONDUCTOR:
        return "semiconductor"
    if cause in MAGNETIC:
        return "magnetic"
    return "capacitor" if cause in CAPACITOR else "other"


def _totals(ledger: Ledger, case: Case) -> dict[str, Array]:
    rated = case.spec.output.rated_power_w
    volume = ledger.find("box.outer", Kind.FIGURE).value[:, 0, 0]
    lives = [years[:, 0, 0] for _, years in wear_out(ledger, case)]
    life = np.minimum.reduce(np.broadcast_arrays(*lives)) if lives else np.asarray(NO_WEAR_YEARS)
    cans = [e.value[:, 0, 0] for e in ledger.of(Kind.FIGURE) if e.path.endswith(".electrolytics")]
    return {
        "power_density_kw_l": rated / 1e3 / (volume * 1e3),
        "volume_l": volume * 1e3,
        "height_mm": 1e3 * ledger.find("box.height", Kind.HEIGHT).value[:, 0, 0],
        "cost": _sum(ledger, Kind.COST),
        "mass_kg": _sum(ledger, Kind.MASS),
        "pieces": _sum(ledger, Kind.PIECES),
        "life_years": np.minimum(life, NO_WEAR_YEARS),
        "electrolytics": sum(cans, start=np.zeros(1)),
        **_volumes(ledger),
    }


def wear_out(ledger: Ledger, case: Case) -> list[tuple[str, Array]]:
    """Return the path and life [years] of every part that wears out.

    The computed life counts, unless the specification holds electrolytics to a ceiling.
    """
    capped = {e.path: e.value for e in ledger.of(Kind.FIGURE) if e.path.endswith(".capped")}
    found = []
    for entry in ledger.of(Kind.LIFE):
        years = entry.value / HOURS_PER_YEAR
        ceiling = capped.get(f"{entry.path}.capped")
        if case.spec.life.use_cap and ceiling is not None:
            years = ceiling
        found.append((entry.path, years))
    return found


def _volumes(ledger: Ledger) -> dict[str, Array]:
    """Return the boxed volumes by kind of part [l], told apart by what the part loses."""
    kinds = {e.path.rsplit(".", 1)[0]: group(e) for e in ledger.of(Kind.LOSS)}
    groups: dict[str, Array] = {k: np.zeros(1) for k in ("semiconductor", "magnetic", "capacitor")}
    for entry in ledger.of(Kind.VOLUME):
        kind = kinds.get(entry.path, "other")
        if kind in groups:
            groups[kind] = groups[kind] + 1e3 * entry.value[:, 0, 0]
    return {f"volume_{name}_l": value for name, value in groups.items()}


def _temperatures(settled: Settled, ledger: Ledger, case: Case) -> dict[str, Array]:
    hot = case.points.thermal > 0.0
    coldest = -273.15
    full = full_row(case)

    def hottest(t: Array) -> Array:
        return np.where(hot, t, coldest).max(axis=(POINT, ANGLE))

    parts = functools.reduce(np.maximum, settled.temperatures, settled.temperatures[0])
    leakage = _figure(ledger, "grid.leakage", 0.0)
    distortion = _figure(ledger, "grid.distortion", 0.0)
    ripple = _figure(ledger, "module.ripple", 0.0) + 0.0 * settled.heat
    return {
        "box_surface_max_c": hottest(settled.t_surface),
        "box_inside_max_c": hottest(settled.t_inside),
        "part_max_c": hottest(parts),
        "ground_leakage_ma": 1e3 * leakage.max(axis=(POINT, ANGLE)),
        "trd_pct": 100.0 * distortion.max(axis=(POINT, ANGLE)),
        "module_ripple_pct": 100.0 * ripple[:, full, 0],
    }


def _figure(ledger: Ledger, path: str, absent: float) -> Array:
    """Return a figure of the ledger, or a constant where a topology has none."""
    try:
        return ledger.find(path, Kind.FIGURE).value
    except KeyError:
        return np.full((1, 1, 1), absent)


def _sum(ledger: Ledger, kind: Kind) -> Array:
    """Return the sum of a kind of booking per design (n,)."""
    total = np.zeros((1, 1, 1))
    for entry in ledger.of(kind):
        total = total + entry.value
    return total[:, 0, 0]
