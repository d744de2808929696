"""What is shown in the area "Fronts", as its address says it."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping, Sequence

from models.errors import RipplefrontError
from models.results import RESULTS
from optimizer.objectives import Objective

DENSITY, EFFICIENCY = "power_density_kw_l", "weighted_efficiency_pct"
CLOUDS = {"binned": "all, as a shaded picture", "thinned": "some, as points", "none": "no"}
GUIDES = {"loss": "equal loss per litre", "cost": "equal cost"}
FRAMES = {"fronts": "the fronts", "all": "all designs"}
BARS = (DENSITY, EFFICIENCY, "cost", "life_years", "height_mm")
COLUMNS = (DENSITY, EFFICIENCY, "cost", "life_years", "height_mm", "loss_full_w", "electrolytics")
MOST_RUNS, MOST_BARS, MOST_COLUMNS, MOST_PICKED = 6, 8, 12, 6
# What is better when it is more; of every other reported quantity less is better.
MORE = {DENSITY, EFFICIENCY, "life_years", *(r.name for r in RESULTS if "efficiency" in r.name)}
_NAME = re.compile(r"[A-Za-z][\w.]{0,99}")
_TEXT = re.compile(r"[\w.:\[\]=, /+-]{1,200}")


class ViewError(RipplefrontError):
    """An address of the area that asks for what is not there."""


@dataclasses.dataclass(frozen=True)
class Brush:
    """The part of a quantity that is looked at, in its unit; infinite where open."""

    name: str
    lo: float
    hi: float

    def __str__(self) -> str:
        """Return the brush as the address has it."""
        ends = ("" if math.isinf(v) else f"{v:.6g}" for v in (self.lo, self.hi))
        return ":".join([self.name, *ends])


@dataclasses.dataclass(frozen=True)
class View:
    """What is shown.

    Parameters
    ----------
    runs : tuple of str
        Names of runs; what lies behind the fronts belongs to the first.
    x, y : str
        Reported quantities on the axes.
    colour : str
        A reported quantity; empty for the topology.
    cloud, frame : str
        How designs behind the fronts are drawn, and what the axes reach over.
    guides : tuple of str
        Guide lines: "loss", "cost".
    hidden : tuple of str
        Topologies left out.
    bars, columns : tuple of str
        Quantities and variables with a histogram, and quantities of the table.
    brushes : tuple of Brush
        The one selection that everything follows.
    window : tuple of float
        What was zoomed to: x from, x to, y from, y to; empty for all.
    short : int
        Length of the shortlist; 0 for the whole table.
    sort : str
        Column that the table is sorted by, "-" before it for the largest first.
    picked : tuple of str
        Designs to compare, each RUN/ID, as the area "Compare" takes them.
    """

    runs: tuple[str, ...] = ()
    x: str = DENSITY
    y: str = EFFICIENCY
    colour: str = ""
    cloud: str = "binned"
    frame: str = "fronts"
    guides: tuple[str, ...] = ("loss",)
    hidden: tuple[str, ...] = ()
    bars: tuple[str, ...] = BARS
    columns: tuple[str, ...] = COLUMNS
    brushes: tuple[Brush, ...] = ()
    window: tuple[float, ...] = ()
    short: int = 0
    sort: str = ""
    picked: tuple[str, ...] = ()

    def query(self) -> dict[str, str]:
        """Return the query of its address; what is as usual is left out."""
        usual, found = View(), {}
        for field in dataclasses.fields(self):
            value = getattr(self, field.name)
            if field.name == "runs" or value != getattr(usual, field.name):
                found[field.name] = _written(field.name, value)
        return found

    def full(self) -> dict[str, str]:
        """Return every entry of its address, those that are as usual too."""
        return {f.name: _written(f.name, getattr(self, f.name)) for f in dataclasses.fields(self)}


def _written(name: str, value: object) -> str:
    if isinstance(value, tuple):
        if name == "brushes":
            return ";".join(map(str, value))
        if name == "window":
            return ":".join(f"{v:.6g}" for v in value)
        return ",".join(value) or "none"
    return str(value)


def direction(name: str) -> float:
    """Return +1 for a quantity of which more is better, −1 for one of which less is."""
    return 1.0 if name in MORE else -1.0


def axis_of(name: str, unit: str) -> Objective:
    """Return a reported quantity with its direction, as axes and tables write it."""
    return Objective(name, unit, direction(name))


def view_of(query: Mapping[str, str]) -> View:
    """Return the view that an address asks for.

    Raises
    ------
    ViewError
        If an entry is malformed; the text names it.
    """
    usual = View()
    return View(
        runs=_list(query, "runs", (), MOST_RUNS),
        x=_name(query, "x", usual.x),
        y=_name(query, "y", usual.y),
        colour=_name(query, "colour", usual.colour),
        cloud=_among(query, "cloud", CLOUDS, usual.cloud),
        frame=_among(query, "frame", FRAMES, usual.frame),
        guides=tuple(g for g in _list(query, "guides", usual.guides, len(GUIDES)) if g in GUIDES),
        hidden=_list(query, "hidden", (), 100),
        bars=_list(query, "bars", usual.bars, MOST_BARS),
        columns=_list(query, "columns", usual.columns, MOST_COLUMNS),
        brushes=brushes_of(query.get("brushes", "")),
        window=_window(query.get("window", "")),
        short=int(_number(query.get("short") or "0", "short", lo=0, hi=60)),
        sort=_name(query, "sort", "", sign=True),
        picked=_list(query, "picked", (), MOST_PICKED),
    )


def _wrong(key: str, value: str, remedy: str) -> ViewError:
    return ViewError(f"the address has {key}={value[:60]!r}, which means nothing.\n  {remedy}")


def _name(query: Mapping[str, str], key: str, usual: str, *, sign: bool = False) -> str:
    value = query.get(key, usual)
    if value and not _NAME.fullmatch(value.removeprefix("-") if sign else value):
        raise _wrong(key, value, "Write the name of a reported quantity.")
    return value


def _among(query: Mapping[str, str], key: str, known: Mapping[str, str], usual: str) -> str:
    value = query.get(key, usual)
    if value not in known:
        raise _wrong(key, value, f"Choose one of {', '.join(known)}.")
    return value


def _list(
    query: Mapping[str, str], key: str, usual: tuple[str, ...], most: int
) -> tuple[str, ...]:
    value = query.get(key)
    if value is None:
        return usual
    names = tuple(dict.fromkeys(v.strip() for v in value.split(",") if v.strip()))
    if names == ("none",):
        return ()
    if len(names) > most or not all(_TEXT.fullmatch(n) for n in names):
        raise _wrong(key, value, f"Write at most {most} names with commas between them.")
    return names


def _number(text: str, key: str, *, lo: float = -1e300, hi: float = 1e300) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not lo <= value <= hi:
        raise _wrong(key, text, "Write a plain number.")
    return value


def _window(text: str) -> tuple[float, ...]:
    if not text:
        return ()
    found = tuple(_number(part, "window") for part in text.split(":")[:5])
    if len(found) != 4 or found[0] >= found[1] or found[2] >= found[3]:
        raise _wrong("window", text, "Write x from:x to:y from:y to.")
    return found


def brushes_of(text: str) -> tuple[Brush, ...]:
    """Return brushes as the address has them: NAME:FROM:TO with semicolons between."""
    found: dict[str, Brush] = {}
    for piece in [p for p in text.split(";") if p][:40]:
        name, *ends = piece.split(":")
        if len(ends) != 2 or not _NAME.fullmatch(name):
            raise _wrong("brushes", piece, "Write NAME:FROM:TO, either end empty where open.")
        lo = _number(ends[0], "brushes") if ends[0] else -math.inf
        hi = _number(ends[1], "brushes") if ends[1] else math.inf
        if lo > hi:
            lo, hi = hi, lo
        if math.isfinite(lo) or math.isfinite(hi):
            found[name] = Brush(name, lo, hi)
    return tuple(found.values())


def checked(view: View, known: Sequence[str], variables: Sequence[str]) -> View:
    """Return a view whose names a run has; axes must be known, others are dropped.

    Raises
    ------
    ViewError
        If the run reports no quantity of the name of an axis or of the colour.
    """
    for key in ("x", "y", "colour"):
        name = getattr(view, key)
        if name and name not in known:
            raise _wrong(key, name, f"The run reports {', '.join(known[:12])} and more.")
    everything = {*known, *variables}
    sort = view.sort if view.sort.removeprefix("-") in {*known, "topology"} else ""
    return dataclasses.replace(
        view,
        bars=tuple(n for n in view.bars if n in everything),
        columns=tuple(n for n in view.columns if n in known),
        brushes=tuple(b for b in view.brushes if b.name in everything),
        sort=sort,
    )
