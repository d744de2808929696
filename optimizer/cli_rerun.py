"""Commands that start a run from another one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from optimizer.cli_sweep import ADDRESS, FOREGROUND, PAGE, PICTURE, QUIET, WORKERS
from optimizer.terminal import JSON, RUNS, say, table

if TYPE_CHECKING:
    from optimizer.archive import Run
    from optimizer.child import Child


@click.command()
@click.argument("run", default="latest")
@RUNS
@click.option("--pin", "pins", multiple=True, help="A decision, as in 'box.height_mm <= 25'.")
@click.option("--drop-pin", "dropped", multiple=True, help="A pin of RUN to leave out.")
@click.option("--designs", type=click.IntRange(1000), help="Designs; else as many as RUN.")
@click.option("--seed", type=click.IntRange(0), help="Same parent, pins and seed, same fronts.")
@click.option("--time", "hours", type=click.FloatRange(0.001), help="Stop after so many hours.")
@WORKERS
@ADDRESS
@FOREGROUND
@PICTURE
@PAGE
@QUIET
@JSON
def rerun(
    run: str,
    runs: Path,
    pins: tuple[str, ...],
    dropped: tuple[str, ...],
    designs: int | None,
    seed: int | None,
    hours: float | None,
    workers: int | None,
    address: str | None,
    foreground: bool,
    picture: Path | None,
    page: Path | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Search RUN's specification again under other pins, starting from RUN's designs.

    The pins of RUN hold on unless dropped.  Designs that satisfy all pins are taken over,
    others repaired; one island of every candidate starts from nothing, so that a front
    that moved far away is found as well.
    """
    from optimizer.archive import open_run
    from optimizer.child import new_child
    from optimizer.closing import finish
    from optimizer.detached import launched
    from optimizer.figures_data import check_outputs
    from optimizer.launch import find_run

    check_outputs(picture, page)
    parent = find_run(runs, run)
    made = new_child(
        parent, runs, added=pins, dropped=dropped, designs=designs, hours=hours, seed=seed
    )
    _announce(parent, made)
    folders = [made.folder]
    code = launched(folders, workers=workers, address=address, foreground=foreground, quiet=quiet)
    if not as_json:
        _tell(parent, open_run(made.folder))
    finish(folders, code, picture=picture, page=page, as_json=as_json)


def _announce(parent: Run, made: Child) -> None:
    """Say what is searched again, and what the parent's designs are worth there."""
    say(f"again: {parent.name}, {made.designs:,} designs, {len(made.pins)} pins")
    for text in made.pins:
        say(f"  {text}")
    for name in made.lost:
        say(f"  the pins exclude {name}")
    for topology, c in made.start.counts.items():
        say(
            f"  {topology}: of {c.stored:,} designs of the parent {c.satisfied:,} satisfy the "
            f"pins; {c.repaired} repaired and {c.mutated} mutated copies; {c.survived} of "
            f"{c.evaluated} evaluated are feasible; {c.given} to start from"
        )
    for name in made.unseeded:
        say(f"  nothing to start from: {name}")
    say(f"run folder: {made.folder}")


def _tell(parent: Run, child: Run) -> None:
    """Print what became of the parent's designs, and where to look next."""
    from optimizer.warm import unchanged

    seeds, fronts = child.manifest["parent"]["seeds"], unchanged(child)
    table(
        ["topology", "of parent", "satisfied", "repaired", "mutated", "feasible", "front now",
         "of which seeds"],
        [
            [name, *(f"{c[k]:,}" for k in ("stored", "satisfied", "repaired", "mutated",
                                           "survived")), *(f"{n:,}" for n in fronts[name])]
            for name, c in seeds.items()
        ],
    )  # fmt: skip
    if child.status.get("state") == "ended":
        click.echo(f"what the pins cost: ripplefront compare {parent.name} {child.name}")


COMMANDS: tuple[click.Command, ...] = (rerun,)
