"""The table twin of the fronts, the shortlist, and the fields of the brushes."""

from __future__ import annotations

import dataclasses
import html
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from models.topologies import TOPOLOGIES
from optimizer.objectives import Objective
from optimizer.page.areas import address
from optimizer.page.fronts_data import Board, Rows
from optimizer.page.fronts_view import View, axis_of
from optimizer.quantities import LONGEST_YEARS
from optimizer.selection import spread

MOST_ROWS = 400  # of the table
KNEE, SPREAD = "knee", "even spread"


@dataclasses.dataclass(frozen=True)
class Part:
    """One front among those shown: of one topology of one run."""

    board: Board
    topology: str
    rows: Rows
    order: int  # number of the run among those shown

    @property
    def run(self) -> str:
        """Name of its run."""
        return self.board.run.name

    def ids(self) -> list[str]:
        """Return the names of its designs."""
        return [str(i) for i in self.board.ids[self.rows]]


def tag(topology: str) -> str:
    """Return the short title of a topology; of one that is not known here its name."""
    return TOPOLOGIES[topology].tag if topology in TOPOLOGIES else topology


def quantity_of(board: Board, name: str) -> Objective:
    """Return a quantity or variable as axes and tables write it."""
    return axis_of(name, board.units.get(name, "1"))


def plain(quantity: Objective, value: float) -> str:
    """Return a value without unit; a dash where there is none, no life beyond a century."""
    if not math.isfinite(value):
        return "–"
    if quantity.unit == "years":
        return f"> {LONGEST_YEARS}" if value > LONGEST_YEARS else f"{value:.0f}"
    return quantity.text(value)


def with_unit(quantity: Objective, value: float) -> str:
    """Return a value with its unit."""
    text = plain(quantity, value)
    return text if text == "–" or quantity.unit == "1" else f"{text} {quantity.unit}"


def hovers(part: Part, view: View) -> list[str]:
    """Return what a pointer says over each design; names are text, whatever they hold."""
    names = list(dict.fromkeys([view.y, view.x, *filter(None, [view.colour]), *view.columns]))
    quantities = [quantity_of(part.board, n) for n in names]
    values = [part.board.of(n)[part.rows] for n in names]
    head = f"{html.escape(tag(part.topology))} · {html.escape(part.run)}"
    return [
        "<br>".join(
            [f"<b>{name}</b> {head}",
             *(f"{html.escape(q.title)} {with_unit(q, float(v[i]))}"
               for q, v in zip(quantities, values, strict=True))]
        )
        for i, name in enumerate(part.ids())
    ]  # fmt: skip


def shortlist(part: Part, x: Objective, y: Objective, count: int) -> dict[str, str]:
    """Return why a few designs of a front are worth opening first, by their names.

    The best of either axis, the knee, and others spread evenly, ``count`` in all.  The knee
    is farthest from the chord between the ends, both axes scaled to the front's extent.
    """
    if not part.rows.size or count < 1:
        return {}
    both = [-q.sign * part.board.of(q.name)[part.rows] for q in (x, y)]
    goals = np.stack(both, axis=1)
    lo, hi = goals.min(axis=0), goals.max(axis=0)
    unit = (goals - lo) / np.maximum(hi - lo, 1e-300)
    knee = int(unit.sum(axis=1).argmin())
    named = {int(goals[:, 1].argmin()): f"best {y.title}",
             int(goals[:, 0].argmin()): f"best {x.title}"}  # fmt: skip
    named.setdefault(knee, KNEE)
    for row in spread(goals, count).tolist():
        if len(named) < count:
            named.setdefault(int(row), SPREAD)
    ids = part.ids()
    return {ids[i]: why for i, why in sorted(named.items())[:count]}


def table_columns(view: View) -> list[str]:
    """Return the quantities of the table: those on the axes first."""
    return list(dict.fromkeys([view.x, view.y, *filter(None, [view.colour]), *view.columns]))


