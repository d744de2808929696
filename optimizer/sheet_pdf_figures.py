"""The figures of a sheet on paper: light, hatched besides coloured, from the sheet's data."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes

from optimizer import sheet_pdf_heat as heat
from optimizer.figures import COLOURS, GROUPS
from optimizer.picture import MARKERS, STYLES
from optimizer.sheet_pdf_paper import INK, LEFT, LINE, RIGHT, Paper, printable, width

Document = Mapping[str, Any]
HATCHES = {"": "", "/": "////", "x": "xxx", ".": "..."}
TYPE, TITLE = 6.5, 9.0  # [pt]
BAR = 4.0  # [mm] of height for each lying bar
TALL = 52.0  # [mm] of a figure that stands beside another
# Room for the legend between title and figure [mm].
ABOVE = {"losses": 8.5, "efficiency": 8.5, "temperatures": 5.5, "wear": 13.5}
MOST = 14  # lying bars in a figure
UNITS = {"V": "voltage [V]", "A": "current [A]", "W": "power [W]"}


def set_pictures(paper: Paper, names: Sequence[str], data: Document) -> None:
    """Draw figures side by side, each with its title above it; nothing without data."""
    drawn = [FIGURES[name] for name in names if FIGURES[name][0](data)]
    if not drawn:
        return
    height = max(tall(data) for tall, _ in drawn)
    paper.down(2.0)
    paper.need(height + 30.0)
    top = paper.y - 4.0
    share = (RIGHT - LEFT) / len(drawn)
    edges = [_edges(k, share, make, data) for k, (_, make) in enumerate(drawn)]
    paper.y = top - max(ABOVE.get(name, 3.0) for name in names)
    for k, (axes, (_, make)) in enumerate(zip(paper.axes(edges, height), drawn, strict=True)):
        _plain(axes)
        title = make(axes, data)
        paper.page.put(LEFT + k * share, top, printable(title), TITLE, face="bold")
    paper.y -= 13.0


def _edges(
    k: int, share: float, make: Callable[[Axes, Document], str], data: Document
) -> tuple[float, float]:
    """Return where the axes of a figure begin and end [mm], its labels left of them."""
    labels = NAMES[make](data) if make in NAMES else []
    room = max((width(printable(name), TYPE) for name in labels), default=7.0) + 4.0
    gap = 5.0 if k else 0.0
    return LEFT + k * share + min(room, 0.5 * share) + gap, LEFT + (k + 1) * share - 3.0


def _plain(axes: Axes) -> None:
    axes.tick_params(labelsize=TYPE, width=0.5, length=2.0, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_linewidth(0.5)
    axes.set_axisbelow(True)


def _labelled(axes: Axes, x: str, y: str) -> None:
    axes.set_xlabel(x, fontsize=TYPE)
    axes.set_ylabel(y, fontsize=TYPE)


def _legend(axes: Axes, columns: int = 2) -> None:
    axes.legend(
        fontsize=TYPE, ncols=columns, frameon=False, loc="lower left",
        bbox_to_anchor=(-0.02, 0.99), borderaxespad=0.0, handlelength=2.2, columnspacing=1.2,
    )  # fmt: skip


def _losses(axes: Axes, data: Document) -> str:
    """Draw losses by kind of part at the weighted loads, stacked."""
    losses = data["losses"]
    labels = [f"{p:.0f}" for p in losses["power_w"]]
    places, base = range(len(labels)), [0.0] * len(labels)
    for key, (name, colour, pattern) in GROUPS.items():
        rows = [r["watts"] for r in losses["rows"] if r["group"] == key]
        if rows:
            watts = [sum(w) for w in zip(*rows, strict=True)]
            axes.bar(
                places, watts, 0.7, base, color=colour, hatch=HATCHES[pattern], edgecolor="white",
                linewidth=0.3, label=name,
            )  # fmt: skip
            base = [b + w for b, w in zip(base, watts, strict=True)]
    for at, total in enumerate(losses["total_w"]):
        axes.annotate(
            f"{total:.1f}", (at, total), (0, 2), textcoords="offset points", fontsize=TYPE,
            ha="center",
        )  # fmt: skip
    axes.set_xticks(list(places), labels)
    axes.set_ylim(0.0, 1.12 * max(losses["total_w"]))
    axes.grid(axis="y", color=LINE, linewidth=0.4)
    _labelled(axes, "power into the grid [W]", "loss [W]")
    _legend(axes)
    return "Loss by kind of part and load"


def _efficiency(axes: Axes, data: Document) -> str:
    """Draw conversion efficiency against load at the module voltages."""
    curve = data["efficiency"]
    for k, (voltage, row) in enumerate(zip(curve["voltages"], curve["values"], strict=True)):
        axes.plot(
            [100.0 * load for load in curve["loads"]], [100.0 * v for v in row],
            color=COLOURS[k % 6], linestyle=STYLES[k % 6], marker=MARKERS[k % 6], markersize=3.0,
            linewidth=1.0, label=f"{voltage:.1f} V module",
        )  # fmt: skip
    values = [100.0 * v for row in curve["values"] for v in row]
    floor = max(0.0, math.floor(min(values) - 0.5))
    axes.set_ylim(floor, min(100.0, math.ceil(max(values) + 0.3)))
    axes.set_xlim(0.0, 104.0)
    axes.grid(color=LINE, linewidth=0.4)
    _labelled(axes, "load [% of rated]", "efficiency [%]")
    _legend(axes, 3)
    return f"Conversion efficiency (axis from {floor:.0f} %)"


def _lying(
    axes: Axes, rows: Sequence[tuple[str, float]], texts: Sequence[str],
    fills: Sequence[tuple[str, str]], clear: float = 0.0,
) -> None:  # fmt: skip
    """Draw lying bars, the first on top, each with a text behind it, and behind ``clear``."""
    places = range(len(rows) - 1, -1, -1)
    colours = [colour for colour, _ in fills]
    lengths = [value for _, value in rows]
    bars = axes.barh(list(places), lengths, 0.7, color=colours, edgecolor="white", linewidth=0.3)
    for bar, (_, pattern) in zip(bars, fills, strict=True):
        bar.set_hatch(HATCHES[pattern])
    axes.set_yticks(list(places), [printable(name) for name, _ in rows])
    for label in axes.get_yticklabels():
        label.set_parse_math(False)
    for at, (_, value), text in zip(places, rows, texts, strict=True):
        axes.annotate(
            text, (max(value, clear), at), (2, 0), textcoords="offset points", fontsize=TYPE,
            va="center",
        )  # fmt: skip
    axes.set_ylim(-0.6, len(rows) - 0.4)
    axes.tick_params(axis="y", length=0)


def _part_rows(data: Document) -> list[Document]:
    return list(data["losses"]["rows"][:MOST])


def _parts(axes: Axes, data: Document) -> str:
    """Draw the largest single losses at full power."""
    rows, total = _part_rows(data), data["losses"]["total_w"][-1]
    watts = [r["watts"][-1] for r in rows]
    texts = [f"{w:.2f} W, {100 * w / total:.0f} %" for w in watts]
    fills = [GROUPS[r["group"]][1:] for r in rows]
    _lying(axes, [(r["path"], r["watts"][-1]) for r in rows], texts, fills)
    axes.set_xlim(0.0, 1.7 * max(watts, default=1.0))
    _labelled(axes, "loss [W]", "")
    return "Largest losses at full power"


def _volume_rows(data: Document) -> list[tuple[str, float]]:
    """Return boxed volumes [cm³], the largest first, what is left of the box among them."""
    outer = next(r["value"] for r in data["results"] if r["name"] == "volume_l")
    parts = [(v["path"], 1e6 * v["value"]) for v in data["volume"] if v["value"] > 0.0]
    rest = max(1e3 * outer - sum(v for _, v in parts), 0.0)
    rows = [*parts, ("wall, board, gaps, potting", rest)]
    return sorted(rows, key=lambda r: -r[1])[:MOST]


def _volume(axes: Axes, data: Document) -> str:
    rows = _volume_rows(data)
    fills = [(COLOURS[0] if "." in name else "#888888", "") for name, _ in rows]
    _lying(axes, rows, [f"{v:.0f} cm³" for _, v in rows], fills)
    axes.set_xlim(0.0, 1.4 * max(v for _, v in rows))
    _labelled(axes, "boxed volume [cm³]", "")
    outer = next(r["value"] for r in data["results"] if r["name"] == "volume_l")
    return f"Volume, {outer:.3f} l outside"


def _margin_rows(data: Document) -> list[Document]:
    return list(data["limits"][: MOST + 4])


def _margins(axes: Axes, data: Document) -> str:
    """Draw how far each limit is used, the tightest on top."""
    rows = _margin_rows(data)
    shares = [(r["path"], 100.0 * (1.0 + max(r["margin"], -1.0))) for r in rows]
    texts = [f"{s:.1f} %" + ("" if r["met"] else "  not met")
             for r, (_, s) in zip(rows, shares, strict=True)]  # fmt: skip
    fills = [("#559977", "") if r["met"] else ("#990000", "/") for r in rows]
    _lying(axes, shares, texts, fills, clear=100.0)
    axes.axvline(100.0, color=INK, linewidth=0.8, linestyle="--")
    axes.set_xlim(0.0, max(115.0, 1.15 * max(s for _, s in shares)))
    _labelled(axes, "use of the limit [%]; the dashed line is the limit", "")
    return "What limits it: use of each limit"


def _waves(axes: Axes, data: Document) -> str:
    """Draw the waveforms over the line cycle, one axis a unit, one time axis."""
    units = list(dict.fromkeys(w["unit"] for w in data["waves"]))
    frequency = float(data["specification"]["grid"][0]["frequency_hz"])
    axes.set_axis_off()
    gap = 0.1
    tall = (1.0 - gap * (len(units) - 1)) / len(units)
    for row, unit in enumerate(units):
        part = axes.inset_axes((0.0, 1.0 - row * (tall + gap) - tall, 0.68, tall))
        _plain(part)
        for k, wave in enumerate(w for w in data["waves"] if w["unit"] == unit):
            time, value = _cycle(wave, frequency)
            part.plot(time, value, color=COLOURS[k % 6], linestyle=STYLES[k % 6], linewidth=1.0,
                      label=printable(wave["name"]))  # fmt: skip
        part.set_xlim(0.0, 1e3 / frequency)
        part.grid(color=LINE, linewidth=0.4)
        last = row == len(units) - 1
        _labelled(part, "time [ms]" if last else "", UNITS.get(unit, f"[{unit}]"))
        part.tick_params(labelbottom=last)
        part.legend(fontsize=TYPE, frameon=False, loc="upper left", bbox_to_anchor=(1.01, 1.0),
                    borderaxespad=0.0, handlelength=2.6)  # fmt: skip
    return "Over the line cycle at full power"


def _cycle(wave: Document, frequency: float) -> tuple[list[float], list[float]]:
    """Return time [ms] and value over a whole cycle; a wave of half a cycle repeats."""
    angle, value = list(wave["angle"]), list(wave["value"])
    if angle and angle[-1] < 1.001 * math.pi:
        angle, value = [*angle, *(a + math.pi for a in angle)], value * 2
    return [1e3 * a / (2.0 * math.pi * frequency) for a in angle], value


def _bars(rows: Callable[[Document], Sequence[Any]]) -> Callable[[Document], float]:
    return lambda data: BAR * len(rows(data))


# Height [mm], none without data, and what draws it and returns its title.
FIGURES: dict[str, tuple[Callable[[Document], float], Callable[[Axes, Document], str]]] = {
    "losses": (lambda data: TALL, _losses),
    "efficiency": (lambda data: TALL, _efficiency),
    "parts": (_bars(_part_rows), _parts),
    "volume": (_bars(_volume_rows), _volume),
    "margins": (_bars(_margin_rows), _margins),
    "temperatures": (_bars(heat.chain_rows), heat.temperatures),
    "life": (lambda data: 7.0 * len(data["life"][:MOST]), heat.life),
    "wear": (lambda data: 7.0 * len(data["wear"]["parts"][:MOST]), heat.wear),
    "waves": (lambda data: 45.0 * len({w["unit"] for w in data["waves"]}), _waves),
}
# Names that stand left of lying bars.
NAMES: dict[Callable[[Axes, Document], str], Callable[[Document], list[str]]] = {
    _parts: lambda data: [r["path"] for r in _part_rows(data)],
    _volume: lambda data: [name for name, _ in _volume_rows(data)],
    _margins: lambda data: [r["path"] for r in _margin_rows(data)],
    heat.temperatures: lambda data: [r["path"] for r in heat.chain_rows(data)],
    heat.life: lambda data: [r["path"] for r in data["life"]],
    heat.wear: lambda data: [r["path"] for r in data["wear"]["parts"]],
}
