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
from numpy.typing import NDArray

from models.axes import Array
from optimizer.blocks import FOUNDERS, PARENTS, Blocks, blocks_of, composed
from optimizer.encode import Space, Whole
from optimizer.front import Front
from optimizer.memetic import ITERATIONS, polished, starts
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
from optimizer.selection import excess_scale, ranks, survivors, violation
from optimizer.state import (
    EVALUATIONS,
    FAILED,
    FEASIBLE,
    GENERATION,
    POLISH_NEXT,
    POLISHED,
    State,
    Tuning,
)

NEAR = 0.1  # [extents of the front] behind it: still worth showing
CLOUD_STEP = 8  # designs a generation that may enter the cloud


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
    trial, operator = _trial(s, space, tuning, rng)
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
        order = np.argsort(_violation(s, s.margins), kind="stable")
        trial = composed(
            rng, space, blocks, kept=s.kept, parents=s.genes[order], margins=s.margins[order]
        )
    else:
        trial = np.concatenate([space.snapped(s.seeds), sample(rng, space, FOUNDERS)])
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
    s: State, space: Space, tuning: Tuning, rng: np.random.Generator
) -> tuple[Array, Whole]:
    """Return the designs to evaluate next and the operator of each, −1 for none."""
    if not len(s.genes):
        fresh = sample(rng, space, tuning.population * tuning.first_sample)
        trial = np.concatenate([space.snapped(s.seeds), fresh])
        operator = np.full(len(trial), -1)
        s.seeds = s.seeds[:0]
    else:
        pool = _pool(s)
        trial, operator = propose(rng, space, pool, tuning.offspring, operator_weights(s.credit))
    trial = _hold(s, trial)
    fresh_rows = unseen(s.seen, trial)
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


def _violation(s: State, margins: Array) -> Array:
    """Return the violation by which this island ranks infeasible designs.

    Every limit is weighed by its typical excess at the start; islands with an odd number
    take logarithms of that: either can be misled where the other is not.  With blocks
    the plain violation does best, a random sample says little about what is typical.
    """
    if len(s.block_genes):
        return violation(margins)
    scaled = np.maximum(margins, 0.0) / s.scale
    return violation(scaled) if s.key[2] % 2 else scaled.sum(axis=1)


def _pool(s: State) -> Pool:
    violated = _violation(s, s.margins)
    rank = np.empty(len(s.genes), dtype=np.int64)
    feasible = violated <= 0.0
    if feasible.any():
        rank[feasible] = ranks(s.objectives[feasible])
    order = np.argsort(np.argsort(violated[~feasible], kind="stable"), kind="stable")
    rank[~feasible] = len(s.genes) + order
    return Pool(s.genes, s.objectives, rank)


def absorb(
    s: State, genes: Array, outcome: Outcome, tuning: Tuning, rng: np.random.Generator
) -> NDArray[np.bool_]:
    """Take evaluated designs into population, archive and cloud; return which made the archive."""
    s.clock[EVALUATIONS] += len(genes)
    s.clock[FAILED] += int(outcome.failed.sum())
    if not len(s.genes):
        s.scale = excess_scale(outcome.margins)
    feasible = violation(outcome.margins) <= 0.0
    s.clock[FEASIBLE] += int(feasible.sum())
    _note_nearest(s, genes, outcome)
    entered = _archive(s, genes, outcome.objectives, outcome.columns, feasible, tuning)
    _grow_cloud(s, genes, outcome, feasible & ~entered, tuning, rng)
    _select(s, genes, outcome.objectives, outcome.margins, tuning.population)
    return entered


def _select(s: State, genes: Array, objectives: Array, margins: Array, count: int) -> None:
    """Let newcomers and population compete for the places."""
    every = np.concatenate([s.genes, genes])
    f = np.concatenate([s.objectives, objectives])
    g = np.concatenate([s.margins, margins])
    kept = survivors(f, _violation(s, g), count)
    s.genes, s.objectives, s.margins = every[kept], f[kept], g[kept]


def _archive(
    s: State, genes: Array, f: Array, columns: Array, feasible: NDArray[np.bool_], tuning: Tuning
) -> NDArray[np.bool_]:
    entered = np.zeros(len(genes), dtype=bool)
    index = np.flatnonzero(feasible)
    if index.size:
        merged, new = s.front.merged(Front(genes[index], f[index], columns[index]), tuning.archive)
        entered[index[new]] = True
        s.front_genes, s.front_objectives, s.front_columns = (
            merged.genes, merged.objectives, merged.columns,
        )  # fmt: skip
        s.block_genes, s.block_scores = s.block_genes[:, :0], s.block_scores[:, :0]
    return entered


def _note_nearest(s: State, genes: Array, outcome: Outcome) -> None:
    """Remember the design of least violation while nothing feasible is known."""
    if len(s.front_genes):
        return
    violated = violation(outcome.margins)
    best = int(violated.argmin())
    if not len(s.nearest_genes) or violated[best] < violation(s.nearest_margins)[0]:
        one = slice(best, best + 1)
        s.nearest_genes = genes[one].copy()
        s.nearest_margins = outcome.margins[one].copy()
        s.nearest_columns = outcome.columns[one].copy()


def _grow_cloud(
    s: State, genes: Array, outcome: Outcome, wanted: NDArray[np.bool_], tuning: Tuning,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """Keep a few feasible designs close behind the front; when full, replace at random."""
    front = s.front_objectives
    index = np.flatnonzero(wanted)[: 4 * CLOUD_STEP]
    if not index.size or len(front) < 2:
        return
    thin = front[:: max(1, len(front) // 64)]
    extent = np.maximum(front.max(axis=0) - front.min(axis=0), 1e-300)
    behind = (outcome.objectives[index][:, None, :] - thin[None]) / extent
    index = index[behind.max(axis=2).min(axis=1) < NEAR][:CLOUD_STEP]
    room = min(tuning.cloud - len(s.cloud_genes), index.size)
    if not len(s.cloud_genes):
        index = index[:room]
    new = (genes, outcome.objectives, outcome.columns)
    names = ("cloud_genes", "cloud_objectives", "cloud_columns")
    slots = rng.integers(0, max(len(s.cloud_genes), 1), index.size - room)
    for name, rows in zip(names, new, strict=True):
        held = getattr(s, name)
        held[slots] = rows[index[room:]]
        setattr(s, name, np.concatenate([held, rows[index[:room]]]))


def _polish(
    s: State, space: Space, tuning: Tuning, rng: np.random.Generator,
    evaluate: Callable[[Array], Outcome],
) -> None:  # fmt: skip
    """Improve the real genes of designs along the front by gradient steps."""
    before = s.evaluations

    def counted(genes: Array) -> Outcome:
        s.clock[EVALUATIONS] += len(genes)
        return evaluate(genes)

    # About one batch of differences an iteration: fewer points where there are many genes.
    free = int((space.real & np.isnan(s.held)).sum())
    afford = int(tuning.polish_share * tuning.polish_every / (ITERATIONS * (free + 1)))
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


def received(s: State, visitors: Front, margins: int, tuning: Tuning) -> State:
    """Return the island after feasible designs of a neighbour have come in."""
    made = s.copied()
    if not visitors.size or not len(made.genes):
        return made
    everyone = np.ones(visitors.size, dtype=bool)
    _archive(made, visitors.genes, visitors.objectives, visitors.columns, everyone, tuning)
    met = np.full((visitors.size, margins), -1.0)
    _select(made, visitors.genes, visitors.objectives, met, tuning.population)
    return made