def table(
    parts: Sequence[Part], view: View, short: Mapping[tuple[str, str], str]
) -> dict[str, Any]:
    """Return the table as plain data for the browser, sorted, at most so many rows.

    Parameters
    ----------
    parts : Sequence of Part
        The fronts shown, in their order.
    view : View
        Columns, order, shortlist, picks.
    short : Mapping
        Why a design is on the shortlist, by (run, id).
    """
    columns = table_columns(view)
    several = len({p.run for p in parts}) > 1
    rows = [row for part in parts for row in _rows(part, view, columns, short)]
    if view.short:
        rows = [r for r in rows if r["why"]]
    total = len(rows)
    rows = _sorted(rows, view.sort, columns)[:MOST_ROWS]
    heads = [{"name": "topology", "text": "topology", "number": False}]
    if parts:
        heads += [
            {"name": n, "text": quantity_of(parts[0].board, n).axis, "number": True}
            for n in columns
        ]
    for row in rows:
        row.pop("values")
    return {"heads": heads, "rows": rows, "total": total, "sort": view.sort, "runs": several,
            "short": bool(view.short)}  # fmt: skip


def _rows(
    part: Part, view: View, columns: Sequence[str], short: Mapping[tuple[str, str], str]
) -> list[dict[str, Any]]:
    quantities = [quantity_of(part.board, n) for n in columns]
    values = [part.board.of(n)[part.rows] for n in columns]
    found = []
    for i, name in enumerate(part.ids()):
        own = [float(v[i]) for v in values]
        found.append(
            {
                "run": part.run,
                "id": name,
                "href": address("/design", run=part.run, id=name),
                "topology": tag(part.topology),
                "cells": [plain(q, v) for q, v in zip(quantities, own, strict=True)],
                "values": own,
                "why": short.get((part.run, name), ""),
                "picked": f"{part.run}/{name}" in view.picked,
            }
        )  # fmt: skip
    return found


def _sorted(rows: list[dict[str, Any]], sort: str, columns: Sequence[str]) -> list[dict[str, Any]]:
    name = sort.removeprefix("-")
    if name == "topology":
        return sorted(rows, key=lambda r: r["topology"], reverse=sort.startswith("-"))
    if name not in columns:
        return rows
    at, sign = columns.index(name), -1.0 if sort.startswith("-") else 1.0

    def key(row: Mapping[str, Any]) -> float:
        value = sign * row["values"][at]
        return value if math.isfinite(value) else math.inf

    return sorted(rows, key=key)


def fields(board: Board, view: View) -> list[dict[str, str]]:
    """Return the brushes as fields to type in, one for each histogram."""
    held = {b.name: b for b in view.brushes}
    found = []
    for name in dict.fromkeys([*view.bars, *held]):
        values = board.of(name) if name in board.units else np.zeros(0)
        finite = values[np.isfinite(values)]
        quantity = quantity_of(board, name)
        ends = [plain(quantity, float(v)) for v in (finite.min(), finite.max())] if finite.size \
            else ["", ""]  # fmt: skip
        brush = held.get(name)
        found.append(
            {
                "name": name,
                "title": quantity.axis,
                "lo": _end(brush.lo) if brush else "",
                "hi": _end(brush.hi) if brush else "",
                "least": ends[0],
                "most": ends[1],
            }
        )
    return found


def _end(value: float) -> str:
    return "" if math.isinf(value) else f"{value:.6g}"


def pins(view: View) -> list[str]:
    """Return the pins that would hold what is brushed and what was zoomed to."""
    found = []
    for brush in view.brushes:
        found += [f"{brush.name} >= {brush.lo:.6g}"] if math.isfinite(brush.lo) else []
        found += [f"{brush.name} <= {brush.hi:.6g}"] if math.isfinite(brush.hi) else []
    if view.window:
        x0, x1, y0, y1 = view.window
        found += [f"{view.x} >= {x0:.4g}", f"{view.x} <= {x1:.4g}",
                  f"{view.y} >= {y0:.4g}", f"{view.y} <= {y1:.4g}"]  # fmt: skip
    return list(dict.fromkeys(found))
