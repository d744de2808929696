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
from optimizer.budget import STALE_ROUNDS, Merit, Settings, hopeless, shares
from optimizer.encode import Whole
from optimizer.exchange import exchanged, helped
from optimizer.front import Frame, Front, frame_of
from optimizer.intake import received
from optimizer.problem import Problem
from optimizer.state import EVALUATIONS, FAILED, FEASIBLE, State, Tuning, founded, state_from
from optimizer.trials import FIRST_PROBE, PROBE_EVALUATIONS, trials

FRONT_LIMIT = 3000  # designs kept of every candidate's front
TURN = 2500  # evaluations an island may look for the first feasible design at a time
PATIENCE = 0.5  # of an equal share of the evaluations, before a structure may be given up
SNAPSHOTS = 60  # fronts kept along the way as evidence of convergence


@dataclasses.dataclass
class Course:
    """What stands between two rounds."""

    barrier: int
    states: list[State]
    targets: Whole  # evaluations at which each island's round ends
    fronts: list[Front]  # one a candidate
    live: NDArray[np.bool_]
    stale: Whole
    merits: Array  # (candidates, 2): hypervolume before and after the last round
    evaluations: Whole  # of every candidate at the last barrier, ended trials included
    ended: Whole  # (candidates, 3): evaluations, feasible and failed ones of ended trials
    snapshots: list[tuple[int, int, Array]]  # barrier, evaluations, objectives by candidate

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
            "barrier": np.array(self.barrier),
            "counts": np.array([len(self.states), len(self.fronts), len(self.snapshots)]),
            "targets": self.targets,
            "live": self.live,
            "stale": self.stale,
            "merits": self.merits,
            "evaluations": self.evaluations,
            "ended": self.ended,
        }
        for i, state in enumerate(self.states):
            found |= {f"island{i}.{k}": v for k, v in state.arrays().items()}
        for i, front in enumerate(self.fronts):
            found |= {f"front{i}.{f.name}": getattr(front, f.name) for f in _FRONT_FIELDS}
        for i, (barrier, evaluations, rows) in enumerate(self.snapshots):
            found |= {f"snap{i}.at": np.array([barrier, evaluations]), f"snap{i}.rows": rows}
        return found


_FRONT_FIELDS = dataclasses.fields(Front)


def course_from(arrays: Mapping[str, NDArray[Any]]) -> Course:
    """Return the course whose arrays ``Course.arrays`` gave."""
    islands, fronts, snapshots = (int(n) for n in arrays["counts"])
    names = [f.name for f in dataclasses.fields(State)]
    return Course(
        int(arrays["barrier"]),
        [state_from({n: arrays[f"island{i}.{n}"] for n in names}) for i in range(islands)],
        arrays["targets"],
        [Front(*(arrays[f"front{i}.{f.name}"] for f in _FRONT_FIELDS)) for i in range(fronts)],
        arrays["live"],
        arrays["stale"],
        arrays["merits"],
        arrays["evaluations"],
        arrays["ended"],
        [
            (int(arrays[f"snap{i}.at"][0]), int(arrays[f"snap{i}.at"][1]), arrays[f"snap{i}.rows"])
            for i in range(snapshots)
        ],
    )


def opened(problems: Sequence[Problem], settings: Settings, seeds: Mapping[str, Array]) -> Course:
    """Return the course before the first round; seeds go to all islands but the last."""
    states = []
    for c, problem in enumerate(problems):
        for i in range(settings.islands):
            given = seeds.get(problem.name)
            alone = i == settings.islands - 1 and settings.islands > 1
            states.append(founded((settings.seed, c, i), problem, None if alone else given))
    n = len(problems)
    return Course(
        0,
        states,
        np.zeros(len(states), dtype=np.int64),
        [Front.empty(p.space.size, p.sizes[0], p.sizes[2]) for p in problems],
        np.ones(n, dtype=bool),
        np.zeros(n, dtype=np.int64),
        np.zeros((n, 2)),
        np.zeros(n, dtype=np.int64),
        np.zeros((n, 3), dtype=np.int64),
        [],
    )


def planned(course: Course, settings: Settings) -> Course:
    """Return the course with the targets of the next round."""
    n = len(course.fronts)
    done = int(course.evaluations.sum())
    rounds_left = max(settings.rounds(n) - course.barrier, 1)
    total = max(settings.evaluations - done, 0) // rounds_left
    merits = None
    if done >= settings.equal * settings.evaluations:
        merits = [Merit(a, b) for a, b in course.merits.tolist()]
    share = shares(total, course.live, merits)
    targets = [
        PROBE_EVALUATIONS
        if course.is_probe(i)
        else state.evaluations + _part(course, i, int(share[course.owner(i)]), settings)
        for i, state in enumerate(course.states)
    ]
    return dataclasses.replace(course, targets=np.array(targets, dtype=np.int64))


