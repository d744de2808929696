"""Trials of absent levels: a small island that keeps one level of one discrete variable.

A whole section of a front can hang on one core or device that needs partners tuned anew.
Among designs that have theirs such a level never survives; by itself, compared with its
own kind only, it can show what it is worth.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from optimizer.encode import Kind
from optimizer.front import Front
from optimizer.operators import changed
from optimizer.problem import Problem
from optimizer.state import State, founded

PROBE_EVALUATIONS = 600  # given to every trial of an absent level
PROBE_LEVELS = 16  # whole numbers with more levels are not tried one by one
FIRST_PROBE = 1000  # island numbers of trials start here
MOST = 2000  # trials in all: their states are held in memory
SLOTS = 1 << 11  # of the table of designs made, for so short a life


def probe_ring(number: int, rings: int) -> int:
    """Return the ring that a trial belongs to by its island number."""
    return (number - FIRST_PROBE) % rings


def generator(seed: int, *place: int) -> np.random.Generator:
    """Return the random numbers of a place in the seed tree."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=place)))


def trials(
    fronts: Sequence[Front | None],
    problems: Sequence[Problem],
    *,
    count: int,
    seed: int,
    barrier: int,
    ring: int = 0,
    rings: int = 1,
) -> list[State]:
    """Return up to ``count`` islands, dealt out over the candidates that have a front.

    Parameters
    ----------
    fronts : Sequence of Front
        What the ring knows of every candidate; None where nothing shall be tried.
    problems : Sequence of Problem
        The candidates.
    count : int
        Most trials of the ring.
    seed, barrier : int
        Where in the seed tree.
    ring, rings : int
        The ring that the trials belong to, and how many there are.
    """
    queues = [
        _absent(front, problem, generator(seed, c, ring, barrier, 2))
        if front and front.size
        else []
        for c, (front, problem) in enumerate(zip(fronts, problems, strict=True))
    ]
    chosen: list[tuple[int, Front, int, int]] = []
    for place in range(max((len(q) for q in queues), default=0)):
        chosen += [
            (c, front, *queue[place])
            for c, (front, queue) in enumerate(zip(fronts, queues, strict=True))
            if front and place < len(queue)
        ]
    return [
        _trial(front, problems[c], gene, level, key=(seed, c, FIRST_PROBE + i * rings + ring))
        for i, (c, front, gene, level) in enumerate(chosen[:count])
    ]


def _absent(front: Front, problem: Problem, rng: np.random.Generator) -> list[tuple[int, int]]:
    """Return (gene, level) of what no design on the front has, names before numbers."""
    space = problem.space
    level = space.level(front.genes)
    found = []
    for gene in np.flatnonzero(space.levels > 1).tolist():
        numbers = space.kinds[gene] == Kind.WHOLE
        if numbers and space.levels[gene] > PROBE_LEVELS:
            continue
        here = set(level[:, gene].tolist())
        missing = [k for k in range(int(space.levels[gene])) if k not in here]
        found += [(bool(numbers), float(rng.random()), gene, k) for k in missing]
    return [(gene, k) for _, _, gene, k in sorted(found)]


def _trial(
    front: Front, problem: Problem, gene: int, level: int, *, key: tuple[int, int, int]
) -> State:
    rng = generator(*key)
    held = np.full(problem.space.size, np.nan)
    held[gene] = problem.space.centres[gene, level]
    start = front.genes[rng.permutation(front.size)[:24]]
    seeds = np.concatenate([start, changed(rng, problem.space, start)])
    return founded(key, problem, seeds, held, SLOTS)
