"""The course of a sweep: what stands at a barrier, and how the next round follows from it.

Everything here is a pure function of the states of the islands, so that a sweep goes the
same way whoever ran the islands, in what order, and after whatever interruption.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.budget import Groups, Layout, Settings, shares
from optimizer.encode import Whole
from optimizer.evidence import UNKNOWN, measured, quiet, with_snapshot
from optimizer.exchange import exchanged, helped, merged_front
from optimizer.front import Front
from optimizer.intake import received
from optimizer.judging import Marks, Shedding, judged
from optimizer.problem import Problem
from optimizer.selection import violation
from optimizer.state import (
    APART,
    EVALUATIONS,
    FAILED,
    FEASIBLE,
    State,
    Tuning,
    founded,
    retired,
    state_from,
)
from optimizer.trials import FIRST_PROBE, MOST, PROBE_EVALUATIONS, probe_ring, trials

CHECKS = 240  # looks at the evidence in a whole sweep, at least
TURN = 2500  # evaluations an island may look for the first feasible design at a time


@dataclasses.dataclass
class Course:
    """What stands between two rounds."""

    barrier: int
    states: list[State]
    targets: Whole  # evaluations that each island was given so far
    fronts: list[Front]  # one a candidate
    live: NDArray[np.bool_]
    stale: Whole  # windows without hope
    merits: Array  # (candidates + topologies, 3): gain for an evaluation, nearness, last gain
    marks: Marks
    rungs: Whole  # (topologies, 2): rungs of the halving passed, structures it may still shed
    shed: Array  # (structures given up, …): see judging.Shedding
    evaluations: Whole  # of every candidate at the last barrier, ended trials included
    ended: Whole  # (candidates, 3): evaluations, feasible and failed ones of ended trials
    tried: int  # evaluations when absent levels were tried, 0 before
    evidence: Array  # (topologies + 1, 3): see evidence.measured
    spacing: int  # barriers between two snapshots
    snapshots: list[tuple[int, int, Array]]  # barrier, evaluations, objectives by topology

    def owner(self, island: int) -> int:
        """Return the candidate that an island searches."""
        return int(self.states[island].key[1])

    def is_probe(self, island: int) -> bool:
        """Return whether an island is the trial of a level."""
        return int(self.states[island].key[2]) >= FIRST_PROBE

    def counts(self) -> Whole:
        """Return designs evaluated, feasible and failed so far (candidates, 3)."""
        now = self.ended.copy()
        for i, state in enumerate(self.states):
            now[self.owner(i)] += state.clock[[EVALUATIONS, FEASIBLE, FAILED]]
        return now

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Return everything as named arrays."""
        found: dict[str, NDArray[Any]] = {
            "counts": np.array([len(self.states), len(self.fronts), len(self.snapshots)]),
            "at": np.array([self.barrier, self.tried, self.spacing]),
            "marked": self.marks.evaluations,
            **{name: getattr(self, name) for name in _PLAIN},
        }
        found |= {f"mark{i}": rows for i, rows in enumerate(self.marks.fronts)}
        for i, state in enumerate(self.states):
            found |= {f"island{i}.{k}": v for k, v in state.arrays().items()}
        for i, front in enumerate(self.fronts):
            found |= {f"front{i}.{f.name}": getattr(front, f.name) for f in _FRONT_FIELDS}
        for i, (barrier, evaluations, rows) in enumerate(self.snapshots):
            found |= {f"snap{i}.at": np.array([barrier, evaluations]), f"snap{i}.rows": rows}
        return found


_FRONT_FIELDS = dataclasses.fields(Front)
_PLAIN = (
    "targets", "live", "stale", "merits", "rungs", "shed", "evaluations", "ended", "evidence",
)  # fmt: skip


