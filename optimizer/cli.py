"""The commands. Results on stdout, progress and errors on stderr; no arithmetic here."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer import (
    cli_browse,
    cli_compare,
    cli_designs,
    cli_export,
    cli_report,
    cli_rerun,
    cli_sweep,
    machine,
)
from optimizer.cautions import CAUTIONS
from optimizer.terminal import FILE, JSON, Commands, document, say, table
from optimizer.version import VERSION

if TYPE_CHECKING:
    from models.points import OperatingPoints


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(VERSION, prog_name="ripplefront")
def main() -> None:
    """Search topologies and parts of module-level photovoltaic inverters.

    A specification goes in; a run folder with Pareto fronts of power density against
    weighted efficiency comes out, and every point of a front opens as a design sheet.
    Analytic estimates for early design: lethal voltages; verification and certification
    belong to qualified people.
    """
    machine.keep_memory()


@main.command()
@click.argument("file", type=FILE)
@click.option("--force", is_flag=True, help="Overwrite a file that exists.")
def new(file: Path, force: bool) -> None:
    """Write a commented specification to FILE."""
    from models.errors import RipplefrontError
    from models.spec_files import template

    if file.exists() and not force:
        raise RipplefrontError(f"{file} exists.\n  Choose another name, or add --force.")
    try:
        file.write_text(template(), encoding="utf-8")
    except OSError as error:
        raise RipplefrontError(
            f"{file} cannot be written: {error.strerror}.\n  Choose a folder you may write to."
        ) from None
    click.echo(f"wrote {file}; next: ripplefront check {file}")


@main.command()
@click.argument("file", type=FILE)
@JSON
def check(file: Path, as_json: bool) -> None:
    """Read FILE, show its operating points and which topologies can serve it.

    Where the file has variants, all of that for each; and how long the sweep may take on
    this machine.
    """
    from models.operating import oddities
    from optimizer.launch import prepared_variants
    from optimizer.progress import duration
    from optimizer.variants import outlook
    from optimizer.work import RAY_FROM, worker_count

    ready = prepared_variants(file)
    asked = ready[0].spec.sweep
    workers = worker_count(asked.workers, asked.designs or RAY_FROM)
    plan = outlook(ready, workers=workers)
    rows: list[dict[str, Any]] = [
        {
            "variant": each.variant,
            "oddities": list(oddities(each.spec, file.parent)),
            "candidates": sorted({p.topology for p in each.problems}),
            "excluded": {k: list(v) for k, v in each.excluded.items() if v},
            "structures": len(each.problems),
            "points": _point_rows(each.case.points),
            "designs": settings.evaluations,
            "designs_per_second": rate,
        }
        for each, settings, rate in zip(ready, plan.settings, plan.rates, strict=True)
    ]
    if as_json:
        expected = {"seconds": plan.seconds, "workers": workers}
        # A file without variants is told flat as well.
        document("check", {"file": str(file), **rows[0], "variants": rows, "expected": expected})
        return
    for row in rows:
        _show_variant(row)
    if len(rows) > 1:
        table(
            ["variant", "operating points", "topologies", "structures", "designs"],
            [[r["variant"], str(len(r["points"])), str(len(r["candidates"])),
              str(r["structures"]), f"{r['designs']:,}"] for r in rows],
        )  # fmt: skip
    click.echo(
        f"{file} can be used; {sum(r['structures'] for r in rows)} structures to search; "
        f"{sum(r['designs'] for r in rows):,} designs take about {duration(plan.seconds)} "
        f"with {max(workers, 1)} of this machine's cores, less where the fronts converge."
    )


def _show_variant(row: Mapping[str, Any]) -> None:
    """Print the operating points and candidates of one variant."""
    if row["variant"]:
        click.echo(f"variant: {row['variant']}")
    table(
        ["operating point", "purpose", "module", "grid power", "grid", "air", "weight", "hours"],
        [
            [r["label"], r["purpose"], f"{r['v_pv']:.1f} V", f"{r['p_ac']:.0f} W",
             f"{r['v_grid']:.0f} V", f"{r['t_air']:.0f} °C", f"{r['weight']:.3f}",
             f"{r['hours']:.0f}"]
            for r in row["points"]
        ],
        text_columns=2,
    )  # fmt: skip
    for name in row["candidates"]:
        click.echo(f"{name}: takes part")
    for name, why in row["excluded"].items():
        click.echo(f"{name}: excluded: {'; '.join(why)}")
    for note in row["oddities"]:
        say(f"note: {note}")
    if row["variant"]:
        click.echo("")


def _point_rows(points: OperatingPoints) -> list[dict[str, Any]]:
    """Return the operating points as rows of plain values."""
    keys = ("v_pv", "p_ac", "v_grid", "t_air", "weight", "hours")
    return [
        {"label": label, "purpose": points.purpose[i].value}
        | {key: float(getattr(points, key)[0, i, 0]) for key in keys}
        for i, label in enumerate(points.label)
    ]


@main.command()
@click.argument("file", type=FILE, required=False)
@JSON
def topologies(file: Path | None, as_json: bool) -> None:
    """List the candidates: diagram, isolation, decoupling; with FILE, why one is excluded."""
    from models.topologies import TOPOLOGIES, exclusions
    from models.variables import structures
    from optimizer.launch import specifications

    reasons: dict[str, list[str]] = {}
    for variant in specifications(file) if file else ():
        where = f"in {variant.name}: " if variant.name else ""
        for name, found in exclusions(variant.spec).items():
            reasons.setdefault(name, []).extend(where + reason for reason in found)
    rows: list[dict[str, Any]] = [
        {"name": t.name, "title": t.title, "isolated": t.isolated, "decoupling": t.decoupling,
         "common_mode": t.common_mode, "structures": len(structures(t.design)),
         "source": t.source, "diagram": t.diagram, "excluded": list(reasons.get(t.name, ()))}
        for t in TOPOLOGIES.values()
    ]  # fmt: skip
    if as_json:
        document("topologies", {"topologies": rows})
        return
    for row in rows:
        click.echo(f"{row['name']}\n  {row['title']}")
        click.echo(
            f"  {'isolated' if row['isolated'] else 'not isolated'}; decoupling: "
            f"{row['decoupling']}; common mode: {row['common_mode']}; "
            f"{row['structures']} structures"
        )
        click.echo(row["diagram"].rstrip())
        click.echo(f"  source: {row['source']}")
        if file:
            why = "; ".join(row["excluded"])
            click.echo(f"  excluded: {why}" if why else "  takes part")
        click.echo("")


@main.command()
@click.option("--topology", help="Also list the variables of this topology.")
@JSON
def names(topology: str | None, as_json: bool) -> None:
    """List the result names, and the variables of a topology, with unit and meaning."""
    from models.errors import RipplefrontError
    from models.results import RESULTS
    from models.topologies import TOPOLOGIES, nearest

    if topology and topology not in TOPOLOGIES:
        raise RipplefrontError(f"unknown topology {topology!r}; {nearest(topology)}")
    found, static = _variable_rows(topology) if topology else ([], [])
    if as_json:
        results = [dataclasses.asdict(r) for r in RESULTS]
        document("names", {"results": results, "variables": found, "structures": static})
        return
    table(
        ["result", "unit", "meaning"], [[r.name, r.unit, r.meaning] for r in RESULTS],
        text_columns=3,
    )  # fmt: skip
    if topology:
        click.echo("")
        table(
            ["variable", "kind", "from", "to", "unit", "meaning"],
            [[v["path"], v["kind"], v["lowest"], v["highest"], v["unit"], v["meaning"]]
             for v in found],
            text_columns=6,
        )  # fmt: skip
        for key in dict.fromkeys(k for s in static for k in s):
            options = sorted({str(s[key]) for s in static if key in s})
            click.echo(f"{key} (static): {', '.join(options)}")


def _variable_rows(topology: str) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the variables of every structure of a topology, and the structures."""
    from models.catalogues import catalogue
    from models.spec import Parts
    from models.topologies import TOPOLOGIES
    from models.variables import structures, variables

    design = TOPOLOGIES[topology].design
    tables = catalogue(Parts(), Path()).names()
    static = structures(design)
    every = {v.path: v for s in static for v in variables(design, tables, static=s)}
    rows = [
        {"path": v.path, "kind": v.kind, "unit": v.unit, "meaning": v.meaning,
         "lowest": "" if v.options else f"{v.shown(v.lo):g}",
         "highest": "" if v.options else f"{v.shown(v.hi):g}", "options": list(v.options)}
        for v in every.values()
    ]  # fmt: skip
    return rows, static


@main.command()
def cautions() -> None:
    """Print the cautions that apply to every design."""
    for text in CAUTIONS:
        click.echo(text)


for _command in (
    *cli_sweep.COMMANDS,
    *cli_rerun.COMMANDS,
    *cli_designs.COMMANDS,
    *cli_compare.COMMANDS,
    *cli_export.COMMANDS,
    *cli_report.COMMANDS,
    *cli_browse.COMMANDS,
):
    main.add_command(_command)
