"""How a sweep goes, for people: a live table on a terminal, one line a round elsewhere."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Protocol, TextIO

from rich.console import Console
from rich.live import Live
from rich.table import Table


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
    guaranteed: float = 0.0  # share of the designs of a round that it never goes below


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
    moved: float | None = None  # of the common front's hypervolume over the last third
    disagreement: float | None = None  # between independent seeds; None: one seed only
    rings: int = 1  # independent seeds of every candidate


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
    return (
        f"{clock} round {p.barrier}/{p.rounds}  {p.designs:,} designs  {p.rate:,.0f}/s  "
        f"feasible {100 * p.feasible_share:.1f} %  front {p.front}  "
        f"hypervolume {p.hypervolume:.4f} (+{p.gained:.4f})  left {duration(p.left)}  "
        f"failed {p.failed}"
    )


class PlainReporter:
    """Writes one line a round."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def __enter__(self) -> PlainReporter:
        """Start."""
        return self

    def __exit__(self, *exc: object) -> None:
        """End."""

    def __call__(self, progress: Progress) -> None:
        """Write the line of a round that has ended."""
        if progress.round_ended:
            self._stream.write(plain_line(progress) + "\n")
            self._stream.flush()


def table(p: Progress) -> Table:
    """Return the table that a terminal shows."""
    made = Table(title=plain_line(p), title_justify="left", expand=False)
    for name in ("topology", "structures", "designs", "feasible", "front", "hypervolume", ""):
        made.add_column(name, justify="left" if name in ("topology", "") else "right")
    for line in p.lines:
        made.add_row(
            line.topology,
            str(line.structures),
            f"{line.designs:,}",
            f"{100 * line.feasible_share:.1f} %",
            str(line.front),
            f"{line.hypervolume:.4f} (+{line.gained:.4f})",
            line.note,
        )
    return made


class LiveReporter:
    """Keeps a table up to date on a terminal."""

    def __init__(self, console: Console) -> None:
        self._live = Live(console=console, refresh_per_second=4, transient=False)

    def __enter__(self) -> LiveReporter:
        """Start drawing."""
        self._live.start()
        return self

    def __exit__(self, *exc: object) -> None:
        """Leave the last table standing."""
        self._live.stop()

    def __call__(self, progress: Progress) -> None:
        """Draw the table anew."""
        self._live.update(table(progress))


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
