"""How a sweep goes, for people: a live table on a terminal, a line now and then elsewhere."""

from __future__ import annotations

import collections
import dataclasses
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol, TextIO

from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

LINE_EVERY = 30.0  # [s] between two lines in a log
BARS = "▁▂▃▄▅▆▇█"
KEPT = 12  # bars of a trend
WIDE = 120  # letters of a terminal that shows all columns


@dataclasses.dataclass(frozen=True)
class Line:
    """One topology."""

    topology: str
    structures: int
    designs: int
    feasible_share: float
    front: int
    hypervolume: float
    gained: float
    note: str
    moved: float | None = None  # of its own hypervolume over the last third; None: too early
    disagreement: float | None = None  # between independent seeds; None: one seed only
    share: float = 0.0  # of the designs so far
    guaranteed: float = 0.0  # share of a round, trials aside, that is always its own


@dataclasses.dataclass(frozen=True)
class Progress:
    """Where a sweep stands."""

    barrier: int
    rounds: int
    elapsed: float  # [s]
    left: float  # [s], from the rate so far
    designs: int
    planned: int
    rate: float  # [designs/s]
    feasible_share: float
    failed: int
    front: int  # designs on the common front
    hypervolume: float
    gained: float
    search_share: float  # of the time spent outside the evaluation
    lines: tuple[Line, ...]
    round_ended: bool
    run: str = ""  # its name, where several are worked on one after the other
    number: int = 1  # which of them it is, from 1
    of: int = 1
    moved: float | None = None  # of the common front's hypervolume over the last third
    disagreement: float | None = None  # between independent seeds; None: one seed only
    rings: int = 1  # independent seeds of every candidate


def progress_from(status: Mapping[str, Any]) -> Progress | None:
    """Return where a sweep stands from its status file; None before it has said so."""

    def fields(kind: type, content: Mapping[str, Any]) -> dict[str, Any]:
        names = {f.name for f in dataclasses.fields(kind)}
        return {k: v for k, v in content.items() if k in names}

    try:
        lines = tuple(Line(**fields(Line, line)) for line in status.get("lines", ()))
        return Progress(**{**fields(Progress, status), "lines": lines})
    except TypeError:
        return None  # fields are missing: it has only been created


Callback = Callable[[Progress], None]


class Reporter(Protocol):
    """Something that shows progress from start to end."""

    def __enter__(self) -> Reporter:
        """Start."""

    def __exit__(self, *exc: object) -> None:
        """End."""

    def __call__(self, progress: Progress) -> None:
        """Show where the sweep stands."""


def duration(seconds: float) -> str:
    """Return a time as people say it: 45 s, 12 min 05 s, 3 h 05 min."""
    s = round(seconds)
    if s < 60:
        return f"{s} s"
    if s < 3600:
        return f"{s // 60} min {s % 60:02d} s"
    return f"{s // 3600} h {s % 3600 // 60:02d} min"


def plain_line(p: Progress) -> str:
    """Return one line for a log."""
    clock = f"{int(p.elapsed) // 60:02d}:{int(p.elapsed) % 60:02d}"
    which = f"{p.run} ({p.number} of {p.of})  " if p.of > 1 else ""
    return (
        f"{which}{clock} round {p.barrier}/{p.rounds}  {p.designs:,} designs  {p.rate:,.0f}/s  "
        f"feasible {100 * p.feasible_share:.1f} %  front {p.front}  "
        f"hypervolume {p.hypervolume:.4f} (+{p.gained:.4f})  left {duration(p.left)}  "
        f"failed {p.failed}"
    )


