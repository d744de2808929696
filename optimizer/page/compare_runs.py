"""The runs that are compared, as components of the page: fronts, prices of pins, entries."""

from __future__ import annotations

import dataclasses
import html as markup
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from dash import html

from models.errors import RipplefrontError
from optimizer.archive import Run
from optimizer.compare import Comparison, compared
from optimizer.compare_data import READING
from optimizer.page import frame
from optimizer.page.compare_address import MOST
from optimizer.page.compare_bits import (
    FEW,
    Head,
    Row,
    folding,
    head,
    number_row,
    row_table,
    text_row,
)
from optimizer.page.compare_design_view import chart
from optimizer.page.compare_figures import fronts_height, fronts_picture
from optimizer.page.compare_prices import priced
from optimizer.page.library import Library
from optimizer.page.runs_list import tag
from optimizer.standing import why

FILES = {"csv": "prices as CSV", "svg": "picture as SVG", "png": "as PNG", "json": "all as JSON",
         "html": "as a page"}  # fmt: skip


def opened(library: Library, names: Sequence[str]) -> tuple[list[Run], list[RipplefrontError]]:
    """Return the runs that can be read, and what is wrong with the others."""
    found: list[Run] = []
    wrong: list[RipplefrontError] = []
    for name in names[:MOST]:
        try:
            found.append(library.run(name))
        except RipplefrontError as error:
            wrong.append(error)
    return found, wrong


def view(library: Library, names: Sequence[str], scheme: str | None) -> list[Any]:
    """Return the runs side by side, and what is wrong with those that cannot be shown."""
    runs, wrong = opened(library, names)
    told: list[Any] = [frame.message(error) for error in wrong]
    if len(names) > MOST:
        told.append(html.P(f"Only the first {MOST} are shown: more do not fit side by side."))
    if len(runs) < 2:
        more = "another run" if runs else "two or more runs"
        return [*told, html.P(f"Add {more}: what a pin costs is read between their fronts.",
                              className="soft")]  # fmt: skip
    try:
        found = plain(compared(runs))
        return [*told, *_compared(found, scheme)]
    except RipplefrontError as error:
        return [*told, frame.message(error)]


def plain(found: Comparison) -> Comparison:
    """Return a comparison whose names are text in figures as well, whatever they hold."""
    titles = {k: markup.escape(v) for k, v in found.titles.items()}
    return dataclasses.replace(found, titles=titles)


def _compared(found: Comparison, scheme: str | None) -> list[Any]:
    heads = [head(f.name) for f in found.runs]
    drawn = fronts_picture(found)
    return [
        _exports(found),
        html.Div(
            [
                row_table(heads, facts_rows(found), "the runs side by side", fold=False),
                html.Div(_asked_differently(found, heads)),
            ],
            className="compare-pair",
        ),
        chart("fronts", drawn, scheme, fronts_height(drawn)),
        html.P("The run given last: solid line, filled symbols. The others: dotted "
               "or broken, and hollow.",
               className="soft"),
        _reach(found, heads),
        *[part for n, pair in enumerate(found.pairs) for part in priced(found, pair, n, scheme)],
        html.P(READING, className="soft"),
    ]  # fmt: skip


def _reach(found: Comparison, heads: Sequence[Head]) -> html.Details:
    """Return what each topology reaches, folded where there are many."""
    content = [
        row_table(heads, reach_rows(found), "what each topology reaches", fold=False),
        html.P("Hypervolume: part of what the designs of all these runs together reach.",
               className="soft"),
    ]  # fmt: skip
    few = len(found.topologies) <= FEW
    return folding("What each topology reaches", content, unfolded=few)


