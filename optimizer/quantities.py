"""Quantities as people read them: 33.5 µF, not 3.35e-05 F."""

from __future__ import annotations

import math

PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M"}
# Units that take a prefix; others are printed as they are.
PREFIXED = {"F", "H", "A", "V", "W", "Ω", "s", "Hz", "C", "J"}
ROUND = {"°C": 0, "K": 1, "€": 1, "%": 2, "turns": 0}
HOURS_PER_YEAR = 8760.0
LONGEST_YEARS = 99


def quantity(value: float | str, unit: str = "", digits: int = 3) -> str:
    """Return a value with unit, ``digits`` significant figures and a prefix where usual.

    Examples
    --------
    >>> quantity(3.35e-5, "F")
    '33.5 µF'
    >>> quantity(87.6, "°C")
    '88 °C'
    """
    if isinstance(value, str):
        return value
    if not math.isfinite(value):
        return "–"
    if unit in ("h", "years"):
        return _span(value / HOURS_PER_YEAR if unit == "h" else value)
    if unit in ROUND:
        return f"{value:.{ROUND[unit]}f} {unit}"
    if unit == "m":
        return f"{significant(value * 1e3, digits)} mm"
    if unit == "m³":
        return f"{significant(value * 1e6, digits)} cm³"
    if unit not in PREFIXED:
        return f"{significant(value, digits)} {unit}".rstrip()
    power = 0
    if value != 0.0:
        power = min(max(3 * math.floor(math.log10(abs(value)) / 3 + 1e-9), -12), 6)
    return f"{significant(value / 10.0**power, digits)} {PREFIXES[power]}{unit}"


def _span(years: float) -> str:
    """Return a life; beyond a century the figure would claim what no law supports."""
    return f"> {LONGEST_YEARS} years" if years > LONGEST_YEARS else f"{years:.0f} years"


def significant(value: float, digits: int = 3) -> str:
    """Return a number to so many significant figures, without an exponent.

    Examples
    --------
    >>> significant(12345.6), significant(0.01234), significant(7.0)
    ('12346', '0.0123', '7')
    """
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else "–"
    places = max(digits - 1 - math.floor(math.log10(abs(value)) + 1e-12), 0)
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
