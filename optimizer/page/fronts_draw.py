"""Everything in the area "Fronts" that follows from its view, worked out at once."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from dash import html

from models.axes import Array
from models.topologies import TOPOLOGIES
from optimizer.archive import Run
from optimizer.page import fronts_nearest, pins_panel
from optimizer.page import fronts_table as tables
from optimizer.page.fronts_bars import bars_figure
from optimizer.page.fronts_data import (
    Board,
    Boards,
    Mask,
    bins,
    cells,
    front_rows,
    selected,
    span,
    thinned,
)
from optimizer.page.fronts_figures import Line, Plane, plane_figure
from optimizer.page.fronts_guides import cost_guides, loss_guides, words
from optimizer.page.fronts_table import Part, quantity_of
from optimizer.page.fronts_view import View
from optimizer.page.library import Library
from optimizer.page.theme import themed

DRAWN = 400  # designs of all fronts together
LEAST_DRAWN = 40  # of one front, however many there are
THINNED = 1_500  # designs behind the fronts that are drawn as points
ROOM = 0.08  # beyond the fronts, in extents of the frame
SCALE = (0.02, 0.95)  # shares of designs between which colours differ
BEHIND = 0.25  # of it on the worse side, where the designs behind the fronts stand


@dataclasses.dataclass(frozen=True)
class Drawn:
    """What the area shows of a view."""

    plane: dict[str, Any]
    bars: dict[str, Any]
    title: str
    caption: list[Any]
    table: dict[str, Any]
    told: list[Any]


@dataclasses.dataclass(frozen=True)
class Counted:
    """What is known of a view at once, before anything is drawn."""

    count: str
    fields: list[dict[str, Any]]
    pins: list[Any]


@dataclasses.dataclass(frozen=True)
class Sight:
    """The runs of a view with what is selected of them; the one looked at comes first."""

    boards: tuple[Board, ...]
    inside: tuple[Mask, ...]
    parents: frozenset[str]

    @property
    def board(self) -> Board:
        """Board of the run that is looked at."""
        return self.boards[0]


def parent_of(run: Run) -> str:
    """Return the name of the run that a run started from; empty without."""
    parent = run.manifest.get("parent")
    return str(parent.get("run", "")) if isinstance(parent, Mapping) else ""


def subject_of(runs: Sequence[Run]) -> int:
    """Return which of the runs shown is looked at: the first that is no parent of another."""
    parents = {parent_of(run) for run in runs}
    return next((k for k, run in enumerate(runs) if run.name not in parents), 0)


def sight(boards: Sequence[Board], view: View) -> Sight:
    """Return the runs of a view with what is selected of them."""
    runs = [b.run for b in boards]
    shown = {run.name for run in runs}
    parents = {p for run in runs if (p := parent_of(run)) in shown and p != run.name}
    first = boards[subject_of(runs)]
    ordered = (first, *(b for b in boards if b is not first))
    inside = tuple(selected(b, view.brushes, view.hidden) for b in ordered)
    return Sight(ordered, inside, frozenset(parents))


def seen_of(library: Library, boards: Boards, view: View) -> Sight:
    """Return the runs of a view, opened, with what is selected of them."""
    return sight([boards.of(library.run(name)) for name in view.runs], view)


def counted(seen: Sight, view: View) -> Counted:
    """Return how many designs a view selects, and its brushes as fields and as pins."""
    ends = {n: seen.board.slots(n)[0][[0, -1]].tolist() for n in view.bars}
    fields = [{**f, "ends": ends.get(f["name"])} for f in tables.fields(seen.board, view)]
    return Counted(count_text(seen), fields, _offers(view))


def drawn(library: Library, seen: Sight, view: View, theme: str | None) -> Drawn:
    """Return everything that the area shows of a view whose names are known."""
    parts = _parts(seen, view, seen.inside)
    x, y = (quantity_of(seen.board, n) for n in (view.x, view.y))
    short = {
        (part.run, name): why
        for part in parts
        for name, why in tables.shortlist(part, x, y, view.short).items()
    }
    mine = seen.inside[0]
    found = [(quantity_of(seen.board, n), bins(seen.board, n, mine)) for n in view.bars]
    held = {b.name: b for b in view.brushes}
    return Drawn(
        plane=themed(plane_figure(_plane(seen, parts, view, short), theme), theme),
        bars=themed(bars_figure(found, held), theme),
        title=f"{y.title} against {x.title}",
        caption=_caption(parts, view),
        table=tables.table(parts, view, short),
        told=_told(library, seen, view),
    )


def _parts(seen: Sight, view: View, inside: Sequence[Mask]) -> list[Part]:
    """Return the fronts shown, run by run."""
    count = sum(np.unique(b.kind[m]).size for b, m in zip(seen.boards, inside, strict=True))
    most = max(DRAWN // max(count, 1), LEAST_DRAWN)
    return [
        Part(board, topology, rows, k)
        for k, (board, mask) in enumerate(zip(seen.boards, inside, strict=True))
        for topology, rows in front_rows(board, mask, view.x, view.y, most).items()
    ]


def _plane(
    seen: Sight, parts: Sequence[Part], view: View, short: Mapping[tuple[str, str], str]
) -> Plane:
    axes = (view.x, view.y)
    mine = seen.inside[0]
    whole = _parts(seen, view, _unbrushed(seen, view)) if view.brushes else []
    frame = view.window or _frame(seen, [*parts, *whole], view)
    behind = view.cloud if mine.any() else "none"
    colour = quantity_of(seen.board, view.colour) if view.colour else None
    return Plane(
        axes=(quantity_of(seen.board, view.x), quantity_of(seen.board, view.y)),
        frame=frame,
        lines=[_line(seen, part, view) for part in parts],
        cells=cells(seen.board, mine, axes, frame, view.colour) if behind == "binned" else None,
        points=_points(seen, view, mine) if behind == "thinned" else None,
        guides=_guides(seen, view, frame, mine),
        faint=[(p.board.of(view.x)[p.rows], p.board.of(view.y)[p.rows]) for p in whole],
        colour=colour,
        ends=_ends(seen, view, mine) if colour else (0.0, 1.0),
        marked={k: why for k, why in short.items() if why != tables.SPREAD} if short else {},
        picked=[(run, name) for run, _, name in (p.partition("/") for p in view.picked)],
    )


def _unbrushed(seen: Sight, view: View) -> list[Mask]:
    return [selected(b, (), view.hidden) if k == 0 else np.zeros(b.size, dtype=bool)
            for k, b in enumerate(seen.boards)]  # fmt: skip


def _line(seen: Sight, part: Part, view: View) -> Line:
    board, rows = part.board, part.rows
    several = len(seen.boards) > 1
    parent = part.run in seen.parents
    name = f"{tables.tag(part.topology)} · {part.run}" if several else tables.tag(part.topology)
    return Line(
        run=part.run,
        topology=part.topology,
        title=f"{name} (parent)" if parent else name,
        kind=kind_of(seen, part.topology),
        order=part.order,
        parent=parent,
        x=board.of(view.x)[rows],
        y=board.of(view.y)[rows],
        colour=board.of(view.colour)[rows] if view.colour else np.zeros(0),
        ids=part.ids(),
        hover=tables.hovers(part, view),
    )


def kind_of(seen: Sight, topology: str) -> int:
    """Return the number that gives a topology its colour and symbol, in every run alike."""
    every = [t for b in seen.boards for t in b.topologies]
    return list(dict.fromkeys([*TOPOLOGIES, *every])).index(topology)


def _points(seen: Sight, view: View, mine: Mask) -> dict[str, Any]:
    rows = thinned(mine, THINNED)
    board = seen.board
    return {
        "x": board.of(view.x)[rows],
        "y": board.of(view.y)[rows],
        "colour": board.of(view.colour)[rows] if view.colour else np.zeros(0),
        "names": [(board.run.name, str(i)) for i in board.ids[rows]],
    }


def _guides(seen: Sight, view: View, frame: Sequence[float], mine: Mask) -> list[Any]:
    found = []
    if "loss" in view.guides:
        found += loss_guides((view.x, view.y), frame)
    if "cost" in view.guides and "cost" in seen.board.results:
        values = [seen.board.of(n)[mine] for n in (view.x, view.y, "cost")]
        found += cost_guides((view.x, view.y), values, frame)
    return found


def _ends(seen: Sight, view: View, mine: Mask) -> tuple[float, float]:
    values = seen.board.of(view.colour)[mine]
    values = values[np.isfinite(values)]
    if not values.size:
        return 0.0, 1.0
    lo, hi = (float(v) for v in np.quantile(values, SCALE))
    return (lo, hi) if lo < hi else span(values)


def _frame(seen: Sight, parts: Sequence[Part], view: View) -> tuple[float, ...]:
    """Return what is shown of the plane: all fronts whole, with room for what lies behind."""
    found: list[float] = []
    for name in (view.x, view.y):
        if view.frame == "all":
            values = [b.of(name)[m] for b, m in zip(seen.boards, seen.inside, strict=True)]
        else:
            values = [p.board.of(name)[p.rows] for p in parts]
        joined = np.concatenate([np.zeros(0), *values])
        behind = seen.board.of(name)[seen.inside[0]]
        sign = quantity_of(seen.board, name).sign
        found += _reach(joined[np.isfinite(joined)], behind[np.isfinite(behind)], sign)
    return tuple(found)


def _reach(values: Array, behind: Array, sign: float) -> tuple[float, float]:
    """Return from where to where an axis reaches: on the worse side somewhat farther."""
    if not values.size:
        return 0.0, 1.0
    lo, hi = float(values.min()), float(values.max())
    wide = hi - lo or max(abs(hi) * 0.05, 1e-9)
    if behind.size and sign > 0:
        lo = min(lo, max(lo - BEHIND * wide, float(behind.min())))
    elif behind.size:
        hi = max(hi, min(hi + BEHIND * wide, float(behind.max())))
    return lo - ROOM * wide, hi + ROOM * wide


def count_text(seen: Sight) -> str:
    """Return how many designs are selected, run by run."""
    told = []
    for board, mask in zip(seen.boards, seen.inside, strict=True):
        of = f" of {board.run.name}" if len(seen.boards) > 1 else ""
        told.append(f"{int(mask.sum()):,} of {board.size:,} stored designs{of}")
    return " · ".join(told)


def _caption(parts: Sequence[Part], view: View) -> list[Any]:
    """Return what the figure shows, in words, for whoever cannot see it, and for paper."""
    told = []
    for part in parts:
        ranges = [_range(part, name) for name in (view.x, view.y)]
        who = tables.tag(part.topology)
        who += f" of {part.run}" if len(view.runs) > 1 else ""
        told.append(f"{who}: {part.rows.size} designs, {', '.join(ranges)}")
    plain = "A front holds the designs that no other selected one of its topology beats on both " \
        "axes."  # fmt: skip
    notes = [plain, "Shaded: all selected designs." if view.cloud == "binned" else "",
             "; ".join(words(view.guides))]  # fmt: skip
    return [
        html.Ul([html.Li(text) for text in told]),
        html.P(" ".join(n if n.endswith(".") else f"{n[:1].upper()}{n[1:]}."
                        for n in notes if n)),
    ]  # fmt: skip


def _range(part: Part, name: str) -> str:
    quantity, values = quantity_of(part.board, name), part.board.of(name)[part.rows]
    lo, hi = float(values.min()), float(values.max())
    return f"{quantity.title} {tables.plain(quantity, lo)} to {tables.with_unit(quantity, hi)}"


def _offers(view: View) -> list[Any]:
    found = tables.pins(view)
    if not found:
        return [html.Span("Brush a quantity or zoom the plane to get pins of it.",
                          className="soft")]  # fmt: skip
    return [html.Span("Pin this: "), *[pins_panel.adder(pin, pin) for pin in found]]


def _told(library: Library, seen: Sight, view: View) -> list[Any]:
    """Return what has to be said besides: nothing feasible, nothing found yet, nothing left."""
    told: list[Any] = []
    for board in seen.boards:
        stopped = fronts_nearest.told(library, board.run)
        if not board.size and not stopped:
            stopped = [html.P(f"{board.run.name} has no design yet.")]
        told += stopped
    if not any(board.size for board in seen.boards):
        return [html.Div(told, className="fronts-empty")]
    board, mine = seen.board, seen.inside[0]
    if board.size and not mine.any():
        told.append(html.P([html.Strong("No design is left. "), *_loosened(board, view)]))
    return told


def _loosened(board: Board, view: View) -> list[str]:
    """Return how many designs there were without each of the brushes."""
    told = []
    for brush in view.brushes:
        others = [b for b in view.brushes if b != brush]
        count = int(selected(board, others, view.hidden).sum())
        told.append(f"Without the brush on {quantity_of(board, brush.name).title}: {count:,}. ")
    return told or ["Show a topology again."]
