"""Comparisons to take away, by address."""

from __future__ import annotations

import csv
import io
import json
import tempfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import dash
import flask

from models.errors import RipplefrontError
from optimizer.cautions import CAUTIONS
from optimizer.compare import Comparison, compared
from optimizer.compare_data import compare_document, price_rows
from optimizer.comparison_files import write_comparison_page, write_comparison_picture
from optimizer.page import compare_designs as rows
from optimizer.page.compare_address import CompareError, asked
from optimizer.page.compare_bits import Row
from optimizer.page.exports import BusyError, attached, drawing, plain
from optimizer.page.library import Library
from optimizer.sheet import safe_cell

KINDS = {
    "csv": "text/csv", "svg": "image/svg+xml", "png": "image/png", "json": "application/json",
    "html": "text/html",
}  # fmt: skip
Writer = Callable[[Comparison, Path], None]


def register(app: dash.Dash, library: Library) -> None:
    """Add the addresses, once."""

    @app.server.get("/export/comparison")
    def comparison() -> flask.Response:
        form = flask.request.args.get("as", "csv")
        if form not in KINDS:
            return plain(f"a comparison can be had as {', '.join(KINDS)}", 400)
        try:
            names = asked(flask.request.args).runs
            found = compared([library.run(name) for name in names])
            return attached(written(found, form), f"comparison.{form}", KINDS[form])
        except BusyError as error:
            return plain(str(error), 503)
        except RipplefrontError as error:
            return plain(str(error), 404)

    @app.server.get("/export/comparison-designs")
    def designs() -> flask.Response:
        try:
            text = designs_csv(library, asked(flask.request.args).designs)
        except RipplefrontError as error:
            return plain(str(error), 404)
        return attached(text.encode(), "designs.csv", KINDS["csv"])


def written(found: Comparison, form: str) -> bytes:
    """Return a comparison of runs as a file of a form.

    Raises
    ------
    BusyError
        If other pictures are being drawn for too long.
    """
    if form == "csv":
        return lines(price_rows(found)).encode()
    if form == "json":
        document = {"format": "ripplefront.compare/1", **compare_document(found)}
        return json.dumps(document, indent=1, ensure_ascii=False).encode()
    write: Writer = write_comparison_page if form == "html" else write_comparison_picture
    with drawing(), tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"comparison.{form}"
        write(found, path)
        return path.read_bytes()


def designs_csv(library: Library, entries: Sequence[str]) -> str:
    """Return designs side by side as CSV, a quantity a line, differences beside the values.

    Raises
    ------
    RipplefrontError
        If one of them cannot be opened, or there are fewer than two.
    """
    found, wrong = rows.columns(library, entries)
    if wrong:
        raise wrong[0].error
    if len(found) < 2:
        raise CompareError(
            f"a comparison needs two or more designs, not {len(found)}.\n  Add another."
        )
    groups = {
        "headline": rows.headline(found),
        "results": rows.other_results(found),
        "losses": rows.part_rows(rows.by_part(found, rows.losses), "W", less=True),
        "volume": rows.part_rows(rows.by_part(found, rows.volumes), "cm³", less=True),
        "cost": rows.part_rows(rows.by_part(found, rows.costs), "€", less=True),
        "life": rows.life_rows(found),
        "limits": rows.limit_rows(found),
        "variables": rows.variable_rows(found),
        "bill": rows.bill_rows(found),
    }
    labels = [f"{c.run.name}/{c.label}" for c in found]
    heads = ["section", "what", "meaning", "unit", *labels,
             *(f"{label}, difference to the first" for label in labels[1:])]  # fmt: skip
    body = [_cells(section, row) for section, part in groups.items() for row in part]
    return lines([heads, *body])


def _cells(section: str, row: Row) -> list[object]:
    if not row.numbers:
        return [section, row.name, row.meaning, "", *row.cells, *("" for _ in row.cells[1:])]
    first = row.numbers[0]
    steps = ["" if v is None or first is None else v - first for v in row.numbers[1:]]
    values = ["" if v is None else v for v in row.numbers]
    return [section, row.name, row.meaning, row.unit, *values, *steps]


def lines(table: Iterable[Sequence[object]]) -> str:
    """Return rows as CSV, cautions first; no cell is taken for a formula."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([f"# {caution}"] for caution in CAUTIONS)
    writer.writerows([safe_cell(c) for c in row] for row in table)
    return out.getvalue()
