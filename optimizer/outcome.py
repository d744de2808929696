"""What a sweep tells: progress on the way, the result at its end, the arrays it stores."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from models.results import RESULTS
from optimizer.budget import Groups, Settings
from optimizer.course import Course, gathered
from optimizer.evidence import Dominated, Evidence, dominated, evidence, measured
from optimizer.front import Frame, Front, common, frame_of
from optimizer.judging import EVERYWHERE, Shedding, sheddings
from optimizer.problem import Problem
from optimizer.progress import Line, Progress
from optimizer.selection import violation

EXIT = {"done": 0, "time": 0, "converged": 0, "stopped": 4, "failed": 6}
NOTHING_FEASIBLE = 3
UNCOMPARED = "independent seeds not compared: budget too small"


@dataclasses.dataclass(frozen=True)
class Nearest:
    """The design that violates the limits least where nothing meets them all."""

    candidate: str
    genes: Array
    margins: Array
    violation: float


@dataclasses.dataclass(frozen=True)
class Result:
    """What a sweep found.

    ``reason`` is "done" (all designs spent), "time" (the limit, at a barrier),
    "converged" (nothing moves and independent seeds agree), "stopped" (by the user) or
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
    evidence: tuple[Evidence, ...]  # one a topology, then for the common front
    rings: int  # independent seeds that were compared; one where the budget is too small
    shed: tuple[Shedding, ...]  # structures given up, in their order
    dominated: tuple[Dominated, ...]  # topologies that others better everywhere
    seconds: float  # altogether, interruptions not counted
    seconds_evaluating: float  # summed over the workers, as is the next
    seconds_working: float

    @property
    def search_share(self) -> float:
        """Share of the working time spent outside the evaluation."""
        return 1.0 - self.seconds_evaluating / max(self.seconds_working, 1e-9)

    @property
    def exit_code(self) -> int:
        """Exit code of the command."""
        ended = self.reason in ("done", "time", "converged")
        if ended and not any(f.size for f in self.fronts):
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
            "seeds": f"{self.rings} independent, compared" if self.rings > 1 else UNCOMPARED,
            "evidence": [
                dataclasses.asdict(e) | {"still": e.still, "agree": e.agree} for e in self.evidence
            ],
            "shed": [shedding_record(s, self.candidates) for s in self.shed],
            "dominated": [
                dataclasses.asdict(d) | {"text": dominated_text(d)} for d in self.dominated
            ],
            "nearest": [
                {"candidate": n.candidate, "violation": n.violation} for n in self.nearest
            ],
        }


def shedding_record(shedding: Shedding, names: Sequence[str]) -> dict[str, Any]:
    """Return why a structure was given up, for journal and status."""
    found = dataclasses.asdict(shedding)
    nothing = shedding.lead >= EVERYWHERE
    return found | {
        "candidate": names[shedding.candidate],
        "rival": names[shedding.rival],
        "lead": None if nothing else shedding.lead,
        "why": "no feasible design" if nothing else "dominated everywhere and still",
    }


def dominated_text(found: Dominated) -> str:
    """Return by how much a topology is dominated, in the units of the objectives."""
    units = {r.name: r.unit for r in RESULTS}
    gaps = []
    for name, least, middle in found.gaps:
        unit = {"%": " points", "1": ""}.get(units.get(name, "1"), f" {units.get(name)}")
        gaps.append(f"{least:.3g} to {middle:.3g}{unit} of {name}")
    behind = "; ".join(gaps) + f"; {100 * found.distance:.1f} % of the front's extent at least"
    return f"dominated everywhere: behind, others being equal, by {behind}"


def objective_names(problems: Sequence[Problem]) -> tuple[str, ...]:
    """Return the names of the objectives, numbers where a problem does not tell them."""
    plain = tuple(f"objective {k + 1}" for k in range(problems[0].sizes[0]))
    return tuple(getattr(problems[0], "objective_names", plain))


