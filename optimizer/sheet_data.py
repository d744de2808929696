"""Everything on a design sheet, as one JSON-ready document."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import Any

import numpy as np

from models.axes import Array
from models.case import Case
from models.curves import load_case, module_voltages
from models.evaluate import evaluate, worst_point
from models.ledger import Entry, Kind
from models.physics.control import Loop
from models.points import Purpose
from models.results import RESULTS, group, wear_out
from optimizer.cautions import CAUTIONS
from optimizer.opened import Opened
from optimizer.sheet_detail import heat_chain, ripple, wear

FORMAT = "ripplefront.sheet/1"
LOADS = (0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0)
LEAST_WATTS = 5e-4  # losses below print as 0.000 everywhere and are left out of the table
SUSPICIOUS_EFFICIENCY = 0.98  # above every listed microinverter; must say why

Document = dict[str, Any]


def sheet_data(item: Opened) -> Document:
    """Return the whole sheet of one design; every figure out of the ledger."""
    return {
        "format": FORMAT,
        "label": item.label,
        "topology": item.topology.name,
        "title": item.topology.title,
        "diagram": item.topology.diagram,
        "source": item.topology.source,
        "isolated": item.topology.isolated,
        "decoupling": item.topology.decoupling,
        "common_mode": item.topology.common_mode,
        "structure": dict(item.static),
        "feasible": item.feasible,
        "cautions": list(CAUTIONS),
        "specification": item.case.spec.model_dump(mode="json"),
        **{name: make(item) for name, make in SECTIONS.items()},
        **detail_data(item),
    }


def detail_data(item: Opened) -> Document:
    """Return what only the sheet of one design shows: waveforms, spectra, loops and lists."""
    detail = item.topology.detail(item.design, item.evaluation.settled, item.case)
    return {
        "waves": [
            {
                "name": w.name,
                "unit": w.unit,
                "angle": w.angle.tolist(),
                "value": w.value.tolist(),
            }
            for w in detail.waves
        ],
        "spectra": [
            {"name": w.name, "unit": w.unit, "amplitudes": list(w.spectrum())}
            for w in detail.waves
            if w.capacitor
        ],
        "loops": [_loop(loop) for loop in detail.loops],
        "protections": list(detail.protections),
        "checks": list(detail.checks),
    }


def _loop(loop: Loop) -> Document:
    """Return a control loop; a margin that does not exist is None, JSON has no NaN."""
    row = dataclasses.asdict(loop)
    return {k: None if isinstance(v, float) and math.isnan(v) else v for k, v in row.items()}


def _one(x: Array, row: int = 0) -> float:
    """Return the first design's value at one operating point."""
    return float(x[0, min(row, x.shape[1] - 1), 0])


def _results(item: Opened) -> list[Document]:
    row = item.evaluation.columns[0]
    return [
        {"name": r.name, "value": float(v), "unit": r.unit, "meaning": r.meaning}
        for r, v in zip(RESULTS, row, strict=True)
    ]


def _variables(item: Opened) -> list[Document]:
    return [
        {
            "path": v.path,
            "value": v.shown(item.values[v.field]),
            "unit": v.unit,
            "meaning": v.meaning,
            "lowest": v.shown(v.lo) if not v.options else "",
            "highest": v.shown(v.hi) if not v.options else "",
        }
        for v in item.variables
    ]


def _limits(item: Opened) -> list[Document]:
    """Return every limit at its tightest operating point, worst first."""
    rows = []
    for entry in item.evaluation.ledger.of(Kind.LIMIT):
        at, margin = worst_point(entry, 0, item.case)
        actual, bound = entry.actual, entry.bound
        rows.append(
            {
                "path": entry.path,
                "meaning": entry.meaning,
                "actual": None if actual is None else _one(actual, at),
                "bound": None if bound is None else _one(bound, at),
                "sense": entry.sense,
                "unit": entry.unit,
                "margin": margin,
                "met": margin <= 0.0,
                "at": _label(entry, at, item.case),
            }
        )
    return sorted(rows, key=lambda r: -r["margin"])


def _label(entry: Entry, at: int, case: Case) -> str:
    return case.points.label[at] if entry.value.shape[1] > 1 else "every point"


def _weighted(case: Case) -> list[int]:
    rows = [i for i, p in enumerate(case.points.purpose) if p is Purpose.WEIGHTED]
    return sorted(rows, key=lambda i: case.points.p_ac[0, i, 0])


