"""The process that searches: run folders one after the other, to the end or a signal.

Every search goes through ``work``, in the foreground and detached alike: it holds the
locks of all the folders, opens Ray once, and notes in the folder why it ended early.
"""

from __future__ import annotations

import contextlib
import dataclasses
import os
import signal
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from models.errors import RipplefrontError
from optimizer import engine
from optimizer.archive import Run, open_run
from optimizer.engine import Done, Job
from optimizer.files import read_json, write_json
from optimizer.launch import Prepared, resumable
from optimizer.outcome import Result
from optimizer.progress import Callback, Progress
from optimizer.signals import Asked
from optimizer.standing import unfinished
from optimizer.state import Tuning
from optimizer.store import Store, latest_checkpoint
from optimizer.terminal import EXIT_FAULT
from optimizer.version import VERSION

if TYPE_CHECKING:
    from optimizer.workers import RayWorkers

RAY_FROM = 50_000  # designs from which starting Ray (about 6 s) pays


def work(
    folders: Sequence[Path], *, workers: int | None, address: str | None, told: Callback | None
) -> tuple[Result, ...]:
    """Search the unfinished of some run folders, one after the other; return their results.

    Parameters
    ----------
    folders : Sequence of Path
        The runs of one sweep.
    workers : int, optional
        Processes; 0 searches in this one; None takes what the specification says.
    address : str, optional
        A Ray cluster to join.
    told : Callable, optional
        Told where the run that is worked on stands.

    Raises
    ------
    RunInUseError
        If another process writes one of the folders.
    KeyboardInterrupt
        After the second signal; its argument is the number of the signal.
    """
    with contextlib.ExitStack() as stack:
        stores = {folder: stack.enter_context(Store(folder)) for folder in folders}
        left = [run for run in map(open_run, folders) if unfinished(run.status)]
        if not left:
            return ()
        for run in left:
            _mark(stores[run.folder], "waiting")
        asked = stack.enter_context(Asked())
        with _noted(stores[left[0].folder]):
            ready = [resumable(run) for run in left]
            hands = stack.enter_context(_hands(ready, left, workers, address, asked))
        results = []
        for k, run in enumerate(left):
            if asked.number:
                break
            store = stores[run.folder]
            with _noted(store):
                _grant(run, folders)
                results.append(
                    _searched(ready[k], store, hands[k], asked, _teller(run, folders, told))
                )
            if results[-1].reason == "stopped":
                break
        return tuple(results)


def _searched(
    ready: Prepared, store: Store, hands: _Shifted | None, asked: Asked, told: Callback
) -> Result:
    run = open_run(store.folder)
    _mark(store, "running")
    store.journal("working", version=VERSION, ray=hands is not None)

    def tell(progress: Progress) -> None:
        asked.forward()
        for fault in hands.faults() if hands else ():
            store.journal("mended", fault=fault)
        told(progress)

    return engine.resume(
        ready.problems, run.settings, store, tell, seeds=run.stored_seeds(), workers=hands
    )


def _teller(run: Run, folders: Sequence[Path], told: Callback | None) -> Callback:
    """Return who is told of a run as one among the others of its sweep."""
    runs = [open_run(folder) for folder in folders]
    number = [r.name for r in runs].index(run.name)

    def tell(progress: Progress) -> None:
        if told:
            told(placed(progress, number, runs))

    return tell


def placed(progress: Progress, number: int, runs: Sequence[Run]) -> Progress:
    """Return the progress of a run as that of one among the others, worked on in this order."""
    if len(runs) < 2:
        return progress
    waiting = [run.settings for run in runs[number + 1 :] if unfinished(run.status)]
    more = sum(
        min(s.evaluations / max(progress.rate, 1e-9), s.time_limit or float("inf"))
        for s in waiting
    )
    return dataclasses.replace(
        progress,
        run=runs[number].name,
        number=number + 1,
        of=len(runs),
        left=progress.left + more,
    )


def _mark(store: Store, state: str) -> None:
    """Set the state of a run, and forget why it ended before."""
    before = read_json(store.folder / "status.json")
    kept = {k: v for k, v in before.items() if k not in ("schema", "at", "reason", "exit_code")}
    store.status({**kept, "state": state})


@contextlib.contextmanager
def _noted(store: Store) -> Iterator[None]:
    """Write into the run folder why the search ended early, if the disk still takes it."""
    try:
        yield
    except BaseException as error:
        facts = {"reason": reason_of(error), "exit_code": code_of(error)}
        with contextlib.suppress(RipplefrontError, OSError):
            store.journal("interrupted", **facts)
        with contextlib.suppress(RipplefrontError, OSError):
            before = read_json(store.folder / "status.json")
            store.status({**before, "state": "interrupted", **facts})
        raise


