"""The run folders that the page shows, read anew when they change; nothing is written."""

from __future__ import annotations

import dataclasses
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from models.case import Case
from models.errors import RipplefrontError, RunError
from optimizer.archive import Run, open_run
from optimizer.launch import open_design, stored_case
from optimizer.opened import Opened, edited
from optimizer.store import NAME

KEPT_RUNS, KEPT_DESIGNS = 8, 64


class Memory:
    """The results asked for last; a fixed number of them."""

    def __init__(self, size: int) -> None:
        self._size, self._held = size, OrderedDict[Hashable, Any]()
        self._lock = threading.Lock()

    def get(self, key: Hashable, made: Callable[[], Any]) -> Any:
        """Return what was kept under a key, or make it."""
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        value = made()  # outside the lock: a slow one must not hold up the others
        with self._lock:
            self._held[key] = value
            while len(self._held) > self._size:
                self._held.popitem(last=False)
        return value


@dataclasses.dataclass(frozen=True)
class Broken:
    """A folder that looks like a run and cannot be read."""

    name: str
    reason: str


class Library:
    """Runs under one folder, by name.

    A name from the address reaches the disk only through ``folder``.
    """

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()
        self._runs, self._tables = Memory(KEPT_RUNS), Memory(KEPT_RUNS)
        self._cases, self._designs = Memory(KEPT_RUNS), Memory(KEPT_DESIGNS)

    def names(self) -> list[str]:
        """Return the names of all runs, newest first."""
        found = [p.parent for p in self.root.glob("*/manifest.json") if not p.parent.is_symlink()]
        kept = [f for f in found if NAME.fullmatch(f.name)]
        return [f.name for f in sorted(kept, key=_changed, reverse=True)]

    def folder(self, name: str) -> Path:
        """Return the folder of a run.

        Raises
        ------
        RunError
            If the name is no plain name, or leads out of the folder of runs.
        """
        folder = self.root / name
        plain = NAME.fullmatch(name) and not folder.is_symlink()
        if not plain or not (folder / "manifest.json").is_file():
            raise RunError(
                f"there is no run named {name[:80]!r} here.\n  Choose one from the list of runs."
            )
        return folder

    def run(self, name: str) -> Run:
        """Return a run as it stands on the disk now."""
        folder = self.folder(name)
        run: Run = self._runs.get(
            (name, _changed(folder / "manifest.json"), _changed(folder / "archive.npz")),
            lambda: open_run(folder),
        )
        return run

    def every(self) -> list[Run | Broken]:
        """Return all runs, broken ones with the reason."""
        found: list[Run | Broken] = []
        for name in self.names():
            try:
                found.append(self.run(name))
            except RipplefrontError as error:
                found.append(Broken(name, str(error)))
        return found

    def case(self, run: Run) -> Case:
        """Return the case of a run: specification, operating points and catalogue."""
        case: Case = self._cases.get(
            (run.name, _changed(run.folder / "manifest.json")), lambda: stored_case(run)
        )
        return case

    def table(self, run: Run) -> pd.DataFrame:
        """Return every stored design: id, candidate, topology, where it stands, all results.

        ``place`` is "front" for designs that no other structure of their topology
        dominates, "behind" for the rest.
        """
        stamp = _changed(run.folder / "archive.npz")
        found: pd.DataFrame = self._tables.get((run.name, stamp), lambda: _table(run))
        return found

    def design(self, run: Run, name: str, changes: Mapping[str, str] | None = None) -> Opened:
        """Return a stored design evaluated, with values changed by hand if asked."""
        key = (run.name, name, _changed(run.folder / "manifest.json"))
        base: Opened = self._designs.get(
            key, lambda: open_design(run, run.design(name), self.case(run))
        )
        if not changes:
            return base
        varied: Opened = self._designs.get(
            (*key, *sorted(changes.items())), lambda: edited(base, changes)
        )
        return varied


def _changed(path: Path) -> int:
    """Return the time of the last change [ns]; 0 for a file that is not there."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


def _table(run: Run) -> pd.DataFrame:
    from optimizer.archive import design_id

    names = [c.name for c in run.columns]
    ahead = {
        d.id for t in dict.fromkeys(c.topology for c in run.candidates) for d in run.front_of(t)
    }
    frames = []
    for c in run.candidates:
        for part in (run.fronts[c.number], run.clouds[c.number]):
            frame = pd.DataFrame(part.columns, columns=names)
            frame.insert(0, "design", [design_id(c.name, g) for g in part.genes])
            frame.insert(1, "candidate", c.name)
            frame.insert(2, "topology", c.topology)
            frames.append(frame)
    table = pd.concat(frames, ignore_index=True).drop_duplicates("design", ignore_index=True)
    table.insert(3, "place", ["front" if d in ahead else "behind" for d in table["design"]])
    return table
