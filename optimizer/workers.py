"""Islands on Ray actors: one piece of an island's round a call, many generations each.

An actor keeps nothing but the problems; the island's state comes with every call, so
that a call repeated after a fault, or on another machine, gives the same bits.  Faults
are therefore mended here and not by Ray: this process counts them and gives up on a
piece that ends one worker after the other.
"""

from __future__ import annotations

import dataclasses
import os
import platform
import time
from collections.abc import Callable, Iterator, Sequence
from types import TracebackType
from typing import Any

import numpy as np

from models.errors import RunError
from optimizer.cluster import cluster_for
from optimizer.engine import Done, Job
from optimizer.island import advance
from optimizer.machine import keep_memory
from optimizer.pieces import Piece, Pieces
from optimizer.problem import Problem
from optimizer.state import Tuning
from optimizer.version import VERSION

ASK_EVERY = 0.5  # [s] between looks at whether the user wants to stop
COUNT_EVERY = 10.0  # [s] between looks at whether a cluster has grown
PATIENCE = 5  # workers that may end one after the other on the same piece
UNBORN = 25  # workers that may end one after the other before they have started
START_LIMIT = 120.0  # [s] without any worker before the sweep ends


def _versions() -> str:
    return f"ripplefront {VERSION}, Python {platform.python_version()}, numpy {np.__version__}"


