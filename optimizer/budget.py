"""Who gets how many evaluations in a round, and which structures are given up."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.encode import Whole
from optimizer.front import Frame, Front, lead
from optimizer.problem import CHUNK
from optimizer.state import Tuning

STALE_ROUNDS = 3  # rounds without hope before a structure is given up
STILL = 1e-3  # a hypervolume that moved less stands still


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
        Independent populations of every candidate.
    isolated : float
        Share of the evaluations before islands exchange designs.
    equal : float
        Share of the evaluations given out equally before merit counts.
    probed : float
        Share of the evaluations after which absent levels are tried.
    probe_share : float
        Share of what is left then that the trials may take.
    round_evaluations : int
        Most designs of an island between two barriers.
    time_limit : float, optional
        Seconds after which the next barrier ends the sweep.
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

    def rounds(self, candidates: int) -> int:
        """Return the number of barriers that a full sweep passes."""
        per_round = max(candidates, 1) * self.islands * self.round_evaluations
        return max(24, math.ceil(self.evaluations / per_round))

    def tuning(self, candidates: int) -> Tuning:
        """Return sizes that suit the budget.

        Measured on a converter-like problem: 60 designs an island reach 99 % of the best
        hypervolume in 50,000 evaluations, 100 get farther from 150,000 on.
        """
        each = self.evaluations / max(candidates * self.islands, 1)
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
            cloud=int(min(max(100_000 / max(candidates * self.islands, 1), 200), 16_000)),
        )


@dataclasses.dataclass(frozen=True)
class Merit:
    """What a round did for one candidate: hypervolumes in the frame all candidates share."""

    before: float
    after: float

    @property
    def moved(self) -> float:
        """Relative gain."""
        return (self.after - self.before) / self.after if self.after > 0.0 else 0.0


def shares(total: int, live: NDArray[np.bool_], merits: Sequence[Merit] | None) -> Whole:
    """Return evaluations for every candidate.

    Half goes equally to all that live, a quarter by the hypervolume gained in the last
    round and a quarter by how near the front comes to the best; all equally before
    merits are known.
    """
    alive = live.astype(float)
    even = alive / max(alive.sum(), 1.0)
    if merits is None:
        return (total * even).astype(np.int64)
    gained = _normalised(np.array([m.after - m.before for m in merits]) * alive, even)
    near = _normalised(np.array([m.after for m in merits]) * alive, even)
    share: Whole = (total * (0.5 * even + 0.25 * gained + 0.25 * near)).astype(np.int64)
    return share


def _normalised(weights: Array, otherwise: Array) -> Array:
    positive = np.maximum(weights, 0.0)
    total = positive.sum()
    return positive / total if total > 0.0 else otherwise


def hopeless(
    number: int,
    fronts: Sequence[Front],
    before: Front,
    *,
    rivals: Sequence[int],
    frame: Frame,
    merit: Merit,
) -> bool:
    """Return whether a structure did nothing this round that another cannot do better.

    True where its hypervolume stands still and the other structures of its topology
    dominate every design of its front by more than that front last moved; also where it
    has no feasible design while another has.

    Parameters
    ----------
    number : int
        The structure in question, a number into ``fronts``.
    fronts : Sequence of Front
        Fronts of all candidates.
    before : Front
        Its front before this round.
    rivals : Sequence of int
        Live structures of the same topology, without itself.
    frame : Frame
        The common frame.
    merit : Merit
        What the round did for it.
    """
    better = [fronts[k].objectives for k in rivals if fronts[k].size]
    if not better:
        return False
    own = fronts[number].objectives
    if not len(own):
        return True
    if merit.moved >= STILL:
        return False
    step = 0.0
    if before.size:
        # How far the old front lies behind the new one at its luckiest design.
        step = max(lead(own, before.objectives, frame.extent), 0.0)
    return lead(_thin(np.concatenate(better)), _thin(own), frame.extent) > step


def _thin(objectives: Array, most: int = 400) -> Array:
    return objectives[:: max(1, -(-len(objectives) // most))]
