"""What the list says of every run, read from a few small files of its folder."""

from __future__ import annotations

import contextlib
import csv
import dataclasses
import datetime
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from models.errors import RipplefrontError
from optimizer import standing
from optimizer.archive import Run
from optimizer.compare import parent_of
from optimizer.files import checked, damaged, writer
from optimizer.fronts import FrontPoint
from optimizer.launch import parse_without_files
from optimizer.objectives import landmarks, objectives_of
from optimizer.page.library import INSIDE, Library
from optimizer.page.memory import Memory
from optimizer.page.runs_words import asked, short
from optimizer.progress import Progress, progress_from
from optimizer.terminal import EXIT_NOTHING_FEASIBLE

KEPT = 2000  # runs
DENSITY, EFFICIENCY = "power_density_kw_l", "weighted_efficiency_pct"
ENDED = {"stopped": "stopped", "failed": "failed"}
BUSY = "its process is beginning again or about to end"
Stamp = tuple[tuple[int, int], ...]


@dataclasses.dataclass(frozen=True)
class Corner:
    """A design to look at first."""

    where: str  # "densest", "most efficient", "knee"
    design: str
    topology: str
    density: float  # [kW/l]
    efficiency: float  # weighted [%]


@dataclasses.dataclass(frozen=True)
class Entry:
    """One run as the list shows it; a broken one has a name and a reason only."""

    name: str
    state: str  # running, waiting, busy, finished, stopped, failed, interrupted, broken
    why: str = ""
    asked: str = ""
    pins: tuple[str, ...] = ()
    variant: str = ""
    sweep: str = ""
    parent: str = ""
    resumable: bool = False
    designs: int = 0
    planned: int = 0
    front: int | None = None
    corners: tuple[Corner, ...] = ()
    size: int = 0  # [byte] on the disk
    created: float = 0.0  # [s] since 1970
    progress: Progress | None = None

    @property
    def held(self) -> bool:
        """Whether a process works on it, or will when its turn comes."""
        return self.state in ("running", "waiting")


class Glance(Run):
    """A run without its candidates, which take most of the time that opening one takes."""

    def __init__(self, folder: Path) -> None:
        self._head(folder)
        self.candidates = ()


class Facts:
    """The entries of all runs, kept until a file of theirs changes."""

    def __init__(self, library: Library) -> None:
        self.library = library
        self._entries, self._corners = Memory(KEPT), Memory(KEPT)

    def every(self) -> list[Entry]:
        """Return the entries of all runs, the one made last first."""
        return [self.entry(name) for name in self.library.names()]

    def entry(self, name: str) -> Entry:
        """Return the entry of a run; a folder that cannot be read gives one as well."""
        folder = self.library.root / name
        key = (name, stamps(folder), writer(folder / "lock"))
        found: Entry = self._entries.get(key, lambda: self._entry(name))
        return found

    def _entry(self, name: str) -> Entry:
        try:
            folder = self.library.folder(name)
            with checked(folder / "status.json"):
                return self._read(Glance(folder))
        except RipplefrontError as error:
            return Entry(name, "broken", short(" ".join(str(error).split()), 400),
                         created=_made(self.library.root / name))  # fmt: skip

    def _read(self, run: Run) -> Entry:
        status = run.status
        with checked(run.folder / "manifest.json"):
            sweep = run.manifest.get("sweep") or {}
            planned, created = run.settings.evaluations, _moment(run.manifest["created"])
            pins = tuple(short(str(pin)) for pin in run.pins)
        _see_whole(run.folder / "candidates.json")
        state = status["state"]
        if state == "ended":
            state = ENDED.get(status.get("reason", ""), "finished")
        if state == "stopped" and run.pid is not None:
            state = "busy"
        progress = progress_from(status) if state in ("running", "waiting") else None
        return Entry(
            run.name,
            state,
            BUSY if state == "busy" else short(_why(run, status), 400),
            asked(parse_without_files(run)),
            pins,
            short(str(sweep.get("variant", ""))),
            str(sweep.get("id", "")),
            parent_of(run),
            state not in ("running", "waiting", "busy") and standing.unfinished(status),
            int(status.get("designs", 0)),
            int(planned),
            int(status["front"]) if "front" in status else None,
            self.corners(run),
            disk_bytes(run.folder),
            created,
            progress,
        )

    def corners(self, run: Run) -> tuple[Corner, ...]:
        """Return the designs of a run to look at first; none before its first."""
        path = run.folder / "front.csv"
        key = (run.name, stamps(run.folder, ("front.csv",)))
        found: tuple[Corner, ...] = self._corners.get(key, lambda: _corners_in(path, run))
        return found


def _why(run: Run, status: dict[str, Any]) -> str:
    why = standing.why(run, status)
    nothing = status.get("exit_code") == EXIT_NOTHING_FEASIBLE
    return f"{why}, no feasible design" if nothing else why


def _corners_in(path: Path, run: Run) -> tuple[Corner, ...]:
    """Return the corners of the common front, from its table: the arrays take far longer."""
    if not path.exists():
        return ()
    with checked(path):
        points = list(_points(path))
        if not points or not {DENSITY, EFFICIENCY} <= points[0].results.keys():
            return ()
        knee = landmarks(points, objectives_of(run))[-1][1]
        best = (
            ("densest", max(points, key=lambda p: p.density)),
            ("most efficient", max(points, key=lambda p: p.efficiency)),
            ("knee", points[knee]),
        )
        return tuple(
            Corner(where, p.label, p.topology, p.density, p.efficiency) for where, p in best
        )


def _points(path: Path) -> Iterator[FrontPoint]:
    """Yield the designs of the common front out of ``front.csv``."""
    with path.open(encoding="utf-8", newline="") as file:
        heads, _, *rows = [*csv.reader(file)] or [[], []]
    for design, candidate, common, *values in rows:
        if common == "1":
            results = dict(zip(heads[3:], map(float, values), strict=True))
            yield FrontPoint(short(design), candidate.split("[")[0], results)


def disk_bytes(folder: Path) -> int:
    """Return the bytes of all files of a run folder."""
    total = 0
    for part in INSIDE:
        with contextlib.suppress(OSError), os.scandir(folder / part) as found:
            for file in found:
                with contextlib.suppress(OSError):
                    if file.is_file(follow_symlinks=False):
                        total += file.stat(follow_symlinks=False).st_size
    return total


def _see_whole(path: Path) -> None:
    """Refuse a file of JSON whose end is missing; all of it is read when the run is opened."""
    with checked(path), path.open("rb") as file:
        file.seek(max(path.stat().st_size - 16, 0))
        if not file.read().rstrip().endswith(b"}"):
            raise damaged(path, "its end is missing")


def _moment(text: str) -> float:
    return datetime.datetime.fromisoformat(text).timestamp()


def _made(folder: Path) -> float:
    with contextlib.suppress(OSError):
        return folder.stat().st_mtime
    return 0.0


def stamps(
    folder: Path, names: Sequence[str] = ("manifest.json", "status.json", "front.csv")
) -> Stamp:
    """Return what changes whenever one of some files is replaced."""
    found = []
    for name in names:
        with contextlib.suppress(OSError):
            stat = (folder / name).stat()
            found.append((stat.st_mtime_ns, stat.st_ino))
    return tuple(found)
