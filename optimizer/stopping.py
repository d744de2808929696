"""Stopping the process that works on a run, and no other."""

from __future__ import annotations

import contextlib
import os
import signal
import time

from models.errors import RunError
from optimizer.archive import Run
from optimizer.files import started
from optimizer.standing import unfinished

AT_ONCE = 15.0  # [s] after which a process that was told to stop at once is killed


def stopped(run: Run, *, now: bool, patience: float | None = None) -> None:
    """Ask the process that works on a run to stop, and wait until it has.

    Parameters
    ----------
    run : Run
        One of the runs that the process works on.
    now : bool
        Stop at once, instead of after the generation.
    patience : float, optional
        How long to wait [s]; without end by default.

    Raises
    ------
    RunError
        If nobody works on it, or the process cannot be told to stop.
    """
    pid = holder(run)
    try:
        if now:
            # Two kinds, since two signals of one kind sent together arrive as one.
            os.kill(pid, signal.SIGINT)
        os.kill(pid, signal.SIGTERM)
        if now:
            _insist(run, pid)
    except ProcessLookupError:
        return
    except PermissionError:
        raise RunError(
            f"process {pid}, which works on {run.name}, belongs to another user.\n"
            "  Let its owner stop it."
        ) from None
    begun = time.monotonic()
    while run.pid == pid and (patience is None or time.monotonic() - begun < patience):
        time.sleep(0.1)


def _insist(run: Run, pid: int) -> None:
    """Wait for a process that was told to stop at once, and kill it if it does not."""
    begun = time.monotonic()
    while run.pid == pid:
        if time.monotonic() - begun > AT_ONCE:
            os.kill(pid, signal.SIGKILL)
        time.sleep(0.1)


def holder(run: Run) -> int:
    """Return the process that works on a run, certain not to be another of the same number.

    Raises
    ------
    RunError
        If nobody works on it, or the process is not one of this machine.
    """
    pid = run.pid
    if pid is None:
        status = run.status
        more = f"\n  Go on with: ripplefront resume {run.name}" if unfinished(status) else ""
        raise RunError(f"nobody works on {run.name}: it is {status['state']}.{more}")
    with contextlib.suppress(OSError, ValueError, IndexError):
        # The process and, where the system tells it, the time it was started.
        number, *begun = (run.folder / "lock").read_text(encoding="ascii").split()
        if int(number) == pid and started(pid) == "".join(begun):
            return pid
    raise RunError(
        f"the process {pid} that works on {run.name} is not on this machine.\n"
        "  Stop it where it runs."
    )
