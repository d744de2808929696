"""Islands on Ray actors: one island a call, many generations between reports.

An actor keeps nothing but the problems; the island's state comes with every call, so
that a call repeated after a fault, or on another machine, gives the same bits.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator, Sequence
from types import TracebackType
from typing import Any

from optimizer.engine import Done, Job
from optimizer.island import advance
from optimizer.machine import keep_memory
from optimizer.problem import Problem
from optimizer.state import Tuning

ASK_EVERY = 0.5  # [s] between looks at whether the user wants to stop
LOCAL = "127.0.0.1"  # an embedded Ray listens on this machine alone


class _Actor:
    """What runs in a worker process."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        keep_memory()
        self._problems = problems
        self._halted = threading.Event()

    def advance(self, job: Job, tuning: Tuning) -> Done:
        """Advance one island to its target, or until told to halt."""
        self._halted.clear()
        state, report = advance(
            job.state, self._problems[job.problem], tuning, job.target, self._halted.is_set
        )
        return job.island, state, report

    def halt(self) -> None:
        """End the generation that runs."""
        self._halted.set()


class RayWorkers:
    """Advances islands on ``count`` actors; a context manager that owns an embedded Ray.

    Parameters
    ----------
    problems : Sequence of Problem
        Copied once to every actor.
    count : int
        Actors, one process each.
    """

    def __init__(self, problems: Sequence[Problem], count: int) -> None:
        os.environ.setdefault("RAY_USAGE_STATS_ENABLED", "0")
        import ray

        self._ray = ray
        self._own = not ray.is_initialized()
        if self._own:
            ray.init(
                num_cpus=count,
                include_dashboard=False,
                log_to_driver=False,
                logging_level="error",
                _node_ip_address=LOCAL,
            )
        made: Any = ray.remote(num_cpus=1, max_restarts=-1, max_task_retries=-1)(_Actor)
        stored = ray.put(list(problems))
        self._actors = [made.options(max_concurrency=2).remote(stored) for _ in range(count)]

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
        for actor in self._actors:
            self._ray.kill(actor)
        if self._own:
            self._ray.shutdown()

    def advance(
        self, jobs: Sequence[Job], tuning: Tuning, stop: Callable[[], bool]
    ) -> Iterator[Done]:
        """Yield islands as they finish; after a stop those that were running, cut short."""
        waiting = list(reversed(jobs))
        running: dict[Any, Any] = {}
        idle = list(self._actors)
        halted = False
        while running or (waiting and not stop()):
            while waiting and idle and not stop():
                actor = idle.pop()
                running[actor.advance.remote(waiting.pop(), tuning)] = actor
            done, _ = self._ray.wait(list(running), timeout=ASK_EVERY)
            for reference in done:
                idle.append(running.pop(reference))
                yield self._ray.get(reference)
            if stop() and not halted:
                halted = True
                for actor in self._actors:
                    actor.halt.remote()
