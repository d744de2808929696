"""Evidence that a sweep has found what there is: movement, agreement of seeds, distances.

Everything follows from the states of the islands at a barrier, in frames that hold for
both sides of a comparison.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING

import moocore
import numpy as np

from models.axes import Array
from optimizer.budget import Groups, Layout, Settings
from optimizer.front import frame_of, lead
from optimizer.judging import relative_gain, union
from optimizer.trials import probe_ring

if TYPE_CHECKING:
    from optimizer.course import Course

STILL = 1e-3  # relative movement over the last third that counts as none
AGREED = 5e-3  # of the hypervolume, that a seed may miss of what all have found
SETTLED = 1.1  # evaluations since the trials, relative, before convergence counts
SNAPSHOTS = 60  # fronts kept along the way, at least, in a sweep that passes more barriers
UNKNOWN = -1.0  # stands for what cannot be told yet


@dataclasses.dataclass(frozen=True)
class Evidence:
    """What speaks for the front of a topology, or for the common front.

    ``moved`` is the share of its hypervolume that came in the last third of the
    evaluations; ``disagreement`` the share that the poorest of several independent seeds
    misses of what all have found.  None where it cannot be told.
    """

    topology: str
    hypervolume: float  # in the frame of the common front
    moved: float | None
    disagreement: float | None
    designs: int
    share: float  # of all designs
    guaranteed: float  # share of every round, first and trials aside, that is always its own

    @property
    def still(self) -> bool:
        """True where more evaluations by the same seed promise little."""
        return self.moved is not None and self.moved < STILL

    @property
    def agree(self) -> bool | None:
        """True where independent seeds found the same; None where there is one only."""
        return None if self.disagreement is None else self.disagreement < AGREED


@dataclasses.dataclass(frozen=True)
class Dominated:
    """A topology of which others better every design, and by how much.

    ``gaps`` are (objective, least gap, middle gap): what it is behind in that objective
    among designs at least as good in all others; ``distance`` the least lead over it in
    extents of the common front.
    """

    topology: str
    distance: float
    gaps: tuple[tuple[str, float, float], ...]


def snapshot(fronts: Sequence[Array], groups: Groups) -> Array:
    """Return rows (topology, objectives …) of the fronts of all topologies, thinned."""
    rows = []
    for t in range(len(groups.names)):
        front = union([fronts[c] for c in groups.members(t)])
        rows.append(np.concatenate([np.full((len(front), 1), float(t)), front], axis=1))
    return np.concatenate(rows)


def with_snapshot(course: Course, groups: Groups) -> Course:
    """Return the course with the fronts of this barrier; fewer are kept as they grow many."""
    if course.barrier % course.spacing:
        return course
    rows = snapshot([f.objectives for f in course.fronts], groups)
    kept = [*course.snapshots, (course.barrier, int(course.evaluations.sum()), rows)]
    spacing = course.spacing
    if len(kept) > 2 * SNAPSHOTS:
        spacing *= 2
        kept = [s for s in kept if s[0] % spacing == 0]
    return dataclasses.replace(course, snapshots=kept, spacing=spacing)


def measured(course: Course, groups: Groups, layout: Layout) -> Array:
    """Return (topologies + 1, 3): hypervolume, movement, disagreement; the last for all."""
    every = [f.objectives for f in course.fronts]
    count = len(groups.names)
    now = snapshot(every, groups)
    total = int(course.counts()[:, 0].sum())
    early = [rows for _, evaluations, rows in course.snapshots if 3 * evaluations <= 2 * total]
    rings = [
        snapshot(_ring(course, ring, layout), groups)
        for ring in range(layout.rings if layout.rings > 1 else 0)
    ]
    frame = frame_of(now[:, 1:])
    found = np.full((count + 1, 3), UNKNOWN)
    for t in range(count + 1):
        front = _of(now, t, count)
        found[t, 0] = frame.hypervolume(front) if frame else 0.0
        if early:
            found[t, 1] = relative_gain(_of(early[-1], t, count), front)
        if rings:
            found[t, 2] = disagreement([_of(r, t, count) for r in rings])
    return found


def _ring(course: Course, ring: int, layout: Layout) -> list[Array]:
    """Return what the islands of one ring know of every candidate."""
    found: list[list[Array]] = [[f.objectives[:0]] for f in course.fronts]
    for i, state in enumerate(course.states):
        number = int(state.key[2])
        probe = course.is_probe(i)
        if ring == (probe_ring(number, layout.rings) if probe else layout.ring(number)):
            found[course.owner(i)].append(state.front_objectives)
    return [np.concatenate(rows) for rows in found]


def _of(rows: Array, topology: int, count: int) -> Array:
    """Return the front of one topology among rows of a snapshot; of all behind the last."""
    if topology < count:
        return rows[rows[:, 0] == topology, 1:]
    return union([rows[:, 1:]])


def disagreement(fronts: Sequence[Array]) -> float:
    """Return the share of the common hypervolume that the poorest front misses.

    Two fronts of equal hypervolume that cover different sections disagree too.
    """
    together = union(fronts)
    frame = frame_of(together)
    if frame is None:
        return 0.0
    whole = frame.hypervolume(together)
    return max(1.0 - min(frame.hypervolume(f) for f in fronts) / whole, 0.0)


def quiet(course: Course, settings: Settings) -> bool:
    """Return whether nothing moves any more and independent seeds agree."""
    n = len(course.fronts)
    if not settings.converge or settings.layout(n).rings < 2:
        return False
    total = int(course.evaluations.sum())
    moved, apart = course.evidence[:, 1], course.evidence[:, 2]
    return bool(
        total >= n * max(settings.least, settings.first(n))
        and course.evidence[-1, 0] > 0.0
        and (moved != UNKNOWN).all()
        and (moved < STILL).all()
        and (apart < AGREED).all()
    )


def converged(course: Course, settings: Settings) -> bool:
    """Return whether the sweep may end: quiet, and still so after the trials of levels."""
    under_way = any(course.is_probe(i) for i in range(len(course.states)))
    total = int(course.evaluations.sum())
    tried = course.tried > 0 and total >= SETTLED * course.tried
    return tried and not under_way and quiet(course, settings)


def evidence(course: Course, groups: Groups) -> tuple[Evidence, ...]:
    """Return the evidence for every topology that has a front, then for the common front."""
    found = []
    designs = np.bincount(groups.of, course.counts()[:, 0]).astype(np.int64)
    total = int(designs.sum())
    count = len(groups.names)
    for t, (hypervolume, moved, apart) in enumerate(course.evidence.tolist()):
        mine = int(designs[t]) if t < count else total
        found.append(
            Evidence(
                groups.names[t] if t < count else "",
                hypervolume,
                None if moved == UNKNOWN else moved,
                None if apart == UNKNOWN else apart,
                mine,
                mine / max(total, 1),
                0.5 / count if t < count else 1.0,
            )
        )
    return tuple(found)


def dominated(
    fronts: Sequence[Array], groups: Groups, names: Sequence[str]
) -> tuple[Dominated, ...]:
    """Return the topologies that others better everywhere, with the distance.

    Parameters
    ----------
    fronts : Sequence of Array
        Objectives of the front of every candidate.
    groups : Groups
        The topologies.
    names : Sequence of str
        Names of the objectives.
    """
    unions = [union([fronts[c] for c in groups.members(t)]) for t in range(len(groups.names))]
    frame = frame_of(union(unions))
    found = []
    for t, own in enumerate(unions):
        others = union([u for k, u in enumerate(unions) if k != t] or [own[:0]])
        if frame is None or not len(own) or not len(others) or _foremost(fronts, groups, t):
            continue
        distance = lead(others, own, frame.extent)
        if distance > 0.0:
            gaps = tuple((name, *_gap(own, others, k)) for k, name in enumerate(names))
            found.append(Dominated(groups.names[t], distance, gaps))
    return tuple(found)


def _foremost(fronts: Sequence[Array], groups: Groups, topology: int) -> bool:
    """Return whether a topology has a design that none dominates, all designs looked at."""
    owner = np.repeat(groups.of, [len(f) for f in fronts])
    every = np.ascontiguousarray(np.concatenate(fronts))
    return bool((owner[moocore.is_nondominated(every)] == topology).any())


def _gap(own: Array, others: Array, objective: int) -> tuple[float, float]:
    """Return the least and the middle gap in one objective at no worse others."""
    rest = [k for k in range(own.shape[1]) if k != objective]
    fits = (others[None, :, rest] <= own[:, None, rest]).all(axis=2)
    gap = own[:, None, objective] - others[None, :, objective]
    most = np.where(fits, gap, -np.inf).max(axis=1)
    return float(most.min()), float(np.median(most))
