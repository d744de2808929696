"""What a sweep tells: progress on the way, the result at its end, the arrays it stores."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.budget import Settings
from optimizer.course import Course, gathered, snapshot
from optimizer.front import Frame, Front, common, frame_of
from optimizer.problem import Problem
from optimizer.progress import Line, Progress
from optimizer.selection import violation

EXIT = {"done": 0, "time": 0, "stopped": 4, "failed": 6}
NOTHING_FEASIBLE = 3
STILL = 1e-3  # relative change of a hypervolume over the last third that counts as none


@dataclasses.dataclass(frozen=True)
class Nearest:
    """The design that violates the limits least where nothing meets them all."""

    candidate: str
    genes: Array
    margins: Array
    violation: float


@dataclasses.dataclass(frozen=True)
class Evidence:
    """How far a topology's hypervolume still moved over the last third of the evaluations."""

    topology: str
    hypervolume: float
    moved: float

    @property
    def still(self) -> bool:
        """True where more evaluations by the same seed promise little."""
        return self.moved < STILL


@dataclasses.dataclass(frozen=True)
class Result:
    """What a sweep found.

    ``reason`` is "done", "time" (the limit, at a barrier), "stopped" (by the user) or
    "failed" (too many designs without result).
    """

    reason: str
    barrier: int
    evaluations: int
    feasible: int
    failed: int
    candidates: tuple[str, ...]
    topologies: tuple[str, ...]  # of the candidates, in the same order
    fronts: tuple[Front, ...]
    nearest: tuple[Nearest, ...]  # one a topology without feasible design
    evidence: tuple[Evidence, ...]
    seconds: float
    seconds_evaluating: float  # summed over the workers, as is the next
    seconds_working: float

    @property
    def search_share(self) -> float:
        """Share of the working time spent outside the evaluation."""
        return 1.0 - self.seconds_evaluating / max(self.seconds_working, 1e-9)

    @property
    def exit_code(self) -> int:
        """Exit code of the command."""
        if self.reason in ("done", "time") and not any(f.size for f in self.fronts):
            return NOTHING_FEASIBLE
        return EXIT[self.reason]

    def common(self) -> list[tuple[int, int]]:
        """Return (candidate, row of its front) of the designs that none dominates."""
        owner, row = common(list(self.fronts))
        return list(zip(owner.tolist(), row.tolist(), strict=True))

    def summary(self) -> dict[str, Any]:
        """Return the plain facts for status and journal."""
        return {
            "reason": self.reason,
            "exit_code": self.exit_code,
            "barrier": self.barrier,
            "designs": self.evaluations,
            "feasible": self.feasible,
            "failed": self.failed,
            "front": len(self.common()),
            "seconds": round(self.seconds, 3),
            "seconds_evaluating": round(self.seconds_evaluating, 3),
            "search_share": round(self.search_share, 4),
            "evidence": [dataclasses.asdict(e) | {"still": e.still} for e in self.evidence],
            "nearest": [
                {"candidate": n.candidate, "violation": n.violation} for n in self.nearest
            ],
        }


def concluded(
    course: Course, problems: Sequence[Problem], reason: str, *, seconds: float,
    seconds_evaluating: float, seconds_working: float,
) -> Result:  # fmt: skip
    """Return the result of a course."""
    fronts = gathered(course)
    evaluations, feasible, failed = course.counts().sum(axis=0).tolist()
    return Result(
        reason,
        course.barrier,
        evaluations,
        feasible,
        failed,
        tuple(p.name for p in problems),
        tuple(p.topology for p in problems),
        tuple(fronts),
        _nearest(course, problems, fronts),
        _evidence(course, problems, fronts),
        seconds,
        seconds_evaluating,
        seconds_working,
    )


def nearest_states(course: Course) -> dict[int, int]:
    """Return the island with the design of least violation, by candidate."""
    best: dict[int, tuple[float, int]] = {}
    for i, state in enumerate(course.states):
        if len(state.nearest_genes):
            found = (float(violation(state.nearest_margins)[0]), i)
            c = course.owner(i)
            best[c] = min(best.get(c, found), found)
    return {c: island for c, (_, island) in best.items()}


