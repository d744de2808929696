"""What a sheet says of heat paths, wear over the climate, and ripple at every load."""

from __future__ import annotations

import dataclasses
from typing import Any, Protocol, runtime_checkable

import numpy as np

from models.axes import Array, points
from models.case import Case
from models.evaluate import worst_point
from models.ledger import Kind
from models.parts.part import Anchor
from models.results import HOURS_PER_YEAR, weighted_rows
from optimizer.opened import Opened

Document = dict[str, Any]

# So many years are lived in one, to learn the life under one condition: the cap on a life
# then lies far above any that counts.
FAST = 1000.0


@runtime_checkable
class Wearing(Protocol):
    """A placed part that wears out."""

    @property
    def path(self) -> str:
        """Dotted path of the part in its topology."""

    def life(self, t: Array, case: Case) -> Array:
        """Return the wear-out life over the year [h] at hottest temperatures ``t`` [°C]."""


def one(x: Array, row: int) -> float:
    """Return the first design's value at one operating point."""
    return float(x[0, min(row, x.shape[1] - 1), 0])


def wear(item: Opened) -> Document:
    """Return which share of each part's damage every climate bin does, and its rate.

    The shares of a part sum to 1.  ``hours`` is the time a year in a bin, ``years`` the
    life that the part would have if the whole year were like that bin.
    """
    hours = item.case.points.hours
    bins = [i for i in range(item.case.points.count) if hours[0, i, 0] > 0.0]
    parts = []
    for part, t in zip(item.evaluation.settled.parts, item.evaluation.settled.temperatures,
                       strict=True):  # fmt: skip
        if isinstance(part, Wearing):
            lives = [FAST * one(part.life(t, _year_of(item.case, i)), 0) for i in bins]
            damage = np.array([one(hours, i) / life for i, life in zip(bins, lives, strict=True)])
            parts.append(
                {
                    "path": part.path,
                    "share": (damage / damage.sum()).tolist(),
                    "years": [life / HOURS_PER_YEAR for life in lives],
                    "celsius": [one(t, i) for i in bins],
                }
            )
    return {
        "bins": [item.case.points.label[i] for i in bins],
        "air_c": [one(item.case.points.t_air, i) for i in bins],
        "power_w": [one(item.case.points.p_ac, i) for i in bins],
        "hours": [one(hours, i) for i in bins],
        "parts": parts,
    }


def _year_of(case: Case, row: int) -> Case:
    """Return the case with every hour of ``FAST`` years spent at one operating point."""
    spent = np.zeros(case.points.count)
    spent[row] = FAST * HOURS_PER_YEAR
    return dataclasses.replace(case, points=dataclasses.replace(case.points, hours=points(spent)))


def ripple(item: Opened) -> list[Document]:
    """Return the voltage ripple at the module at every weighted load."""
    figures = {e.path: e.value for e in item.evaluation.ledger.of(Kind.FIGURE)}
    swing, kept = figures.get("module.ripple"), figures.get("module.mppt_efficiency")
    if swing is None:
        return []
    case = item.case
    rows = sorted(weighted_rows(case), key=lambda i: case.points.p_ac[0, i, 0])
    return [
        {
            "at": case.points.label[i],
            "power_w": one(case.points.p_ac, i),
            "module_v": one(case.points.v_pv, i),
            "share": one(swing, i),
            "mppt_efficiency": 1.0 if kept is None else one(kept, i),
        }
        for i in rows
    ]


def heat_chain(item: Opened) -> list[Document]:
    """Return the temperatures from the air to each part where it is hottest, hottest first.

    ``inside_c`` is None for a part on the wall; ``limit_c`` is the limit on the part
    itself, where the books have one.
    """
    settled, case = item.evaluation.settled, item.case
    hot = case.points.thermal > 0.0
    limits = {e.path: e for e in item.evaluation.ledger.of(Kind.LIMIT) if e.unit == "°C"}
    found = []
    for part, t in zip(settled.parts, settled.temperatures, strict=True):
        over = np.where(hot, t[:1] + 0.0 * hot, -273.15)[0, :, 0]
        at = int(np.argmax(over))
        limit = limits.get(f"{part.path}.temperature") or limits.get(f"{part.path}.junction")
        bound = None
        if limit is not None and limit.bound is not None:
            bound = one(limit.bound, worst_point(limit, 0, case)[0])
        found.append(
            {
                "path": part.path,
                "at": case.points.label[at],
                "air_c": one(case.points.t_air, at),
                "wall_c": one(settled.t_surface, at),
                "inside_c": one(settled.t_inside, at) if part.anchor is Anchor.INSIDE else None,
                "part_c": float(over[at]),
                "limit_c": bound,
            }
        )
    return sorted(found, key=lambda r: -r["part_c"])
