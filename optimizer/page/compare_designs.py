"""Designs set side by side: each opened as the design area opens it, and rows of all of them."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from models.errors import ModelError, RipplefrontError
from models.results import RESULTS
from optimizer import named
from optimizer.archive import Run
from optimizer.opened import Opened
from optimizer.page.areas import address
from optimizer.page.compare_address import MOST, NAMED, CompareError, key
from optimizer.page.compare_bits import NONE, Row, number_row, text_row
from optimizer.page.design_address import written
from optimizer.page.design_head import LESS
from optimizer.page.design_standing import results_of
from optimizer.page.library import Library
from optimizer.quantities import quantity, significant
from optimizer.sheet import HEADS
from optimizer.sheet_data import SECTIONS

# Parts of the design sheet that are compared; the others cost more and show less.
PARTS = ("losses", "volume", "cost", "life", "limits", "variables", "bill", "efficiency")
NEAREST = 5  # limits of each design
REST = "wall, board, gaps, potting"
MILLION = 1e6  # cm³ in a m³


@dataclasses.dataclass(frozen=True)
class Column:
    """One design: where it comes from, and what its sheet says of it."""

    number: int  # among all that is asked for, from 0: its letter and colour
    entry: str
    run: Run
    design: str
    name: str  # that it is kept under, if any
    changes: Mapping[str, str]
    item: Opened
    sheet: Mapping[str, Any]

    @property
    def place(self) -> str:
        """Address that opens it."""
        return address("/design", run=self.run.name, id=self.design, set=written(self.changes))

    @property
    def label(self) -> str:
        """What it is called: the name it is kept under, or its number."""
        changed = ", changed" if self.changes else ""
        return self.name or self.design + changed


@dataclasses.dataclass(frozen=True)
class Wrong:
    """An entry that cannot be opened, and why."""

    entry: str
    error: RipplefrontError


def columns(library: Library, entries: Sequence[str]) -> tuple[list[Column], list[Wrong]]:
    """Return the designs that can be opened, and the entries that cannot."""
    found: list[Column] = []
    wrong: list[Wrong] = []
    for place, entry in enumerate(entries[:MOST]):
        try:
            found.append(column(library, entry, place))
        except RipplefrontError as error:
            wrong.append(Wrong(entry, error))
    return found, wrong


def column(library: Library, entry: str, place: int = 0) -> Column:
    """Return one design, opened; ``place`` is its number among what is compared, from 0.

    Raises
    ------
    RipplefrontError
        If there is no such run, design or name, or it cannot be evaluated.
    """
    run_name, design, changes = key(entry)
    name = ""
    if run_name == NAMED:
        kept = named.read(library.root, design)
        run_name, name, design, changes = kept.run, kept.name, kept.design, dict(kept.changes)
    run = library.run(run_name)
    try:
        item = library.design(run, design, changes)
        sheet = {part: SECTIONS[part](item) for part in PARTS}
    except (ModelError, ArithmeticError):
        text = f"the values of {entry} cannot be worked out together.\n  Remove it."
        raise CompareError(text) from None
    stored = library.stored(run, design).id
    return Column(place, entry, run, stored, name, changes, item, sheet)


# ---- rows ---------------------------------------------------------------------------------


def headline(found: Sequence[Column]) -> list[Row]:
    """Return the headline figures, and whether every limit is met."""
    results = [results_of(c.item) for c in found]
    units = {r.name: r.unit for r in RESULTS}
    rows = [
        number_row(title, [r[name] for r in results], units[name], less=name in LESS)
        for name, title, _ in HEADS
    ]
    return [*rows, text_row("limits", [_verdict(c) for c in found])]


def _verdict(column: Column) -> str:
    broken = sum(not r["met"] for r in column.sheet["limits"])
    return f"{broken} not met" if broken else "all met"


def other_results(found: Sequence[Column]) -> list[Row]:
    """Return all results that are no headline figures."""
    results = [results_of(c.item) for c in found]
    heads = {name for name, _, _ in HEADS}
    return [
        number_row(r.meaning or r.name, [x[r.name] for x in results], r.unit)
        for r in RESULTS
        if r.name not in heads
    ]


def loss_rows(found: Sequence[Column], groups: Mapping[str, str]) -> list[Row]:
    """Return the loss at full power by group of parts, and all together."""
    rows = [
        number_row(title, [group_loss(c, group) for c in found], "W", less=True)
        for group, title in groups.items()
    ]
    totals = [c.sheet["losses"]["total_w"][-1] for c in found]
    power = [c.sheet["losses"]["power_w"][-1] for c in found]
    return [*rows, number_row("all losses", totals, "W", less=True),
            number_row("power into the grid", power, "W")]  # fmt: skip


def group_loss(column: Column, group: str) -> float:
    """Return the loss of a group of parts at full power [W]."""
    return sum(r["watts"][-1] for r in column.sheet["losses"]["rows"] if r["group"] == group)


def by_part(
    found: Sequence[Column], values: Callable[[Column], Mapping[str, float]]
) -> dict[str, list[float | None]]:
    """Return a quantity of every part of any design, the largest first."""
    each = [values(c) for c in found]
    paths = dict.fromkeys(p for one in each for p in one)
    ordered = sorted(paths, key=lambda p: -max(one.get(p, 0.0) for one in each))
    return {p: [one.get(p) for one in each] for p in ordered}


def part_rows(parts: Mapping[str, Sequence[float | None]], unit: str, less: bool) -> list[Row]:
    """Return a quantity by part as rows."""
    return [number_row(p, values, unit, less=less) for p, values in parts.items()]


def volumes(column: Column) -> dict[str, float]:
    """Return the volume of every part [cm³], and of what is left of the box."""
    found = {v["path"]: MILLION * v["value"] for v in column.sheet["volume"] if v["value"] > 0.0}
    rest = 1e3 * results_of(column.item)["volume_l"] - sum(found.values())
    return found | {REST: max(rest, 0.0)}


def costs(column: Column) -> dict[str, float]:
    """Return the cost of every part [€]."""
    return {v["path"]: v["value"] for v in column.sheet["cost"] if v["value"] > 0.0}


def losses(column: Column) -> dict[str, float]:
    """Return every single loss at full power [W]."""
    return {r["path"]: r["watts"][-1] for r in column.sheet["losses"]["rows"]}


def lives(column: Column) -> dict[str, float]:
    """Return the life of every part that wears out [years]."""
    return {r["path"]: r["years"] for r in column.sheet["life"]}


def life_rows(found: Sequence[Column]) -> list[Row]:
    """Return the life of every part that wears out, the shortest first."""
    parts = by_part(found, lives)
    shortest = sorted(parts, key=lambda p: min(v for v in parts[p] if v is not None))
    return part_rows({p: parts[p] for p in shortest}, "years", less=False)


def limit_rows(found: Sequence[Column]) -> list[Row]:
    """Return what is left to the limits that are nearest in any of the designs."""
    each = [{r["path"]: r for r in c.sheet["limits"]} for c in found]
    nearest = [r for c in found for r in c.sheet["limits"][:NEAREST]]
    paths = dict.fromkeys(r["path"] for r in sorted(nearest, key=lambda r: -r["margin"]))
    meaning = {r["path"]: r["meaning"] for r in nearest}
    return [
        number_row(
            p, [-100.0 * one[p]["margin"] if p in one else None for one in each], "%",
            meaning=meaning[p], text=_left,
        )
        for p in paths
    ]  # fmt: skip


def _left(value: float, unit: str) -> str:
    return f"{value:.1f} {unit} left" if value >= 0.0 else f"not met by {-value:.1f} {unit}"


def variable_rows(found: Sequence[Column]) -> list[Row]:
    """Return topology, structure and every variable."""
    topologies = text_row("topology", [c.item.topology.tag for c in found])
    static = dict.fromkeys(k for c in found for k in c.item.static)
    rows = [
        text_row(k, [str(c.item.static.get(k, NONE)) for c in found], "structure") for k in static
    ]
    each = [{v["path"]: v for v in c.sheet["variables"]} for c in found]
    known = {p: v for one in each for p, v in one.items()}
    rows += [
        _fact_row(p, [one.get(p) for one in each], v["unit"], v["meaning"])
        for p, v in known.items()
    ]
    return [topologies, *rows]


def _fact_row(
    name: str, facts: Sequence[Mapping[str, Any] | None], unit: str, meaning: str = ""
) -> Row:
    """Return a row of what may be numbers or names."""
    values = [None if f is None else f["value"] for f in facts]
    if any(isinstance(v, str) for v in values):
        return text_row(name, [NONE if v is None else str(v) for v in values], meaning)
    return number_row(name, values, unit, meaning=meaning, text=_fact, step=_fact_step)


def _fact(value: float, unit: str) -> str:
    return quantity(value, unit, 4)


def _fact_step(before: float, after: float, unit: str) -> str:
    step = after - before
    if abs(step) <= 1e-9 * max(abs(before), abs(after)):
        return ""
    whole = before == round(before) and after == round(after)
    size = quantity(abs(step), {"°C": "K"}.get(unit, unit), 2)
    if unit in ("", "1"):
        size = f"{abs(step):.0f}" if whole else significant(abs(step), 2)
    return f"{'+' if step > 0.0 else '−'}{size}"


def bill_rows(found: Sequence[Column]) -> list[Row]:
    """Return the bill of materials: every part, and every fact of how it is built."""
    each = [{line["path"]: line for line in c.sheet["bill"]} for c in found]
    rows = []
    for path in dict.fromkeys(p for one in each for p in one):
        lines = [one.get(path) for one in each]
        what = [NONE if x is None else f"{x['quantity']} × {x['what']}" for x in lines]
        rows.append(text_row(path, what))
        built = [{} if x is None else {f["name"]: f for f in x["build"]} for x in lines]
        units = {name: f["unit"] for one in built for name, f in one.items()}
        rows += [
            _fact_row(f"{path}: {name}", [one.get(name) for one in built], unit)
            for name, unit in units.items()
        ]
    return rows
