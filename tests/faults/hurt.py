"""Searches as processes of their own that may be hurt, and what is left of them afterwards.

The problem is the invented one of tests/optimizer; everything else is the real path: the
entry of a detached search, its signals, its run folder.  Processes are forked from a server
that has everything loaded, so that a kill costs milliseconds and many moments are tried.
"""

import contextlib
import dataclasses
import hashlib
import multiprocessing
import os
import resource
import signal
import time
import types
from pathlib import Path

import numpy as np

import optimizer.engine as engine
import optimizer.work as work
from optimizer import store
from optimizer.archive import open_run
from optimizer.budget import Settings
from optimizer.detached import worked
from optimizer.engine import sweep
from tests.optimizer.stand_in import StandIn, store_for

SETTINGS = Settings(seed=3, evaluations=12_000, islands=2, round_evaluations=500)
ROOT = Path(__file__).parents[2]
PATIENCE = 60.0  # [s] no search here takes a tenth of that


@dataclasses.dataclass(frozen=True)
class Harm:
    """What is done to a search from inside.

    ``every`` [s] between checkpoints; ``pause`` [s] a batch, to slow it down; ``file`` and
    ``memory`` [byte]: limits of its resources, the second beyond what it holds after
    ``after`` batches; ``jumps``: the clock on the wall goes astray.
    """

    every: float = 0.1
    pause: float = 0.0
    file: int | None = None
    memory: int | None = None
    after: int = 20
    jumps: bool = False
    workers: int = 0


class Hurt(StandIn):
    """The invented problem, slowed down or starved of memory."""

    def __init__(self, name, topology, shift, harm):
        super().__init__(name, topology, shift)
        self.harm, self.left = harm, harm.after

    def evaluate(self, genes):
        time.sleep(self.harm.pause)
        self.left -= 1
        if self.harm.memory is not None and self.left == 0:
            starve(self.harm.memory)
        return super().evaluate(genes)


def starve(most: int) -> None:
    """Leave this process only so much more memory, and ask for more than that."""
    held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (held + most, resource.RLIM_INFINITY))
    np.ones(most + (1 << 30), dtype=np.int8)


def problems(harm=Harm()):
    """Return two topologies."""
    return [Hurt("boost", "boost", 0.0, harm), Hurt("other", "other", 0.4, harm)]


def folder_in(root: Path) -> Path:
    """Return a new run folder in which nothing was searched yet."""
    with store_for(root, problems(), SETTINGS) as made:
        return made.folder


def undisturbed(root: Path) -> str:
    """Return the checksum of what an undisturbed search finds."""
    with np.errstate(all="raise", under="ignore"):
        made = store_for(root, problems(), SETTINGS)
        with made:
            assert sweep(problems(), SETTINGS, made).reason == "done"
        return bits(made.folder)


def bits(folder: Path) -> str:
    """Return the checksum of what was found."""
    return hashlib.sha256((folder / "archive.npz").read_bytes()).hexdigest()


def search(folder: str, harm: Harm) -> None:
    """Search in a run folder as a detached process does; what a child process runs."""
    with contextlib.suppress(PermissionError):
        os.setsid()
    signal.signal(signal.SIGINT, signal.default_int_handler)
    log = os.open(Path(folder) / "log.txt", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.dup2(log, 1)
    os.dup2(log, 2)
    if harm.file is not None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (harm.file, harm.file))
    if harm.jumps:
        _jump()
    engine.CHECKPOINT_EVERY = harm.every
    ready = types.SimpleNamespace(
        problems=problems(harm), spec=types.SimpleNamespace(sweep=types.SimpleNamespace(workers=0))
    )
    work.resumable = lambda run: ready
    raise SystemExit(worked([Path(folder)], workers=harm.workers, address=None))


def _jump() -> None:
    """Let the clock on the wall leap by years, backwards too; the steady one goes on."""
    real, leaps = time.time, np.random.default_rng(1)

    class Astray(store.datetime.datetime):
        @classmethod
        def now(cls, tz=None):
            return cls.fromtimestamp(1.7e9 + leaps.uniform(-1e9, 1e9), tz)

    time.time = lambda: real() + leaps.uniform(-1e9, 1e9)
    store.datetime = types.SimpleNamespace(datetime=Astray, UTC=store.datetime.UTC)


def started(folder: Path, harm: Harm = Harm()):
    """Return a process that searches in a run folder."""
    os.environ["PYTHONPATH"] = str(ROOT)  # for the server, which is started only once
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__])
    process = context.Process(target=search, args=(str(folder), harm))
    process.start()
    return process


def ended(process) -> int:
    """Return the exit code of a process, which must come soon."""
    process.join(PATIENCE)
    if process.exitcode is None:
        process.kill()
        raise AssertionError("the search does not end")
    code = process.exitcode
    process.close()
    return code


def said(folder: Path) -> str:
    """Return what the searches in a folder wrote to their log."""
    return (folder / "log.txt").read_text()


def awaited(condition) -> None:
    """Wait until a condition holds."""
    deadline = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < deadline, "nothing happens"
        time.sleep(0.002)


def whole(folder: Path) -> None:
    """Check that a run folder can be read, whatever happened to its writer."""
    run = open_run(folder)
    assert run.status["state"] in ("interrupted", "ended", "running")
    assert run.pid is None
    events, damaged = run.events()
    assert damaged == 0
    assert events[0]["event"] == "created"
    for front, cloud in zip(run.fronts, run.clouds, strict=True):
        assert np.isfinite(front.objectives).all()
        assert np.isfinite(cloud.columns).all()


def finished(folder: Path) -> str:
    """Let an undisturbed process go on to the end; return the checksum of what was found."""
    assert ended(started(folder)) == 0, said(folder)
    assert open_run(folder).status["state"] == "ended"
    whole(folder)
    return bits(folder)
