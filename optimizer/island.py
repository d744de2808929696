"""One island: a population, its archive and everything that a restart needs.

``advance`` is a pure function: state in, state out.  What a generation does depends on
the state alone, its random numbers on (seed, candidate, island, generation), so a state
taken at any generation goes on to the same bits wherever and whenever it is continued.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable

import numpy as np

from models.axes import Array
from optimizer.blocks import FOUNDERS, PARENTS, Blocks, blocks_of, composed
from optimizer.encode import Space, Whole
from optimizer.intake import absorb, ranked, violated
from optimizer.memetic import POINTS, polished, starts
from optimizer.operators import (
    Pool,
    changed,
    mutated,
    operator_weights,
    propose,
    sample,
    unseen,
)
from optimizer.problem import Outcome, Problem
from optimizer.selection import ranks
from optimizer.state import (
    EVALUATIONS,
    GENERATION,
    POLISH_NEXT,
    POLISHED,
    State,
    Tuning,
)


@dataclasses.dataclass(frozen=True)
class Report:
    """What an advance took; times are for people and never steer the search."""

    evaluations: int
    seconds: float
    seconds_evaluating: float
    finished: bool


def advance(
    state: State,
    problem: Problem,
    tuning: Tuning,
    target: int,
    stop: Callable[[], bool] = lambda: False,
) -> tuple[State, Report]:
    """Return the island after its evaluation count has reached ``target``.

    ``stop`` is asked between generations; an island stopped early goes on to the same
    bits when advanced to the same target later.
    """
    begun = time.perf_counter()
    made = state.copied()
    watch = _Watch(problem)
    while made.evaluations < target and not stop():
        _generation(made, problem, tuning, watch.evaluate)
    spent = time.perf_counter() - begun
    done = made.evaluations - state.evaluations
    return made, Report(done, spent, watch.seconds, made.evaluations >= target)


class _Watch:
    """Evaluates and takes the time."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        self.seconds = 0.0

    def evaluate(self, genes: Array) -> Outcome:
        """Return what designs come to."""
        begun = time.perf_counter()
        outcome = self._problem.evaluate(genes)
        self.seconds += time.perf_counter() - begun
        return outcome


def _generation(
    s: State, problem: Problem, tuning: Tuning, evaluate: Callable[[Array], Outcome]
) -> None:
    space, blocks = problem.space, blocks_of(problem)
    seed, candidate, island = (int(k) for k in s.key)
    tree = np.random.SeedSequence(seed, spawn_key=(candidate, island, int(s.clock[GENERATION])))
    rng = np.random.Generator(np.random.PCG64(tree))
    s.clock[GENERATION] += 1
    if s.evaluations >= max(s.clock[POLISH_NEXT], tuning.polish_every) and len(s.front_genes) > 9:
        _polish(s, space, tuning, rng, evaluate)
        return
    if blocks is not None and not len(s.front_genes):
        _guided(s, space, blocks, tuning, rng, evaluate)
        return
    trial, operator = _trial(s, space, blocks, tuning, rng)
    outcome = evaluate(trial)
    entered = absorb(s, trial, outcome, tuning, rng)
    s.credit *= 0.97
    known = operator >= 0
    np.add.at(s.credit[0], operator[known], entered[known].astype(float))
    np.add.at(s.credit[1], operator[known], 1.0)


def _guided(
    s: State, space: Space, blocks: Blocks, tuning: Tuning, rng: np.random.Generator,
    evaluate: Callable[[Array], Outcome],
) -> None:  # fmt: skip
    """Look for the first feasible design by composing blocks that did well."""
    if s.block_scores.shape[1]:
        order = np.argsort(violated(s, s.margins), kind="stable")
        trial = composed(
            rng, space, blocks, kept=s.kept, parents=s.genes[order], margins=s.margins[order]
        )
    else:
        # A population of seeds needs no random company; another island is without seeds.
        founders = FOUNDERS if len(s.seeds) < PARENTS else 0
        trial = np.concatenate([space.snapped(s.seeds), sample(rng, space, founders)])
        s.seeds = s.seeds[:0]
    trial = _hold(s, trial)
    trial = trial[unseen(s.seen, trial)]
    if not len(trial):
        trial = s.genes[:1]
    outcome = evaluate(trial)
    absorb(s, trial, outcome, dataclasses.replace(tuning, population=PARENTS), rng)
    if not len(s.front_genes):
        kept = s.kept.with_more(trial, blocks.scores(outcome))
        s.block_genes, s.block_scores = kept.genes, kept.scores


