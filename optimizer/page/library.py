"""The run folders that the page shows, read anew when they change; nothing is written."""

from __future__ import annotations

import contextlib
import dataclasses
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from models.case import Case
from models.errors import RipplefrontError, RunError
from optimizer.archive import Run, StoredDesign, design_id, open_run
from optimizer.launch import open_design, stored_case
from optimizer.opened import Opened, edited
from optimizer.page.memory import Memory
from optimizer.store import NAME

RUN_BYTES, TABLE_BYTES = 400_000_000, 600_000_000
# Bytes of a variable of a structure in a run without its arrays: 6.0 MB of 830, measured.
VARIABLE_BYTES = 7_300
KEPT_CASES, KEPT_DESIGNS = 16, 128
# Folders of a run folder that are read.
INSIDE = (".", "catalogue", "checkpoints")


@dataclasses.dataclass(frozen=True)
class Broken:
    """A folder that looks like a run and cannot be read."""

    name: str
    reason: str


@dataclasses.dataclass(frozen=True)
class Listing:
    """Every stored design of a run as a table, and where each row is stored."""

    table: pd.DataFrame
    owner: NDArray[np.int64]  # number of the candidate
    cloud: NDArray[np.bool_]  # whether it is stored behind the front
    row: NDArray[np.int64]

    @property
    def weight(self) -> int:
        """Bytes that it takes."""
        texts = 64 * len(self.table)  # the names, which pandas counts as pointers
        return int(self.table.memory_usage(deep=False).sum()) + texts


class Library:
    """Runs under one folder, by name.

    A name from the address reaches the disk only through ``folder``.  All of it may be
    used by several threads at once.
    """

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()
        self._runs = Memory(RUN_BYTES, _run_weight)
        self._listings = Memory(TABLE_BYTES, lambda listing: listing.weight)
        self._cases, self._designs = Memory(KEPT_CASES), Memory(KEPT_DESIGNS)

    def names(self) -> list[str]:
        """Return the names of all runs, the one made last first."""
        found = [p.parent for p in self.root.glob("*/manifest.json")]
        kept = [(_made(f), f.name) for f in found if NAME.fullmatch(f.name)]
        return [name for _, name in sorted(kept, reverse=True)]

    def folder(self, name: str) -> Path:
        """Return the folder of a run.

        Raises
        ------
        RunError
            If the name is no plain name, leads out of the folder of runs, or the folder
            holds a link: a folder from elsewhere must not make the page show other files.
        """
        plain = isinstance(name, str) and NAME.fullmatch(name)
        folder = self.root / name if plain else self.root
        if not plain or not os.path.lexists(folder / "manifest.json"):
            raise RunError(
                f"there is no run named {str(name)[:80]!r} here.\n"
                "  Choose one from the list of runs."
            )
        link = folder.name if folder.is_symlink() else next(_irregular(folder), None)
        if link is not None:
            raise RunError(
                f"{name}: {link} is a link or no plain file, and links are not followed.\n"
                "  Copy what it leads to in its place."
            )
        return folder

    def run(self, name: str) -> Run:
        """Return a run as it stands on the disk now."""
        folder = self.folder(name)
        key = (name, _stamp(folder / "manifest.json"), _stamp(folder / "archive.npz"))
        run: Run = self._runs.get(key, lambda: open_run(folder))
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
        key = (run.name, _stamp(run.folder / "manifest.json"))
        case: Case = self._cases.get(key, lambda: stored_case(run))
        return case

    def table(self, run: Run) -> pd.DataFrame:
        """Return every stored design: id, candidate, topology, where it stands, all results.

        ``place`` is "front" for designs that no other structure of their topology
        dominates, "behind" for the rest.  It belongs to all who ask: change a copy.
        """
        return self.listing(run).table

    def listing(self, run: Run) -> Listing:
        """Return the table with the place of each of its rows among the stored designs."""
        # By the run as it was opened, not by its name: another may stand there by now.
        listing: Listing = self._listings.get(run, lambda: _listing(run))
        return listing

    def stored(self, run: Run, name: str) -> StoredDesign:
        """Return a design by its short name, or a unique beginning of it.

        Raises
        ------
        RunError
            If none or several designs have it.
        """
        listing = self.listing(run)
        found = np.flatnonzero(listing.table["design"].to_numpy() == name)
        if not found.size:
            return run.design(name)
        k = int(found[0])
        owner, row = run.candidates[listing.owner[k]], int(listing.row[k])
        stored = (run.clouds if listing.cloud[k] else run.fronts)[owner.number]
        return StoredDesign(name, owner, stored.genes[row], stored.columns[row])

    def design(self, run: Run, name: str, changes: Mapping[str, str] | None = None) -> Opened:
        """Return a stored design evaluated, with values changed by hand if asked."""
        key = (run.name, name, _stamp(run.folder / "manifest.json"))
        base: Opened = self._designs.get(
            key, lambda: open_design(run, self.stored(run, name), self.case(run))
        )
        if not changes:
            return base
        varied: Opened = self._designs.get(
            (*key, *sorted(changes.items())), lambda: edited(base, changes)
        )
        return varied


