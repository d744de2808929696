"""Searches that the page starts: processes of their own, a bounded number at once."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from pathlib import Path

from models.errors import RunError
from optimizer import standing, stopping
from optimizer.child import new_child
from optimizer.detached import begun
from optimizer.files import started, writer
from optimizer.page.library import Library

MOST = 2  # searches at once under one folder of runs, those of terminals included
PATIENCE = 5.0  # [s] that a request waits for a search to stop

_lock = threading.Lock()
_asked: set[tuple[int, str]] = set()  # processes that were asked to stop, with their start


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
    """Go on with an interrupted or stopped run, and the rest of its sweep.

    Raises
    ------
    RunError
        If it is worked on or has come to its end, or too many searches are running.
    """
    with _lock:
        found = library.run(run)
        status = found.status
        if status["state"] in ("running", "waiting"):
            raise RunError(f"{run} is {status['state']} already; there is nothing to go on with.")
        if not standing.unfinished(status):
            why = standing.why(found, status)
            raise RunError(f"{run} has ended: {why}.\n  Re-run it with a pin for more designs.")
        _room(library)
        _start(standing.family(found))


def stop(library: Library, run: str, *, now: bool = False) -> bool:
    """Ask the process that works on a run to stop; return whether it has by now.

    Raises
    ------
    RunError
        If nobody works on it, or it was asked before: a second signal would end it at once.
    """
    found = library.run(run)
    with _lock:
        pid = stopping.holder(found)
        process = (pid, started(pid))
        if process in _asked and not now:
            raise RunError(
                f"{run} was asked to stop already and finishes its generation.\n"
                "  To end it without waiting, stop it now."
            )
        _asked.add(process)
    stopping.stopped(found, now=now, patience=PATIENCE)
    return found.pid is None


def running(library: Library) -> list[str]:
    """Return the names of the runs that are worked on, or wait for their turn."""
    return [name for name in library.names() if _worked_on(library.root / name)]


def _worked_on(folder: Path) -> bool:
    return writer(folder / "lock") is not None


def _room(library: Library) -> None:
    """See that another search may start: one process may hold several runs."""
    pids = {writer(library.root / name / "lock") for name in library.names()} - {None}
    if len(pids) >= MOST:
        raise RunError(
            f"{len(pids)} searches are running already, and {MOST} at once are allowed.\n"
            "  Wait until one has ended, or stop one in Runs."
        )


def _start(folders: Sequence[Path]) -> None:
    """Start a search, and wait for it aside: else it would stay as a dead entry when it ends."""
    child = begun(folders)
    threading.Thread(target=child.wait, name=f"search of {folders[0].name}", daemon=True).start()