def _trial(
    s: State, space: Space, blocks: Blocks | None, tuning: Tuning, rng: np.random.Generator
) -> tuple[Array, Whole]:
    """Return the designs to evaluate next and the operator of each, −1 for none."""
    if not len(s.genes):
        count = tuning.population * tuning.first_sample
        fresh = sample(rng, space, count if len(s.seeds) < tuning.population else 0)
        trial = np.concatenate([space.snapped(s.seeds), fresh])
        operator = np.full(len(trial), -1)
        s.seeds = s.seeds[:0]
    else:
        pool = _pool(s, blocks, tuning)
        # A few too many: some will have been made before, and batches should be full.
        count = tuning.offspring + tuning.offspring // 8
        trial, operator = propose(rng, space, pool, count, operator_weights(s.credit))
    trial = _hold(s, trial)
    fresh_rows = np.flatnonzero(unseen(s.seen, trial))
    if len(s.genes):
        fresh_rows = fresh_rows[: tuning.offspring]
    trial, operator = trial[fresh_rows], operator[fresh_rows]
    if len(s.genes) and len(trial) < 0.6 * tuning.offspring:
        # The population has run dry: fill up with strong mutants and random designs.
        lack = tuning.offspring - len(trial)
        parents = s.genes[rng.integers(0, len(s.genes), lack // 2)]
        mutants = changed(rng, space, mutated(rng, space, parents, 4.0 / space.size))
        more = np.concatenate([space.snapped(mutants), sample(rng, space, lack - lack // 2)])
        more = _hold(s, more)
        more = more[unseen(s.seen, more)]
        trial = np.concatenate([trial, more])
        operator = np.concatenate([operator, np.full(len(more), -1)])
    if not len(trial):
        # Every design of a small space has been made: repeating one does no harm.
        trial, operator = s.genes[:1], np.full(1, -1)
    return trial, operator


def _hold(s: State, genes: Array) -> Array:
    return np.where(np.isnan(s.held), genes, s.held)


def _pool(s: State, blocks: Blocks | None, tuning: Tuning) -> Pool:
    excess = ranked(s, s.margins, tuning)
    rank = np.empty(len(s.genes), dtype=np.int64)
    feasible = excess <= 0.0
    if feasible.any():
        rank[feasible] = ranks(s.objectives[feasible])
    order = np.argsort(np.argsort(excess[~feasible], kind="stable"), kind="stable")
    rank[~feasible] = len(s.genes) + order
    return Pool(s.genes, s.objectives, rank, blocks.genes if blocks else None)


def _polish(
    s: State, space: Space, tuning: Tuning, rng: np.random.Generator,
    evaluate: Callable[[Array], Outcome],
) -> None:  # fmt: skip
    """Improve the real genes of designs along the front by gradient steps."""
    before = s.evaluations

    def counted(genes: Array) -> Outcome:
        s.clock[EVALUATIONS] += len(genes)
        return evaluate(genes)

    # Every point looked at takes a difference for each gene: fewer where there are many.
    free = int((space.real & np.isnan(s.held)).sum())
    afford = int(tuning.polish_share * tuning.polish_every / (POINTS * (free + 1)))
    chosen = starts(s.front_objectives, min(max(afford, 3), tuning.polish_points), rng)
    made, outcome = polished(
        s.front_genes[chosen], s.front_objectives[chosen],
        space=space, held=s.held, evaluate=counted,
    )  # fmt: skip
    if outcome is not None:
        s.clock[EVALUATIONS] -= len(made)  # absorb counts them once more
        absorb(s, made, outcome, tuning, rng)
    s.clock[POLISHED] += s.evaluations - before
    s.clock[POLISH_NEXT] = s.evaluations + tuning.polish_every
