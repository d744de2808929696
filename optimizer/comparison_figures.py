"""Interactive figures of comparisons and of what binds, pure functions of plain data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go
from plotly.subplots import make_subplots

from optimizer.binding import Summary
from optimizer.compare import Comparison, Pair
from optimizer.figures import COLOURS, SYMBOLS, place_of, styled, symbol_of
from optimizer.fronts import FrontPoint
from optimizer.objectives import Objective
from optimizer.price import Price, Row

PATTERNS = ("", "/", "x", ".")


def price_figure(comparison: Comparison, pair: Pair) -> go.Figure:
    """Return the fronts of two runs, one panel a topology, and the price as distances.

    The earlier front is dashed with hollow symbols.  Both are drawn as staircases, which
    is how they are read: no design lies on a slanted line between two others.
    """
    shown = panels(pair)
    at, of = comparison.objectives[:2]
    figure = make_subplots(
        rows=max(len(shown), 1),
        cols=1,
        subplot_titles=[comparison.titles.get(p.topology, p.topology) for p in shown],
        vertical_spacing=0.32 / max(len(shown), 2),
    )
    for row, price in enumerate(shown, 1):
        k = place_of(price.topology)
        worst = worst_end(price, at)
        traces = [
            *_level(price.before, at, of, k, worst=worst, dash="dash"),
            *_level(price.after, at, of, k, worst=worst, dash="solid"),
            _stair(price.before, at, of, k, name=f"before: {pair.before}"),
            _stair(price.after, at, of, k, name=f"after: {pair.after}"),
            *_distances(price, at, of),
        ]
        for trace in traces:
            figure.add_trace(trace, row=row, col=1)
        for note in _labels(price, at, of):
            figure.add_annotation(note, row=row, col=1)
    figure = styled(figure, "What the later run gives up", at.axis, of.axis)
    figure.update_layout(height=160 + 340 * max(len(shown), 1))
    figure.update_layout(legend={"y": -0.24 / max(len(shown), 1)})
    return figure


def panels(pair: Pair) -> list[Price]:
    """Return the prices worth a panel: of single topologies with any design."""
    return [p for p in pair.prices if p.topology and (p.before or p.after)]


def worst_end(price: Price, at: Objective) -> float:
    """Return the poorest value of either front: a staircase is level up to there."""
    values = [p.results[at.name] for p in (*price.before, *price.after)]
    return min(values) if at.sign > 0.0 else max(values)


def _level(
    points: Sequence[FrontPoint], at: Objective, of: Objective, k: int, *, worst: float, dash: str
) -> list[go.Scatter]:
    """Return the level line from the poorest value to the first design of a front."""
    if not points:
        return []
    first = min(points, key=lambda p: at.sign * p.results[at.name])
    return [
        go.Scatter(
            x=[worst, first.results[at.name]],
            y=[first.results[of.name]] * 2,
            mode="lines",
            line={"color": COLOURS[k % 6], "dash": dash, "width": 0.8},
            showlegend=False,
            hoverinfo="skip",
        )
    ]


def _stair(
    points: Sequence[FrontPoint], at: Objective, of: Objective, k: int, *, name: str
) -> go.Scatter:
    ordered = sorted(points, key=lambda p: p.results[at.name])
    old = name.startswith("before")
    return go.Scatter(
        x=[p.results[at.name] for p in ordered],
        y=[p.results[of.name] for p in ordered],
        mode="lines+markers",
        name=name,
        line={
            "color": COLOURS[k % 6],
            "dash": "dash" if old else "solid",
            "shape": "vh" if at.sign > 0.0 else "hv",
            "width": 1.3,
        },
        marker={
            "symbol": SYMBOLS[symbol_of(k)] + ("-open" if old else ""),
            "size": 7,
            "color": COLOURS[k % 6],
        },
        text=[_hover(p, at, of) for p in ordered],
        hovertemplate="%{text}<extra></extra>",
    )


def _hover(point: FrontPoint, at: Objective, of: Objective) -> str:
    pieces = [f"{o.text(point.results[o.name])} {o.unit}" for o in (of, at)]
    return f"{point.label}<br>{'<br>'.join(pieces)}"


def _reached(price: Price, at: Objective, of: Objective) -> list[Row]:
    """Return the levels that both fronts reach."""
    rows = next((t.rows for t in price.tables if (t.at, t.of) == (at, of)), ())
    return [row for row in rows if row.loss is not None]


def _distances(price: Price, at: Objective, of: Objective) -> list[go.Scatter]:
    """Return one vertical stroke a level, from what was attained to what is left."""
    return [
        go.Scatter(
            x=[row.level] * 2,
            y=[s.value for s in (row.before, row.after) if s],
            mode="lines",
            line={"color": "#444444", "width": 1, "dash": "dot" if row.in_noise else "solid"},
            showlegend=False,
            hoverinfo="skip",
        )
        for row in _reached(price, at, of)
    ]


def _labels(price: Price, at: Objective, of: Objective) -> list[dict[str, Any]]:
    """Return the change at every level as a label clear of the later front."""
    found = []
    for row in _reached(price, at, of):
        lost, left = (s.value for s in (row.before, row.after) if s)
        found.append(
            {
                "x": row.level,
                "y": left,
                "text": of.difference(left - lost),
                "yshift": -11 if left < lost else 11,
                "showarrow": False,
                "bgcolor": "white",
                "font": {"size": 10},
            }
        )
    return found


def binding_figure(rows: Sequence[Summary], title: str, count: int = 14) -> go.Figure:
    """Return the share of a front that each limit or end binds, by part of the front.

    Parameters
    ----------
    rows : Sequence of Summary
        What limits one topology, as ``binding.summary`` orders it.
    title : str
        Title of the figure.
    count : int
        Bars at most; the first ones are kept.
    """
    shown = list(rows)[:count][::-1]
    figure = go.Figure()
    for k, part in enumerate(dict.fromkeys(p for r in rows for p in r.by_part)):
        figure.add_trace(
            go.Bar(
                x=[100.0 * r.by_part.get(part, 0.0) for r in shown],
                y=[r.title for r in shown],
                orientation="h",
                name=part,
                marker={
                    "color": COLOURS[k % 6],
                    "pattern": {"shape": PATTERNS[k % len(PATTERNS)]},
                },
                text=[", ".join(r.places) for r in shown],
                textposition="none",
                hovertemplate="%{text}: %{x:.0f} %<extra>" + part + "</extra>",
            )
        )
    figure.update_layout(barmode="group", height=120 + 42 * max(len(shown), 4))
    figure = styled(figure, title, "designs in this part of the front [%]", "")
    figure.update_yaxes(automargin=True)
    figure.update_xaxes(range=[0, 100])
    figure.update_layout(legend={"y": -60.0 / (120 + 42 * max(len(shown), 4))})
    return figure
