"""A small process that outlives the search only to clear up after it.

Run as a script with a folder: reads from its standard input which processes belong to
the search and when they were started, one JSON object a line.  When the input closes,
however the search came to its end, it gives them a moment, kills what is left and removes
the folder.  Needs nothing but the standard library.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import sys
import time
from pathlib import Path

PROC = Path("/proc")
GRACE = 3.0  # [s] that processes have to end by themselves
STATE, PARENT, STARTED = 0, 1, 19  # fields of /proc/PID/stat behind the name, see proc(5)
DEAD = ("Z", "X")


def _fields(pid: int | str) -> list[str]:
    """Return what the system says about a process; nothing if there is none to ask."""
    try:
        text = (PROC / str(pid) / "stat").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return []
    # The name stands in parentheses and may hold anything.
    fields = text.rpartition(")")[2].split()
    return [] if fields[STATE] in DEAD else fields


def started(pid: int) -> int:
    """Return when a living process was started [ticks], which tells it from a later one.

    0 if it is dead, and on systems that do not say.
    """
    fields = _fields(pid)
    return int(fields[STARTED]) if fields else 0


def descendants(pid: int) -> dict[int, int]:
    """Return all living processes below one, each with its start; empty where unknown."""
    parents, starts = {}, {}
    for entry in PROC.glob("[0-9]*"):
        fields = _fields(entry.name)
        if fields:
            parents[int(entry.name)] = int(fields[PARENT])
            starts[int(entry.name)] = int(fields[STARTED])
    found = {pid}
    while True:
        more = {p for p, parent in parents.items() if parent in found} - found
        if not more:
            return {p: starts[p] for p in found - {pid}}
        found |= more


def clear(processes: dict[int, int], folder: Path, grace: float = GRACE) -> None:
    """Kill what is left of some processes after a moment, and remove a folder."""
    ends = time.monotonic() + grace
    while time.monotonic() < ends and any(started(p) == s for p, s in processes.items()):
        time.sleep(0.05)
    for pid, start in processes.items():
        if started(pid) == start:
            with contextlib.suppress(OSError):
                os.kill(pid, signal.SIGKILL)
    shutil.rmtree(folder, ignore_errors=True)


def main(folder: Path) -> None:
    """Wait for the end of the input, then clear up."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    watched: dict[int, int] = {}
    for line in sys.stdin:
        watched |= {int(pid): start for pid, start in json.loads(line).items()}
    clear(watched, folder)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
