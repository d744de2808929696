"""Who gets how many evaluations in a round, and how a budget sets sizes."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.encode import Whole
from optimizer.problem import CHUNK, Problem
from optimizer.state import SEEN, Tuning

# Evaluations in all and of a candidate that pay two rings.  On a flyback structure two left
# 0.79 and 0.94 of the hypervolume of one with 120,000 and 250,000, and did not agree yet.
RINGS_FROM = (1_000_000, 250_000)
FIRST_MOST = 25_000  # evaluations: no more go out to a candidate before merit counts
PATIENCE = 0.5  # of an equal share of the evaluations, before a structure may be given up …
PATIENCE_MOST = 50_000  # … and no more: there the search stood within 1 % when measured
# Evaluations to look alone, where an island has that many in all.  A first feasible design
# takes about 2,000; with 5,000 an island looking alone left 0.11 of the best hypervolume known
# and looking in turns 0.00 (two flyback structures, six seeds, medians).
OWN, OWN_FROM = 3_000, 4_000
RELAXED_SHARE = 0.45  # of the evaluations of an island pass before all its limits are strict
ROUND_LEAST = 50_000  # evaluations that are worth a barrier of a large sweep


@dataclasses.dataclass(frozen=True)
class Layout:
    """How the islands of a candidate are split into rings that never exchange anything."""

    rings: int
    size: int  # islands of a ring

    @property
    def islands(self) -> int:
        """Islands of a candidate."""
        return self.rings * self.size

    def ring(self, number: int) -> int:
        """Return the ring of an island by its number."""
        return number // self.size

    def next(self, number: int) -> int:
        """Return the number of the next island in the ring."""
        return self.ring(number) * self.size + (number + 1) % self.size


@dataclasses.dataclass(frozen=True)
class Groups:
    """The topologies of a sweep and whose each candidate is."""

    names: tuple[str, ...]
    of: Whole  # topology number of every candidate

    @staticmethod
    def by(problems: Sequence[Problem]) -> Groups:
        """Return the topologies in the order in which they come."""
        names = tuple(dict.fromkeys(p.topology for p in problems))
        return Groups(names, np.array([names.index(p.topology) for p in problems], dtype=np.int64))

    def members(self, topology: int) -> list[int]:
        """Return the candidates of a topology."""
        found: list[int] = np.flatnonzero(self.of == topology).tolist()
        return found


@dataclasses.dataclass(frozen=True)
class Settings:
    """How a sweep is run; everything here is written into the run folder.

    Parameters
    ----------
    seed : int
        Root of all random numbers.
    evaluations : int
        Designs to evaluate altogether.
    islands : int
        Independent populations of every candidate; at least two a ring where the budget
        decides on rings.
    isolated : float
        Share of the evaluations before islands exchange designs.
    equal : float
        Share of the evaluations given out equally to all candidates before merit counts.
    probed : float
        Share of the evaluations after which absent levels are tried.
    probe_share : float
        Share of what is left then that the trials may take.
    round_evaluations : int
        Most designs of an island between two barriers.
    time_limit : float, optional
        Seconds after which the next barrier ends the sweep.
    rings : int
        Groups of islands that never exchange anything, whose fronts are compared as those
        of independent seeds; 0 leaves it to the budget.
    converge : bool
        Whether a sweep of two rings or more ends once it has converged.
    least : int
        Evaluations of a candidate on average before a sweep may count as converged.
    """

    seed: int = 1
    evaluations: int = 300_000
    islands: int = 3
    isolated: float = 0.35
    equal: float = 0.25
    probed: float = 0.7
    probe_share: float = 0.25
    round_evaluations: int = 4_000
    time_limit: float | None = None
    rings: int = 0
    converge: bool = True
    least: int = 10_000

    def layout(self, candidates: int) -> Layout:
        """Return how many islands a candidate has, in how many rings."""
        if self.rings:
            return Layout(self.rings, max(1, -(-self.islands // self.rings)))
        whole, each = RINGS_FROM
        if self.evaluations >= max(whole, each * candidates):
            return Layout(2, max(2, -(-self.islands // 2)))
        return Layout(1, self.islands)

    def rounds(self, candidates: int) -> int:
        """Return the number of barriers that a full sweep passes."""
        per_round = max(candidates, 1) * self.layout(candidates).islands * self.round_evaluations
        # Up to 240 so that a time limit, which waits for a barrier, is kept to a percent.
        fine = min(self.evaluations // ROUND_LEAST, 240)
        return max(24, fine, math.ceil(self.evaluations / per_round))

    def first(self, candidates: int) -> float:
        """Return the evaluations given to every candidate before merit counts."""
        return min(self.equal * self.evaluations / max(candidates, 1), FIRST_MOST)

    def patience(self, candidates: int) -> float:
        """Return the evaluations of a structure before it may be given up."""
        return min(PATIENCE * self.evaluations / max(candidates, 1), PATIENCE_MOST)

    def tuning(self, candidates: int) -> Tuning:
        """Return sizes that suit the budget.

        Measured on a converter-like problem: 60 designs an island reach 99 % of the best
        hypervolume in 50,000 evaluations, 100 get farther from 150,000 on.
        """
        count = max(candidates * self.layout(candidates).islands, 1)
        each = self.evaluations / count
        population = int(min(max(each / 300, 32), 100))
        return Tuning(
            population=population,
            # Whole chunks, and few: measured on two converters, 64 designs a generation
            # left 1.2 and 3.8 times the hypervolume of 128 after 5,000 evaluations.
            offspring=CHUNK * max(2 * population // CHUNK, 1),
            first_sample=int(min(max(0.1 * each / population, 2), 8)),
            # A polish takes up to 4,000 evaluations: small sweeps would overrun, and do
            # better without it.
            polish_every=7000 if self.evaluations >= 100_000 else self.evaluations,
            # The rest keeps a sweep of hundreds of structures within a gigabyte.
            archive=int(min(max(400_000 / count, 150), 1500)),
            cloud=int(min(max(100_000 / count, 30), 16_000)),
            front=int(min(max(400_000 / max(candidates, 1), 500), 3000)),
            own=OWN if each >= OWN_FROM else 0,
            relaxed=int(RELAXED_SHARE * each) if each >= OWN_FROM else 0,
            seen=min(max(1 << math.ceil(math.log2(max(each, 2))), 1 << 12), SEEN),
        )


def shares(total: int, live: NDArray[np.bool_], groups: Groups, merits: Array | None) -> Whole:
    """Return evaluations for every candidate.

    Half goes equally to the topologies, a quarter by the hypervolume gained for an
    evaluation and a quarter by nearness to the common front; inside a topology the same
    again among its live structures.  Before merits are known all candidates get the same.

    Parameters
    ----------
    total : int
        Evaluations to give out.
    live : ndarray
        Which candidates are still searched.
    groups : Groups
        The topologies.
    merits : Array, optional
        (candidates + topologies, 2): gain for an evaluation, nearness.
    """
    if merits is None:
        even = live / max(live.sum(), 1)
        return (total * even).astype(np.int64)
    n = live.size
    made = np.zeros(n)
    whole = _blend(np.ones(len(groups.names)), merits[n:])
    for t in range(len(groups.names)):
        mine = groups.members(t)
        made[mine] = whole[t] * _blend(live[mine].astype(float), merits[mine])
    share: Whole = (total * made).astype(np.int64)
    return share


def _blend(alive: Array, merits: Array) -> Array:
    even = alive / max(alive.sum(), 1.0)
    gained = _normalised(merits[:, 0] * alive, even)
    near = _normalised(merits[:, 1] * alive, even)
    return 0.5 * even + 0.25 * gained + 0.25 * near


def _normalised(weights: Array, otherwise: Array) -> Array:
    positive = np.maximum(weights, 0.0)
    total = positive.sum()
    return positive / total if total > 0.0 else otherwise
