"""Commands that hand a run to other tools."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from optimizer.terminal import FILE, RUNS

STDOUT = Path("-")


@click.command()
@click.argument("run", default="latest")
@RUNS
@click.option(
    "--as",
    "form",
    type=click.Choice(["csv", "parquet", "json"]),
    required=True,
    help="Form of the file; parquet needs the extra of that name.",
)
@click.option(
    "--designs",
    type=click.Choice(["front", "common", "all"]),
    default="front",
    show_default=True,
    help="The front of every structure; what nothing in the run dominates; or also what is "
    "kept behind the fronts.",
)
@click.option("--out", type=FILE, help="File to write, or - for stdout (default: RUN.FORM).")
def export(run: str, runs: Path, form: str, designs: str, out: Path | None) -> None:
    """Write the stored designs of RUN as one table: every variable and every result.

    Names and units are those of the specification and of the command names; the cautions
    come with it.
    """
    from optimizer.export import exported
    from optimizer.files import write_whole
    from optimizer.launch import find_run

    found = find_run(runs, run)
    data = exported(found, form, designs)
    if out == STDOUT:
        sys.stdout.buffer.write(data)
        return
    target = out or Path(f"{found.name}.{form}")
    write_whole(target, data)
    click.echo(f"wrote {target}")


COMMANDS: tuple[click.Command, ...] = (export,)