class PlainReporter:
    """Writes a line now and then; none while nothing moves."""

    def __init__(self, stream: TextIO, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream, self._clock = stream, clock
        self._written: float | None = None
        self._last = ""

    def __enter__(self) -> PlainReporter:
        """Start."""
        return self

    def __exit__(self, *exc: object) -> None:
        """End."""

    def __call__(self, progress: Progress) -> None:
        """Write a line if the last one is old enough and says something else."""
        now = self._clock()
        line = plain_line(progress)
        if line != self._last and (self._written is None or now - self._written >= LINE_EVERY):
            self._written, self._last = now, line
            self._stream.write(line + "\n")
            self._stream.flush()


Sample = tuple[int, float, int, float]  # barrier, elapsed [s], designs, hypervolume


class Trend:
    """Remembers what was shown, for what a single look cannot tell: rates and directions."""

    def __init__(self) -> None:
        self._seen: dict[str, collections.deque[Sample]] = {}

    def see(self, p: Progress) -> None:
        """Take in where the sweep stands."""
        for line in p.lines:
            past = self._seen.setdefault(f"{p.run} {line.topology}", collections.deque())
            sample = (p.barrier, p.elapsed, line.designs, line.hypervolume)
            if past and past[-1][1] > p.elapsed:
                past.clear()  # it was resumed: its clock began anew
            if past and past[-1][0] == p.barrier:
                past.pop()  # one sample a round, its latest
            past.append(sample)
            if len(past) > KEPT:
                past.popleft()

    def rate(self, p: Progress, line: Line) -> float | None:
        """Return the designs of a topology per second over the last rounds."""
        past = self._samples(p, line)
        if len(past) < 2 or past[-1][1] <= past[0][1]:
            return None
        return (past[-1][2] - past[0][2]) / (past[-1][1] - past[0][1])

    def bars(self, p: Progress, line: Line) -> str:
        """Return the hypervolume of a topology over the last rounds, a bar each."""
        return bars(self.hypervolumes(p, line))

    def hypervolumes(self, p: Progress, line: Line) -> list[float]:
        """Return the hypervolume of a topology over the last rounds."""
        return [sample[3] for sample in self._samples(p, line)]

    def _samples(self, p: Progress, line: Line) -> collections.deque[Sample]:
        return self._seen.get(f"{p.run} {line.topology}", collections.deque())


def bars(values: Sequence[float]) -> str:
    """Return a row of bars between the least and the largest of some values."""
    if len(values) < 2:
        return ""
    least, most = min(values), max(values)
    if most - least < 1e-9 * max(abs(most), 1e-300):
        return BARS[len(BARS) // 2] * len(values)
    return "".join(
        BARS[min(int((v - least) / (most - least) * len(BARS)), len(BARS) - 1)] for v in values
    )


def share(value: float | None) -> str:
    """Return a share in percent; empty where it cannot be told yet."""
    return "" if value is None else f"{100 * value:.2f} %"


def table(p: Progress, trend: Trend, width: int = WIDE) -> Table:
    """Return the table that a terminal of so many letters shows."""
    made = Table(expand=False, box=None, pad_edge=False)
    wide = width >= WIDE
    text = ("topology", "trend", "")
    heads = ("topology", "designs", "feasible", "front", "hypervolume", "trend")
    more = ("designs/s", "structures", "moved", "seeds differ", "")
    for name in (*heads, *(more if wide else ())):
        made.add_column(name, justify="left" if name in text else "right", no_wrap=True)
    for line in p.lines:
        rate = trend.rate(p, line)
        cells = [
            line.topology,
            f"{line.designs:,}",
            f"{100 * line.feasible_share:.1f} %",
            str(line.front),
            f"{line.hypervolume:.4f}",
            trend.bars(p, line),
        ]
        aside = [
            "" if rate is None else f"{rate:,.0f}",
            str(line.structures),
            share(line.moved),
            share(line.disagreement),
            line.note,
        ]
        made.add_row(*cells, *(aside if wide else ()))
    return made


class LiveReporter:
    """Keeps a table up to date on a terminal."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._live = Live(console=console, refresh_per_second=2, transient=False)
        self._trend = Trend()

    def __enter__(self) -> LiveReporter:
        """Start drawing."""
        self._live.start()
        return self

    def __exit__(self, *exc: object) -> None:
        """Leave the last table standing."""
        self._live.stop()

    def __call__(self, progress: Progress) -> None:
        """Draw the table anew."""
        self._trend.see(progress)
        self._live.update(
            Group(Text(plain_line(progress)), table(progress, self._trend, self._console.width))
        )


def reporter(stream: TextIO, *, quiet: bool = False, colour: bool = True) -> Reporter:
    """Return what suits a stream: a table on a terminal, lines in a file, nothing if quiet."""
    if quiet:
        return _Silent()
    console = Console(file=stream, no_color=not colour)
    return LiveReporter(console) if console.is_terminal else PlainReporter(stream)


class _Silent:
    def __enter__(self) -> _Silent:
        return self

    def __exit__(self, *exc: object) -> None:
        return None

    def __call__(self, progress: Progress) -> None:
        return None
