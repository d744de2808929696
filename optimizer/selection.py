"""Who survives: feasible before infeasible, then rank, then share of the hypervolume."""

from __future__ import annotations

import heapq

import moocore
import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.encode import Whole

# A margin counts at most this much: beyond it a design is simply far away, and one badly
# scaled limit must not outweigh all others.
MARGIN_CAP = 5.0


def violation(margins: Array, scale: Array | None = None) -> Array:
    """Return the summed violation (n,), 0 exactly where every margin is at or below zero.

    ``scale`` divides every limit; see ``violation_scale``.
    """
    over = np.minimum(np.maximum(margins, 0.0), MARGIN_CAP)
    total: Array = (over if scale is None else over / scale).sum(axis=1)
    return total


def violation_scale(margins: Array) -> Array:
    """Return the typical size of every violation among designs (n, limits).

    Dividing by it lets each violated limit pull alike, so that the search for a first
    feasible design is not led by whichever limit happens to have large numbers.
    """
    over = np.minimum(np.maximum(margins, 0.0), MARGIN_CAP)
    hits = np.maximum((over > 0.0).sum(axis=0), 1)
    return np.maximum(over.sum(axis=0) / hits, 1e-3)


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
    """Drop the lesser half of what must go, again and again: shares change as rows leave."""
    kept = np.arange(len(objectives))
    lo, hi = objectives.min(axis=0), objectives.max(axis=0)
    unit = (objectives - lo) / np.maximum(hi - lo, 1e-300)
    reference = np.full(unit.shape[1], 1.1)
    ends = unit.argmin(axis=0)
    while kept.size > count:
        share = np.asarray(moocore.hv_contributions(unit[kept], ref=reference))
        share[np.isin(kept, ends)] = np.inf
        drop = max(1, (kept.size - count + 1) // 2)
        kept = np.sort(kept[np.argsort(share, kind="stable")[drop:]])
    return kept


def tournament(rng: np.random.Generator, count: int, rank: Whole, distance: Array) -> Whole:
    """Return ``count`` parents: of two at random, the better rank or the lonelier one."""
    a, b = rng.integers(0, len(rank), (2, count))
    wins: NDArray[np.bool_] = (rank[a] < rank[b]) | (
        (rank[a] == rank[b]) & (distance[a] >= distance[b])
    )
    return np.where(wins, a, b)
