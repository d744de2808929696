"""Topologies of a run without a feasible design: what the nearest one misses."""

from __future__ import annotations

from typing import Any

import numpy as np
from dash import html

from models.errors import RipplefrontError
from optimizer.archive import NearestDesign, Run
from optimizer.launch import open_design
from optimizer.page.fronts_table import tag
from optimizer.page.library import Library
from optimizer.quantities import quantity
from optimizer.selection import violation
from optimizer.sheet_data import SECTIONS

MOST = 6  # limits that are told
SENSES = {"<=": "at most", ">=": "at least"}


def nearest_of(run: Run) -> dict[str, NearestDesign]:
    """Return the design of least violation of every topology that has no feasible one."""
    served = {c.topology for c in run.candidates if run.fronts[c.number].size}
    found: dict[str, tuple[float, NearestDesign]] = {}
    for candidate in run.candidates:
        near = run.nearest(candidate.number) if candidate.topology not in served else None
        if near is None:
            continue
        margins = np.array([list(near.margins.values())])
        missed = float(violation(margins)[0])
        held = found.get(candidate.topology)
        if held is None or missed < held[0]:
            found[candidate.topology] = (missed, near)
    return {topology: near for topology, (_, near) in found.items()}


def stops(library: Library, run: Run, near: NearestDesign) -> list[str]:
    """Return the limits that a nearest design breaks, worst first, with numbers."""
    broken = {n: m for n, m in near.margins.items() if m > 0.0}
    told = {}
    try:
        item = open_design(run, near.design, library.case(run))
        told = {row["path"]: row for row in SECTIONS["limits"](item)}
    except RipplefrontError:
        pass  # written by another version: the stored margins say enough
    rows = sorted(broken.items(), key=lambda pair: -pair[1])
    return [_stop(name, margin, told.get(name)) for name, margin in rows]


def _stop(name: str, margin: float, row: dict[str, Any] | None) -> str:
    if row is None:
        return f"{name}: missed by {100.0 * margin:.1f} %"
    if row["actual"] is None or row["bound"] is None:
        return f"{name} ({row['meaning']}): missed by {100.0 * margin:.1f} %, at {row['at']}"
    unit = "" if row["unit"] == "1" else row["unit"]
    return (
        f"{name} ({row['meaning']}) is {quantity(row['actual'], unit)}, must be "
        f"{SENSES.get(row['sense'], '')} {quantity(row['bound'], unit)}, at {row['at']}"
    )


def told(library: Library, run: Run) -> list[Any]:
    """Return what stops the topologies of a run that have no feasible design."""
    found = nearest_of(run)
    if not found:
        return []
    parts: list[Any] = []
    for topology, near in found.items():
        reasons = stops(library, run, near)
        more = len(reasons) - MOST
        parts += [
            html.P(
                [
                    html.Strong(f"{tag(topology)}: no design meets all limits. "),
                    f"The nearest breaks {len(reasons)}:",
                ]
            ),
            html.Ul([html.Li(text) for text in reasons[:MOST]]
                    + ([html.Li(f"and {more} more")] if more > 0 else [])),
        ]  # fmt: skip
    parts.append(html.P("Relax what stops it, drop a pin, or allow more designs.",
                        className="soft"))  # fmt: skip
    served = [c for c in run.candidates if run.fronts[c.number].size]
    if not served:
        return parts
    names = "; ".join(tag(topology) for topology in found)
    return [html.Details([html.Summary(f"{run.name}: nothing feasible of {names}"), *parts])]
