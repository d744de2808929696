"""Pieces of the compare area: rows set side by side, and the tables they make."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable, Sequence
from typing import Any, TypeAlias

from dash import html

from optimizer.page.design_differences import difference, shown

LETTERS = "ABCDEF"
FEW = 3  # topologies that are all unfolded

NONE = "–"  # where something does not exist
Head: TypeAlias = dict[str, Any]


@dataclasses.dataclass(frozen=True)
class Row:
    """One quantity of all that is compared.

    ``cells`` are texts with unit, "–" where it does not exist; ``steps`` the differences
    to the first with sign and unit; ``looks`` say "better" or "worse" where that is known.
    """

    name: str
    cells: tuple[str, ...]
    steps: tuple[str, ...] = ()
    looks: tuple[str, ...] = ()
    meaning: str = ""
    numbers: tuple[float | None, ...] = ()  # [unit], for files
    unit: str = ""

    @property
    def alike(self) -> bool:
        """True where all that is compared has the same."""
        return len(set(self.cells)) == 1

    @property
    def shared(self) -> bool:
        """True where all that is compared has it."""
        return NONE not in self.cells


def number_row(
    name: str, values: Sequence[float | None], unit: str, *,
    meaning: str = "", less: bool | None = None,
    text: Callable[[float, str], str] = shown,
    step: Callable[[float, float, str], str] = difference,
) -> Row:  # fmt: skip
    """Return a row of numbers with their differences to the first.

    Parameters
    ----------
    name, meaning : str
        What it is.
    values : Sequence of float
        The numbers [unit]; None where there is none.
    unit : str
        Their unit.
    less : bool, optional
        Whether less is better; left out where neither is.
    text, step : Callable
        How a number, and a difference, is written.
    """
    first = values[0]
    cells = tuple(NONE if v is None else text(v, unit) for v in values)
    # What reads the same has no difference, however many more digits that one would show.
    steps = [
        "" if v is None or first is None or cell == cells[0] else step(first, v, unit)
        for v, cell in zip(values, cells, strict=True)
    ]
    looks = [
        "" if less is None or not s else "better" if s.startswith("−") == less else "worse"
        for s in steps
    ]
    return Row(name, cells, tuple(steps), tuple(looks), meaning, tuple(values), unit)


def text_row(name: str, cells: Sequence[str], meaning: str = "") -> Row:
    """Return a row of texts."""
    return Row(name, tuple(cells), meaning=meaning)


def row_table(
    heads: Sequence[Head], rows: Sequence[Row], caption: str, *, fold: bool = True
) -> html.Div:
    """Return rows as a table, those that are alike folded away by the area's style.

    The browser makes the cells from one attribute: as components of the page, thousands of
    them would take seconds to draw.

    Parameters
    ----------
    heads : Sequence of dict
        Head of each column that is compared, as ``head`` makes it.
    rows : Sequence of Row
        The rows.
    caption : str
        What a screen reader announces first.
    fold : bool
        Whether rows that are alike may be folded away.
    """
    told = {"caption": caption, "first": "", "heads": list(heads),
            "rows": [_told(r, folded=fold and r.alike) for r in rows]}  # fmt: skip
    alike = sum(r.alike for r in rows) if fold else 0
    table = html.Div(**{"data-compare": json.dumps(told, ensure_ascii=False, allow_nan=False)})
    said = html.P(_alike(alike, len(rows)), className="compare-folded soft") if alike else None
    return html.Div(
        [table, said],
        className="compare-table wide" + (" all-alike" if alike == len(rows) else ""),
        role="region", tabIndex=0, **{"aria-label": caption},
    )  # fmt: skip


def head(text: str, k: int | None = None, more: Sequence[str] = ()) -> Head:
    """Return the head of a column: its text, the letter of a design, small lines below."""
    told: Head = {"text": text, "more": list(more)}
    return told if k is None else {**told, "mark": k, "letter": LETTERS[k]}


def _told(row: Row, *, folded: bool) -> dict[str, Any]:
    told: dict[str, Any] = {"name": row.name, "cells": row.cells}
    if folded:
        told["alike"] = True
    if row.meaning:
        told["meaning"] = row.meaning
    if any(row.steps):
        told |= {"steps": row.steps, "looks": row.looks}
    return told


def _alike(count: int, of: int) -> str:
    if count == of:
        return f"No difference: {'all ' if of > 1 else ''}{of} row{'s' if of > 1 else ''} alike."
    return f"{count} more row{'s are' if count > 1 else ' is'} alike and folded away."


def plain_table(
    heads: Sequence[str], rows: Sequence[Sequence[Any]], caption: str, *, texts: int = 1
) -> html.Div:  # fmt: skip
    """Return a table of texts or components; numbers from column ``texts`` on."""
    head = html.Tr(
        [
            html.Th(h, scope="col", className="n" if k >= max(texts, 1) else "")
            for k, h in enumerate(heads)
        ]
    )
    body = [
        html.Tr(
            [
                html.Th(cell, scope="row") if k == 0
                else html.Td(cell, className="n" if k >= texts else "")
                for k, cell in enumerate(cells)
            ]
        )
        for cells in rows
    ]  # fmt: skip
    return html.Div(
        html.Table([html.Caption(caption), html.Thead(head), html.Tbody(body)]),
        className="compare-table wide", role="region", tabIndex=0, **{"aria-label": caption},
    )  # fmt: skip


def folding(title: str, content: Sequence[Any], *, unfolded: bool) -> html.Details:
    """Return content under a heading that unfolds it."""
    return html.Details(
        [html.Summary(html.H3(title)), *content], open=unfolded, className="compare-topology"
    )
