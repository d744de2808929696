"""A comparison of runs as a JSON-ready document and as rows of a table."""

from __future__ import annotations

from typing import Any

from optimizer.cautions import CAUTIONS
from optimizer.compare import Comparison, Facts, Pair, Side
from optimizer.objectives import Objective
from optimizer.price import Attained, Price, Row

Document = dict[str, Any]
READING = (
    "Fronts are read as staircases: at a level of one result counts the best design of the "
    "other that reaches at least this level. Only designs that were found count; nothing is "
    "interpolated between them or extended past the end of a front."
)


def compare_document(found: Comparison) -> Document:
    """Return a comparison as plain data."""
    return {
        "reading": READING,
        "objectives": [_objective(o) for o in found.objectives],
        "runs": [_facts(f) for f in found.runs],
        "differences": [
            {"field": d.field, "values": dict(zip(_names(found), d.values, strict=True))}
            for d in found.differences
        ],
        "prices": [_pair(p) for p in found.pairs],
        "cautions": list(CAUTIONS),
    }


def _names(found: Comparison) -> list[str]:
    return [f.name for f in found.runs]


def _objective(objective: Objective) -> Document:
    better = "more" if objective.sign > 0 else "less"
    return {"name": objective.name, "unit": objective.unit, "better": better}


def _facts(facts: Facts) -> Document:
    plain = ("name", "state", "reason", "version", "seed", "designs", "planned", "seconds",
             "parent")  # fmt: skip
    return {
        **{name: getattr(facts, name) for name in plain},
        "pins": list(facts.pins),
        "fronts": [_side(side) for side in facts.sides.values()],
    }


def _side(side: Side) -> Document:
    return {
        "topology": side.topology or "all",
        "designs": len(side.front),
        "hypervolume_share": side.share,
        "corners": [
            {"where": c.where, "design": c.point.label, "topology": c.point.topology,
             "results": c.point.results}
            for c in side.corners
        ],
    }  # fmt: skip


def _pair(pair: Pair) -> Document:
    return {
        "before": pair.before,
        "after": pair.after,
        "pins_added": list(pair.added),
        "pins_dropped": list(pair.dropped),
        "remarks": list(pair.remarks),
        "topologies": [_price(p) for p in pair.prices],
    }


def _price(price: Price) -> Document:
    return {
        "topology": price.topology or "all",
        "remarks": list(price.remarks),
        "tables": [
            {
                "loss_of": t.of.name,
                "loss_unit": t.of.difference_unit,
                "at_equal": t.at.name,
                "at_unit": t.at.unit,
                "mean_loss": t.mean,
                "noise": t.noise,
                "rows": [_row(r) for r in t.rows],
            }
            for t in price.tables
        ],
    }


def _row(row: Row) -> Document:
    return {
        "level": row.level,
        "before": _attained(row.before),
        "after": _attained(row.after),
        "loss": row.loss,
        "note": row.note,
    }


def _attained(found: Attained | None) -> Document | None:
    if found is None:
        return None
    return {"design": found.design, "value": found.value, "cost": found.cost}


def price_rows(found: Comparison) -> list[list[object]]:
    """Return every price as a table: names, then one level a row."""
    rows: list[list[object]] = [
        ["before_run", "after_run", "topology", "loss_of", "loss_unit", "at_equal", "at_unit",
         "level", "before", "after", "loss", "before_design", "after_design", "before_cost",
         "after_cost", "note"],
    ]  # fmt: skip
    for pair in found.pairs:
        for price in pair.prices:
            for table in price.tables:
                head = [pair.before, pair.after, price.topology or "all", table.of.name,
                        table.of.difference_unit, table.at.name, table.at.unit]  # fmt: skip
                rows += [[*head, *_cells(row)] for row in table.rows]
    return rows


def _cells(row: Row) -> list[object]:
    before, after = row.before, row.after
    return [
        row.level,
        before.value if before else "",
        after.value if after else "",
        "" if row.loss is None else row.loss,
        before.design if before else "",
        after.design if after else "",
        before.cost if before and before.cost is not None else "",
        after.cost if after and after.cost is not None else "",
        row.note,
    ]
