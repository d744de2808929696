"""Guide lines in the plane of the fronts: equal loss per litre, the best below a cost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from models.axes import Array
from optimizer.front import staircase
from optimizer.page.design_figures import Figure
from optimizer.page.fronts_view import DENSITY, direction
from optimizer.quantities import significant

Frame = Sequence[float]  # across from, across to, up from, up to
STEPS = 60  # of a curve
MOST = 5  # curves
LEVELS = (0.15, 0.4, 0.7)  # of the extent of costs, where its guides are
DASHES = ("dashdot", "dash", "longdash")  # of them, cheapest first
AT = 0.06  # of a guide, where its text stands: clear of the best designs
INK = "#888888"


def loss_per_litre(density: Array, efficiency: Array) -> Array:
    """Return the loss per outer litre [W/l], q = ρ·(1/η − 1).

    A sealed box sheds heat through its walls, so that designs of equal q are about
    equally hard to cool.  The rated power counts, at the weighted efficiency: full power
    in the sun is somewhat harder.

    Parameters
    ----------
    density : Array
        Power density ρ [kW/l].
    efficiency : Array
        Efficiency η [%].

    Source
    ------
    Follows from the definitions.
    """
    return 1e3 * density * (100.0 / efficiency - 1.0)


def loss_guides(axes: tuple[str, str], frame: Frame) -> list[Figure]:
    """Return curves of equal loss per litre; nothing where the axes have no such curves."""
    if DENSITY not in axes or not any(n.endswith("efficiency_pct") for n in axes):
        return []
    first = axes[0] == DENSITY
    lo, hi = frame[:2] if first else frame[2:]
    d = np.linspace(lo, hi, STEPS)
    d = d[d > 0.0]
    worst, best = (max(v, 1e-3) for v in (frame[2:] if first else frame[:2]))
    if not d.size:
        return []
    ends = loss_per_litre(d[[0, -1]], np.array([min(best, 99.999), worst]))
    found = []
    for level in round_levels(float(ends[0]), float(ends[1])):
        e = 100.0 / (1.0 + level / (1e3 * d))
        kept = (e >= worst) & (e <= best)
        if kept.sum() > 1:
            x, y = (d[kept], e[kept]) if first else (e[kept], d[kept])
            found += [_guide(x, y, "dot"), _words(x, y, f"{significant(level)} W/l")]
    return found


def round_levels(lo: float, hi: float) -> list[float]:
    """Return at most five round numbers between two: 1, 2, 5 times a power of ten.

    Examples
    --------
    >>> round_levels(3.0, 60.0)
    [5.0, 10.0, 20.0, 50.0]
    """
    if hi <= 0.0 or lo >= hi:
        return []
    lo = max(lo, hi / 1e3)
    powers = range(math.floor(math.log10(lo)), math.ceil(math.log10(hi)) + 1)
    every = [m * 10.0**p for p in powers for m in (1.0, 2.0, 5.0)]
    inside = [v for v in every if lo < v < hi]
    return inside[-MOST:]


def cost_guides(axes: tuple[str, str], values: Sequence[Array], frame: Frame) -> list[Figure]:
    """Return, for a few costs, the front of all designs that cost no more.

    Parameters
    ----------
    axes : tuple of str
        Quantities across and up.
    values : Sequence of Array
        Values across, values up, and costs [€] of all designs that count.
    frame : Sequence of float
        What is shown of the plane.
    """
    x, y, cost = values
    shown = (x >= frame[0]) & (x <= frame[1]) & (y >= frame[2]) & (y <= frame[3])
    if "cost" in axes or shown.sum() < 2:
        return []
    lo, hi = (float(v) for v in np.quantile(cost[shown], (0.0, 0.95)))
    goals = np.stack([-direction(axes[0]) * x, -direction(axes[1]) * y], axis=1)
    levels = dict.fromkeys(float(f"{lo + s * (hi - lo):.3g}") for s in LEVELS)
    found = []
    for level, dash in zip(levels, DASHES, strict=False):
        rows = np.flatnonzero(cost <= level)
        rows = rows[staircase(goals[rows])]
        rows = rows[np.argsort(x[rows], kind="stable")]
        if rows.size:
            named = {"name": f"at most {significant(level)} €", "showlegend": True}
            found.append({**_guide(x[rows], y[rows], dash), **named})
    return found


def _guide(x: Array, y: Array, dash: str) -> Figure:
    return {
        "type": "scatter", "mode": "lines", "x": x.tolist(), "y": y.tolist(), "hoverinfo": "skip",
        "showlegend": False, "line": {"color": INK, "width": 1.2, "dash": dash},
    }  # fmt: skip


def _words(x: Array, y: Array, text: str) -> Figure:
    """Return the text of a guide, near its end on the worse side."""
    at = min(int(AT * len(x)), len(x) - 1)
    return {
        "type": "scatter", "mode": "text", "x": [float(x[at])], "y": [float(y[at])],
        "text": [text], "textposition": "middle right", "hoverinfo": "skip",
        "showlegend": False, "textfont": {"size": 10.5, "color": "#555555"},
    }  # fmt: skip


def words(guides: Sequence[str]) -> list[str]:
    """Return what the guides mean, for the caption."""
    told: dict[str, Any] = {
        "loss": "dotted guides: equal loss per outer litre, since a sealed box is limited by heat",
        "cost": "grey guides with a cost: the front of all designs that cost no more",
    }
    return [told[g] for g in guides if g in told]
