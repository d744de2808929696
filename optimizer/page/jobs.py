"""Searches that the page starts: processes of their own, a bounded number at once."""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Sequence
from pathlib import Path

from models.errors import RunError
from optimizer import standing, stopping
from optimizer.child import new_child
from optimizer.detached import begun
from optimizer.files import writer
from optimizer.page.library import Library

MOST = 2  # searches at once under one folder of runs, those of terminals included
PATIENCE = 5.0  # [s] that a request waits for a search to stop

_lock = threading.Lock()
_children: list[subprocess.Popen[bytes]] = []


def rerun(
    library: Library,
    run: str,
    pins: Sequence[str],
    *,
    dropped: Sequence[str] = (),
    designs: int | None = None,
) -> str:
    """Start a re-run of a run under more pins; return the name of the child.

    Parameters
    ----------
    library : Library
        The runs.
    run : str
        Name of the parent.
    pins, dropped : Sequence of str
        Pins to add, and pins of the parent to leave out.
    designs : int, optional
        Designs to evaluate; as many as the parent if left out.

    Raises
    ------
    RipplefrontError
        For pins that clash, or where too many searches are running already.
    """
    with _lock:
        _room(library)
        child = new_child(
            library.run(run), library.root, added=pins, dropped=dropped, designs=designs
        )
        _start([child.folder])
    return child.folder.name


def resume(library: Library, run: str) -> None:
    """Go on with an interrupted or stopped run, and the rest of its sweep."""
    found = library.run(run)
    status = found.status
    if status["state"] == "running" or not standing.unfinished(status):
        raise RunError(f"{run} is {status['state']}; there is nothing to go on with.")
    with _lock:
        _room(library)
        _start(standing.family(found))


def stop(library: Library, run: str, *, now: bool = False) -> None:
    """Ask the process that works on a run to stop; it may take a moment longer."""
    stopping.stopped(library.run(run), now=now, patience=PATIENCE)


def running(library: Library) -> list[str]:
    """Return the names of the runs that are worked on, or wait for their turn."""
    return [name for name in library.names() if _worked_on(library.root / name)]


def _worked_on(folder: Path) -> bool:
    return writer(folder / "lock") is not None


def _room(library: Library) -> None:
    """See that another search may start: one process may hold several runs."""
    _reap()
    pids = {writer(library.root / name / "lock") for name in library.names()} - {None}
    if len(pids) >= MOST:
        raise RunError(
            f"{len(pids)} searches are running already, and {MOST} at once are allowed.\n"
            "  Wait until one has ended, or stop one in Runs."
        )


def _start(folders: Sequence[Path]) -> None:
    _children.append(begun(folders))


def _reap() -> None:
    """Let go of processes that have ended, so that none stays behind as a dead entry."""
    _children[:] = [child for child in _children if child.poll() is None]
