"""Figures of what limits one design and how long it lasts, as pure functions of its sheet."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

from optimizer.figures import COLOURS
from optimizer.page.design_figures import INK, PATTERNS, Figure, axis, figure, lying, marker

ENDLESS = 99.0  # years; a part that lasts longer does not wear out for anybody
MOST_BINS = 8  # of the climate, told apart; the rest is one more
MET, UNMET = (COLOURS[2], ""), (COLOURS[3], "/")
LONGEST = 200.0  # [%] of a limit, to which a bar is drawn
GREY = "#999999"


def line_at(x: float) -> dict[str, Any]:
    """Return a dashed line across the plot."""
    return {
        "shapes": [
            {"type": "line", "x0": x, "x1": x, "y0": 0, "y1": 1, "yref": "paper",
             "line": {"color": INK, "dash": "dash", "width": 1.5}}
        ]
    }  # fmt: skip


def two_looks(
    rows: Sequence[Mapping[str, Any]], lengths: Sequence[float], met: Sequence[bool],
    texts: Sequence[str], hovers: Sequence[str],
) -> list[dict[str, Any]]:  # fmt: skip
    """Return lying bars, those that keep their limit in one look, the others in another."""
    found = []
    for wanted, (colour, pattern) in ((True, MET), (False, UNMET)):
        picked = [i for i, kept in enumerate(met) if kept is wanted]
        trace = lying(
            [(rows[i]["path"], lengths[i]) for i in picked], [texts[i] for i in picked],
            marker(colour, pattern), "%{hovertext}<extra></extra>",
        )  # fmt: skip
        found.append({**trace, "hovertext": [html.escape(hovers[i]) for i in picked]})
    return found


def listed(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return the axis of the names of rows, in their order from below."""
    names = [html.escape(r["path"]) for r in rows]
    return axis("", showgrid=False, categoryorder="array", categoryarray=names)


def margins(limits: Sequence[Mapping[str, Any]], count: int = 14) -> Figure:
    """Return how much of each limit is used, the tightest on top; 100 % is the limit."""
    rows = list(limits)[:count][::-1]
    used = [100.0 * (1.0 + max(r["margin"], -1.0)) for r in rows]
    lengths = [min(u, LONGEST) for u in used]
    end = max([100.0, *lengths])
    data = two_looks(
        rows, lengths, [bool(r["met"]) for r in rows], [""] * len(rows),
        [r["meaning"] for r in rows],
    )  # fmt: skip
    # Beside the line of the limit, not behind the bars, which end close to it.
    data.append(
        {"type": "scatter", "mode": "text", "x": [1.02 * end] * len(rows),
         "y": [html.escape(r["path"]) for r in rows], "textposition": "middle right",
         "text": [f"{u:.0f} %" + ("" if r["met"] else " not met")
                  for u, r in zip(used, rows, strict=True)],
         "hoverinfo": "skip"}
    )  # fmt: skip
    room = 1.2 if all(r["met"] for r in rows) else 1.5
    return figure(
        data, "Use of the tightest limits",
        x=axis("[% of the limit]", range=[0.0, room * end], tickmode="linear", tick0=0.0,
               dtick=25.0 if end <= 100.0 else 50.0),
        y=listed(rows),
        more={"bargap": 0.3, "barmode": "overlay", "showlegend": False, **line_at(100.0)},
    )  # fmt: skip


# What a bar is made of, from the air on.
STEPS = (
    ("air", GREY, ""),
    ("air to wall", COLOURS[2], "x"),
    ("wall to inside", COLOURS[4], "."),
    ("to the part", COLOURS[1], "/"),
)


