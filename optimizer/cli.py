"""The commands. Results on stdout, progress and errors on stderr; no arithmetic here."""

from __future__ import annotations

from pathlib import Path

import click

from optimizer import cli_designs, cli_sweep
from optimizer.cautions import CAUTIONS
from optimizer.terminal import FILE, JSON, Commands, document, say, table
from optimizer.version import VERSION


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(VERSION, prog_name="ripplefront")
def main() -> None:
    """Search topologies and parts of module-level photovoltaic inverters.

    A specification goes in; a run folder with Pareto fronts of power density against
    weighted efficiency comes out, and every point of a front opens as a design sheet.
    Analytic estimates for early design: lethal voltages; verification and certification
    belong to qualified people.
    """


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
    """Read FILE, show its operating points and which topologies can serve it."""
    from models.operating import oddities
    from optimizer.launch import prepared

    ready = prepared(file)
    points = ready.case.points
    odd = oddities(ready.spec, file.parent)
    candidates = {p.topology for p in ready.problems}
    if as_json:
        document(
            "check",
            {
                "file": str(file),
                "oddities": list(odd),
                "candidates": sorted(candidates),
                "excluded": {k: list(v) for k, v in ready.excluded.items() if v},
                "points": [
                    {
                        "label": label,
                        "purpose": purpose.value,
                        "v_pv": points.v_pv[0, i, 0],
                        "p_ac": points.p_ac[0, i, 0],
                        "v_grid": points.v_grid[0, i, 0],
                        "t_air": points.t_air[0, i, 0],
                        "weight": points.weight[0, i, 0],
                        "hours": points.hours[0, i, 0],
                    }
                    for i, (label, purpose) in enumerate(
                        zip(points.label, points.purpose, strict=True)
                    )
                ],
            },
        )
        return
    table(
        ["operating point", "purpose", "module", "grid power", "grid", "air", "weight", "hours"],
        [
            [
                label,
                points.purpose[i].value,
                f"{points.v_pv[0, i, 0]:.1f} V",
                f"{points.p_ac[0, i, 0]:.0f} W",
                f"{points.v_grid[0, i, 0]:.0f} V",
                f"{points.t_air[0, i, 0]:.0f} °C",
                f"{points.weight[0, i, 0]:.3f}",
                f"{points.hours[0, i, 0]:.0f}",
            ]
            for i, label in enumerate(points.label)
        ],
        text_columns=2,
    )
    for name, why in ready.excluded.items():
        state = f"excluded: {'; '.join(why)}" if why else "takes part"
        click.echo(f"{name}: {state}")
    for text in odd:
        say(f"note: {text}")
    click.echo(f"{file} can be used; {len(ready.problems)} structures to search.")


@main.command()
@click.argument("file", type=FILE, required=False)
@JSON
def topologies(file: Path | None, as_json: bool) -> None:
    """List the candidates: diagram, isolation, decoupling; with FILE, why one is excluded."""
    from models.topologies import TOPOLOGIES, exclusions
    from models.variables import structures
    from optimizer.launch import specification

    reasons = exclusions(specification(file)) if file else {}
    rows = [
        {
            "name": t.name,
            "title": t.title,
            "isolated": t.isolated,
            "decoupling": t.decoupling,
            "common_mode": t.common_mode,
            "structures": len(structures(t.design)),
            "source": t.source,
            "diagram": t.diagram,
            "excluded": list(reasons.get(t.name, ())),
        }
        for t in TOPOLOGIES.values()
    ]
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
        click.echo(str(row["diagram"]).rstrip())
        click.echo(f"  source: {row['source']}")
        if file:
            why = row["excluded"]
            click.echo(f"  excluded: {'; '.join(map(str, why))}" if why else "  takes part")
        click.echo("")


@main.command()
@click.option("--topology", help="Also list the variables of this topology.")
@JSON
def names(topology: str | None, as_json: bool) -> None:
    """List the result names, and the variables of a topology, with unit and meaning."""
    from models.catalogues import catalogue
    from models.errors import RipplefrontError
    from models.results import RESULTS
    from models.spec import Parts
    from models.topologies import TOPOLOGIES, nearest
    from models.variables import structures, variables

    if topology and topology not in TOPOLOGIES:
        raise RipplefrontError(f"unknown topology {topology!r}; {nearest(topology)}")
    results = [{"name": r.name, "unit": r.unit, "meaning": r.meaning} for r in RESULTS]
    found, static = [], []
    if topology:
        design = TOPOLOGIES[topology].design
        tables = catalogue(Parts(), Path())
        static = structures(design)
        every = {
            v.path: v for s in static for v in variables(design, tables.names(), static=s)
        }
        found = [
            {"path": v.path, "kind": v.kind, "unit": v.unit, "meaning": v.meaning,
             "lowest": "" if v.options else v.shown(v.lo),
             "highest": "" if v.options else v.shown(v.hi), "options": list(v.options)}
            for v in every.values()
        ]  # fmt: skip
    if as_json:
        document("names", {"results": results, "variables": found, "structures": static})
        return
    table(
        ["result", "unit", "meaning"],
        [[str(r["name"]), str(r["unit"]), str(r["meaning"])] for r in results],
        text_columns=3,
    )
    if topology:
        click.echo("")
        table(
            ["variable", "kind", "from", "to", "unit", "meaning"],
            [
                [
                    str(v["path"]),
                    str(v["kind"]),
                    *(f"{x:g}" if isinstance(x, float | int) else str(x)
                      for x in (v["lowest"], v["highest"])),
                    str(v["unit"]),
                    str(v["meaning"]),
                ]
                for v in found
            ],
            text_columns=6,
        )  # fmt: skip
        for key in dict.fromkeys(k for s in static for k in s):
            options = sorted({str(s[key]) for s in static if key in s})
            click.echo(f"{key} (static): {', '.join(options)}")


@main.command()
def cautions() -> None:
    """Print the cautions that apply to every design."""
    for text in CAUTIONS:
        click.echo(text)


for _command in (*cli_sweep.COMMANDS, *cli_designs.COMMANDS):
    main.add_command(_command)
