"""What a change by hand has changed: results, limits, losses."""

from __future__ import annotations

import dataclasses

from models.ledger import Kind
from models.results import RESULTS, full_row
from optimizer.opened import Opened
from optimizer.quantities import significant

LEAST_WATTS = 0.005  # changes of a loss below are not listed
MOST_LOSSES = 8

# Decimals in which a result of a unit is shown, and its difference.
DECIMALS = {
    "%": 2, "kW/l": 3, "€": 1, "years": 0, "mm": 1, "l": 3, "kg": 2, "W": 2, "°C": 0, "mA": 2,
}  # fmt: skip
LONGEST_YEARS = 99.0


@dataclasses.dataclass(frozen=True)
class Change:
    """One quantity before and after, as text with unit, and the difference with sign."""

    name: str
    meaning: str
    before: str
    after: str
    difference: str


def shown(value: float, unit: str) -> str:
    """Return a result with its unit, in no more digits than its model bears."""
    if unit == "years" and value > LONGEST_YEARS:
        return f"> {LONGEST_YEARS:.0f} years"
    if unit in ("1", ""):
        return significant(value, 3)
    text = f"{value:.{DECIMALS[unit]}f}" if unit in DECIMALS else significant(value, 4)
    return f"{text} {unit}"


def difference(before: float, after: float, unit: str) -> str:
    """Return a difference with its sign; nothing where it is too small to show."""
    if unit == "years":
        before, after = min(before, LONGEST_YEARS), min(after, LONGEST_YEARS)
    step = after - before
    if unit in DECIMALS:
        text = f"{abs(step):.{DECIMALS[unit]}f}"
    else:
        text = significant(abs(step), 2) if abs(step) > 1e-9 * abs(before) else "0"
    if float(text) == 0.0:
        return ""
    of = {"%": "points", "1": "", "°C": "K"}.get(unit, unit)
    return f"{'+' if step > 0.0 else '−'}{text} {of}".rstrip()


def result_changes(base: Opened, now: Opened) -> list[Change]:
    """Return the results that differ by what can be shown."""
    rows = zip(RESULTS, base.evaluation.columns[0], now.evaluation.columns[0], strict=True)
    return [
        Change(r.name, r.meaning, shown(float(a), r.unit), shown(float(b), r.unit), text)
        for r, a, b in rows
        if (text := difference(float(a), float(b), r.unit))
    ]


def limit_changes(base: Opened, now: Opened) -> tuple[list[str], list[str]]:
    """Return the limits newly not met, and newly met: path and meaning."""
    before, after = _unmet(base), _unmet(now)
    meaning = {e.path: e.meaning for e in now.evaluation.ledger.of(Kind.LIMIT)}
    meaning |= {e.path: e.meaning for e in base.evaluation.ledger.of(Kind.LIMIT)}
    return (
        [f"{p}: {meaning[p]}" for p in after if p not in before],
        [f"{p}: {meaning[p]}" for p in before if p not in after],
    )


def _unmet(item: Opened) -> list[str]:
    rows = zip(item.evaluation.margin_names, item.evaluation.margins[0], strict=True)
    return [name for name, margin in rows if margin > 0.0]


def loss_changes(base: Opened, now: Opened) -> list[Change]:
    """Return the losses at full power that changed most, largest first."""
    before, after = _losses(base), _losses(now)
    steps = {p: after.get(p, 0.0) - before.get(p, 0.0) for p in {**before, **after}}
    largest = sorted(
        (p for p in steps if abs(steps[p]) >= LEAST_WATTS), key=lambda p: -abs(steps[p])
    )
    return [
        Change(
            p, "", shown(before.get(p, 0.0), "W"), shown(after.get(p, 0.0), "W"),
            f"{'+' if steps[p] > 0.0 else '−'}{abs(steps[p]):.2f} W",
        )
        for p in largest[:MOST_LOSSES]
    ]  # fmt: skip


def _losses(item: Opened) -> dict[str, float]:
    row = full_row(item.case)
    return {
        e.path: float(e.value[0, min(row, e.value.shape[1] - 1), 0])
        for e in item.evaluation.ledger.of(Kind.LOSS)
    }
