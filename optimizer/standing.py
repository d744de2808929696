"""Where a run stands, judged from its folder alone: unfinished or not, why, exit code."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from optimizer.archive import Run, open_run
from optimizer.store import NAME
from optimizer.terminal import EXIT_FAULT, EXIT_STOPPED

FULL = 1 << 20  # [byte] a disk with less room than this is called full
# What ends a sweep of several runs, worst first.
WORST = (1, 2, 130, 143, 6, 4, 3, 0)
MEANING = {
    "done": "all designs evaluated",
    "time": "time limit reached",
    "converged": "converged",
    "stopped": "stopped at your request; it can be resumed",
    "failed": "too many designs gave no result",
}


def family(run: Run) -> list[Path]:
    """Return the folders of all runs of the same sweep, in the order they are worked on."""
    names = run.manifest.get("sweep", {}).get("runs") or [run.name]
    # A manifest from elsewhere must not lead out of the folder of runs.
    beside = [run.folder.parent / name for name in names if NAME.fullmatch(str(name))]
    found = [folder for folder in beside if (folder / "manifest.json").exists()]
    return found if run.folder in found else [run.folder]


def unfinished(status: dict[str, Any]) -> bool:
    """Return whether a run can go on: it was interrupted, stopped, or waits for its turn."""
    return status.get("state") != "ended" or status.get("reason") == "stopped"


def begun(status: dict[str, Any]) -> bool:
    """Return whether a run has evaluated anything."""
    return bool(status.get("designs"))


def why(run: Run, status: dict[str, Any]) -> str:
    """Return in words why a run is in its state; empty where the state says it all."""
    reason = str(status.get("reason", ""))
    if status["state"] == "ended":
        return MEANING.get(reason, reason)
    if status["state"] != "interrupted":
        return ""
    if reason:
        return reason
    if shutil.disk_usage(run.folder).free < FULL:
        return "the disk that holds the run is full"
    if not begun(status):
        return "it has not begun"
    return "its process ended without a word: killed, out of memory, or power lost"


def exit_code(folders: Sequence[Path]) -> int:
    """Return the exit code of a sweep that nobody works on any more: that of its worst run."""
    codes = {_code(open_run(folder).status) for folder in folders}
    return next((code for code in WORST if code in codes), EXIT_FAULT)


def _code(status: dict[str, Any]) -> int:
    if status["state"] == "ended":
        return int(status.get("exit_code", 0))
    # A run that had not begun was kept from it by the one before it.
    return int(status.get("exit_code", EXIT_FAULT if begun(status) else EXIT_STOPPED))
