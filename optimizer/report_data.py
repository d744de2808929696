"""Everything that a report of a run says, gathered from its folder by the one path."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from models.case import Case
from models.errors import RipplefrontError
from optimizer import report_figures as drawing
from optimizer.archive import Run
from optimizer.binding import Summary, bindings, summary
from optimizer.closing import verdict
from optimizer.compare import Comparison, compared, flat, parent_of
from optimizer.comparison_figures import binding_figure, price_figure
from optimizer.figures_data import all_fronts, titles
from optimizer.fronts import FrontPoint, table_columns
from optimizer.launch import open_design, parse_without_files
from optimizer.objectives import objectives_of
from optimizer.quantities import quantity, significant
from optimizer.report_choice import USUAL, Chosen
from optimizer.report_prices import MONEY, priceless, tells, without
from optimizer.sheet import HEADS
from optimizer.sheet_blocks import Grid, Pictures, sections
from optimizer.sheet_data import sheet_data
from optimizer.standing import MEANING

MOST_ROWS = 400  # of the table of one front
Document = dict[str, Any]
Progress = Callable[[int, int], None]


@dataclasses.dataclass(frozen=True)
class Wishes:
    """What a report is to hold."""

    designs: int = USUAL
    prices: bool = True
    packed: bool = True


@dataclasses.dataclass(frozen=True)
class Material:
    """A run, its case, and the run that it was started from where that is at hand."""

    run: Run
    case: Case
    parent: Run | None = None

    @functools.cached_property
    def status(self) -> Mapping[str, Any]:
        """Where the run stands."""
        return self.run.status


def run_facts(found: Material) -> list[tuple[str, str]]:
    """Return what the run is, as rows of a table."""
    run, status = found.run, found.status
    manifest = run.manifest
    state = MEANING.get(str(status.get("reason", "")), str(status["state"]))
    return [
        ("run", run.name),
        ("variant", str(manifest.get("sweep", {}).get("variant", ""))),
        ("state", state if status["state"] == "ended" else str(status["state"])),
        ("begun", str(manifest.get("created", ""))),
        ("designs", f"{int(status.get('designs', 0)):,} of {run.settings.evaluations:,} planned"),
        ("seed", str(run.settings.seed)),
        ("made by version", str(manifest.get("version", ""))),
        ("specification", str(manifest.get("specification_sha256", ""))[:16]),
        ("objectives", ", ".join(o.axis for o in objectives_of(run))),
        ("started from", parent_of(run)),
    ]


def asked_for(run: Run, wishes: Wishes) -> list[tuple[str, str]]:
    """Return the specification by dotted path; what was not set is left out."""
    rows = flat(parse_without_files(run).model_dump(mode="json", exclude_none=True))
    return [
        (field, value)
        for field, value in rows.items()
        if value != "not set" and (wishes.prices or not (tells(field) or tells(value)))
    ]


def pins(run: Run, wishes: Wishes) -> list[str]:
    """Return the pins of a run."""
    return list(run.pins) if wishes.prices else without(run.pins)


def front_tables(run: Run, wishes: Wishes, chosen: Sequence[Chosen]) -> list[Document]:
    """Return the front of every topology as a table of texts, each with its plain value."""
    wanted = [*(o.name for o in objectives_of(run)), *table_columns()]
    columns = [
        c for n in dict.fromkeys(wanted) for c in run.columns
        if c.name == n and (wishes.prices or c.unit != MONEY)
    ]  # fmt: skip
    common = {d.id for d in run.common_front()}
    sheets = {c.design.id for c in chosen}
    return [
        {
            "title": titles(run)[name],
            "count": len(points),
            "columns": columns,
            "rows": [
                {
                    "design": p.label,
                    "sheet": p.label in sheets,
                    "ahead": p.label in common,
                    "cells": [(p.results[c.name], _cell(p.results[c.name], c.unit))
                              for c in columns],
                }
                for p in _thinned(points, sheets)
            ],
        }
        for name, points in all_fronts(run).items()
    ]  # fmt: skip


def _cell(value: float, unit: str) -> str:
    return quantity(value, unit) if unit == "years" else significant(value, 4)


def _thinned(points: Sequence[FrontPoint], sheets: set[str]) -> list[FrontPoint]:
    """Return a front by density; of a long one every so manieth, all with a sheet."""
    ordered = sorted(points, key=lambda p: p.density)
    step = -(-len(ordered) // MOST_ROWS) or 1
    return [p for k, p in enumerate(ordered) if k % step == 0 or p.label in sheets]


def sheets(
    found: Material, wishes: Wishes, chosen: Sequence[Chosen], progress: Progress
) -> list[Document]:
    """Return the sheets of the shortlist: words and tables as blocks, figures by name."""
    made = []
    for k, one in enumerate(chosen):
        progress(k, len(chosen))
        made.append(_sheet(found, wishes, one))
    return made


def _sheet(found: Material, wishes: Wishes, one: Chosen) -> Document:
    data = sheet_data(open_design(found.run, one.design, found.case))
    if not wishes.prices:
        data = priceless(data)
    results = {r["name"]: r["value"] for r in data["results"]}
    structure = [f"{k} {v}" for k, v in data["structure"].items()]
    return {
        "id": one.design.id,
        "why": one.why,
        "title": data["title"],
        "about": " · ".join(
            ["isolated" if data["isolated"] else "not isolated",
             f"decoupling: {data['decoupling']}", *structure]
        ),
        "remarks": data["remarks"],
        "heads": [(n, quantity(results[k], u)) for k, n, u in HEADS if k in results],
        "diagram": data["diagram"].strip("\n"),
        "sections": [_section(s.title, s.blocks) for s in sections(data)],
        "figures": drawing.sheet_figures(data),
    }  # fmt: skip


def _section(title: str, blocks: Sequence[Any]) -> Document:
    return {"title": title, "blocks": [_block(block) for block in blocks]}


def _block(block: Any) -> Document:
    kind = {Grid: "grid", Pictures: "pictures"}.get(type(block), "words")
    return {"block": kind, **dataclasses.asdict(block)}


def limiting(found: Material, wishes: Wishes) -> tuple[list[Document], list[Document]]:
    """Return what limits every topology: a table and a figure each."""
    run = found.run
    ready = [t for t in titles(run) if run.front_of(t)]
    rows = summary(bindings(run, found.case, ready)) if ready else ()
    kept = [r for r in rows if wishes.prices or not (tells(r.title) or tells(r.meaning))]
    tables, figures = [], []
    for topology in ready:
        mine = [r for r in kept if r.topology == topology]
        tables.append({"title": titles(run)[topology], "rows": [_binding(r) for r in mine]})
        figures.append(
            drawing.plain(binding_figure(mine, "Which part of the front each limit binds"))
        )
    return tables, figures


def _binding(row: Summary) -> tuple[str, ...]:
    parts = ", ".join(f"{part} {100 * share:.0f} %" for part, share in row.by_part.items())
    return row.kind, row.title, row.meaning, f"{100 * row.share:.0f} %", parts, row.at or row.hint


def evidence(found: Material, wishes: Wishes) -> Document:
    """Return what speaks for the fronts, what was given up and what never took part."""
    status, named = found.status, titles(found.run)
    rows = [
        (named.get(e["topology"], e["topology"]) or "all together", f"{e.get('designs', 0):,}",
         f"{e['hypervolume']:.4f}", _share(e["moved"]), _share(e.get("disagreement")), verdict(e))
        for e in status.get("evidence", ())
    ]  # fmt: skip
    shed = [
        (row["candidate"], row["why"], row["rival"], f"{row['evaluations']:,}")
        for row in status.get("shed", ())
    ]
    behind = [f"{named.get(d['topology'], d['topology'])}: {d['text']}"
              for d in status.get("dominated", ())]  # fmt: skip
    near = [
        f"{n['candidate']}: no feasible design; the nearest breaks "
        + ", ".join(_broken(found.run, n["candidate"]))
        for n in status.get("nearest", ())
    ]
    excluded = found.run.manifest.get("excluded", {})
    return {
        "rows": rows,
        "seeds": str(status.get("seeds", "")),
        "shed": shed,
        "behind": behind if wishes.prices else without(behind),
        "near": near if wishes.prices else without(near),
        "excluded": [(name, "; ".join(why)) for name, why in excluded.items() if why],
    }


def _share(value: float | None) -> str:
    return "–" if value is None else f"{100 * value:.2f} %"


def _broken(run: Run, candidate: str) -> list[str]:
    number = next((c.number for c in run.candidates if c.name == candidate), None)
    nearest = None if number is None else run.nearest(number)
    if nearest is None:
        return ["limits that are not known"]
    worst = sorted(((m, n) for n, m in nearest.margins.items() if m > 0.0), reverse=True)
    return [f"{name} by {100 * margin:.1f} %" for margin, name in worst[:3]]


def price_of_pins(found: Material, wishes: Wishes) -> tuple[Comparison | None, Document | None]:
    """Return the run against the one it was started from, with a figure; None without."""
    if found.parent is None:
        return None, None
    both = compared([found.parent, found.run])
    pair = both.pairs[0]
    if not wishes.prices:
        prices = tuple(
            dataclasses.replace(
                p, tables=tuple(t for t in p.tables if MONEY not in (t.at.unit, t.of.unit))
            )
            for p in pair.prices
        )
        pair = dataclasses.replace(
            pair, prices=prices, added=tuple(without(pair.added)),
            dropped=tuple(without(pair.dropped)), remarks=tuple(without(pair.remarks)),
        )  # fmt: skip
        both = dataclasses.replace(both, pairs=(pair,))
    money = any(o.unit == MONEY for o in both.objectives[:2])
    if len(both.objectives) < 2 or (money and not wishes.prices):
        return both, None
    return both, drawing.plain(price_figure(both, pair))


def parent(run: Run, opened: Callable[[str], Run]) -> Run | None:
    """Return the run that a run was started from, if it is at hand and can be read."""
    name = parent_of(run)
    if not name:
        return None
    try:
        return opened(name)
    except RipplefrontError:
        return None


def nothing(done: int, of: int) -> None:
    """Say nothing of how far a report is."""