def _asked_differently(found: Comparison, heads: Sequence[Head]) -> list[Any]:
    """Return the pins of the runs, and the entries of their specifications that differ."""
    pins: Any = html.P("No run has a pin.", className="soft")
    if any(f.pins for f in found.runs):
        pins = row_table(heads, pin_rows(found), "pins of the runs")
    entries: Any = html.P("The same in all runs.", className="soft")
    if found.differences:
        lines = [text_row(d.field, d.values) for d in found.differences]
        entries = row_table(heads, lines, "entries in which the runs differ")
    return [html.H3("Pins"), pins, html.H3("Specification, catalogue and version"), entries]


# ---- rows ---------------------------------------------------------------------------------


def facts_rows(found: Comparison) -> list[Row]:
    """Return what each run is, as rows."""
    runs = found.runs
    return [
        text_row("state", [f.state for f in runs]),
        text_row("ended by", [f.reason or "–" for f in runs]),
        text_row("re-run of", [f.parent or "–" for f in runs]),
        number_row("designs evaluated", [float(f.designs) for f in runs], "",
                   text=_count, step=_count_step),
        text_row("seed", [str(f.seed) for f in runs]),
        text_row("version", [f.version for f in runs]),
    ]  # fmt: skip


def _count(value: float, _: str) -> str:
    return f"{value:,.0f}"


def _count_step(before: float, after: float, _: str) -> str:
    return f"{'+' if after > before else '−'}{abs(after - before):,.0f}"


def pin_rows(found: Comparison) -> list[Row]:
    """Return which run has which pin."""
    pins = dict.fromkeys(p for f in found.runs for p in f.pins)
    return [text_row(p, ["pinned" if p in f.pins else "–" for f in found.runs]) for p in pins]


def reach_rows(found: Comparison) -> list[Row]:
    """Return by topology the size of each front, its hypervolume and its best designs."""
    rows = []
    for topology in found.topologies:
        title = tag(topology)
        sides = [f.sides[topology] for f in found.runs]
        shares = [None if s.share is None else 100.0 * s.share for s in sides]
        rows += [
            number_row("hypervolume", shares, "%", meaning=title, less=False),
            number_row("designs on the front", [float(len(s.front)) for s in sides], "",
                       meaning=title, text=_count, step=_count_step),
        ]  # fmt: skip
        for n, objective in enumerate(found.objectives):
            best = [
                s.corners[n].point.results[objective.name] if s.corners else None for s in sides
            ]
            rows.append(
                number_row(f"best {objective.title}", best, objective.unit, meaning=title,
                           less=objective.sign < 0.0)
            )  # fmt: skip
    return rows


# ---- states and files -----------------------------------------------------------------------


def states(runs: Sequence[Run]) -> list[html.Li]:
    """Return where each run stands now, in words."""
    return [html.Li(_state(run, status)) for run in runs for status in [run.status]]


def _state(run: Run, status: dict[str, Any]) -> str:
    told = f"{run.name}: {status['state']}"
    reason = why(run, status)
    count = int(status.get("designs", 0))
    return told + (f", {reason}" if reason else "") + f"; {count:,} designs evaluated"


def stamp(library: Library, names: Sequence[str]) -> dict[str, list[Any]]:
    """Return what changes whenever the comparison would look different, by run."""
    found: dict[str, list[Any]] = {}
    for name in names[:MOST]:
        try:
            run = library.run(name)
            status = run.status
            archive = run.folder / "archive.npz"
            written = archive.stat().st_mtime_ns if archive.exists() else 0
            found[name] = [status["state"], str(status.get("reason", "")), str(written)]
        except (RipplefrontError, OSError):
            found[name] = ["broken", "", ""]
    return found


def settled(marks: Mapping[str, Sequence[Any]]) -> bool:
    """Return whether no run will change by itself."""
    return all(m[0] in ("ended", "broken") for m in marks.values())


def _exports(found: Comparison) -> html.P:
    names = ",".join(f.name for f in found.runs)
    links: list[Any] = ["Take away: "]
    for form, title in FILES.items():
        asked = urlencode({"runs": names, "as": form})
        links += [html.A(title, href=f"/export/comparison?{asked}", download=True), " "]
    return html.P(links, className="compare-exports")