def _part(course: Course, island: int, share: int, settings: Settings) -> int:
    """Return what an island gets of its candidate's share.

    Until a feasible design is known islands search for it in turns: three at once would
    spend three times as much on the same thing.
    """
    c, state = course.owner(island), course.states[island]
    if course.fronts[c].size or not len(state.block_genes):
        return share // settings.islands
    turn = int(course.evaluations[c]) // TURN % settings.islands
    return share if int(state.key[2]) == turn else 0


def settled(course: Course, problems: Sequence[Problem], settings: Settings) -> Course:
    """Return the course after the barrier that ends the round under way."""
    n = len(problems)
    tuning = settings.tuning(n)
    fronts = gathered(course)
    evaluations = course.counts()[:, 0]
    made = dataclasses.replace(
        course, barrier=course.barrier + 1, fronts=fronts, evaluations=evaluations
    )
    frame = frame_of(np.concatenate([f.objectives for f in fronts]))
    if frame is not None:
        made = _judged(
            made, course.fronts, problems, frame,
            patience=PATIENCE * settings.evaluations / n,
        )  # fmt: skip
    made = _without_trials(made, problems, tuning)
    made = helped(made, problems, settings, tuning)
    if evaluations.sum() >= settings.isolated * settings.evaluations:
        made = exchanged(made, problems, settings, tuning)
    if _due(course, made, settings):
        made.states = [*made.states, *_trials(made, problems, settings)]
    every = max(1, settings.rounds(n) // SNAPSHOTS)
    if made.barrier % every == 0:
        at = (made.barrier, int(evaluations.sum()), snapshot(fronts))
        made.snapshots = [*made.snapshots, at]
    return made


def gathered(course: Course) -> list[Front]:
    """Return every candidate's front with what its islands know."""
    fronts = list(course.fronts)
    for i, state in enumerate(course.states):
        c = course.owner(i)
        fronts[c] = fronts[c].merged(state.front, FRONT_LIMIT)[0]
    return fronts


def snapshot(fronts: Sequence[Front]) -> Array:
    """Return rows (candidate, objectives …) of all fronts, thinned."""
    rows = []
    for c, front in enumerate(fronts):
        thin = front.objectives[:: max(1, -(-front.size // 200))]
        rows.append(np.concatenate([np.full((len(thin), 1), float(c)), thin], axis=1))
    return np.concatenate(rows)


def _judged(
    course: Course,
    before: Sequence[Front],
    problems: Sequence[Problem],
    frame: Frame,
    *,
    patience: float,
) -> Course:
    """Return the course with merits of the round, and without structures past hope.

    None is judged before ``patience`` evaluations: a young front says little.
    """
    merits = np.array(
        [
            [frame.hypervolume(old.objectives), frame.hypervolume(new.objectives)]
            for old, new in zip(before, course.fronts, strict=True)
        ]
    )
    live, stale = course.live.copy(), course.stale.copy()
    for c, problem in enumerate(problems):
        rivals = [
            k for k, other in enumerate(problems)
            if k != c and live[k] and other.topology == problem.topology
        ]  # fmt: skip
        merit = Merit(*merits[c].tolist())
        patient = course.evaluations[c] < patience
        idle = (
            live[c]
            and not patient
            and hopeless(c, course.fronts, before[c], rivals=rivals, frame=frame, merit=merit)
        )
        stale[c] = stale[c] + 1 if idle else 0
        live[c] = live[c] and stale[c] < STALE_ROUNDS
    return dataclasses.replace(course, merits=merits, live=live, stale=stale)


def _due(before: Course, after: Course, settings: Settings) -> bool:
    """Return whether the share of evaluations at which levels are tried was just passed."""
    mark = settings.probed * settings.evaluations
    return bool(before.evaluations.sum() < mark <= after.evaluations.sum())


def _trials(course: Course, problems: Sequence[Problem], settings: Settings) -> list[State]:
    left = settings.evaluations - int(course.evaluations.sum())
    hopeful = [front if on else None for front, on in zip(course.fronts, course.live, strict=True)]
    return trials(
        hopeful,
        problems,
        count=int(settings.probe_share * max(left, 0) / PROBE_EVALUATIONS),
        seed=settings.seed,
        barrier=course.barrier,
    )


def _without_trials(course: Course, problems: Sequence[Problem], tuning: Tuning) -> Course:
    """Return the course after ended trials have handed their finds to the first island."""
    made, counts = list(course.states), course.ended.copy()
    ended = [i for i in range(len(made)) if course.is_probe(i)]
    for i in ended:
        c = course.owner(i)
        counts[c] += made[i].clock[[EVALUATIONS, FEASIBLE, FAILED]]
        home = next(k for k in range(len(made)) if course.owner(k) == c)
        made[home] = received(made[home], made[i].front, problems[c].sizes[1], tuning)
    kept = [state for i, state in enumerate(made) if i not in ended]
    return dataclasses.replace(course, states=kept, ended=counts)
