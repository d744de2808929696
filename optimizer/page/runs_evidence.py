"""What speaks for the fronts of a run, and which topologies others beat everywhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from optimizer.archive import Run
from optimizer.closing import verdict
from optimizer.objectives import Objective
from optimizer.page.runs_list import tag
from optimizer.page.runs_words import short
from optimizer.progress import share


def evidence(run: Run) -> list[Any]:
    """Return what speaks for each front, as the terminal says it at the end."""
    known = [e for e in run.status.get("evidence", ()) if e["hypervolume"] > 0.0]
    if len(known) == 2:
        known = known[:1]  # the common front is that of the only topology
    rows = [
        html.Tr(
            [
                html.Th(tag(e["topology"]) or "all together", scope="row"),
                html.Td(verdict(e)),
                html.Td(f"{e.get('designs', 0):,}", className="n"),
                html.Td(f"{e['hypervolume']:.4f}", className="n"),
                html.Td(share(e["moved"]) or "–", className="n"),
                html.Td(share(e.get("disagreement")) or "–", className="n"),
            ]
        )
        for e in known
    ]
    behind = dominated(run)
    if not rows:
        return behind
    heads = ("topology", "evidence", "designs", "hypervolume", "moved in the last third",
             "seeds differ")  # fmt: skip
    relied = table("evidence for every front", heads, rows, 2)
    return [html.H2("Whether the fronts can be relied on"), relied, *behind]


def dominated(run: Run) -> list[Any]:
    """Return how far behind those topologies are that others beat everywhere."""
    found = run.status.get("dominated", ())
    names = list(dict.fromkeys(gap[0] for d in found for gap in d.get("gaps", ())))
    if not names:
        return [html.P(short(f"{tag(d['topology'])}: {d['text']}", 400)) for d in found]
    units = {c.name: c.unit for c in run.columns}
    axes = [Objective(name, units.get(name, "1"), 1.0) for name in names]
    rows = []
    for d in found:
        gaps = {name: (least, middle) for name, least, middle in d.get("gaps", ())}
        cells = [html.Td(_span(axis, gaps.get(axis.name)), className="n") for axis in axes]
        rows.append(html.Tr([html.Th(tag(d["topology"]), scope="row"), *cells]))
    heads = [f"{axis.title} [{axis.difference_unit}]".removesuffix(" []") for axis in axes]
    return [
        html.H2("Behind others everywhere"),
        html.P(
            "Each design of these topologies is beaten by one of another. How far they lie "
            "behind in one goal where the others are equal: the least, and the middle design.",
            className="soft",
        ),
        table("topologies that others beat everywhere", ["topology", *heads], rows, 1),
    ]


def _span(axis: Objective, gap: tuple[float, float] | None) -> str:
    """Return how far designs lie behind: the least, and the middle of them."""
    if gap is None:
        return "–"
    least, middle = (axis.text(v) for v in gap)
    return f"{least}, {middle}"


def table(caption: str, heads: Sequence[str], rows: Sequence[Any], numbers: int) -> html.Div:
    """Return a table of rows, or of groups of rows.

    Its columns from number ``numbers`` on hold numbers.
    """
    head = [
        html.Th(h, scope="col", className="n" if k >= numbers else "") for k, h in enumerate(heads)
    ]
    grouped = bool(rows) and isinstance(rows[0], html.Tbody)
    return html.Div(
        html.Table(
            [html.Caption(caption, className="unseen"), html.Thead(html.Tr(head)),
             *(rows if grouped else [html.Tbody(rows)])]
        ),
        className="wide",
    )  # fmt: skip
