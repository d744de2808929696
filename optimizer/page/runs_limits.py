"""What limits a run as a whole: what its fronts use up, and what the barren ones break."""

from __future__ import annotations

from typing import Any

import numpy as np
from dash import html

from models.errors import RipplefrontError
from optimizer.archive import Run
from optimizer.binding import RULE, Summary, bindings, summary
from optimizer.files import checked
from optimizer.launch import resumable
from optimizer.nearest import explanation
from optimizer.outcome import Nearest
from optimizer.page import frame
from optimizer.page.library import Library
from optimizer.page.memory import Memory
from optimizer.page.runs_facts import stamps
from optimizer.page.runs_list import tag

FIRST = 8  # rows of a topology
FEW = 3  # topologies that are all unfolded
HEADS = ("where", "meaning", "what", "tightest at, or which end", "of the front")
_kept = Memory(16)


def limits(library: Library, name: str) -> list[Any]:
    """Return what limits the fronts of a run, worked out anew only when they changed."""
    try:
        run = library.run(name)
        key = (run.folder, stamps(run.folder, ("manifest.json", "archive.npz", "candidates.json")))
        drawn: list[Any] = _kept.get(key, lambda: _drawn(library, run))
    except RipplefrontError as error:
        return [frame.message(error)]
    return drawn


def _drawn(library: Library, run: Run) -> list[Any]:
    found = bindings(run, library.case(run))
    rows = summary(found)
    told: list[Any] = []
    filled = {topology: designs for topology, designs in found.items() if designs}
    for topology, designs in filled.items():
        mine = [r for r in rows if r.topology == topology and not r.natural]
        title = html.H3(f"{tag(topology)}, {len(designs)} designs on its front")
        drawn = _table(topology, mine) if mine else html.P("No limit and no range binds.")
        told.append(
            html.Details(
                [html.Summary(title), drawn], open=len(filled) <= FEW, className="runs-limit"
            )
        )
    if told:
        told.append(html.P(RULE, className="soft"))
    for text in _barren(run):
        first, *lines = text.splitlines()
        told += [html.H3(first), html.Ul([html.Li(line) for line in lines])]
    return told or [html.P("There is no feasible design yet whose limits could be looked at.")]


def _table(topology: str, rows: list[Summary]) -> html.Div:
    """Return the limits and ranges of a topology, the most widespread first."""
    ordered = sorted(rows, key=lambda r: -r.share)
    first, rest = ordered[:FIRST], ordered[FIRST:]
    drawn: list[Any] = [_rows(f"what limits {tag(topology)}", first)]
    if rest:
        more = _rows(f"what else limits {tag(topology)}", rest)
        drawn.append(html.Details([html.Summary(f"{len(rest)} more"), more]))
    return html.Div(drawn)


def _rows(caption: str, rows: list[Summary]) -> html.Div:
    head = [html.Th(h, scope="col", className="n" if h == HEADS[-1] else "") for h in HEADS]
    body = [
        html.Tr(
            [
                html.Th(r.title, scope="row"),
                html.Td(r.meaning),
                html.Td(r.kind),
                html.Td(r.hint or r.at),
                html.Td(f"{100 * r.share:.0f} %", className="n"),
            ]
        )
        for r in rows
    ]
    return html.Div(
        html.Table(
            [html.Caption(caption, className="unseen"), html.Thead(html.Tr(head)),
             html.Tbody(body)]
        ),
        className="wide",
    )  # fmt: skip


def _barren(run: Run) -> list[str]:
    """Return for each topology without a feasible design what its nearest one breaks."""
    near = run.status.get("nearest", ())
    ready = resumable(run) if near else None
    owners = {c.name: c for c in run.candidates}
    told = []
    with checked(run.folder / "status.json"):
        for row in near:
            owner = owners[row["candidate"]]
            nearest = run.nearest(owner.number)
            if nearest and ready:
                margins = np.array(list(nearest.margins.values()))
                genes = nearest.design.genes
                told.append(
                    explanation(Nearest(owner.name, genes, margins, row["violation"]), ready)
                )
    return told
