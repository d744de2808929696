"""What limits the runs that are compared, worked out after the rest has been drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from models.errors import RipplefrontError
from models.topologies import TOPOLOGIES
from optimizer.archive import Run
from optimizer.binding import RULE, Summary, bindings, summary
from optimizer.page import frame
from optimizer.page.compare_bits import FEW, Row, folding, head, number_row, row_table
from optimizer.page.library import Library
from optimizer.page.memory import Memory

MOST_ROWS = 12  # of a topology
KEPT = 12  # runs

# What binds a thousand designs takes a second to work out.
_kept = Memory(KEPT)


def limits(library: Library, runs: Sequence[Run]) -> list[Any]:
    """Return what limits each run, a table for each topology."""
    each: list[Sequence[Summary]] = []
    shown: list[Run] = []
    told: list[Any] = []
    for run in runs:
        try:
            each.append(_summary(library, run))
            shown.append(run)
        except RipplefrontError as error:
            told.append(frame.message(error))
    if not shown:
        return told
    topologies = dict.fromkeys(r.topology for rows in each for r in rows)
    heads = [head(run.name) for run in shown]
    for topology in topologies:
        title = TOPOLOGIES[topology].title if topology in TOPOLOGIES else topology
        rows = row_table(heads, rows_of(each, topology), f"what limits {title}", fold=False)
        told.append(folding(title, [rows], unfolded=len(topologies) <= FEW))
    return [html.H2("What limits each"), *told, html.P(RULE, className="soft")]


def _summary(library: Library, run: Run) -> Sequence[Summary]:
    # Not by the run itself, which would keep its arrays as well.
    parts = ("manifest.json", "archive.npz")
    made = [(run.folder / p).stat().st_mtime_ns for p in parts if (run.folder / p).exists()]
    found: Sequence[Summary] = _kept.get(
        (str(run.folder), *made), lambda: summary(bindings(run, library.case(run)))
    )
    return found


def rows_of(each: Sequence[Sequence[Summary]], topology: str) -> list[Row]:
    """Return the share of each run's front that a limit or end binds, the widest first."""
    shares: dict[tuple[str, str], list[float | None]] = {}
    meaning: dict[tuple[str, str], str] = {}
    for k, rows in enumerate(each):
        for r in (r for r in rows if r.topology == topology and not r.natural):
            # Limits of one meaning count together, whichever part binds most often.
            key = (r.kind, r.meaning if r.kind == "limit" else r.title)
            shares.setdefault(key, [0.0] * len(each))[k] = 100.0 * r.share
            meaning.setdefault(key, f"{r.kind}: {r.title if r.kind == 'limit' else r.meaning}")
    ordered = sorted(shares, key=lambda key: -max(v or 0.0 for v in shares[key]))
    return [
        number_row(key[1], shares[key], "%", meaning=meaning[key], text=_share, step=_step)
        for key in ordered[:MOST_ROWS]
    ]


def _share(value: float, unit: str) -> str:
    return f"{value:.0f} {unit}"


def _step(before: float, after: float, _: str) -> str:
    return f"{'+' if after > before else '−'}{abs(after - before):.0f} points"