def _irregular(folder: Path) -> Iterator[str]:
    """Yield what a run folder holds that is neither a plain file nor a folder."""
    for part in INSIDE:
        with contextlib.suppress(OSError), os.scandir(folder / part) as entries:
            for entry in entries:
                if not entry.is_file(follow_symlinks=False) and not entry.is_dir(
                    follow_symlinks=False
                ):
                    yield entry.name


def _stamp(path: Path) -> tuple[int, int, int]:
    """Return what changes whenever a file is replaced; zeros for one that is not there."""
    try:
        found = path.stat()
    except OSError:
        return 0, 0, 0
    return found.st_mtime_ns, found.st_size, found.st_ino


def _made(folder: Path) -> int:
    """Return when a run was made [ns]: its candidates are written once, all else later."""
    return _stamp(folder / "candidates.json")[0]


def _run_weight(run: Run) -> int:
    """Return the bytes that a run takes, with its arrays once they have been read."""
    arrays: Mapping[str, NDArray[Any]] = vars(run).get("_arrays", {})
    described = VARIABLE_BYTES * sum(len(c.genes.genes) for c in run.candidates)
    return described + sum(a.nbytes for a in arrays.values())


def _listing(run: Run) -> Listing:
    ahead = {
        d.id for t in dict.fromkeys(c.topology for c in run.candidates) for d in run.front_of(t)
    }
    parts = [
        (c, part is run.clouds, part[c.number])
        for c in run.candidates
        for part in (run.fronts, run.clouds)
        if part[c.number].size
    ]
    sizes = [stored.size for _, _, stored in parts]
    ids = [design_id(c.name, g) for c, _, stored in parts for g in stored.genes]
    results = np.concatenate([np.zeros((0, len(run.columns))), *(s.columns for _, _, s in parts)])
    table = pd.DataFrame(results, columns=[c.name for c in run.columns])
    table.insert(0, "design", pd.Series(ids, dtype=object))
    for at, key in ((1, "candidate"), (2, "topology")):
        owners = [c.name if key == "candidate" else c.topology for c, _, _ in parts]
        table.insert(at, key, np.repeat(np.array(owners, dtype=object), sizes))
    table.insert(3, "place", np.where(table["design"].isin(ahead), "front", "behind"))
    first = ~table["design"].duplicated().to_numpy()
    return Listing(
        table[first].reset_index(drop=True),
        np.repeat([c.number for c, _, _ in parts], sizes)[first].astype(np.int64),
        np.repeat([cloud for _, cloud, _ in parts], sizes)[first].astype(np.bool_),
        np.concatenate([np.zeros(0, dtype=np.int64), *map(np.arange, sizes)])[first],
    )
