"""The rounds of a sweep: advance islands, meet at barriers, keep the run folder current."""

from __future__ import annotations

import contextlib
import dataclasses
import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Protocol

import numpy as np

from models.axes import Array
from models.errors import RunError
from optimizer.archive import archived, table_rows
from optimizer.budget import Settings
from optimizer.course import Course, course_from, gathered, opened, planned, settled
from optimizer.evidence import converged
from optimizer.front import Front
from optimizer.island import Report, advance
from optimizer.judging import sheddings
from optimizer.outcome import Result, concluded, progress_of, shedding_record
from optimizer.problem import Problem
from optimizer.progress import Callback
from optimizer.state import State, Tuning
from optimizer.store import Store, latest_checkpoint

CHECKPOINT_EVERY = 25.0  # [s]; an island's turn comes on top, 30 s may be lost at most
STATUS_EVERY = 1.0  # [s]
STATUS_SHARE = 0.01  # of the time at most goes into telling where the sweep stands
JOURNAL_EVERY = 10.0  # [s] between two barriers that the journal notes
FAILED_SHARE = 0.05  # more designs without result than this end the sweep


@dataclasses.dataclass(frozen=True)
class Job:
    """One island's round: its state, its problem's number, the evaluations to reach."""

    island: int
    problem: int
    state: State
    target: int


Done = tuple[int, State, Report]


class Workers(Protocol):
    """Who advances islands; results may come in any order, the course is the same."""

    def advance(
        self, jobs: Sequence[Job], tuning: Tuning, stop: Callable[[], bool]
    ) -> Iterator[Done]:
        """Yield (island, state, report) as islands finish or have been stopped."""


