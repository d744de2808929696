"""Non-dominated archives: exact for two objectives, on a grid of boxes for three and four."""

from __future__ import annotations

import dataclasses

import moocore
import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.selection import spread

# Boxes a side of the grid that thins archives of three and four objectives: designs
# closer than a two-hundredth of the front's extent are the same to an engineer.
BOXES = 200


@dataclasses.dataclass(frozen=True)
class Front:
    """Mutually non-dominated designs, sorted by the first objective."""

    genes: Array
    objectives: Array
    columns: Array

    @staticmethod
    def empty(genes: int, objectives: int, columns: int) -> Front:
        """Return a front without designs."""
        return Front(np.zeros((0, genes)), np.zeros((0, objectives)), np.zeros((0, columns)))

    @property
    def size(self) -> int:
        """Number of designs."""
        return len(self.objectives)

    def at(self, index: Array | NDArray[np.int64] | NDArray[np.bool_]) -> Front:
        """Return the designs at ``index``."""
        return Front(self.genes[index], self.objectives[index], self.columns[index])

    def merged(self, other: Front, limit: int) -> tuple[Front, NDArray[np.bool_]]:
        """Return the front of both together, and which designs of ``other`` got in.

        Of equal designs the one that was there first stays.  Past ``limit`` designs the
        front is thinned to three quarters of it, least share of the hypervolume first.
        """
        passed = np.flatnonzero(self._may_enter(other.objectives))
        if not passed.size:
            return self, np.zeros(other.size, dtype=bool)
        fresh = other.at(passed)
        both = np.concatenate([self.objectives, fresh.objectives])
        order = self._kept(both)
        joined = Front(
            np.concatenate([self.genes, fresh.genes])[order],
            both[order],
            np.concatenate([self.columns, fresh.columns])[order],
        )
        entered = np.zeros(other.size, dtype=bool)
        entered[passed[order[order >= self.size] - self.size]] = True
        if joined.size > limit:
            joined = joined.at(spread(joined.objectives, 3 * limit // 4))
        return joined, entered

    def _may_enter(self, objectives: Array) -> NDArray[np.bool_]:
        """Return which rows no member of this sorted two-objective front dominates."""
        if objectives.shape[1] != 2 or not self.size:
            return np.ones(len(objectives), dtype=bool)
        left = np.searchsorted(self.objectives[:, 0], objectives[:, 0], side="right") - 1
        ahead = self.objectives[np.maximum(left, 0), 1]
        found: NDArray[np.bool_] = (left < 0) | (objectives[:, 1] < ahead)
        return found

    @staticmethod
    def _kept(objectives: Array) -> NDArray[np.int64]:
        if objectives.shape[1] == 2:
            return staircase(objectives)
        return _boxed(objectives)


def staircase(objectives: Array) -> NDArray[np.int64]:
    """Return the non-dominated rows of two objectives, sorted; of equal rows the first."""
    order = np.lexsort((objectives[:, 1], objectives[:, 0]))
    second = objectives[order, 1]
    keep = np.ones(len(order), dtype=bool)
    keep[1:] = second[1:] < np.minimum.accumulate(second)[:-1]
    return order[keep]


def _boxed(objectives: Array) -> NDArray[np.int64]:
    """Return non-dominated rows, at most one in a box, the best of each objective always."""
    keep = np.flatnonzero(moocore.is_nondominated(np.ascontiguousarray(objectives)))
    f = objectives[keep]
    lo, hi = f.min(axis=0), f.max(axis=0)
    unit = (f - lo) / np.maximum(hi - lo, 1e-300) * BOXES
    box = np.floor(unit)
    corner = (unit - box).sum(axis=1)
    corner[f.argmin(axis=0)] = -1.0
    order = np.lexsort((corner, *box.T))
    first = np.ones(len(order), dtype=bool)
    first[1:] = (box[order][1:] != box[order][:-1]).any(axis=1)
    ends = np.isin(order, f.argmin(axis=0))
    kept = order[first | ends]
    return keep[kept[np.lexsort((f[kept, 1], f[kept, 0]))]]


def common(fronts: list[Front]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return (front number, row) of every design that no design of any front dominates."""
    filled = [i for i, f in enumerate(fronts) if f.size]
    if not filled:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    owner = np.concatenate([np.full(fronts[i].size, i, dtype=np.int64) for i in filled])
    row = np.concatenate([np.arange(fronts[i].size, dtype=np.int64) for i in filled])
    every = np.concatenate([fronts[i].objectives for i in filled])
    keep = moocore.is_nondominated(np.ascontiguousarray(every))
    return owner[keep], row[keep]


@dataclasses.dataclass(frozen=True)
class Frame:
    """The rectangle in which hypervolumes are taken: best corner and extent."""

    best: Array
    extent: Array

    def hypervolume(self, objectives: Array) -> float:
        """Return the hypervolume [1] up to 1.1 extents; 1.21 would be perfect for two."""
        unit = (objectives - self.best) / self.extent
        inside = unit[(unit < 1.1).all(axis=1)]
        if not len(inside):
            return 0.0
        return float(moocore.hypervolume(inside, ref=np.full(unit.shape[1], 1.1)))


def frame_of(objectives: Array) -> Frame | None:
    """Return the frame that the non-dominated of ``objectives`` span; None without any."""
    if not len(objectives):
        return None
    f = objectives[moocore.is_nondominated(np.ascontiguousarray(objectives))]
    lo, hi = f.min(axis=0), f.max(axis=0)
    # A front of one point spans nothing: fall back on the spread of all, then on 1.
    wide = np.where(hi > lo, hi - lo, objectives.max(axis=0) - lo)
    return Frame(lo, np.where(wide > 0.0, wide, 1.0))


def lead(ahead: Array, behind: Array, extent: Array) -> float:
    """Return by how much, in extents, ``ahead`` dominates the luckiest of ``behind``.

    The largest ε so that every row of ``behind``, bettered by ε in all objectives, is
    still dominated; negative where a row of it stands in front.
    """
    gap = (behind[:, None, :] - ahead[None, :, :]) / extent
    return float(gap.min(axis=2).max(axis=1).min())