def course_from(arrays: Mapping[str, NDArray[Any]]) -> Course:
    """Return the course whose arrays ``Course.arrays`` gave."""
    islands, fronts, snapshots = (int(n) for n in arrays["counts"])
    barrier, tried, spacing = (int(n) for n in arrays["at"])
    names = [f.name for f in dataclasses.fields(State)]
    marked = arrays["marked"]
    return Course(
        barrier=barrier,
        tried=tried,
        spacing=spacing,
        states=[state_from({n: arrays[f"island{i}.{n}"] for n in names}) for i in range(islands)],
        fronts=[
            Front(*(arrays[f"front{i}.{f.name}"] for f in _FRONT_FIELDS)) for i in range(fronts)
        ],
        marks=Marks(tuple(arrays[f"mark{i}"] for i in range(len(marked))), marked),
        snapshots=[
            (int(arrays[f"snap{i}.at"][0]), int(arrays[f"snap{i}.at"][1]), arrays[f"snap{i}.rows"])
            for i in range(snapshots)
        ],
        **{name: arrays[name] for name in _PLAIN},
    )


def opened(problems: Sequence[Problem], settings: Settings, seeds: Mapping[str, Array]) -> Course:
    """Return the course before the first round; seeds go to all islands of a ring but the last."""
    n = len(problems)
    layout, slots = settings.layout(n), settings.tuning(n).seen
    states = []
    for c, problem in enumerate(problems):
        for i in range(layout.islands):
            given = seeds.get(problem.name)
            alone = (i + 1) % layout.size == 0 and layout.size > 1
            key = (settings.seed, c, i)
            state = founded(key, problem, None if alone else given, slots=slots)
            # Where others start from seeds, this one is to find what lies far from them.
            state.clock[APART] = alone and given is not None
            states.append(state)
    topologies = len(Groups.by(problems).names)
    return Course(
        barrier=0,
        states=states,
        targets=np.zeros(len(states), dtype=np.int64),
        fronts=[Front.empty(p.space.size, p.sizes[0], p.sizes[2]) for p in problems],
        live=np.ones(n, dtype=bool),
        stale=np.zeros(n, dtype=np.int64),
        merits=np.zeros((n + topologies, 3)),
        marks=Marks.empty(n + topologies, problems[0].sizes[0]),
        rungs=np.zeros((topologies, 2), dtype=np.int64),
        shed=np.zeros((0, len(dataclasses.fields(Shedding)))),
        evaluations=np.zeros(n, dtype=np.int64),
        ended=np.zeros((n, 3), dtype=np.int64),
        tried=0,
        evidence=np.full((topologies + 1, 3), [0.0, UNKNOWN, UNKNOWN]),
        spacing=1,
        snapshots=[],
    )


def planned(course: Course, problems: Sequence[Problem], settings: Settings) -> Course:
    """Return the course with what every island is given for the next round.

    What an island overran, or was not given to use, is carried on: the sum of what was
    given never exceeds the budget.
    """
    n = len(course.fronts)
    done = int(course.evaluations.sum())
    rounds_left = max(settings.rounds(n) - course.barrier, 1)
    unused = int(sum(
        target - state.evaluations
        for i, (state, target) in enumerate(zip(course.states, course.targets, strict=True))
        if course.live[course.owner(i)] and not course.is_probe(i)
    ))  # fmt: skip
    total = max(settings.evaluations - done - unused, 0) // rounds_left
    merits = course.merits if done >= n * settings.first(n) else None
    share = shares(total, course.live, Groups.by(problems), merits)
    targets = [
        PROBE_EVALUATIONS
        if course.is_probe(i)
        else target + _part(course, i, int(share[course.owner(i)]), settings)
        for i, target in enumerate(course.targets.tolist())
    ]
    return dataclasses.replace(course, targets=np.array(targets, dtype=np.int64))


def _part(course: Course, island: int, share: int, settings: Settings) -> int:
    """Return what an island gets of its candidate's share.

    Each looks for a feasible design by itself, as long as the budget gives it to do so.
    Where none of a ring has found any by then, all goes to the one that came nearest; on a
    small budget they look in turns: three at once would spend three times as much on it.
    """
    c, state = course.owner(island), course.states[island]
    layout, number = settings.layout(len(course.fronts)), int(state.key[2])
    share //= layout.rings
    first = island - number % layout.size
    ring = course.states[first : first + layout.size]
    own = settings.tuning(len(course.fronts)).own
    known = any(s.front.size for s in ring) or not len(state.block_genes)
    if known or (own and min(s.evaluations for s in ring) < own):
        return share // layout.size
    if own:
        nearest = min(range(layout.size), key=lambda i: _violation(ring[i]))
        return share if number % layout.size == nearest else 0
    turn = int(course.evaluations[c]) // layout.rings // TURN % layout.size
    return share if number % layout.size == turn else 0


