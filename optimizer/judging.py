"""What every structure was worth lately, and which are given up: successive halving.

A structure is judged over windows of evaluations rather than rounds, so that one which
got few designs in a round is not taken for one that stands still.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from models.axes import Array
from optimizer.budget import Groups, Settings
from optimizer.encode import Whole
from optimizer.front import Front, frame_of, lead
from optimizer.selection import spread

if TYPE_CHECKING:
    from optimizer.course import Course

STALE_WINDOWS = 3  # windows without hope before a structure may be given up
WINDOWS = 8  # in the patience that a structure is owed
STILL = 1e-3  # a hypervolume that moved less stands still
THIN = 300  # designs of a front that comparisons look at
NEAR = 0.05  # [extents of the common front] behind it: half as near
EVERYWHERE = 1e9  # lead over a structure that has no design at all


@dataclasses.dataclass(frozen=True)
class Marks:
    """What stood when the window under way began; candidates first, then topologies."""

    fronts: tuple[Array, ...]  # objectives
    evaluations: Whole

    @staticmethod
    def empty(count: int, objectives: int) -> Marks:
        """Return the marks before anything was evaluated."""
        nothing = np.zeros((0, objectives))
        return Marks((nothing,) * count, np.zeros(count, dtype=np.int64))


@dataclasses.dataclass(frozen=True)
class Shedding:
    """Why a structure was given up."""

    candidate: int
    barrier: int
    evaluations: int
    hypervolume: float  # in the frame of its topology's front
    moved: float  # relative gain of it over the last window
    rival: int  # the structure that dominates it most
    lead: float  # [extents] by which its rivals dominate even its luckiest design

    def row(self) -> Array:
        """Return it as numbers."""
        return np.array(dataclasses.astuple(self), dtype=float)


def sheddings(rows: Array) -> tuple[Shedding, ...]:
    """Return what ``Shedding.row`` gave."""
    return tuple(
        Shedding(int(c), int(barrier), int(n), hv, moved, int(rival), ahead)
        for c, barrier, n, hv, moved, rival, ahead in rows.tolist()
    )


def thinned(objectives: Array) -> Array:
    """Return up to ``THIN`` rows of a front that lose little of its hypervolume."""
    return objectives[spread(objectives, THIN)]


def union(fronts: Sequence[Array]) -> Array:
    """Return the thinned non-dominated rows of several fronts."""
    every = np.concatenate(fronts)
    if not len(every):
        return every
    blank = np.zeros((len(every), 0))
    front = Front.empty(0, every.shape[1], 0)
    return thinned(front.merged(Front(blank, every, blank), len(every))[0].objectives)


def relative_gain(before: Array, after: Array, among: Array | None = None) -> float:
    """Return the share of the hypervolume that came anew.

    It is taken in the frame of both fronts together, or of the front ``among``.
    """
    if not len(after):
        return 0.0
    frame = frame_of(np.concatenate([before, after]) if among is None else among)
    now = frame.hypervolume(after) if frame else 0.0
    if frame is None or now <= 0.0:
        return 0.0
    return max((now - frame.hypervolume(before)) / now, 0.0)


def judged(course: Course, groups: Groups, settings: Settings) -> Course:
    """Return the course with merits, marks and without structures past hope."""
    n = len(course.fronts)
    fronts = [f.objectives for f in course.fronts]
    unions = [union([fronts[c] for c in groups.members(t)]) for t in range(len(groups.names))]
    spent = np.concatenate(
        [course.evaluations, np.bincount(groups.of, course.evaluations).astype(np.int64)]
    )
    window = settings.patience(n) / WINDOWS
    due = spent - course.marks.evaluations >= window
    current = [*fronts, *unions]
    marks, merits, stale = list(course.marks.fronts), course.merits.copy(), course.stale.copy()
    for k in np.flatnonzero(due).tolist():
        now = thinned(current[k])
        gain = relative_gain(marks[k], now)
        merits[k, 0] = gain / max(int(spent[k] - course.marks.evaluations[k]), 1)
        merits[k, 2] = gain
        if k < n:
            rivals = [r for r in groups.members(int(groups.of[k])) if r != k and course.live[r]]
            merits[k, 2] = relative_gain(marks[k], now, unions[groups.of[k]])
            # The last windows of its patience may count already, those before say little.
            old = spent[k] >= settings.patience(n) * (1.0 - STALE_WINDOWS / WINDOWS)
            idle = old and hopeless(
                now, marks[k], [fronts[r] for r in rivals], float(merits[k, 2])
            )
            stale[k] = stale[k] + 1 if idle else 0
        marks[k] = now
    merits[:, 1] = _nearness(fronts, unions, groups)
    made = dataclasses.replace(
        course,
        merits=merits,
        stale=stale,
        marks=Marks(tuple(marks), np.where(due, spent, course.marks.evaluations).astype(np.int64)),
    )
    for t in range(len(groups.names)):
        made = _halved(made, groups.members(t), t, unions[t], settings)
    return made


def hopeless(own: Array, before: Array, rivals: Sequence[Array], moved: float) -> bool:
    """Return whether a structure did nothing lately that another cannot do better.

    True where its hypervolume stands still and other structures of its topology dominate
    every design of its front by more than it can make up at its pace; also where it has
    no feasible design while another has.

    Parameters
    ----------
    own : Array
        Objectives of its front.
    before : Array
        The same when the window began.
    rivals : Sequence of Array
        Objectives of the live structures of the same topology, without itself.
    moved : float
        Relative gain of its hypervolume over the window, in its topology's frame.
    """
    better = [f for f in rivals if len(f)]
    if not better:
        return False
    if not len(own):
        return True
    if moved >= STILL:
        return False
    extent = _extent([own, *better])
    return lead(union(better), own, extent) > STALE_WINDOWS * _pace(own, before, extent)


def _pace(own: Array, before: Array, extent: Array) -> float:
    """Return by how much, in extents, the middle one of the designs of before was bettered."""
    if not len(before):
        return EVERYWHERE
    ahead = ((before[:, None, :] - own[None, :, :]) / extent).min(axis=2).max(axis=1)
    return max(float(np.median(ahead)), 0.0)


def _extent(fronts: Sequence[Array]) -> Array:
    frame = frame_of(np.concatenate(fronts))
    return frame.extent if frame else np.ones(fronts[0].shape[1])


def _nearness(fronts: Sequence[Array], unions: Sequence[Array], groups: Groups) -> Array:
    """Return how near every front comes: candidates to their topology's, that to all."""
    best = union(unions)
    whole = [_near(best, u) for u in unions]
    return np.array([_near(unions[t], f) for t, f in zip(groups.of, fronts, strict=True)] + whole)


