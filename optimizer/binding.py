"""What binds: the limits that the designs of a front use up, and the ends they run into."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import TypeAlias

import numpy as np

from models.case import Case
from optimizer.active import ACTIVE, AT_END, ActiveBound, ActiveLimit, Bounds, Limits, Scene
from optimizer.archive import Run, StoredDesign
from optimizer.figures_data import point
from optimizer.objectives import goals, landmarks, objectives_of
from optimizer.problem import CHUNK

MOST = 0.5  # share of a front from which a bound hints that its range is too narrow
RULE = (
    f"A limit is active from {100 * ACTIVE:.0f} % below it on, at its tightest operating point; "
    f"a variable stands at an end within {100 * AT_END:.0f} % of its range, or at its first or "
    "last level. Variables without effect on any result or limit of a design are left out."
)


@dataclasses.dataclass(frozen=True)
class DesignBindings:
    """What binds one design; ``part`` says in which part of its front it lies."""

    design: StoredDesign
    part: str
    limits: Limits
    bounds: Bounds


def bindings(
    run: Run, case: Case, topologies: Sequence[str] | None = None
) -> dict[str, tuple[DesignBindings, ...]]:
    """Return what binds every design of the front of every topology.

    Parameters
    ----------
    run : Run
        The run.
    case : Case
        Its case, as ``launch.stored_case`` makes it.
    topologies : Sequence of str, optional
        Only these.

    Raises
    ------
    RunError
        If this version knows a topology of the run not at all, or with other variables.
    """
    found = {}
    for topology in topologies or dict.fromkeys(c.topology for c in run.candidates):
        front = run.front_of(topology)
        found[topology] = tuple(_of_front(run, case, front, _parts(run, front)))
    return found


def design_bindings(run: Run, case: Case, design: StoredDesign) -> DesignBindings:
    """Return what binds one stored design, on a front or not."""
    front = run.front_of(design.candidate.topology)
    parts = dict(zip((d.id for d in front), _parts(run, front), strict=True))
    part = parts.get(design.id, "behind the front")
    return next(iter(_of_front(run, case, [design], [part])))


def _parts(run: Run, front: Sequence[StoredDesign]) -> list[str]:
    """Return of every design the nearest landmark of its front, scaled to its extent."""
    if not front:
        return []
    objectives = objectives_of(run)
    points = [point(run, d) for d in front]
    marks = landmarks(points, objectives)
    values = goals(points, objectives)
    unit = (values - values.min(axis=0)) / np.maximum(np.ptp(values, axis=0), 1e-300)
    apart = np.stack([((unit - unit[i]) ** 2).sum(axis=1) for _, i in marks])
    return [marks[k][0] for k in apart.argmin(axis=0)]


def _of_front(
    run: Run, case: Case, front: Sequence[StoredDesign], parts: Sequence[str]
) -> list[DesignBindings]:
    """Return what binds designs of one topology, in their order."""
    found: dict[int, DesignBindings] = {}
    for candidate in dict.fromkeys(d.candidate.number for d in front):
        mine = [i for i, d in enumerate(front) if d.candidate.number == candidate]
        scene = Scene(run, case, front[mine[0]].candidate)
        for start in range(0, len(mine), CHUNK):
            rows = mine[start : start + CHUNK]
            genes = np.stack([front[i].genes for i in rows])
            for i, (limits, bounds) in zip(rows, scene.binding(genes), strict=True):
                found[i] = DesignBindings(front[i], parts[i], limits, bounds)
    return [found[i] for i in range(len(front))]


@dataclasses.dataclass(frozen=True)
class Summary:
    """How much of a front one limit, pin or end of a range binds.

    ``share`` [1] of the designs of the front, ``by_part`` of those in each part of it;
    ``places`` are the paths that share this meaning, with their own shares.  ``at`` is
    the operating point that tightens the limit most often.
    """

    topology: str
    kind: str  # "limit", "pin", "range", "table"
    meaning: str
    places: Mapping[str, float]
    share: float
    by_part: Mapping[str, float]
    at: str
    hint: str
    end: str  # of a range, table or pinned variable
    natural: bool  # an end beyond which nothing lies: one piece is the fewest

    @property
    def title(self) -> str:
        """A few words for a bar or a line: the path that binds most often, how many more."""
        first = max(self.places, key=lambda path: self.places[path])
        more = f" and {len(self.places) - 1} more" if len(self.places) > 1 else ""
        return first + more + (f", {self.end}" if self.end else "")


def summary(found: Mapping[str, Sequence[DesignBindings]]) -> tuple[Summary, ...]:
    """Return what limits each topology, most widespread first: limits, pins, then ranges.

    Limits of one meaning count together: a design counts once, whichever part it is.
    """
    rows = []
    for topology, designs in found.items():
        groups = _groups(designs)
        mine = [_summary(topology, designs, key, hits) for key, hits in groups.items()]
        order = {"limit": 0, "pin": 1, "range": 2, "table": 3}
        rows += sorted(mine, key=lambda r: (order[r.kind], -r.share, r.meaning))
    return tuple(rows)


Hit: TypeAlias = tuple[int, ActiveLimit | ActiveBound]


def _groups(designs: Sequence[DesignBindings]) -> dict[tuple[str, str], list[Hit]]:
    """Return (number of the design, what binds it) by kind and meaning."""
    groups: dict[tuple[str, str], list[Hit]] = {}
    for i, design in enumerate(designs):
        for limit in design.limits:
            groups.setdefault((limit.kind, limit.meaning or limit.path), []).append((i, limit))
        for bound in design.bounds:
            groups.setdefault((bound.kind, f"{bound.path} {bound.end}"), []).append((i, bound))
    return groups


def _summary(
    topology: str, designs: Sequence[DesignBindings], key: tuple[str, str], hits: Sequence[Hit]
) -> Summary:
    parts = [d.part for d in designs]
    hit = sorted({i for i, _ in hits})
    share = len(hit) / len(designs)
    paths = [x.path for _, x in hits]
    first = hits[0][1]
    points = [x.at for _, x in hits if isinstance(x, ActiveLimit)]
    return Summary(
        topology,
        key[0],
        first.meaning or first.path,
        {p: paths.count(p) / len(designs) for p in sorted(set(paths), key=paths.index)},
        share,
        {
            part: sum(parts[i] == part for i in hit) / parts.count(part)
            for part in dict.fromkeys(parts)
        },
        max(dict.fromkeys(points), key=points.count, default=""),
        _hint(first, share) if isinstance(first, ActiveBound) else "",
        first.end if isinstance(first, ActiveBound) else "",
        isinstance(first, ActiveBound) and first.natural,
    )


def bound_words(bound: ActiveBound) -> str:
    """Return what an end is the end of."""
    if bound.kind == "pin":
        return f"set by the pin {' and '.join(bound.pins)}"
    if bound.natural:
        return "fewer cannot be"
    if bound.kind == "table":
        return f"{'first' if bound.end == 'lowest' else 'last'} row of its table"
    return f"{bound.end} of its range"


def _hint(bound: ActiveBound, share: float) -> str:
    """Return what an end that binds says of the range, in words."""
    words = f"{bound.value} {bound.unit}".rstrip() + f", {bound_words(bound)}"
    if share <= MOST or bound.natural or bound.kind == "pin":
        return words
    if bound.kind == "table":
        return f"{words}: the table may end too early, if its rows are in order"
    return f"{words}: the range may be too narrow"
