"""What an island does with designs: evaluated ones, and visitors from its neighbours."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.front import Front
from optimizer.problem import Outcome
from optimizer.selection import excess_scale, survivors, violation
from optimizer.state import EVALUATIONS, FAILED, FEASIBLE, SEEDED, State, Tuning

NEAR = 0.1  # [extents of the front] behind it: still worth showing
CLOUD_STEP = 8  # designs a generation that may enter the cloud
# Relaxed limits: Σ ln(1 + excess) allowed at first, power of its decay, paces [1].
RELAXED, DECAY, PACES = 1.0, 3, 3


def violated(s: State, margins: Array) -> Array:
    """Return the violation by which this island ranks infeasible designs.

    Every limit is weighed by its typical excess at the start; islands with an odd number
    take logarithms of that: either can be misled where the other is not.  With blocks
    the plain violation does best, a random sample says little about what is typical.
    """
    if len(s.block_genes):
        return violation(margins)
    scaled = np.maximum(margins, 0.0) / s.scale
    return violation(scaled) if s.key[2] % 2 else scaled.sum(axis=1)


def allowed(s: State, tuning: Tuning) -> float:
    """Return the violation up to which a design counts as feasible when it competes.

    Strict limits from the start keep an island in the corner of the space in which its
    first feasible design lay: every way out leads through designs that fail one limit a
    little.  So the limits are relaxed first and become strict with the evaluations, at
    three different paces, for a converter may need either.  An island that seeds began
    has nothing to look for elsewhere; one that knows nothing feasible must find it first.
    Measured with 60,000 designs of two structures, share of the best hypervolume known, in
    the median and at worst: flyback, four seeds, 0.11 and 0.00 with strict limits and one
    start for all, 0.58 and 0.02 with these and starts of their own; series-capacitor boost,
    three seeds, 0.36 and 0.03 against 0.78 and 0.43.

    Source
    ------
    T. Takahama, S. Sakai, "Constrained optimization by the ε constrained differential
    evolution with gradient-based mutation and feasible elites", IEEE CEC 2006 (from memory:
    the law of decay; its constants here are measured).
    """
    if not len(s.front_genes) or s.clock[SEEDED] or not np.isnan(s.held).all():
        return 0.0
    end = tuning.relaxed * (1 + 2 * (int(s.key[2]) % PACES)) / PACES
    if s.evaluations >= end:
        return 0.0
    return RELAXED * float(1.0 - s.evaluations / end) ** DECAY


def ranked(s: State, margins: Array, tuning: Tuning) -> Array:
    """Return the violation by which designs compete now; see ``violated`` and ``allowed``."""
    excess = violated(s, margins)
    return np.where(excess <= allowed(s, tuning), 0.0, excess)


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
    _select(s, genes, outcome.objectives, outcome.margins, tuning)
    return entered


def _select(s: State, genes: Array, objectives: Array, margins: Array, tuning: Tuning) -> None:
    """Let newcomers and population compete for the places."""
    every = np.concatenate([s.genes, genes])
    f = np.concatenate([s.objectives, objectives])
    g = np.concatenate([s.margins, margins])
    kept = survivors(f, ranked(s, g, tuning), tuning.population)
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


def received(s: State, visitors: Front, margins: int, tuning: Tuning) -> State:
    """Return the island after feasible designs of a neighbour have come in."""
    made = s.copied()
    if not visitors.size or not len(made.genes):
        return made
    everyone = np.ones(visitors.size, dtype=bool)
    _archive(made, visitors.genes, visitors.objectives, visitors.columns, everyone, tuning)
    met = np.full((visitors.size, margins), -1.0)
    _select(made, visitors.genes, visitors.objectives, met, tuning)
    return made


def started_from(s: State, donor: State) -> State:
    """Return an island that has not begun with the population and archive of another.

    From then on each goes its own way, as their random numbers differ.
    """
    made = s.copied()
    for name in ("genes", "objectives", "margins", "front_genes", "front_objectives",
                 "front_columns", "scale"):  # fmt: skip
        setattr(made, name, getattr(donor, name).copy())
    return made