class _Actor:
    """What runs in a worker process."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        keep_memory()
        self._problems = problems
        self._halted = 0

    def introduced(self) -> tuple[int, str]:
        """Return the number of this process, and what the bits of its results depend on."""
        return os.getpid(), _versions()

    def advance(self, call: int, piece: Piece, tuning: Tuning) -> Done:
        """Advance one island to a target, or until this call or a later one is halted."""
        problem = self._problems[piece.problem]
        state, report = advance(
            piece.state, problem, tuning, piece.target, lambda: self._halted >= call
        )
        return piece.island, state, report

    def halt(self, call: int) -> None:
        """End the generation that a call runs, even one that has not come yet."""
        self._halted = max(self._halted, call)


@dataclasses.dataclass
class _Hand:
    """A worker as this process sees it: what it was asked last and for which piece."""

    actor: Any
    asked: Any  # the reference to its answer; None while it idles
    piece: Piece | None = None  # None while it starts, and if nobody wants the answer any more
    call: int = 0


class RayWorkers:
    """Advances islands on Ray actors; a context manager that owns an embedded Ray.

    Parameters
    ----------
    problems : Sequence of Problem
        Copied once to every actor.
    count : int, optional
        Actors, one process and one core each.  In a cluster, None or 0 takes all its
        cores, and those of nodes that join later.
    address : str, optional
        HOST:PORT of a cluster to join, or "auto"; by default Ray is started here, for this
        machine alone, and ends with the sweep.

    Attributes
    ----------
    faults : list of str
        What went wrong and was mended, in words; the reader may empty it.
    """

    def __init__(
        self, problems: Sequence[Problem], count: int | None = None, address: str | None = None
    ) -> None:
        self.faults: list[str] = []
        self._problems = list(problems)
        self._asked, self._hands = count or 0, list[_Hand]()
        self._stillborn, self._calls = 0, 0
        self._speed: dict[int, float] = {}
        self._seen = self._counted = time.monotonic()
        self._cluster = cluster_for(self._asked, address)
        self._cluster.open()
        try:
            self._hire()
        except BaseException:
            self._cluster.close()
            raise

    def __enter__(self) -> RayWorkers:
        """Return itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the actors, and Ray if it was started here."""
        try:
            for hand in self._hands:
                self._dismiss(hand)
        finally:
            self._hands = []
            self._cluster.close()

    def advance(
        self, jobs: Sequence[Job], tuning: Tuning, stop: Callable[[], bool]
    ) -> Iterator[Done]:
        """Yield islands piece by piece, in any order; after a stop what was running, cut short."""
        pieces = Pieces(jobs, self._speed)
        try:
            while True:
                ending = stop()
                if ending:
                    self._halt()
                else:
                    self._deal(pieces, tuning)
                if not any(hand.piece for hand in self._hands) and (ending or not pieces):
                    return
                done = self._collected(pieces)
                # Nobody idles while the answer is looked at and stored.
                if done and not stop():
                    self._deal(pieces, tuning)
                if done:
                    yield done
        finally:
            self._halt()
            for hand in self._hands:
                hand.piece = None

    def _hire(self) -> None:
        import ray

        self._ray = ray
        self._stored = ray.put(self._problems)
        self._made: Any = ray.remote(num_cpus=1, max_restarts=0, max_task_retries=0)(_Actor)
        self._seen = time.monotonic()
        self._hands = [self._hired() for _ in range(self._asked or self._cores())]

    def _cores(self) -> int:
        return int(self._ray.cluster_resources().get("CPU", 0))

    def _hired(self) -> _Hand:
        """Return a new worker, which may have to wait for a core."""
        # Two calls at once: one that searches, one that halts it.
        actor = self._made.options(
            max_concurrency=2, runtime_env={"env_vars": self._cluster.environment()}
        ).remote(self._stored)
        return _Hand(actor, actor.introduced.remote())

    def _dismiss(self, hand: _Hand) -> None:
        self._ray.kill(hand.actor)

    def _halt(self) -> None:
        for hand in self._hands:
            if hand.piece:
                # Asked anew at every look: a worker that took over has not heard it.
                hand.actor.halt.remote(hand.call)

    def _deal(self, pieces: Pieces, tuning: Tuning) -> None:
        """Give every idle worker the piece that most is left of."""
        for hand in self._hands:
            if hand.asked is None and pieces:
                self._calls += 1
                hand.piece, hand.call = pieces.taken(len(self._hands)), self._calls
                hand.asked = hand.actor.advance.remote(hand.call, hand.piece, tuning)

    def _collected(self, pieces: Pieces) -> Done | None:
        """Wait a moment for an answer; mend what broke."""
        self._look_around(pieces)
        by_answer = {hand.asked: hand for hand in self._hands if hand.asked is not None}
        if not by_answer:
            time.sleep(ASK_EVERY)
            return None
        answered, _ = self._ray.wait(list(by_answer), timeout=ASK_EVERY)
        for reference in answered:
            hand = by_answer[reference]
            try:
                answer = self._ray.get(reference)
            except self._ray.exceptions.RayError as error:
                self._mend(hand, error, pieces)
                continue
            piece, hand.asked, hand.piece = hand.piece, None, None
            self._seen, self._stillborn = time.monotonic(), 0
            if piece:
                return pieces.returned(piece, answer)
            if not hand.call:
                self._welcome(*answer)
        return None

    def _welcome(self, pid: int, versions: str) -> None:
        """Take note of a worker that has started."""
        self._cluster.watch(pid)
        if versions != _versions():
            raise RunError(
                f"the workers of the cluster have {versions}, but this process {_versions()}.\n"
                "  The fronts would depend on who computed them: install the same everywhere."
            )

    def _mend(self, hand: _Hand, error: Exception, pieces: Pieces) -> None:
        """Put another worker in the place of a lost one, and its piece back."""
        cause = getattr(error, "cause", None)
        raised = isinstance(error, self._ray.exceptions.RayTaskError)
        if raised and not hand.piece:
            hand.asked = None  # nobody waits for it any more
            return
        if raised and not isinstance(cause, MemoryError):
            # A fault of the program: it would come again on every worker.
            raise cause if isinstance(cause, Exception) else error
        why = _reason(error, cause)
        piece = hand.piece
        self._dismiss(hand)
        self._hands[self._hands.index(hand)] = self._hired()
        name = self._problems[piece.problem].name if piece else ""
        deaths = pieces.failed(piece) if piece else 0
        self._stillborn += not piece
        self.faults.append(
            f"a worker was lost ({why}); "
            + (f"another repeats its piece of {name}" if piece else "another is started")
        )
        if deaths >= PATIENCE:
            raise RunError(
                f"an island of {name} ended {deaths} workers one after the other; the last: "
                f"{why}.\n  What was found is kept. If memory is short, resume with fewer "
                "workers; resuming with --workers 0 shows a fault of the program itself."
            )
        if self._stillborn >= UNBORN:
            raise RunError(
                f"{self._stillborn} workers ended while they started; the last: {why}.\n"
                "  In a cluster, see that ripplefront is installed on every node; here, that "
                "memory and disk are free. --workers 0 searches without them."
            )

    def _look_around(self, pieces: Pieces) -> None:
        """See that Ray lives, that there is any worker, and whether there could be more."""
        if self._cluster.broken():
            self.faults.append("Ray itself was ended; it is started anew and the pieces repeated")
            for hand in self._hands:
                if hand.piece:
                    pieces.failed(hand.piece)
            self._hands = []
            self._cluster.close()
            self._cluster.open()
            self._hire()
        clock = time.monotonic()
        if any(hand.asked is None or hand.piece for hand in self._hands):
            self._seen = clock
        elif clock - self._seen > START_LIMIT:
            raise RunError(
                f"no worker has started for {clock - self._seen:.0f} s; the cluster has "
                f"{self._cores()} cores, perhaps none of them free.\n"
                "  What was found is kept: resume when there are, or without --address."
            )
        if not self._asked and clock - self._counted > COUNT_EVERY:
            self._counted = clock
            more = self._cores() - len(self._hands)
            self._hands += [self._hired() for _ in range(more)]


def _reason(error: Exception, cause: object) -> str:
    """Return in a few words what ended a worker."""
    text = " ".join(str(error).split())
    if isinstance(cause, MemoryError) or "running low on memory" in text:
        return "memory ran short"
    if "creation task" in text:
        # Why it could not start stands in the last line of a long story.
        return str(error).strip().splitlines()[-1]
    _, _, detail = text.partition("The actor is dead because ")
    return f"{type(error).__name__}: {(detail or text)[:120]}"