def reason_of(error: BaseException) -> str:
    """Return in words why a search ended early."""
    if isinstance(error, RipplefrontError):
        return str(error)
    if isinstance(error, KeyboardInterrupt):
        return "stopped at once at your request"
    if isinstance(error, MemoryError):
        return "the machine has no memory left"
    return f"internal fault: {type(error).__name__}: {error}"


def code_of(error: BaseException) -> int:
    """Return the exit code for an error."""
    if isinstance(error, RipplefrontError):
        return error.exit_code
    if isinstance(error, KeyboardInterrupt):
        return 128 + (error.args[0] if error.args else signal.SIGINT)
    return EXIT_FAULT


@dataclasses.dataclass(frozen=True)
class _Shifted:
    """The workers as one run sees them: its problems follow ``first`` others."""

    hands: RayWorkers
    first: int

    def faults(self) -> list[str]:
        """Return what was mended since the last look."""
        found, self.hands.faults = self.hands.faults, []
        return found

    def advance(self, jobs: Sequence[Job], tuning: Tuning, stop: Any) -> Iterator[Done]:
        """Yield islands as the workers do."""
        moved = [dataclasses.replace(job, problem=job.problem + self.first) for job in jobs]
        return self.hands.advance(moved, tuning, stop)


@contextlib.contextmanager
def _hands(
    ready: Sequence[Prepared], runs: Sequence[Run], workers: int | None, address: str | None,
    asked: Asked,
) -> Iterator[list[_Shifted | None]]:  # fmt: skip
    """Yield who advances the islands of each run; None for this process."""
    designs = sum(run.settings.evaluations for run in runs)
    count = workers if workers is not None else ready[0].spec.sweep.workers
    if not address:
        count = worker_count(count, designs)
        if count == 0:
            yield [None for _ in ready]
            return
    from optimizer.workers import RayWorkers

    try:
        opened = RayWorkers([p for r in ready for p in r.problems], count, address)
    except SystemExit:
        # While it starts, Ray itself answers SIGTERM.
        asked.number = signal.SIGTERM
        yield [None for _ in ready]
        return
    asked.listen()
    with opened as hands:
        firsts = [sum(len(r.problems) for r in ready[:k]) for k in range(len(ready))]
        yield [_Shifted(hands, first) for first in firsts]


def worker_count(asked: int | None, designs: int) -> int:
    """Return how many processes to use: as asked, else all cores where starting them pays."""
    if asked is not None:
        return asked
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return (cores or 1) if designs >= RAY_FROM and (cores or 1) > 1 else 0


def _grant(run: Run, folders: Sequence[Path]) -> None:
    """Give a run that begins its share of what the ended ones left: designs and time.

    The new settings stand in the manifest before the run begins, so that it goes the same
    way however often it is interrupted.
    """
    manifest = run.manifest
    if "granted" in manifest.get("sweep", {}) or latest_checkpoint(run.folder) is not None:
        return
    others = [open_run(f) for f in folders]
    ended = [o for o in others if not unfinished(o.status)]
    if not ended:
        return
    left = len(others) - len(ended)
    asked = sum(_share(o)[0] for o in others)
    spent = sum(int(o.status["designs"]) for o in ended)
    settings = run.settings
    designs = max((asked - spent) // left, settings.evaluations)
    limit = settings.time_limit
    if limit is not None:
        total = sum(_share(o)[1] for o in others)
        limit = max((total - sum(float(o.status["seconds"]) for o in ended)) / left, 1.0)
    extra = {
        "designs": designs - settings.evaluations,
        "seconds": (limit or 0.0) - (settings.time_limit or 0.0),
    }
    granted = dataclasses.replace(settings, evaluations=designs, time_limit=limit)
    write_json(
        run.folder / "manifest.json",
        {
            **manifest,
            "settings": dataclasses.asdict(granted),
            "sweep": {**manifest["sweep"], "granted": extra},
        },
    )


def _share(run: Run) -> tuple[int, float]:
    """Return the designs and the seconds that a run was first given."""
    extra = run.manifest.get("sweep", {}).get("granted", {"designs": 0, "seconds": 0.0})
    settings = run.settings
    return (
        settings.evaluations - int(extra["designs"]),
        (settings.time_limit or 0.0) - float(extra["seconds"]),
    )