def _losses(item: Opened) -> Document:
    rows = _weighted(item.case)
    booked: list[Document] = []
    for entry in item.evaluation.ledger.of(Kind.LOSS):
        watts = [_one(entry.value, i) for i in rows]
        if max(watts) >= LEAST_WATTS:
            booked.append({"path": entry.path, "group": group(entry), "watts": watts})
    power = item.case.points.p_ac
    return {
        "points": [item.case.points.label[i] for i in rows],
        "power_w": [_one(power, i) for i in rows],
        "weight": [_one(item.case.points.weight, i) for i in rows],
        "rows": sorted(booked, key=_at_full),
        "total_w": [_one(item.evaluation.settled.heat, i) for i in rows],
    }


def _at_full(row: Document) -> float:
    return -float(row["watts"][-1])


def _temperatures(item: Opened) -> list[Document]:
    hot = item.case.points.thermal > 0.0
    found = []
    for entry in item.evaluation.ledger.of(Kind.TEMPERATURE):
        over = np.where(hot, entry.value[:1] + 0.0 * hot, -273.15)[0, :, 0]
        at = int(np.argmax(over))
        found.append(
            {"path": entry.path, "celsius": float(over[at]), "at": item.case.points.label[at]}
        )
    return sorted(found, key=lambda t: -t["celsius"])


def _life(item: Opened) -> list[Document]:
    found = [
        {"path": path, "years": _one(years)}
        for path, years in wear_out(item.evaluation.ledger, item.case)
    ]
    return sorted(found, key=lambda t: t["years"])


def _totals(item: Opened, kind: Kind) -> list[Document]:
    found = [
        {"path": e.path, "value": _one(e.value), "unit": e.unit}
        for e in item.evaluation.ledger.of(kind)
    ]
    return sorted(found, key=lambda t: -t["value"])


def _figures(item: Opened) -> list[Document]:
    """Return every other figure, at full power."""
    row = _weighted(item.case)[-1]
    return [
        {"path": e.path, "value": _one(e.value, row), "unit": e.unit, "meaning": e.meaning}
        for e in item.evaluation.ledger.of(Kind.FIGURE)
    ]


def _bill(item: Opened) -> list[Document]:
    settled = item.evaluation.settled
    return [
        dataclasses.asdict(line)
        for part, t in zip(settled.parts, settled.temperatures, strict=True)
        for line in part.items(t, item.case)
    ]


def _efficiency(item: Opened) -> Document:
    """Return conversion efficiency at a grid of loads and three module voltages."""
    voltages = module_voltages(item.case)
    case = load_case(item.case, LOADS, voltages)
    settled = evaluate(item.topology, item.design, case).settled
    power = case.points.p_ac
    share = (power / (power + settled.heat))[0, :, 0].reshape(len(voltages), len(LOADS))
    return {
        "loads": list(LOADS),
        "voltages": list(voltages),
        "values": share.tolist(),
    }


def remarks(item: Opened) -> list[str]:
    """Return what a careful reader should be told about this very design."""
    found = []
    conversion = item.evaluation.column("conversion_efficiency_pct")[0] / 100.0
    if conversion > SUSPICIOUS_EFFICIENCY:
        largest = ", ".join(
            f"{r['path']} {r['watts'][-1]:.2f} W" for r in _losses(item)["rows"][:3]
        )
        found.append(
            f"The estimated efficiency of {100 * conversion:.2f} % is above that of every listed "
            f"microinverter (95 of 100 are below 97.1 %). The largest losses at full power are "
            f"{largest}; losses this model leaves out (gate loop, layout, current sensing, "
            "winding ends, capacitor charge hysteresis) would lower it."
        )
    if not item.feasible:
        worst = _limits(item)[0]
        found.append(
            f"This design does not meet {worst['path']} ({worst['meaning']}) at {worst['at']}; "
            "do not build it as it is."
        )
    return found


# The parts of a sheet that cost something to work out, each by itself: a page that shows
# one of them asks for that one.
SECTIONS: dict[str, Callable[[Opened], Any]] = {
    "remarks": remarks,
    "results": _results,
    "variables": _variables,
    "limits": _limits,
    "losses": _losses,
    "temperatures": _temperatures,
    "heat_chain": heat_chain,
    "life": _life,
    "wear": wear,
    "ripple": ripple,
    "volume": lambda item: _totals(item, Kind.VOLUME),
    "cost": lambda item: _totals(item, Kind.COST),
    "bill": _bill,
    "figures": _figures,
    "efficiency": _efficiency,
}
