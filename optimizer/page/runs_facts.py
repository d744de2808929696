"""What the list says of every run, read from a few small files of its folder."""

from __future__ import annotations

import contextlib
import csv
import dataclasses
import datetime
import os
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from models.errors import RipplefrontError
from models.spec import Module, Specification
from optimizer import standing
from optimizer.archive import Run
from optimizer.compare import parent_of
from optimizer.files import checked, damaged, writer
from optimizer.fronts import FrontPoint
from optimizer.launch import parse_without_files
from optimizer.objectives import landmarks, objectives_of
from optimizer.page.library import INSIDE, Library
from optimizer.page.memory import Memory
from optimizer.progress import Progress, progress_from
from optimizer.terminal import EXIT_NOTHING_FEASIBLE

KEPT = 2000  # runs
LONGEST = 160  # letters of a text out of a file
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


def asked(spec: Specification) -> str:
    """Return in a line what a specification asks for."""
    grids = " and ".join(f"{g.voltage_v:g} V {g.frequency_hz} Hz" for g in spec.grid)
    climate = spec.climate.csv or spec.climate.tmy or spec.climate.profile or "temperate"
    words = (
        f"{spec.output.rated_power_w:g} W",
        " and ".join(_module(m) for m in spec.module),
        grids,
        climate,
        f"{spec.life.wanted_years:g} years",
    )
    return " · ".join(short(w) for w in words)


def _module(module: Module) -> str:
    named = module.name or module.listed
    if named or module.v_mp_v is None or module.i_mp_a is None:
        return named or "a module"
    return f"{module.v_mp_v * module.i_mp_a:.0f} W module"


def families(entries: Sequence[Entry]) -> list[list[tuple[int, Entry]]]:
    """Return runs that belong together with their depth, the newest family first.

    The runs of one sweep, in their order, and all re-runs of them are a family; a re-run
    stands below its parent, one level deeper.
    """
    known = {e.name: e for e in entries}
    groups: dict[str, list[Entry]] = {}
    for entry in entries:
        first = _ancestor(entry, known)
        groups.setdefault(first.sweep or first.name, []).append(entry)
    ordered = sorted(groups.values(), key=lambda g: -max(e.created for e in g))
    return [list(_tree(group)) for group in ordered]


def _ancestor(entry: Entry, known: Mapping[str, Entry]) -> Entry:
    """Return the first of a line of re-runs; folders from elsewhere may name each other."""
    seen = {entry.name}
    while entry.parent in known and entry.parent not in seen:
        seen.add(entry.parent)
        entry = known[entry.parent]
    return entry


def _tree(group: Sequence[Entry]) -> Iterator[tuple[int, Entry]]:
    names = {e.name for e in group}
    children: dict[str, list[Entry]] = {}
    for entry in group:
        children.setdefault(entry.parent if entry.parent in names else "", []).append(entry)
    first = reversed(children.pop("", []))
    waiting = [(0, e) for e in sorted(first, key=lambda e: e.created)]
    left = dict.fromkeys(e.name for e in group)
    while waiting or left:
        if not waiting:  # only runs that name each other as parents are left
            waiting = [(0, next(e for e in group if e.name in left))]
        depth, entry = waiting.pop(0)
        if entry.name not in left:
            continue
        del left[entry.name]
        yield depth, entry
        waiting[:0] = [(depth + 1, e) for e in children.get(entry.name, [])]


def short(text: str, most: int = LONGEST) -> str:
    """Return a text out of a file, cut where it is longer than anybody reads."""
    return text if len(text) <= most else f"{text[: most - 1]}…"


def age(created: float, now: float | None = None) -> str:
    """Return how old something is, roughly.

    Examples
    --------
    >>> age(0.0, 30.0), age(0.0, 7300.0), age(0.0, 1e6)
    ('just now', '2 h', '12 days')
    """
    minutes = int((time.time() if now is None else now) - created) // 60
    if minutes < 1:
        return "just now"
    for size, unit in ((1440, "days"), (60, "h"), (1, "min")):
        if minutes >= size * (2 if unit == "days" else 1):
            return f"{minutes // size} {unit}"
    return ""


def size_words(size: int) -> str:
    """Return a size on the disk.

    Examples
    --------
    >>> size_words(900), size_words(1_530_000)
    ('1 kB', '1.5 MB')
    """
    if size < 1_000_000:
        return f"{max(round(size / 1e3), 1)} kB"
    return f"{size / 1e6:.1f} MB" if size < 1e9 else f"{size / 1e9:.2f} GB"


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


def when(created: float) -> str:
    """Return a moment as a date for people, in UTC as all files of a run have it."""
    moment = datetime.datetime.fromtimestamp(created, datetime.UTC)
    return moment.strftime("%Y-%m-%d %H:%M UTC")


def text_of(event: Mapping[str, Any], key: str) -> str:
    """Return an entry of an event as text; empty where it has none."""
    return short(str(event.get(key, "")), 300)
