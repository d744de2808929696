"""Commands about fronts and single designs."""

from __future__ import annotations

import csv
import sys
from collections.abc import Mapping
from pathlib import Path

import click

from optimizer.terminal import FILE, JSON, RUNS, document, table

FORMS = {".html": "html", ".pdf": "pdf", ".json": "json", ".csv": "csv"}


@click.command()
@click.argument("run", default="latest")
@RUNS
@click.option("--topology", help="Only the front of this topology.")
@click.option("--common", is_flag=True, help="Only designs that no other topology dominates.")
@click.option("--columns", help="Result names to show, with commas between.")
@click.option(
    "--csv", "as_csv", is_flag=True, help="All results as CSV: cautions after #, names, units."
)
@JSON
def front(
    run: str,
    runs: Path,
    topology: str | None,
    common: bool,
    columns: str | None,
    as_csv: bool,
    as_json: bool,
) -> None:
    """Print the fronts of RUN as a table, one line a design."""
    from models.errors import RipplefrontError
    from optimizer.cautions import CAUTIONS
    from optimizer.figures_data import all_fronts, front_json, point
    from optimizer.fronts import table_columns
    from optimizer.launch import find_run
    from optimizer.quantities import significant
    from optimizer.sheet import safe_cell

    found = find_run(runs, run)
    known = [c.name for c in found.columns]
    fronts = all_fronts(found)
    if topology is not None and topology not in fronts:
        raise RipplefrontError(
            f"the run {found.name} has no topology {topology!r}; it has: {', '.join(fronts)}"
        )
    points = (
        [point(found, d) for d in found.common_front()]
        if common
        else [p for name, front in fronts.items() if topology in (None, name) for p in front]
    )
    points.sort(key=lambda p: (p.topology, p.density))
    wanted = [c.strip() for c in columns.split(",")] if columns else list(table_columns())
    for name in wanted:
        if name not in known:
            raise RipplefrontError(f"no result is named {name!r}; list them: ripplefront names")
    if as_json:
        document("front", front_json(found, points))
    elif as_csv:
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerows([f"# {caution}"] for caution in CAUTIONS)
        writer.writerow(["design", "topology", *known])
        writer.writerow(["", "", *(c.unit for c in found.columns)])
        for p in points:
            cells = (repr(p.results[k]) for k in known)
            writer.writerow([p.label, safe_cell(p.topology), *cells])
    else:
        table(
            ["design", "topology", *wanted],
            [[p.label, p.topology, *(significant(p.results[k], 4) for k in wanted)]
             for p in points],
            text_columns=2,
        )  # fmt: skip


@click.command()
@click.argument("run")
@click.argument("design")
@RUNS
@JSON
def show(run: str, design: str, runs: Path, as_json: bool) -> None:
    """Print one design of RUN: results, tightest limits, largest losses, variables."""
    from optimizer.launch import find_run, open_design
    from optimizer.sheet_data import sheet_data
    from optimizer.summary import print_design

    found = find_run(runs, run)
    item = open_design(found, found.design(design))
    data = sheet_data(item)
    if as_json:
        document("design", {k: v for k, v in data.items() if k != "format"})
    else:
        print_design(data)


@click.command()
@click.argument("run")
@click.argument("design")
@RUNS
@click.option("--set", "changes", multiple=True, help="PATH=VALUE, as in boost.f_khz=150.")
@click.option("--sheet", "out", type=FILE, help="Also write the sheet: .html, .pdf, .json, .csv.")
@JSON
def vary(
    run: str, design: str, runs: Path, changes: tuple[str, ...], out: Path | None, as_json: bool
) -> None:
    """Change values of one design by hand and show what changes with them."""
    from models.errors import RipplefrontError
    from optimizer.launch import find_run, open_design
    from optimizer.opened import edited
    from optimizer.sheet_data import sheet_data
    from optimizer.summary import differences, print_differences

    wanted = {}
    for change in changes:
        path, sign, value = change.partition("=")
        if not sign or not path.strip() or not value.strip():
            raise RipplefrontError(
                f"--set {change!r} cannot be read; write PATH=VALUE, as in boost.f_khz=150"
            )
        wanted[path.strip()] = value
    found = find_run(runs, run)
    base = open_design(found, found.design(design))
    varied = edited(base, wanted)
    before, after = sheet_data(base), sheet_data(varied)
    if out:
        _write(out, after, found.name, wanted)
    if as_json:
        document("vary", {"changed": wanted, **differences(before, after)})
    else:
        print_differences(before, after)


@click.command()
@click.argument("run")
@click.argument("design")
@RUNS
@click.option("--out", type=FILE, help="File to write: .html, .pdf, .json or .csv.")
def sheet(run: str, design: str, runs: Path, out: Path | None) -> None:
    """Write the design sheet of one design of RUN (default: sheet-DESIGN.html)."""
    from optimizer.launch import find_run, open_design
    from optimizer.sheet_data import sheet_data

    found = find_run(runs, run)
    stored = found.design(design)
    data = sheet_data(open_design(found, stored))
    target = out or Path(f"sheet-{stored.id}.html")
    _write(target, data, found.name)
    click.echo(f"wrote {target}")


@click.command()
@click.argument("run", default="latest")
@RUNS
@click.option("--out", type=FILE, required=True, help="File to write: .png, .svg, .pdf or .html.")
def picture(run: str, runs: Path, out: Path) -> None:
    """Draw the fronts of RUN as a picture, or as an interactive page."""
    from optimizer.figures_data import write_page, write_picture
    from optimizer.launch import find_run

    found = find_run(runs, run)
    if out.suffix.lower() == ".html":
        write_page(found, out)
    else:
        write_picture(found, out)
    click.echo(f"wrote {out}")


def _write(
    path: Path, data: dict[str, object], run: str, changes: Mapping[str, str] | None = None
) -> None:
    from models.errors import RipplefrontError
    from optimizer.figures_data import unwritable
    from optimizer.sheet_blocks import Origin
    from optimizer.sheet_files import sheet_bytes

    form = FORMS.get(path.suffix.lower())
    if form is None:
        raise RipplefrontError(f"{path} has no known form.\n  End the name in {', '.join(FORMS)}.")
    content = sheet_bytes(data, form, Origin(run, changes or {}))
    try:
        path.write_bytes(content)
    except OSError as error:
        raise unwritable(path, error) from None


COMMANDS: tuple[click.Command, ...] = (front, show, vary, sheet, picture)
