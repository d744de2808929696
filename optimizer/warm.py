"""The start of a re-run: what the designs of a parent run are worth under other pins.

Designs that satisfy the pins are taken as they are; of the others those nearest to it are
repaired: every pinned variable is set to the nearest value allowed.  A quarter are copies
mutated where nothing is pinned.  All are evaluated, and the best go into the child.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Protocol

import numpy as np

from models.axes import Array
from optimizer.archive import Candidate, Run
from optimizer.encode import Genes, Kind, Whole, gene_of
from optimizer.operators import mutated
from optimizer.pins import Scope, parse, resolved
from optimizer.problem import ColumnLimit, Problem
from optimizer.selection import survivors, violation
from optimizer.trials import generator

COPIED, REPAIRED = 96, 96  # designs of a candidate that are copied and repaired
MUTATED = 1 / 3  # copies per design of those: a quarter of all
GIVEN = 160  # seeds of a candidate that are kept after their evaluation …
# … and where none is feasible.  Measured on the demonstration's flyback, its height pinned
# below all designs of the parent: from 8 repaired ones no feasible design came of 8,000
# evaluations in any of three runs, from none after 3,200 to 5,600.  So only those are given
# that violate nothing but pins on results, and few enough to leave room for random ones.
FEW = 48
NEAR = 4  # times as many of the nearest are looked at as are repaired
MOST = 20_000  # stored designs of a candidate that are looked at
DENSITY, EFFICIENCY = "power_density_kw_l", "weighted_efficiency_pct"


class PinnedProblem(Problem, Protocol):
    """A problem that knows its variables and its pins on results."""

    @property
    def genes(self) -> Genes:
        """The variables as the pins leave them."""

    @property
    def limits(self) -> Sequence[ColumnLimit]:
        """Pins on reported results."""


@dataclasses.dataclass(frozen=True)
class Counts:
    """What became of the designs of a parent, of one topology.

    Parameters
    ----------
    stored : int
        Designs that the parent run keeps.
    satisfied : int
        Of these, satisfy all the pins as they are.
    repaired, mutated : int
        Copies made with pinned variables set anew, and with others changed.
    evaluated, survived : int
        Designs evaluated under the pins, and those that meet every limit.
    given : int
        The best of these, which the search starts from.
    """

    stored: int = 0
    satisfied: int = 0
    repaired: int = 0
    mutated: int = 0
    evaluated: int = 0
    survived: int = 0
    given: int = 0

    def __add__(self, other: Counts) -> Counts:
        """Return the counts of both."""
        pairs = zip(dataclasses.astuple(self), dataclasses.astuple(other), strict=True)
        return Counts(*(a + b for a, b in pairs))


@dataclasses.dataclass(frozen=True)
class Start:
    """What a child run starts from: seeds by candidate, counts by topology."""

    seeds: dict[str, Array]
    counts: dict[str, Counts]

    def record(self) -> dict[str, dict[str, int]]:
        """Return the counts as plain data for the manifest."""
        return {name: dataclasses.asdict(counts) for name, counts in self.counts.items()}


def start_from(run: Run, problems: Sequence[PinnedProblem], seed: int) -> Start:
    """Return what a child of ``run`` starts from; the same for the same parent and seed.

    Parameters
    ----------
    run : Run
        The parent.
    problems : Sequence of PinnedProblem
        The candidates of the child, under its pins.
    seed : int
        Of the child; the copies are mutated by it.
    """
    counts = {p.topology: Counts() for p in problems}
    seeds = {}
    for c, problem in enumerate(problems):
        owner = _shared(run, problem)
        if owner is not None:
            seeds[problem.name], found = _seeded(run, owner, problem, generator(seed, c, 0, 0, 4))
            counts[problem.topology] += found
    return Start({name: rows for name, rows in seeds.items() if len(rows)}, counts)


def _shared(run: Run, problem: PinnedProblem) -> Candidate | None:
    """Return the candidate of the parent with the same variables; None without one."""
    mine = [(g.variable.path, g.variable.options) for g in problem.genes.genes]
    for owner in run.candidates:
        theirs = [(g.variable.path, g.variable.options) for g in owner.genes.genes]
        if owner.name == problem.name and mine == theirs:
            return owner
    return None


def _seeded(
    run: Run, owner: Candidate, problem: PinnedProblem, rng: np.random.Generator
) -> tuple[Array, Counts]:
    genes, objectives, columns = _stored(run, owner)
    gap = pinned_gap(owner.genes, problem.genes, genes)
    off = violation(np.stack([limit.margin(columns) for limit in problem.limits], axis=1)
                    ) if problem.limits else np.zeros(len(genes))  # fmt: skip
    far = gap + off
    copied, repaired = _chosen(objectives, far)
    base = _repaired(owner.genes, problem.genes, genes[np.concatenate([copied, repaired])])
    trial = np.concatenate([base, _mutants(base, problem, rng)])
    mutants = len(trial) - len(base)
    kept, survived = _best(problem, trial)
    return kept, Counts(
        stored=len(genes),
        satisfied=int((far <= 0.0).sum()),
        repaired=repaired.size,
        mutated=mutants,
        evaluated=len(trial),
        survived=survived,
        given=len(kept),
    )


def _stored(run: Run, owner: Candidate) -> tuple[Array, Array, Array]:
    """Return genes, objectives and columns of the parent's designs, the front first."""
    front, cloud = run.fronts[owner.number], run.clouds[owner.number]
    step = max(1, -(-cloud.size // MOST))
    return (
        np.concatenate([front.genes, cloud.genes[::step]]),
        np.concatenate([front.objectives, cloud.objectives[::step]])
        if front.size or cloud.size
        else np.zeros((0, 0)),
        np.concatenate([front.columns, cloud.columns[::step]]),
    )


def pinned_gap(stored: Genes, pinned: Genes, genes: Array) -> Array:
    """Return how far designs (n, genes) lie from what pins leave, 0 where they lie inside.

    In shares of the whole range of every pinned variable, summed; another row or name
    counts one.

    Parameters
    ----------
    stored : Genes
        What ``genes`` stand for.
    pinned : Genes
        The same variables as the pins leave them.
    genes : Array
        The designs.
    """
    at = [j for j, g in enumerate(pinned.genes) if g != gene_of(g.variable)]
    if not at:
        return np.zeros(len(genes))
    values = Genes(tuple(stored.genes[j] for j in at)).values(genes[:, at])
    narrow = Genes(tuple(pinned.genes[j] for j in at))
    whole = Genes.of([pinned.genes[j].variable for j in at])
    gap = np.abs(whole.encoded(narrow.values(narrow.encoded(values))) - whole.encoded(values))
    # Encoding and back leaves a few parts in 1e15.
    gap = np.where(gap < 1e-9, 0.0, gap)
    total: Array = np.where(whole.space.kinds >= Kind.ROW, np.sign(gap), gap).sum(axis=1)
    return total


def _repaired(stored: Genes, pinned: Genes, genes: Array) -> Array:
    """Return designs with every pinned variable at the nearest value allowed, others as is."""
    same = np.array([a == b for a, b in zip(stored.genes, pinned.genes, strict=True)], dtype=bool)
    return np.where(same, genes, pinned.encoded(stored.values(genes)))


def _chosen(objectives: Array, far: Array) -> tuple[Whole, Whole]:
    """Return the rows to copy, and those to repair: the nearest, and of these the best."""
    inside = np.flatnonzero(far <= 0.0)
    outside = np.flatnonzero(far > 0.0)
    near = outside[np.argsort(far[outside], kind="stable")[: NEAR * REPAIRED]]
    room = COPIED + REPAIRED
    copied = _spread(objectives, inside, max(COPIED, room - near.size))
    return copied, _spread(objectives, near, room - copied.size)


def _spread(objectives: Array, rows: Whole, count: int) -> Whole:
    """Return ``count`` of some rows: the foremost, spread along their front."""
    if rows.size <= count:
        return rows
    return rows[survivors(objectives[rows], np.zeros(rows.size), count)]


def _mutants(base: Array, problem: PinnedProblem, rng: np.random.Generator) -> Array:
    """Return mutated copies, pinned genes held as repaired."""
    held = np.array([g != gene_of(g.variable) for g in problem.genes.genes], dtype=bool)
    parents = base[rng.integers(0, max(len(base), 1), round(MUTATED * len(base)))]
    made = mutated(rng, problem.space, parents, 2.0 / problem.space.size)
    return problem.space.snapped(np.where(held, parents, made))


def _best(problem: PinnedProblem, trial: Array) -> tuple[Array, int]:
    """Return the best of some designs after their evaluation, and how many were feasible."""
    trial = problem.space.snapped(trial)
    trial = trial[np.sort(np.unique(trial, axis=0, return_index=True)[1])]
    if not len(trial):
        return trial, 0
    outcome = problem.evaluate(trial)
    violated = violation(outcome.margins)
    feasible = int((violated <= 0.0).sum())
    if not feasible:
        own = outcome.margins.shape[1] - len(problem.limits)
        sound = np.flatnonzero((outcome.margins[:, :own] <= 0.0).all(axis=1))
        kept = sound[np.argsort(violated[sound], kind="stable")[:FEW]]
    else:
        kept = survivors(outcome.objectives, violated, GIVEN)
    return trial[np.sort(kept)], feasible


def unchanged(run: Run) -> dict[str, tuple[int, int]]:
    """Return, by topology, the designs on the fronts of a run and those that are its seeds."""
    seeds = run.stored_seeds()
    found: dict[str, tuple[int, int]] = {}
    for candidate in run.candidates:
        mine = {row.tobytes() for row in seeds.get(candidate.name, np.zeros((0, 0)))}
        front = run.fronts[candidate.number]
        size, same = found.get(candidate.topology, (0, 0))
        same += sum(row.tobytes() in mine for row in front.genes)
        found[candidate.topology] = (size + front.size, same)
    return found


@dataclasses.dataclass(frozen=True)
class Preview:
    """What further pins leave of the stored designs of one topology.

    ``density`` [kW/l] and ``efficiency`` [%] are the best among those left, None without.
    A re-run can do better.
    """

    topology: str
    stored: int
    left: int
    density: float | None
    efficiency: float | None


def preview(run: Run, pins: Sequence[str]) -> tuple[Preview, ...]:
    """Return what further pins leave of the stored designs of a run, by topology.

    Nothing is evaluated: stored values and results are compared with the pins.

    Raises
    ------
    PinError
        If a pin cannot be read, names nothing, or contradicts another.
    """
    names = [column.name for column in run.columns]
    scopes = [
        Scope(c.topology, c.structure, tuple(g.variable for g in c.genes.genes))
        for c in run.candidates
    ]
    found = resolved([parse(pin) for pin in pins], scopes, names)
    stored: dict[str, list[int]] = {}
    left: dict[str, list[Array]] = {}
    for owner, pinned in zip(run.candidates, found, strict=True):
        front, cloud = run.fronts[owner.number], run.clouds[owner.number]
        genes = np.concatenate([front.genes, cloud.genes])
        columns = np.concatenate([front.columns, cloud.columns])
        stored.setdefault(owner.topology, []).append(len(genes))
        inside = np.zeros(len(genes), dtype=bool)
        if pinned is not None:
            inside = pinned_gap(owner.genes, pinned.genes, genes) <= 0.0
            for limit in pinned.limits:
                inside &= limit.margin(columns) <= 0.0
        left.setdefault(owner.topology, []).append(columns[inside])
    best = [names.index(name) if name in names else None for name in (DENSITY, EFFICIENCY)]
    return tuple(
        Preview(name, sum(stored[name]), len(rows), *(_most(rows, k) for k in best))
        for name, rows in ((name, np.concatenate(parts)) for name, parts in left.items())
    )


def _most(columns: Array, column: int | None) -> float | None:
    return float(columns[:, column].max()) if column is not None and len(columns) else None
