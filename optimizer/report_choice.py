"""Which designs of a run a report shows as sheets: knees, extremes, then an even spread."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from models.errors import RipplefrontError
from optimizer.archive import Run, StoredDesign
from optimizer.figures_data import point
from optimizer.objectives import goals, landmarks, objectives_of
from optimizer.selection import spread

USUAL, MOST = 24, 300
SPREAD = "even spread"


class ReportError(RipplefrontError):
    """A report that cannot be made as asked."""


@dataclasses.dataclass(frozen=True)
class Chosen:
    """A design of the shortlist, and why it is on it."""

    design: StoredDesign
    why: str


def shortlist(run: Run, count: int) -> list[Chosen]:
    """Return at most ``count`` designs of the fronts, topology by topology.

    First the knee and the best of every objective, of all topologies together and then of
    each; the rest is shared among the topologies and spread evenly over each front.

    Raises
    ------
    ReportError
        If ``count`` is out of range.
    """
    if not 1 <= count <= MOST:
        raise ReportError(
            f"a report shows 1 to {MOST} designs, and {count} were asked for.\n"
            "  Ask for fewer with --designs N, or write single sheets: ripplefront sheet."
        )
    fronts = {
        topology: front
        for topology in dict.fromkeys(c.topology for c in run.candidates)
        if (front := run.front_of(topology))
    }
    found: dict[str, Chosen] = {}
    if len(fronts) > 1:
        _mark(run, run.common_front(), " of all topologies", found)
    for front in fronts.values():
        _mark(run, front, "", found)
    found = dict(list(found.items())[:count])
    # Short fronts first: what they cannot fill is left to the longer ones.
    for left, (topology, front) in zip(
        range(len(fronts), 0, -1), sorted(fronts.items(), key=lambda f: len(f[1])), strict=True
    ):
        own = {k for k, c in found.items() if c.design.candidate.topology == topology}
        rest = [d for d in front if d.id not in own]
        for design in _spread(run, rest, -(-(count - len(found)) // left)):
            found[design.id] = Chosen(design, SPREAD)
    return sorted(found.values(), key=lambda c: _place(c, fronts))


def _mark(run: Run, front: Sequence[StoredDesign], where: str, found: dict[str, Chosen]) -> None:
    """Add the landmarks of a front; a design that is one already keeps both reasons."""
    marks = landmarks([point(run, d) for d in front], objectives_of(run))
    for name, i in sorted(marks, key=lambda m: m[0] != "knee"):
        design, why = front[i], f"{name}{where}"
        if design.id in found:
            why = f"{found[design.id].why}, {why}"
        found[design.id] = Chosen(design, why)


def _spread(run: Run, designs: Sequence[StoredDesign], count: int) -> list[StoredDesign]:
    if count < 1 or not designs:
        return []
    values = goals([point(run, d) for d in designs], objectives_of(run))
    kept = spread(values, count)[:count] if len(designs) > count else np.arange(len(designs))
    return [designs[i] for i in kept.tolist()]


def _place(chosen: Chosen, fronts: dict[str, list[StoredDesign]]) -> tuple[int, int]:
    """Return where a design stands: number of its topology, number on its front."""
    topology = chosen.design.candidate.topology
    ids = [d.id for d in fronts[topology]]
    return list(fronts).index(topology), ids.index(chosen.design.id)