def _violation(state: State) -> float:
    """Return how far the nearest design of an island is from meeting all limits."""
    return float(violation(state.nearest_margins)[0]) if len(state.nearest_margins) else np.inf


def settled(course: Course, problems: Sequence[Problem], settings: Settings) -> Course:
    """Return the course after the barrier that ends the round under way."""
    n = len(problems)
    tuning, layout, groups = settings.tuning(n), settings.layout(n), Groups.by(problems)
    made = dataclasses.replace(
        course,
        barrier=course.barrier + 1,
        fronts=gathered(course, tuning.front),
        evaluations=course.counts()[:, 0],
    )
    made = _without_trials(made, problems, tuning, layout)
    made = judged(made, groups, settings)
    made = dataclasses.replace(made, states=_retired(made))
    if made.barrier % max(1, settings.rounds(n) // CHECKS) == 0:
        made = dataclasses.replace(made, evidence=measured(made, groups, layout))
        made = with_snapshot(made, groups)
    made = helped(made, problems, settings, tuning)
    total = int(made.evaluations.sum())
    if total >= settings.isolated * settings.evaluations or made.tried:
        made = exchanged(made, problems, settings, tuning)
    if not made.tried and (
        total >= settings.probed * settings.evaluations or quiet(made, settings)
    ):
        # Whatever looks finished before that must stand its trial before it may end.
        made = _with_trials(made, problems, settings)
    return made


def gathered(course: Course, limit: int) -> list[Front]:
    """Return every candidate's front with what its islands know."""
    fronts = list(course.fronts)
    for i, state in enumerate(course.states):
        c = course.owner(i)
        fronts[c] = fronts[c].merged(state.front, limit)[0]
    return fronts


def _retired(course: Course) -> list[State]:
    """Return the states, those of structures given up without what only a search needs."""
    return [
        state if course.live[course.owner(i)] or not state.seen.size else retired(state)
        for i, state in enumerate(course.states)
    ]


def _with_trials(course: Course, problems: Sequence[Problem], settings: Settings) -> Course:
    """Return the course with trials of absent levels in every ring."""
    left = settings.evaluations - int(course.evaluations.sum())
    layout, tuning = settings.layout(len(problems)), settings.tuning(len(problems))
    count = min(int(settings.probe_share * max(left, 0) / PROBE_EVALUATIONS), MOST)
    made = list(course.states)
    for ring in range(layout.rings):
        known = [
            merged_front(_of_ring(course, c, ring, layout), tuning.front) if on else None
            for c, on in enumerate(course.live)
        ]
        made += trials(
            known, problems, count=count // layout.rings, seed=settings.seed,
            barrier=course.barrier, ring=ring, rings=layout.rings,
        )  # fmt: skip
    targets = np.concatenate(
        [course.targets, np.zeros(len(made) - len(course.states), dtype=np.int64)]
    )
    tried = int(course.evaluations.sum())
    return dataclasses.replace(course, states=made, targets=targets, tried=tried)


def _of_ring(course: Course, candidate: int, ring: int, layout: Layout) -> list[State]:
    first = candidate * layout.islands + ring * layout.size
    return course.states[first : first + layout.size]


def _without_trials(
    course: Course, problems: Sequence[Problem], tuning: Tuning, layout: Layout
) -> Course:
    """Return the course after ended trials have handed their finds to their ring."""
    made, counts = list(course.states), course.ended.copy()
    kept = [i for i in range(len(made)) if not course.is_probe(i)]
    for i in range(len(kept), len(made)):
        c = course.owner(i)
        counts[c] += made[i].clock[[EVALUATIONS, FEASIBLE, FAILED]]
        ring = probe_ring(int(made[i].key[2]), layout.rings)
        home = c * layout.islands + ring * layout.size
        made[home] = received(made[home], made[i].front, problems[c].sizes[1], tuning)
    return dataclasses.replace(
        course, states=[made[i] for i in kept], targets=course.targets[kept], ended=counts
    )
