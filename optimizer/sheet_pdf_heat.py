"""Figures on paper of heat and wear: bars in layers, each part's from the left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes

from optimizer.figures import COLOURS
from optimizer.page.design_limit_figures import ENDLESS, MOST_BINS, bin_name
from optimizer.sheet_pdf_paper import INK, LINE, printable

Document = Mapping[str, Any]
Layer = tuple[str, Sequence[float], str, str]  # name, lengths, colour, hatch
MOST = 14  # bars in a figure
TYPE = 6.5  # [pt]
LOOKS = ("", "////", "xxx", "...", "---", "+++")
GREY = "#999999"


def layered(axes: Axes, names: Sequence[str], layers: Sequence[Layer], columns: int) -> None:
    """Draw lying bars made of layers, the first bar on top, with a legend above."""
    places = list(range(len(names) - 1, -1, -1))
    left = [0.0] * len(names)
    for title, lengths, colour, hatch in layers:
        axes.barh(places, lengths, 0.7, left, color=colour, hatch=hatch, edgecolor="white",
                  linewidth=0.3, label=title)  # fmt: skip
        left = [a + b for a, b in zip(left, lengths, strict=True)]
    axes.set_yticks(places, [printable(name) for name in names])
    axes.set_ylim(-0.6, len(names) - 0.4)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=LINE, linewidth=0.4)
    _legend(axes, columns)


def _legend(axes: Axes, columns: int) -> None:
    axes.legend(
        fontsize=TYPE, ncols=columns, frameon=False, loc="lower left",
        bbox_to_anchor=(-0.02, 1.0), borderaxespad=0.0, handlelength=2.2, columnspacing=1.2,
    )  # fmt: skip


def chain_rows(data: Document) -> list[Document]:
    """Return the hottest parts."""
    return list(data["heat_chain"][:MOST])


def temperatures(axes: Axes, data: Document) -> str:
    """Draw the way from the air to each part where it is hottest, limits ticked."""
    rows = chain_rows(data)
    inside = [r["wall_c"] if r["inside_c"] is None else r["inside_c"] for r in rows]
    layers: list[Layer] = [
        ("air", [r["air_c"] for r in rows], GREY, ""),
        ("air to wall", [r["wall_c"] - r["air_c"] for r in rows], COLOURS[2], "xxx"),
        ("wall to inside", [i - r["wall_c"] for i, r in zip(inside, rows, strict=True)],
         COLOURS[4], "..."),
        ("to the part", [r["part_c"] - i for i, r in zip(inside, rows, strict=True)],
         COLOURS[1], "////"),
    ]  # fmt: skip
    layered(axes, [r["path"] for r in rows], layers, 5)
    limits = [(r["limit_c"], len(rows) - 1 - k) for k, r in enumerate(rows) if r["limit_c"]]
    for k, (limit, place) in enumerate(limits):
        axes.plot([limit] * 2, [place - 0.42, place + 0.42], color=COLOURS[3], linewidth=2.0,
                  label="" if k else "limit of the part")  # fmt: skip
    _legend(axes, 5)  # anew, with the limits
    hottest = max([100.0, *(r["part_c"] for r in rows), *(limit for limit, _ in limits)])
    axes.set_xlim(min([0.0, *(r["air_c"] for r in rows)]), 1.04 * hottest)
    axes.set_xlabel("temperature [°C]", fontsize=TYPE)
    return "From the air to each part, where it is hottest"


def life(axes: Axes, data: Document) -> str:
    """Draw the computed life of every part that wears out, the wanted life dashed."""
    rows = data["life"][:MOST]
    wanted = float(data["specification"]["life"]["wanted_years"])
    for k, row in enumerate(reversed(rows)):
        met = row["years"] >= wanted
        years = min(row["years"], ENDLESS)
        axes.barh(k, years, 0.7, color=COLOURS[2 if met else 3], hatch="" if met else "////",
                  edgecolor="white", linewidth=0.3)  # fmt: skip
        text = f"> {ENDLESS:.0f} years" if row["years"] > ENDLESS else f"{row['years']:.0f} years"
        axes.annotate(text, (years, k), (3, 0), textcoords="offset points", fontsize=TYPE,
                      va="center")  # fmt: skip
    axes.set_yticks(range(len(rows)), [printable(r["path"]) for r in reversed(rows)])
    axes.set_ylim(-0.6, len(rows) - 0.4)
    axes.tick_params(axis="y", length=0)
    axes.axvline(wanted, color=INK, linewidth=0.8, linestyle="--")
    axes.set_xlim(0.0, 1.2 * ENDLESS)
    axes.set_xlabel("years", fontsize=TYPE)
    return f"Computed life (wanted: {wanted:g} years, dashed)"


def wear(axes: Axes, data: Document) -> str:
    """Draw the share of each part's damage that every bin of the climate does."""
    found = data["wear"]
    parts = found["parts"][:MOST]
    worst = [max((p["share"][i] for p in parts), default=0.0) for i in range(len(found["bins"]))]
    order = sorted(range(len(worst)), key=lambda i: -worst[i])
    kept, rest = sorted(order[:MOST_BINS]), order[MOST_BINS:]
    layers: list[Layer] = [
        (bin_name(found, i), [100.0 * p["share"][i] for p in parts], COLOURS[k % 6],
         LOOKS[(k + k // 6) % 6])
        for k, i in enumerate(kept)
    ]  # fmt: skip
    if rest:
        others = [100.0 * sum(p["share"][i] for i in rest) for p in parts]
        layers.append((f"{len(rest)} other bins", others, GREY, ""))
    layered(axes, [p["path"] for p in parts], layers, 3)
    axes.set_xlim(0.0, 100.0)
    axes.set_xlabel("share of the damage [%]", fontsize=TYPE)
    return "Which weather wears it out"