def concluded(
    course: Course, problems: Sequence[Problem], settings: Settings, reason: str, *,
    seconds: float, seconds_evaluating: float, seconds_working: float,
) -> Result:  # fmt: skip
    """Return the result of a course."""
    n, groups = len(problems), Groups.by(problems)
    layout = settings.layout(n)
    fronts = gathered(course, settings.tuning(n).front)
    now = dataclasses.replace(course, fronts=fronts)
    now = dataclasses.replace(now, evidence=measured(now, groups, layout))
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
        evidence(now, groups),
        layout.rings,
        sheddings(course.shed),
        dominated([f.objectives for f in fronts], groups, objective_names(problems)),
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


def progress_of(
    course: Course, problems: Sequence[Problem], settings: Settings, *, fronts: Sequence[Front],
    elapsed: float, rate: float, search_share: float, ended: bool,
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
    fronts : Sequence of Front
        What is known of every candidate by now.
    elapsed : float
        Time the sweep has taken so far, interruptions not counted [s].
    rate : float
        Designs evaluated in a second by this process [1/s].
    search_share : float
        Share of the working time outside the evaluation [1].
    ended : bool
        Whether a round has just ended.
    """
    n, groups = len(problems), Groups.by(problems)
    counts = course.counts()
    designs, feasible, failed = counts.sum(axis=0).tolist()
    every = np.concatenate([f.objectives for f in fronts])
    best = len(common(list(fronts))[0])
    frame = frame_of(every)
    found = evidence(course, groups)
    behind = dominated([f.objectives for f in fronts], groups, objective_names(problems))
    texts = {d.topology: dominated_text(d) for d in behind}
    lines = tuple(
        _line(course, groups, e, counts=counts, fronts=fronts, frame=frame,
              behind=texts.get(e.topology, ""))
        for e in found[:-1]
    )  # fmt: skip
    return Progress(
        barrier=course.barrier,
        rounds=settings.rounds(n),
        elapsed=elapsed,
        left=_left(settings, designs, elapsed, rate),
        designs=designs,
        planned=settings.evaluations,
        rate=rate,
        feasible_share=feasible / max(designs, 1),
        failed=failed,
        front=best,
        hypervolume=frame.hypervolume(every) if frame else 0.0,
        gained=max((line.gained for line in lines), default=0.0),
        search_share=search_share,
        lines=lines,
        round_ended=ended,
        moved=found[-1].moved,
        disagreement=found[-1].disagreement,
        rings=settings.layout(n).rings,
    )


def _left(settings: Settings, designs: int, elapsed: float, rate: float) -> float:
    by_budget = max(settings.evaluations - designs, 0) / max(rate, 1e-9)
    if settings.time_limit is None:
        return by_budget
    return max(min(by_budget, settings.time_limit - elapsed), 0.0)


def _line(
    course: Course, groups: Groups, known: Evidence, *, counts: NDArray[np.int64],
    fronts: Sequence[Front], frame: Frame | None, behind: str,
) -> Line:  # fmt: skip
    t = groups.names.index(known.topology)
    members = groups.members(t)
    own = np.concatenate([fronts[c].objectives for c in members])
    live = int(course.live[members].sum())
    dropped = len(members) - live
    notes = [f"{dropped} given up"] if dropped else []
    if behind:
        notes.append(behind)
    if not len(own):
        near = nearest_states(course)
        worst = [
            float(violation(course.states[near[c]].nearest_margins)[0])
            for c in members
            if c in near
        ]
        notes.append(f"nothing feasible yet, violation {min(worst):.3g}" if worst else "starting")
    now = frame.hypervolume(own) if frame else 0.0
    return Line(
        known.topology,
        live,
        known.designs,
        float(counts[members, 1].sum() / max(counts[members, 0].sum(), 1)),
        sum(fronts[c].size for c in members),
        now,
        now * float(course.merits[len(fronts) + t, 2]),
        ", ".join(notes),
        moved=known.moved,
        disagreement=known.disagreement,
        share=known.share,
        guaranteed=known.guaranteed,
    )