def _near(best: Array, own: Array) -> float:
    if not len(own):
        return 0.0
    behind = lead(best, own[:: max(1, -(-len(own) // 60))], _extent([best]))
    return 1.0 / (1.0 + max(behind, 0.0) / NEAR)


def _halved(
    course: Course, members: list[int], topology: int, best: Array, settings: Settings
) -> Course:
    """Return the course after a topology has given up structures past hope.

    At most half of those alive go on a rung, the farthest behind first; the next rung
    comes when those left have had twice as much each.
    """
    live = [c for c in members if course.live[c]]
    rung, quota = course.rungs[topology].tolist()
    each = float(course.evaluations[live].mean()) / settings.patience(len(course.fronts))
    reached = int(np.floor(np.log2(each))) + 1 if each >= 1.0 else 0
    if reached > rung:
        rung, quota = reached, len(live) // 2
    given: list[Shedding] = []
    frame = frame_of(best)
    for c in live if quota and frame else []:
        young = course.evaluations[c] < settings.patience(len(course.fronts))
        if young or course.stale[c] < STALE_WINDOWS:
            continue
        others = [r for r in live if r != c and course.fronts[r].size]
        own = course.fronts[c].objectives
        rival, ahead = _rival(own, [course.fronts[r].objectives for r in others])
        given.append(
            Shedding(
                c, course.barrier, int(course.evaluations[c]),
                frame.hypervolume(own) if frame else 0.0,
                float(course.merits[c, 2]), others[rival], ahead,
            )
        )  # fmt: skip
    given = sorted(given, key=lambda s: (-s.lead, -s.evaluations, s.candidate))[:quota]
    alive = course.live.copy()
    alive[[s.candidate for s in given]] = False
    rungs = course.rungs.copy()
    rungs[topology] = rung, quota - len(given)
    rows = [course.shed, *(s.row()[None] for s in given)]
    return dataclasses.replace(course, live=alive, rungs=rungs, shed=np.concatenate(rows))


def _rival(own: Array, others: Sequence[Array]) -> tuple[int, float]:
    """Return which other front dominates most of it, and the lead of all together."""
    if not len(own):
        return 0, EVERYWHERE
    extent = _extent([own, *others])
    thin = thinned(own)
    alone = [lead(thinned(f), thin, extent) for f in others]
    return int(np.argmax(alone)), lead(union(others), thin, extent)
