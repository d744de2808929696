"""Who survives: feasible before infeasible, then rank, then share of the hypervolume."""

from __future__ import annotations

import heapq

import moocore
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from models.axes import Array
from optimizer.encode import Whole


def violation(margins: Array) -> Array:
    """Return the violation Σ ln(1 + excess) of every row, 0 exactly where all limits are met.

    The logarithm keeps one limit with huge numbers from outweighing all others, and
    yet tells far from farther.
    """
    total: Array = np.log1p(np.maximum(margins, 0.0)).sum(axis=1)
    return total


def excess_scale(margins: Array) -> Array:
    """Return the median excess over each limit among a random sample that violate it.

    Divided by it, every limit pulls alike, whatever the size of its numbers.  It is
    taken once, at the start: taken anew from each population, it would raise again
    every violation that the search has just brought down (measured: sixty limits were
    met in no run of four within 60,000 designs, against 12,000 to 16,000 with this).
    """
    found = np.ones(margins.shape[1])
    for j, column in enumerate(margins.T):
        over = column[column > 0.0]
        if over.size:
            found[j] = max(float(np.median(over)), 1e-9)
    return found


def ranks(objectives: Array) -> Whole:
    """Return the non-dominated rank of every row, 0 the best."""
    return np.asarray(moocore.pareto_rank(np.ascontiguousarray(objectives)), dtype=np.int64)


def crowding(objectives: Array, rank: Whole) -> Array:
    """Return the distance between the neighbours of the same rank, infinite at the ends."""
    n, m = objectives.shape
    total = np.zeros(n)
    for j in range(m):
        f = objectives[:, j]
        order = np.lexsort((f, rank))
        sorted_f, sorted_rank = f[order], rank[order]
        span = max(float(sorted_f.max() - sorted_f.min()), 1e-300)
        gap = np.full(n, np.inf)
        inner = sorted_rank[2:] == sorted_rank[:-2]
        gap[1:-1] = np.where(inner, (sorted_f[2:] - sorted_f[:-2]) / span, np.inf)
        total[order] += gap
    return total


def survivors(objectives: Array, violated: Array, count: int) -> Whole:
    """Return the numbers of the ``count`` best rows, feasible ones first."""
    feasible = np.flatnonzero(violated <= 0.0)
    if feasible.size <= count:
        rest = np.flatnonzero(violated > 0.0)
        near = rest[np.argsort(violated[rest], kind="stable")[: count - feasible.size]]
        return np.concatenate([feasible, near])
    rank = ranks(objectives[feasible])
    order = np.argsort(rank, kind="stable")
    last = rank[order[count - 1]]
    better = feasible[order[rank[order] < last]]
    tied = feasible[order[rank[order] == last]]
    kept = spread(objectives[tied], count - better.size)
    return np.concatenate([better, tied[kept]])


def spread(objectives: Array, count: int) -> Whole:
    """Return which ``count`` rows of one front to keep so that little hypervolume is lost.

    The row with the least own share goes first; the best in each objective always stay.
    """
    if len(objectives) <= count:
        return np.arange(len(objectives))
    if objectives.shape[1] == 2:
        return _spread_two(objectives, count)
    return _spread_many(objectives, count)


def _spread_two(objectives: Array, count: int) -> Whole:
    order = np.lexsort((objectives[:, 1], objectives[:, 0]))
    f, g = objectives[order, 0].tolist(), objectives[order, 1].tolist()
    n = len(f)
    before, after = list(range(-1, n - 1)), list(range(1, n + 1))
    alive = [True] * n
    share = [(f[i + 1] - f[i]) * (g[i - 1] - g[i]) for i in range(1, n - 1)]
    share = [np.inf, *share, np.inf]
    heap = [(share[i], i) for i in range(1, n - 1)]
    heapq.heapify(heap)
    left = n
    while left > max(count, 2) and heap:
        value, i = heapq.heappop(heap)
        if not alive[i] or value != share[i]:
            continue
        alive[i] = False
        left -= 1
        p, q = before[i], after[i]
        after[p], before[q] = q, p
        for k in (p, q):
            if 0 < k < n - 1:
                share[k] = (f[after[k]] - f[k]) * (g[before[k]] - g[k])
                heapq.heappush(heap, (share[k], k))
    return np.sort(order[np.flatnonzero(alive)[:count]])


def _spread_many(objectives: Array, count: int) -> Whole:
    """Drop part of what must go, again and again: shares change as rows leave."""
    kept = np.arange(len(objectives))
    lo, hi = objectives.min(axis=0), objectives.max(axis=0)
    unit = (objectives - lo) / np.maximum(hi - lo, 1e-300)
    # Contributions to the hypervolume of four objectives take seconds for a thousand
    # rows; the distance to the nearest other row does nearly as well.
    share = _own_volume if unit.shape[1] == 3 else _own_room
    ends = unit.argmin(axis=0)
    while kept.size > count:
        own = share(unit[kept])
        own[np.isin(kept, ends)] = np.inf
        drop = max(1, (kept.size - count + 1) // 2)
        kept = np.sort(kept[np.argsort(own, kind="stable")[drop:]])
    return kept


def _own_volume(unit: Array) -> Array:
    """Return the hypervolume that only each row covers."""
    return np.array(moocore.hv_contributions(unit, ref=np.full(unit.shape[1], 1.1)))


def _own_room(unit: Array) -> Array:
    """Return the distance to the nearest other row; of a close pair one counts as far."""
    found = cKDTree(unit).query(unit, k=2)
    distance, near = np.asarray(found[0]), np.asarray(found[1])
    row = np.arange(len(unit))
    other = np.where(near[:, 0] == row, near[:, 1], near[:, 0])
    spared = (other[other] == row) & (row < other)
    room: Array = np.where(spared, np.inf, distance[:, 1])
    return room


def tournament(rng: np.random.Generator, count: int, rank: Whole, distance: Array) -> Whole:
    """Return ``count`` parents: of two at random, the better rank or the lonelier one."""
    a, b = rng.integers(0, len(rank), (2, count))
    wins: NDArray[np.bool_] = (rank[a] < rank[b]) | (
        (rank[a] == rank[b]) & (distance[a] >= distance[b])
    )
    return np.where(wins, a, b)