def _nearest(
    course: Course, problems: Sequence[Problem], fronts: Sequence[Front]
) -> tuple[Nearest, ...]:
    served = {p.topology for p, f in zip(problems, fronts, strict=True) if f.size}
    found: dict[str, Nearest] = {}
    for c, island in nearest_states(course).items():
        state, topology = course.states[island], problems[c].topology
        near = Nearest(
            problems[c].name,
            state.nearest_genes[0],
            state.nearest_margins[0],
            float(violation(state.nearest_margins)[0]),
        )
        if topology not in served:
            found[topology] = min(found.get(topology, near), near, key=lambda n: n.violation)
    return tuple(found.values())


def _by_topology(problems: Sequence[Problem]) -> dict[str, list[int]]:
    groups: dict[str, list[int]] = {}
    for c, problem in enumerate(problems):
        groups.setdefault(problem.topology, []).append(c)
    return groups


def _evidence(
    course: Course, problems: Sequence[Problem], fronts: Sequence[Front]
) -> tuple[Evidence, ...]:
    frame = frame_of(np.concatenate([f.objectives for f in fronts]))
    if frame is None:
        return ()
    total = int(course.counts()[:, 0].sum())
    early = [rows for _, evaluations, rows in course.snapshots if evaluations <= 2 * total / 3]
    last = snapshot(fronts)
    found = []
    for topology, members in _by_topology(problems).items():
        now = frame.hypervolume(last[np.isin(last[:, 0], members), 1:])
        then = early[-1] if early else last[:0]
        before = frame.hypervolume(then[np.isin(then[:, 0], members), 1:])
        found.append(Evidence(topology, now, (now - before) / now if now > 0.0 else 0.0))
    return tuple(found)


def progress_of(
    course: Course, problems: Sequence[Problem], settings: Settings, *, elapsed: float, new: int,
    search_share: float, ended: bool,
) -> Progress:  # fmt: skip
    """Return where a sweep stands.

    Parameters
    ----------
    course : Course
        The course.
    problems : Sequence of Problem
        The candidates.
    settings : Settings
        The budget.
    elapsed : float
        Time since this process began [s].
    new : int
        Designs evaluated in that time.
    search_share : float
        Share of the working time outside the evaluation [1].
    ended : bool
        Whether a round has just ended.
    """
    counts = course.counts()
    designs, feasible, failed = counts.sum(axis=0).tolist()
    rate = new / max(elapsed, 1e-9)
    fronts = gathered(course)
    frame = frame_of(np.concatenate([f.objectives for f in fronts]))
    every = np.concatenate([f.objectives for f in fronts])
    lines = tuple(
        _line(course, name, members, counts, fronts, frame)
        for name, members in _by_topology(problems).items()
    )
    return Progress(
        barrier=course.barrier,
        rounds=settings.rounds(len(problems)),
        elapsed=elapsed,
        left=_left(settings, designs, elapsed, rate),
        designs=designs,
        planned=settings.evaluations,
        rate=rate,
        feasible_share=feasible / max(designs, 1),
        failed=failed,
        front=len(common(fronts)[0]),
        hypervolume=frame.hypervolume(every) if frame else 0.0,
        gained=max((line.gained for line in lines), default=0.0),
        search_share=search_share,
        lines=lines,
        round_ended=ended,
    )


def _left(settings: Settings, designs: int, elapsed: float, rate: float) -> float:
    by_budget = max(settings.evaluations - designs, 0) / max(rate, 1e-9)
    if settings.time_limit is None:
        return by_budget
    return max(min(by_budget, settings.time_limit - elapsed), 0.0)


def _line(
    course: Course, name: str, members: list[int], counts: NDArray[np.int64],
    fronts: Sequence[Front], frame: Frame | None,
) -> Line:  # fmt: skip
    own = np.concatenate([fronts[c].objectives for c in members])
    live = int(course.live[members].sum())
    dropped = len(members) - live
    notes = [f"{dropped} given up"] if dropped else []
    if not len(own):
        near = nearest_states(course)
        worst = [
            float(violation(course.states[near[c]].nearest_margins)[0])
            for c in members
            if c in near
        ]
        notes.append(f"nothing feasible yet, violation {min(worst):.3g}" if worst else "starting")
    return Line(
        name,
        live,
        int(counts[members, 0].sum()),
        float(counts[members, 1].sum() / max(counts[members, 0].sum(), 1)),
        sum(fronts[c].size for c in members),
        frame.hypervolume(own) if frame else 0.0,
        float((course.merits[members, 1] - course.merits[members, 0]).max()),
        ", ".join(notes),
    )