def temperature_chain(chain: Sequence[Mapping[str, Any]], count: int = 14) -> Figure:
    """Return the way from the air through wall and inside to each part, limits ticked."""
    rows = list(chain)[:count][::-1]
    names = [html.escape(r["path"]) for r in rows]
    data: list[dict[str, Any]] = [
        {"type": "bar", "orientation": "h", "x": lengths, "y": names, "name": title,
         "marker": marker(colour, pattern),
         "hovertemplate": "%{y}: air at %{x:.0f} °C<extra></extra>" if title == "air"
         else "%{y}: %{x:.1f} K<extra>%{fullData.name}</extra>"}
        for (title, colour, pattern), lengths in zip(STEPS, _lengths(rows), strict=True)
    ]  # fmt: skip
    limited = [(n, r["limit_c"]) for n, r in zip(names, rows, strict=True) if r["limit_c"]]
    data.append(
        {"type": "scatter", "mode": "markers", "name": "limit of the part",
         "x": [t for _, t in limited], "y": [n for n, _ in limited],
         "marker": {"symbol": "line-ns", "size": 14, "color": COLOURS[3],
                    "line": {"width": 3, "color": COLOURS[3]}},
         "hovertemplate": "%{y}: at most %{x:.0f} °C<extra></extra>"}
    )  # fmt: skip
    coldest = min([0.0, *(r["air_c"] for r in rows)])
    hottest = max([100.0, *(r["part_c"] for r in rows), *(t for _, t in limited)])
    return figure(
        data, "From the air to each part, where it is hottest",
        x=axis("temperature [°C]", range=[coldest, 1.04 * hottest]),
        y=axis("", showgrid=False),
        more={"barmode": "stack", "bargap": 0.3,
              "legend": {"orientation": "h", "x": 0.0, "y": 1.0, "yanchor": "bottom",
                         "traceorder": "normal", "font": {"size": 11}}},
    )  # fmt: skip


def _lengths(rows: Sequence[Mapping[str, Any]]) -> tuple[list[float], ...]:
    """Return the pieces of each bar: air, and the rises to wall, inside and part."""
    inside = [r["wall_c"] if r["inside_c"] is None else r["inside_c"] for r in rows]
    return (
        [r["air_c"] for r in rows],
        [r["wall_c"] - r["air_c"] for r in rows],
        [i - r["wall_c"] for i, r in zip(inside, rows, strict=True)],
        [r["part_c"] - i for i, r in zip(inside, rows, strict=True)],
    )


def life_bars(life: Sequence[Mapping[str, Any]], wanted: float) -> Figure:
    """Return the computed life of every part that wears out, against the life wanted."""
    rows = sorted(life, key=lambda r: -float(r["years"]))
    texts = [
        f"> {ENDLESS:.0f} years" if r["years"] > ENDLESS else f"{r['years']:.0f} years"
        for r in rows
    ]
    data = two_looks(
        rows, [min(r["years"], ENDLESS) for r in rows], [r["years"] >= wanted for r in rows],
        texts, texts,
    )  # fmt: skip
    return figure(
        data, f"Computed life (wanted: {wanted:g} years, dashed)",
        x=axis("years", range=[0.0, 1.3 * ENDLESS]), y=listed(rows),
        more={"bargap": 0.35, "barmode": "overlay", "showlegend": False, **line_at(wanted)},
    )  # fmt: skip


def damage_by_bin(wear: Mapping[str, Any]) -> Figure:
    """Return the share of each part's damage that every bin of the climate does."""
    parts = wear["parts"][::-1]
    names = [html.escape(p["path"]) for p in parts]
    worst = [max((p["share"][i] for p in parts), default=0.0) for i in range(len(wear["bins"]))]
    order = sorted(range(len(worst)), key=lambda i: -worst[i])
    kept, rest = sorted(order[:MOST_BINS]), order[MOST_BINS:]
    layers = [(bin_name(wear, i), [i], COLOURS[k % 6]) for k, i in enumerate(kept)]
    if rest:
        layers.append((f"{len(rest)} other bins", rest, GREY))
    data = [
        {"type": "bar", "orientation": "h", "name": title, "y": names,
         "x": [100.0 * sum(p["share"][i] for i in bins) for p in parts],
         "marker": marker(colour, PATTERNS[(k + k // 6) % 6]),
         "hovertemplate": "%{y}: %{x:.0f} % of its damage<extra>%{fullData.name}</extra>"}
        for k, (title, bins, colour) in enumerate(layers)
    ]  # fmt: skip
    return figure(
        data, "Which weather wears it out",
        x=axis("share of the damage [%]", range=[0.0, 100.0]), y=axis("", showgrid=False),
        more={"barmode": "stack", "bargap": 0.35,
              "legend": {"x": 1.01, "y": 1.0, "xanchor": "left", "font": {"size": 11},
                         "traceorder": "normal"}},
    )  # fmt: skip


def bin_name(wear: Mapping[str, Any], i: int) -> str:
    """Return what a bin of the climate is, briefly."""
    power = wear["power_w"][i]
    doing = "night" if power <= 0.0 else f"{power:.0f} W"
    return f"air {wear['air_c'][i]:.0f} °C, {doing}, {wear['hours'][i]:.0f} h"
