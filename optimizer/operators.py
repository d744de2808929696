"""How new designs are made from old ones: seven operators and what shares them out.

All work on rows of genes and draw a number of random values that depends on shapes only.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.encode import Kind, Space, Whole
from optimizer.selection import crowding, tournament

OPERATORS = ("cross", "difference", "toward", "line", "block", "one", "two")
CROSS_INDEX = 10.0  # distribution index of the simulated binary crossover
MUTATION_INDEX = 20.0  # of the polynomial mutation
NEIGHBOUR_SHARE = 0.7  # of matings that take a neighbour along the front
WINDOW = 0.05  # half width of that neighbourhood, share of the population


@dataclasses.dataclass(frozen=True)
class Pool:
    """The parents of one generation, and the parts (blocks, genes) of each if known."""

    genes: Array
    objectives: Array
    rank: Whole
    blocks: NDArray[np.bool_] | None = None


def sample(rng: np.random.Generator, space: Space, count: int) -> Array:
    """Return designs spread evenly at random."""
    return space.snapped(rng.random((count, space.size)))


def propose(
    rng: np.random.Generator, space: Space, pool: Pool, count: int, weights: Array
) -> tuple[Array, Whole]:
    """Return ``count`` new designs and the number of the operator that made each."""
    distance = crowding(pool.objectives, pool.rank)
    a, b = tournament(rng, 2 * count, pool.rank, distance).reshape(2, count)
    n = len(pool.genes)
    order = np.argsort(pool.objectives[:, rng.integers(pool.objectives.shape[1])], kind="stable")
    position = np.empty(n, dtype=np.int64)
    position[order] = np.arange(n)
    width = max(2, int(n * WINDOW))
    near = _nearby(rng, order, position[a], width)
    b = np.where(rng.random(count) < NEIGHBOUR_SHARE, near, b)
    thirds = np.stack([_nearby(rng, order, position[a], 3 * width) for _ in range(3)])
    operator = rng.choice(len(OPERATORS), count, p=weights)
    made = pool.genes[a]
    for k, name in enumerate(OPERATORS):
        s = np.flatnonzero(operator == k)
        if s.size:
            others = [pool.genes[t[s]] for t in thirds]
            one, two = pool.genes[a[s]], pool.genes[b[s]]
            if name == "block" and pool.blocks is not None:
                made[s] = mutated(rng, space, _parts(rng, pool.blocks, one, two), 0.5 / space.size)
            else:
                made[s] = _apply(rng, space, name, one, two, others)
    return space.snapped(made), operator


def _nearby(rng: np.random.Generator, order: Whole, at: Whole, width: int) -> Whole:
    step = rng.integers(-width, width + 1, at.size)
    return order[np.clip(at + step, 0, len(order) - 1)]


def _apply(
    rng: np.random.Generator, space: Space, name: str, a: Array, b: Array, others: list[Array]
) -> Array:
    half = 0.5 / space.size
    if name == "cross":
        return mutated(rng, space, _cross(rng, space, a, b), 1.0 / space.size)
    if name == "difference":
        return difference(rng, space, a, *others)
    if name == "toward":
        return difference(rng, space, a, b, *others[1:])
    if name == "line":
        return mutated(rng, space, _line(rng, space, a, b), half)
    if name == "block":
        return mutated(rng, space, _block(rng, space, a, b), half)
    if name == "one":
        return changed(rng, space, a)
    return changed(rng, space, changed(rng, space, a))


def _cross(rng: np.random.Generator, space: Space, a: Array, b: Array) -> Array:
    """Return the simulated binary crossover; whole numbers move too, names are exchanged.

    Source
    ------
    K. Deb and R. B. Agrawal, "Simulated binary crossover for continuous search space",
    Complex Systems 9, 1995 (from memory).
    """
    u, take = rng.random((2, *a.shape))
    low = u <= 0.5
    base = np.where(low, 2.0 * u, 1.0 / (2.0 * np.maximum(1.0 - u, 1e-12)))
    beta = base ** (1.0 / (CROSS_INDEX + 1.0))
    blended = np.where(take < 0.5, 0.5 * ((1.0 + beta) * a + (1.0 - beta) * b), a)
    return np.where(space.kinds >= Kind.ROW, np.where(take < 0.5, a, b), blended)


def difference(
    rng: np.random.Generator, space: Space, a: Array, base: Array, one: Array, two: Array
) -> Array:
    """Return the differential variation of ``base``, crossed into ``a``.

    Source
    ------
    R. Storn and K. Price, "Differential evolution", J. Global Optimization 11, 1997.
    """
    n, v = a.shape
    factor = rng.uniform(0.2, 0.9, (n, 1))
    pick, take = rng.random((2, n, v))
    moved = base + factor * (one - two)
    moved = np.where(space.kinds >= Kind.ROW, np.where(pick < 0.5, base, one), moved)
    mask = take < 0.5
    mask[np.arange(n), rng.integers(0, v, n)] = True
    return np.where(mask, moved, a)


def _line(rng: np.random.Generator, space: Space, a: Array, b: Array) -> Array:
    """Step from ``a`` along the line to ``b``, with a little noise beside it."""
    n, v = a.shape
    along = 0.2 * rng.standard_normal((n, 1))
    noise = 0.01 * rng.standard_normal((n, v))
    pick, swap = rng.random((2, n, v))
    moved = a + np.where(pick < 0.3, noise, 0.0) + along * (b - a)
    return np.where(space.real, moved, np.where(swap < 0.15, b, a))


def _block(rng: np.random.Generator, space: Space, a: Array, b: Array) -> Array:
    """Take whole stages from either parent: what is tuned together stays together."""
    stage = rng.random((len(a), int(space.groups.max(initial=0)) + 1)) < 0.5
    return np.where(stage[:, space.groups], b, a)


def _parts(rng: np.random.Generator, blocks: NDArray[np.bool_], a: Array, b: Array) -> Array:
    """Take some parts or stages, few or many, from the second parent.

    Measured on two converters, 5,000 evaluations after the first feasible design: 5 and
    25 % more hypervolume than whole stages only.
    """
    share = 0.5 * rng.random((len(a), 1))
    take = rng.random((len(a), len(blocks))) < share
    return np.where(take @ blocks, b, a)


def mutated(rng: np.random.Generator, space: Space, genes: Array, rate: float) -> Array:
    """Return genes each changed a little with probability ``rate``."""
    row, column = np.nonzero(rng.random(genes.shape) < rate)
    u = rng.random(row.size)
    power = 1.0 / (MUTATION_INDEX + 1.0)
    step = np.where(
        u < 0.5, (2.0 * u) ** power - 1.0, 1.0 - (2.0 * np.maximum(1.0 - u, 1e-12)) ** power
    )
    made = genes.copy()
    made[row, column] = moved(rng, space, genes, row, column, step)
    return made


def changed(rng: np.random.Generator, space: Space, genes: Array) -> Array:
    """Return genes with one of each row changed, by steps from tiny to a third of the range."""
    n = len(genes)
    row = np.arange(n)
    column = (
        space.free[rng.integers(0, max(space.free.size, 1), n)] if space.free.size else row * 0
    )
    sign = np.where(rng.random(n) < 0.5, -1.0, 1.0)
    step = sign * 10.0 ** rng.uniform(-4.0, -0.5, n)
    made = genes.copy()
    made[row, column] = moved(rng, space, genes, row, column, step)
    return made


def moved(
    rng: np.random.Generator, space: Space, genes: Array, row: Whole, column: Whole, step: Array
) -> Array:
    """Return new values of single genes: reals by ``step``, levels by a few or to any."""
    x = genes[row, column]
    kind, count = space.kinds[column], np.maximum(space.levels[column], 1)
    sign = np.where(rng.random(row.size) < 0.5, -1, 1)
    hop = sign * rng.geometric(0.55, row.size)
    anywhere = np.floor(rng.random(row.size) * count).astype(np.int64)
    share = np.array([0.0, 0.15, 0.5, 1.0])[kind]
    level = space.level(genes)[row, column]
    near = np.clip(level + hop, 0, count - 1)
    to = np.where(rng.random(row.size) < share, anywhere, near)
    return np.where(space.real[column], x + step, space.centres[column, to])


def operator_weights(credit: Array) -> Array:
    """Return the shares of the operators from (successes, trials), never below a floor.

    Each keeps at least 40 % of an equal share, so that none dies out for good.
    """
    worth = credit[0] / credit[1]
    floor = 0.4 / worth.size
    weights = floor + (1.0 - 0.4) * worth / worth.sum()
    total: Array = weights / weights.sum()
    return total


_MULTIPLIERS = np.random.default_rng(99).integers(1, 2**63, 4096).astype(np.uint64) | np.uint64(1)


def row_hashes(genes: Array) -> NDArray[np.uint64]:
    """Return a 64-bit hash of every row; equal rows have equal hashes."""
    bits = np.ascontiguousarray(genes).view(np.uint64)
    mixed = bits ^ (bits >> np.uint64(29))
    total = (mixed * _MULTIPLIERS[: bits.shape[1]]).sum(axis=1, dtype=np.uint64)
    total = (total ^ (total >> np.uint64(32))) * _MULTIPLIERS[-1]
    hashed: NDArray[np.uint64] = total ^ (total >> np.uint64(29))
    return hashed


def unseen(seen: NDArray[np.uint32], genes: Array) -> NDArray[np.bool_]:
    """Return which rows were not made lately, and remember them in ``seen``.

    The table is direct-mapped: a new design overwrites the old one in its slot, so memory
    is bounded and a design is made again only long after.  A new design is taken for a
    seen one once in 2³² at most.
    """
    hashed = row_hashes(genes)
    slot = (hashed & np.uint64(seen.size - 1)).astype(np.int64)
    tag = (hashed >> np.uint64(32)).astype(np.uint32) | np.uint32(1)
    fresh = seen[slot] != tag
    first = np.zeros(len(genes), dtype=bool)
    first[np.unique(hashed, return_index=True)[1]] = True
    seen[slot] = tag
    return fresh & first
