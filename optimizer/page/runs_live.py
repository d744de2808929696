"""How a search goes right now: a table of its topologies with their trends."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

from dash import html

from optimizer.files import checked
from optimizer.journal import events
from optimizer.page.runs_facts import Entry
from optimizer.page.runs_list import tag
from optimizer.page.runs_words import short
from optimizer.progress import Line, Progress, Trend, duration, share

LINE = "#2e7dbd"  # at least 3:1 on both grounds
WIDTH, HEIGHT = 96, 22  # [px] of a trend
MOST = 240  # points of a trend
HEADS = ("topology", "designs", "designs/s", "feasible", "front", "hypervolume", "trend",
         "moved", "note")  # fmt: skip
NUMBERS = ("designs", "designs/s", "feasible", "front", "hypervolume", "moved")


class Trends:
    """What was seen of every search so far, whoever looked."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._known: dict[str, Trend] = {}

    def seen(self, name: str, progress: Progress) -> Trend:
        """Take in where a search stands, and return its trend."""
        with self._lock:
            trend = self._known.setdefault(name, Trend())
            trend.see(progress)
            return trend


def card(entry: Entry, folder: Path, trends: Trends) -> Any:
    """Return how a search goes: a line of words, and its topologies."""
    progress = entry.progress
    if progress is None:
        words = "It waits for its turn." if entry.state == "waiting" else "It is being prepared."
        return html.P(words, className="soft")
    with checked(folder / "status.json"):
        trend = trends.seen(entry.name, progress)
        return [
            _bar(progress),
            html.P(_words(progress)),
            html.P(
                [
                    f"Hypervolume of all together {progress.hypervolume:.4f} ",
                    _drawn(_history(folder, progress), "all topologies"),
                ]
            ),
            _table(progress, trend, entry.name),
        ]


def _bar(p: Progress) -> html.Div:
    done = 100 * min(p.designs / max(p.planned, 1), 1.0)
    return html.Div(
        html.Div(style={"width": f"{done:.1f}%"}),
        className="runs-bar", role="progressbar",
        **{"aria-valuenow": f"{done:.0f}", "aria-valuemin": "0", "aria-valuemax": "100",
           "aria-label": "designs evaluated of those planned"},
    )  # fmt: skip


def _words(p: Progress) -> str:
    failed = f", {p.failed:,} failed" if p.failed else ""
    return (
        f"{p.designs:,} of {p.planned:,} designs, {p.rate:,.0f} a second; "
        f"{duration(p.elapsed)} so far, about {duration(p.left)} left. "
        f"Round {p.barrier} of {p.rounds}; {100 * p.feasible_share:.1f} % feasible{failed}; "
        f"{p.front} designs on the common front."
    )


def _history(folder: Path, progress: Progress) -> list[float]:
    """Return the hypervolume of the common front at the barriers that the journal notes."""
    found, _ = events(folder / "journal.jsonl")
    past = [float(e["hypervolume"]) for e in found if e.get("event") == "barrier"]
    return [*past, progress.hypervolume]


def _table(p: Progress, trend: Trend, name: str) -> html.Div:
    heads = [html.Th(h, scope="col", className="n" if h in NUMBERS else "") for h in HEADS]
    rows = [_row(p, line, trend) for line in p.lines]
    caption = html.Caption(f"topologies of {name}", className="unseen")
    return html.Div(
        html.Table([caption, html.Thead(html.Tr(heads)), html.Tbody(rows)]), className="wide"
    )


def _row(p: Progress, line: Line, trend: Trend) -> html.Tr:
    rate = trend.rate(p, line)
    cells = (
        f"{line.designs:,}",
        "" if rate is None else f"{rate:,.0f}",
        f"{100 * line.feasible_share:.1f} %",
        f"{line.front:,}",
        f"{line.hypervolume:.4f}",
        _drawn(trend.hypervolumes(p, line), tag(line.topology)),
        share(line.moved),
        short(line.note, 300),
    )
    return html.Tr(
        [
            html.Th(tag(line.topology), scope="row"),
            *[
                html.Td(cell, className="n" if head in NUMBERS else "")
                for head, cell in zip(HEADS[1:], cells, strict=True)
            ],
        ]
    )


def _drawn(values: Sequence[float], whose: str) -> Any:
    """Return a hypervolume over time as a line, named for those who do not see it."""
    if len(values) < 2:
        return ""
    return html.Img(
        src=sparkline(values),
        alt=f"hypervolume of {whose}: {values[0]:.4f} to {values[-1]:.4f} in {len(values)} looks",
        width=WIDTH,
        height=HEIGHT,
        className="runs-trend",
    )


def sparkline(values: Sequence[float]) -> str:
    """Return a line from the least to the largest of some values as the address of a picture."""
    step = -(-len(values) // MOST)
    kept = [*values[:-1:step], values[-1]]
    low, high = min(kept), max(kept)
    dx, dy = (WIDTH - 4) / (len(kept) - 1), (HEIGHT - 6) / max(high - low, 1e-12)
    middle = (low + high) / 2  # what stands still is drawn in the middle
    points = " ".join(
        f"{2 + k * dx:.1f},{HEIGHT / 2 - (v - middle) * dy:.1f}" for k, v in enumerate(kept)
    )
    end = points.rsplit(" ", 1)[1].split(",")
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}">'
        f'<polyline points="{points}" fill="none" stroke="{LINE}" stroke-width="1.6"/>'
        f'<circle cx="{end[0]}" cy="{end[1]}" r="2" fill="{LINE}"/></svg>'
    )
    return f"data:image/svg+xml,{quote(svg)}"
