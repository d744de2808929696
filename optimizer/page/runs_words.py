"""What the runs say in words: what was asked for, ages, sizes, texts out of files."""

from __future__ import annotations

import datetime
import time
from collections.abc import Mapping
from typing import Any

from models.spec import Module, Specification

LONGEST = 160  # letters of a text out of a file


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


def when(created: float) -> str:
    """Return a moment as a date for people, in UTC as all files of a run have it."""
    moment = datetime.datetime.fromtimestamp(created, datetime.UTC)
    return moment.strftime("%Y-%m-%d %H:%M UTC")


def text_of(event: Mapping[str, Any], key: str) -> str:
    """Return an entry of an event as text; empty where it has none."""
    return short(str(event.get(key, "")), 300)