class SameProcess:
    """Advances islands one after the other, here."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self._problems = problems

    def advance(
        self, jobs: Sequence[Job], tuning: Tuning, stop: Callable[[], bool]
    ) -> Iterator[Done]:
        """Yield each island after its turn."""
        for job in jobs:
            if stop():
                return
            state, report = advance(
                job.state, self._problems[job.problem], tuning, job.target, stop
            )
            yield job.island, state, report


def sweep(
    problems: Sequence[Problem],
    settings: Settings,
    store: Store | None = None,
    progress: Callback | None = None,
    *,
    seeds: Mapping[str, Array] | None = None,
    workers: Workers | None = None,
) -> Result:
    """Search all candidates and return their fronts; an interrupt ends it in good order.

    Parameters
    ----------
    problems : Sequence of Problem
        One for every topology and structure.
    settings : Settings
        Budget and seed.
    store : Store, optional
        Run folder to keep; without one nothing is written.
    progress : Callable, optional
        Told where the sweep stands, about once a second and at every barrier.
    seeds : Mapping, optional
        Designs (n, genes) to start from, by candidate name.
    workers : Workers, optional
        Who advances the islands; by default this process.
    """
    course = planned(opened(problems, settings, seeds or {}), problems, settings)
    return _Run(problems, settings, store, progress, workers).run(course)


def resume(
    problems: Sequence[Problem],
    settings: Settings,
    store: Store,
    progress: Callback | None = None,
    *,
    seeds: Mapping[str, Array] | None = None,
    workers: Workers | None = None,
) -> Result:
    """Go on from the last whole checkpoint of ``store`` to the bits of an undisturbed sweep.

    Without a checkpoint the sweep starts from its beginning.  Parameters as in ``sweep``.

    Raises
    ------
    RunError
        If the checkpoint belongs to other candidates.
    """
    arrays = latest_checkpoint(store.folder)
    if arrays is None:
        return sweep(problems, settings, store, progress, seeds=seeds, workers=workers)
    course = course_from(arrays)
    same = len(course.fronts) == len(problems) and all(
        front.genes.shape[1] == problem.space.size
        for front, problem in zip(course.fronts, problems, strict=False)
    )
    if not same:
        raise RunError(
            f"the checkpoint of {store.name} belongs to other candidates than its specification "
            "gives now.\n  Resume with the version and catalogue that started the run."
        )
    spent = float(arrays.get("seconds", np.array(0.0)))
    store.journal("resumed", barrier=course.barrier, seconds=round(spent, 1))
    return _Run(problems, settings, store, progress, workers, spent).run(course)


class _Run:
    """What lives only as long as the process: clocks, signals, files."""

    def __init__(
        self,
        problems: Sequence[Problem],
        settings: Settings,
        store: Store | None,
        progress: Callback | None,
        workers: Workers | None,
        spent: float = 0.0,
    ) -> None:
        self._problems, self._settings = problems, settings
        self._store, self._progress = store, progress
        self._workers = workers or SameProcess(problems)
        self._rounds = settings.rounds(len(problems))
        self._tuning = settings.tuning(len(problems))
        self._begun = self._saved = self._told = time.monotonic()
        self._noted = -np.inf
        self._spent = spent  # by processes before this one [s]
        self._telling = 0.0
        self._evaluating = self._working = 0.0
        self._new = 0
        self._stopped = False
        self._fronts: list[Front] = []

    def run(self, course: Course) -> Result:
        """Pass rounds until the budget, the time or the user's patience ends."""
        with self._signals():
            self._fronts = gathered(course, self._tuning.front)
            # A sweep killed after its last barrier has nothing left but to say so.
            reason = self._decided(course)
            while not reason:
                self._round(course)
                reason = "stopped" if self._stopped and not self._complete(course) else ""
                if not reason:
                    shed = len(course.shed)
                    course = planned(
                        settled(course, self._problems, self._settings),
                        self._problems,
                        self._settings,
                    )
                    self._barrier(course, shed)
                    reason = self._ended(course)
            return self._conclude(course, reason)

    @property
    def _elapsed(self) -> float:
        return self._spent + time.monotonic() - self._begun

    def _complete(self, course: Course) -> bool:
        return all(
            state.evaluations >= target
            for state, target in zip(course.states, course.targets.tolist(), strict=True)
        )

    def _round(self, course: Course) -> None:
        jobs = [
            Job(i, course.owner(i), state, target)
            for i, (state, target) in enumerate(
                zip(course.states, course.targets.tolist(), strict=True)
            )
            if state.evaluations < target
        ]
        for island, state, report in self._workers.advance(
            jobs, self._tuning, lambda: self._stopped
        ):
            course.states[island] = state
            c = course.owner(island)
            self._fronts[c] = self._fronts[c].merged(state.front, self._tuning.front)[0]
            self._evaluating += report.seconds_evaluating
            self._working += report.seconds
            self._new += report.evaluations
            clock = time.monotonic()
            if clock - self._told > max(STATUS_EVERY, self._telling / STATUS_SHARE):
                self._tell(course, ended=False)
            if clock - self._saved > CHECKPOINT_EVERY:
                self._save(course)

    def _barrier(self, course: Course, shed: int) -> None:
        """Tell and note a barrier; ``shed`` structures had been given up before it."""
        self._fronts = list(course.fronts)
        told = self._tell(course, ended=True)
        names = [p.name for p in self._problems]
        for lost in sheddings(course.shed[shed:]):
            self._note("shed", **shedding_record(lost, names))
        if time.monotonic() - self._noted > JOURNAL_EVERY:
            self._noted = time.monotonic()
            self._note(
                "barrier",
                barrier=course.barrier,
                designs=told.designs,
                front=told.front,
                hypervolume=told.hypervolume,
                moved=told.moved,
                disagreement=told.disagreement,
                live=int(course.live.sum()),
            )
        if time.monotonic() - self._saved > CHECKPOINT_EVERY:
            self._save(course)

    def _note(self, kind: str, **event: Any) -> None:
        if self._store:
            self._store.journal(kind, **event)

    def _decided(self, course: Course) -> str:
        """Return why the last barrier ended the sweep, from what stood there alone."""
        spent = int(course.evaluations.sum()) >= self._settings.evaluations
        if spent or course.barrier >= self._rounds:
            return "done"
        return "converged" if converged(course, self._settings) else ""

    def _ended(self, course: Course) -> str:
        decided = self._decided(course)
        if decided:
            return decided
        evaluations, _, failed = course.counts().sum(axis=0).tolist()
        limit = self._settings.time_limit
        if failed > FAILED_SHARE * max(evaluations, 2000):
            return "failed"
        if limit is not None and self._elapsed > limit:
            return "time"
        return "stopped" if self._stopped else ""

    def _save(self, course: Course) -> None:
        """Write checkpoint and archive."""
        if self._store:
            arrays = course.arrays() | {"seconds": np.array(self._elapsed)}
            self._store.checkpoint(course.barrier, arrays)
            fronts = gathered(course, self._tuning.front)
            self._store.archive(
                archived(course, fronts), table_rows(self._problems, fronts, self._store.folder)
            )
        self._saved = time.monotonic()

    def _tell(self, course: Course, *, ended: bool) -> Any:
        begun = time.monotonic()
        told = progress_of(
            course, self._problems, self._settings, fronts=self._fronts,
            elapsed=self._elapsed, rate=self._new / max(begun - self._begun, 1e-9),
            search_share=1.0 - self._evaluating / max(self._working, 1e-9), ended=ended,
        )  # fmt: skip
        if self._progress:
            self._progress(told)
        if self._store:
            self._store.status({"state": "running", **dataclasses.asdict(told)})
        self._told = time.monotonic()
        self._telling = self._told - begun
        return told

    def _conclude(self, course: Course, reason: str) -> Result:
        self._save(course)
        result = concluded(
            course, self._problems, self._settings, reason, seconds=self._elapsed,
            seconds_evaluating=self._evaluating, seconds_working=self._working,
        )  # fmt: skip
        if self._store:
            told = self._tell(course, ended=False)
            summary = result.summary()
            self._store.status({**dataclasses.asdict(told), "state": "ended", **summary})
            self._store.journal("ended", **summary)
        return result

    @contextlib.contextmanager
    def _signals(self) -> Iterator[None]:
        """Let the first interrupt finish the generation, the second end at once."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return

        def ask(number: int, frame: object) -> None:
            if self._stopped:
                raise KeyboardInterrupt(number)
            self._stopped = True

        before = {s: signal.signal(s, ask) for s in (signal.SIGINT, signal.SIGTERM)}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)
