"""What binds, as JSON-ready documents and rows of tables."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

from optimizer.archive import Run
from optimizer.binding import RULE, DesignBindings, Summary
from optimizer.cautions import CAUTIONS

Document = dict[str, Any]


def limits_document(
    run: Run, found: Mapping[str, Sequence[DesignBindings]], rows: Sequence[Summary]
) -> Document:
    """Return what limits every topology of a run, and every design of its fronts."""
    return {
        "run": run.name,
        "rule": RULE,
        "summary": [dataclasses.asdict(r) for r in rows],
        "designs": [design_document(d) for designs in found.values() for d in designs],
        "cautions": list(CAUTIONS),
    }


def design_document(found: DesignBindings) -> Document:
    """Return what binds one design."""
    return {
        "design": found.design.id,
        "candidate": found.design.candidate.name,
        "topology": found.design.candidate.topology,
        "part": found.part,
        "limits": [dataclasses.asdict(x) for x in found.limits],
        "bounds": [dataclasses.asdict(x) for x in found.bounds],
    }


def summary_rows(rows: Sequence[Summary]) -> list[list[object]]:
    """Return the summary as a table: names, units, then one limit or bound a row.

    The parts of a front follow as one column each; a part without designs is empty.
    """
    parts = list(dict.fromkeys(p for r in rows for p in r.by_part))
    cells: list[list[object]] = [
        [r.topology, r.kind, r.meaning, r.share, *(r.by_part.get(p, "") for p in parts),
         r.at, " ".join(r.places), r.hint]
        for r in rows
    ]  # fmt: skip
    return [
        ["topology", "kind", "meaning", "share", *parts, "operating point", "where", "hint"],
        ["", "", "", "1", *("1" for _ in parts), "", "", ""],
        *cells,
    ]


def design_rows(found: Sequence[DesignBindings]) -> list[list[object]]:
    """Return the active limits and bounds of designs as a table, one a row."""
    heads: list[list[object]] = [
        ["design", "part", "kind", "path", "margin", "value", "bound", "unit",
         "operating point", "meaning"],
        ["", "", "", "", "1", "", "", "", "", ""],
    ]  # fmt: skip
    limits: list[list[object]] = [
        [d.design.id, d.part, x.kind, x.path, x.margin, _or_empty(x.actual), _or_empty(x.bound),
         x.unit, x.at, x.meaning]
        for d in found for x in d.limits
    ]  # fmt: skip
    bounds: list[list[object]] = [
        [d.design.id, d.part, x.kind, x.path, "", x.value, x.end, x.unit, "", x.meaning]
        for d in found for x in d.bounds
    ]  # fmt: skip
    return heads + limits + bounds


def _or_empty(value: float | None) -> float | str:
    return "" if value is None else value
