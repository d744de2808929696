"""Commands about sweeps: start, go on, follow, stop."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optimizer.cli_runs import runs, status
from optimizer.terminal import FILE, JSON, RUNS, say

if TYPE_CHECKING:
    from optimizer.launch import Prepared

WORKERS = click.option(
    "--workers",
    type=click.IntRange(0, 512),
    help="Processes; 0 searches in one, without Ray. All give the same fronts.",
)
ADDRESS = click.option("--address", help="Join the Ray cluster at this address, or 'auto'.")
FOREGROUND = click.option(
    "--foreground", is_flag=True, help="Search in this process, for scripts and services."
)
PICTURE = click.option("--picture", type=FILE, help="Also draw the fronts: .png or .svg.")
PAGE = click.option("--page", type=FILE, help="Also write the fronts as an interactive .html.")
QUIET = click.option("-q", "--quiet", is_flag=True, help="No progress.")


@click.command()
@click.argument("file", type=FILE)
@RUNS
@click.option("--designs", type=click.IntRange(1000), help="Designs to evaluate in all.")
@click.option("--seed", type=click.IntRange(0), help="Same seed, same fronts.")
@click.option("--time", "hours", type=click.FloatRange(0.001), help="Stop after so many hours.")
@WORKERS
@ADDRESS
@FOREGROUND
@click.option("--pin", "pins", multiple=True, help="A decision, as in 'box.height_mm <= 25'.")
@PICTURE
@PAGE
@QUIET
@JSON
def sweep(
    file: Path,
    runs: Path,
    designs: int | None,
    seed: int | None,
    hours: float | None,
    workers: int | None,
    address: str | None,
    foreground: bool,
    pins: tuple[str, ...],
    picture: Path | None,
    page: Path | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Search the candidates that can serve the specification in FILE.

    The search runs as a process of its own; this terminal only follows it. Ctrl-C, a
    closed window or a broken connection leave it going: see follow, stop and resume.
    """
    from optimizer.closing import finish
    from optimizer.detached import launched
    from optimizer.figures_data import check_outputs
    from optimizer.launch import new_stores, prepared_variants, settings_for
    from optimizer.work import RAY_FROM, worker_count

    check_outputs(picture, page)
    ready = prepared_variants(file, pins)
    asked = ready[0].spec.sweep
    count = asked.workers if workers is None else workers
    # Where only a time is given, it is taken for long enough to start Ray.
    hands = worker_count(count, designs or asked.designs or RAY_FROM)
    settings = settings_for(ready, seed, designs, hours, hands)
    for each, own in zip(ready, settings, strict=True):
        _announce(each, own.evaluations)
    stores = new_stores(ready, settings, runs)
    for store in stores:
        store.close()
        say(f"run folder: {store.folder}")
    folders = [store.folder for store in stores]
    code = launched(folders, workers=count, address=address, foreground=foreground, quiet=quiet)
    finish(folders, code, picture=picture, page=page, as_json=as_json)


@click.command()
@click.argument("run")
@RUNS
@WORKERS
@ADDRESS
@FOREGROUND
@PICTURE
@PAGE
@QUIET
@JSON
def resume(
    run: str,
    runs: Path,
    workers: int | None,
    address: str | None,
    foreground: bool,
    picture: Path | None,
    page: Path | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Go on with an interrupted RUN to the fronts of an undisturbed one.

    Goes on with all runs of its sweep that have not ended.
    """
    from models.errors import RunError
    from optimizer.archive import open_run
    from optimizer.closing import finish
    from optimizer.detached import launched
    from optimizer.figures_data import check_outputs
    from optimizer.launch import find_run
    from optimizer.standing import family, unfinished

    check_outputs(picture, page)
    found = find_run(runs, run)
    folders = family(found)
    if not any(unfinished(open_run(folder).status) for folder in folders):
        raise RunError(
            f"{found.name} has ended ({found.status.get('reason')}); there is nothing to resume.\n"
            f"  See it with: ripplefront front {found.name}"
        )
    code = launched(folders, workers=workers, address=address, foreground=foreground, quiet=quiet)
    finish(folders, code, picture=picture, page=page, as_json=as_json)


@click.command()
@click.argument("run", default="latest")
@RUNS
@PICTURE
@PAGE
@QUIET
@JSON
def follow(
    run: str, runs: Path, picture: Path | None, page: Path | None, quiet: bool, as_json: bool
) -> None:
    """Follow RUN (default: the latest) to its end, and leave with its exit code.

    Ctrl-C leaves it going.
    """
    from optimizer.closing import finish
    from optimizer.detached import followed
    from optimizer.figures_data import check_outputs
    from optimizer.launch import find_run
    from optimizer.standing import family

    check_outputs(picture, page)
    folders = family(find_run(runs, run))
    code = followed(folders, quiet=quiet)
    finish(folders, code, picture=picture, page=page, as_json=as_json)


@click.command()
@click.argument("run", default="latest")
@RUNS
@click.option("--now", is_flag=True, help="At once, without finishing the generation.")
def stop(run: str, runs: Path, now: bool) -> None:
    """Stop RUN (default: the latest): it finishes its generation, writes and ends.

    Either way it can be resumed to the same fronts.
    """
    from optimizer.launch import find_run
    from optimizer.stopping import stopped

    found = find_run(runs, run)
    say(f"stopping {found.name}{' at once' if now else ', after its generation'}")
    stopped(found, now=now)
    click.echo(f"{found.name} has stopped; go on with: ripplefront resume {found.name}")


@click.command(hidden=True)
@click.argument("folders", nargs=-1, required=True, type=FILE)
@WORKERS
@ADDRESS
@click.option("--held", type=int, multiple=True, help="Open files that hold the locks.")
def work(
    folders: tuple[Path, ...], workers: int | None, address: str | None, held: tuple[int, ...]
) -> None:
    """Search the runs in FOLDERS; what a detached process is started with."""
    from optimizer.detached import worked

    sys.exit(worked(folders, workers=workers, address=address, held=held))


def _announce(ready: Prepared, designs: int) -> None:
    names = sorted({p.topology for p in ready.problems})
    head = f"{ready.variant}: " if ready.variant else ""
    say(
        f"{head}{len(names)} topologies in {len(ready.problems)} structures, {designs:,} designs, "
        f"{ready.case.points.count} operating points each"
    )
    for name, why in ready.excluded.items():
        if why:
            say(f"  without {name}: {'; '.join(why)}")


COMMANDS: tuple[click.Command, ...] = (sweep, resume, follow, stop, runs, status, work)
