"""Commands about sweeps: start, go on, where they stand."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer.terminal import EXIT_NOTHING_FEASIBLE, FILE, JSON, RUNS, document, say, table

if TYPE_CHECKING:
    from optimizer.archive import Run
    from optimizer.launch import Prepared
    from optimizer.outcome import Result

WORKERS = click.option(
    "--workers",
    type=click.IntRange(0, 512),
    help="Processes; 0 searches in this one, without Ray. All give the same fronts.",
)
RAY_FROM = 50_000  # designs from which starting Ray (about 6 s) pays
PICTURE = click.option("--picture", type=FILE, help="Also draw the fronts: .png or .svg.")
PAGE = click.option("--page", type=FILE, help="Also write the fronts as an interactive .html.")


@click.command()
@click.argument("file", type=FILE)
@RUNS
@click.option("--designs", type=click.IntRange(1000), help="Designs to evaluate in all.")
@click.option("--seed", type=click.IntRange(0), help="Same seed, same fronts.")
@click.option("--time", "hours", type=click.FloatRange(0.001), help="Stop after so many hours.")
@WORKERS
@click.option("--pin", "pins", multiple=True, help="A decision, as in 'box.height_mm <= 25'.")
@PICTURE
@PAGE
@click.option("-q", "--quiet", is_flag=True, help="No progress.")
@JSON
def sweep(
    file: Path,
    runs: Path,
    designs: int | None,
    seed: int | None,
    hours: float | None,
    workers: int | None,
    pins: tuple[str, ...],
    picture: Path | None,
    page: Path | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Search the candidates that can serve the specification in FILE.

    Ctrl-C once finishes the generation, writes and ends with code 4; the run can be
    resumed. Twice stops at once.
    """
    from optimizer import engine
    from optimizer.budget import Settings
    from optimizer.figures_data import check_outputs
    from optimizer.launch import new_store, prepared

    check_outputs(picture, page)
    ready = prepared(file, pins)
    asked = ready.spec.sweep
    limit = hours if hours is not None else asked.time_limit_h
    settings = Settings(
        seed=asked.seed if seed is None else seed,
        evaluations=designs or asked.designs,
        time_limit=None if limit is None else 3600.0 * limit,
    )
    _announce(ready, settings.evaluations)
    store = new_store(ready, settings, runs)
    say(f"run folder: {store.folder}")
    count = _count(asked.workers if workers is None else workers, settings.evaluations)
    with store, _workers(ready, count) as hands, _reporter(quiet) as told:
        result = engine.sweep(ready.problems, settings, store, told, workers=hands)
    _finish(store.folder, ready, result, picture, page, as_json)


@click.command()
@click.argument("run")
@RUNS
@WORKERS
@PICTURE
@PAGE
@click.option("-q", "--quiet", is_flag=True, help="No progress.")
@JSON
def resume(
    run: str,
    runs: Path,
    workers: int | None,
    picture: Path | None,
    page: Path | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Go on with an interrupted RUN to the fronts of an undisturbed one."""
    from models.errors import RunError
    from optimizer import engine
    from optimizer.figures_data import check_outputs
    from optimizer.launch import find_run, resumable
    from optimizer.store import Store

    check_outputs(picture, page)
    found = find_run(runs, run)
    state = found.status
    if state.get("state") == "ended" and state.get("reason") != "stopped":
        raise RunError(
            f"{found.name} has ended ({state.get('reason')}); there is nothing to resume.\n"
            f"  See it with: ripplefront front {found.name}"
        )
    ready = resumable(found)
    settings = found.settings
    count = _count(ready.spec.sweep.workers if workers is None else workers, settings.evaluations)
    with (
        Store(found.folder) as store,
        _workers(ready, count) as hands,
        _reporter(quiet) as told,
    ):
        result = engine.resume(ready.problems, settings, store, told, workers=hands)
    _finish(found.folder, ready, result, picture, page, as_json)


@click.command()
@RUNS
@JSON
def runs(runs: Path, as_json: bool) -> None:
    """List the runs with their state and best corners."""
    from models.errors import RunError
    from optimizer.archive import open_run
    from optimizer.figures_data import run_corners

    rows = []
    for folder in sorted(p.parent for p in runs.glob("*/manifest.json")):
        try:
            run = open_run(folder)
            rows.append({"name": run.name, **run.status, "best": run_corners(run)})
        except RunError as error:
            rows.append({"name": folder.name, "state": "broken", "best": {}, "error": str(error)})
    if as_json:
        document("runs", {"runs": rows})
        return
    if not rows:
        click.echo(f"no run in {runs}; start one with: ripplefront sweep FILE")
        return
    table(
        ["run", "state", "designs", "best efficiency", "best density"],
        [
            [
                str(r["name"]),
                str(r.get("state", "")),
                f"{r.get('designs', 0):,}",
                _best(r["best"], "efficiency", "{:.2f} %"),
                _best(r["best"], "density", "{:.2f} kW/l"),
            ]
            for r in rows
        ],
        text_columns=2,
    )


def _best(best: dict[str, float], key: str, form: str) -> str:
    return form.format(best[key]) if key in best else "–"


@click.command()
@click.argument("run", default="latest")
@RUNS
@JSON
def status(run: str, runs: Path, as_json: bool) -> None:
    """Show where RUN stands (default: the latest)."""
    from optimizer.launch import find_run

    found = find_run(runs, run)
    if as_json:
        document("status", {"name": found.name, **found.status})
        return
    click.echo(f"{found.name}")
    for key, value in found.status.items():
        if not isinstance(value, dict | list):
            click.echo(f"  {key}: {value}")


def _announce(ready: Prepared, designs: int) -> None:
    names = sorted({p.topology for p in ready.problems})
    say(
        f"{len(names)} topologies in {len(ready.problems)} structures, {designs:,} designs, "
        f"{ready.case.points.count} operating points each"
    )
    for name, why in ready.excluded.items():
        if why:
            say(f"  without {name}: {'; '.join(why)}")


def _count(asked: int | None, designs: int) -> int:
    """Return how many processes to use: as asked, else all cores where starting them pays."""
    if asked is not None:
        return asked
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return (cores or 1) if designs >= RAY_FROM and (cores or 1) > 1 else 0


def _workers(ready: Prepared, count: int) -> Any:
    """Return who advances the islands, as a context manager; None for this process."""
    if count == 0:
        return contextlib.nullcontext()
    from optimizer.workers import RayWorkers

    say(f"starting {count} workers")
    return RayWorkers(ready.problems, count)


def _reporter(quiet: bool) -> Any:
    from optimizer.progress import reporter

    return reporter(sys.stderr, quiet=quiet)


def _finish(
    folder: Path,
    ready: Prepared,
    result: Result,
    picture: Path | None,
    page: Path | None,
    as_json: bool,
) -> None:
    """Report what a sweep found, draw it if asked, and leave with its exit code."""
    from optimizer.archive import open_run
    from optimizer.figures_data import write_page, write_picture

    run = open_run(folder)
    if picture:
        write_picture(run, picture)
    if page:
        write_page(run, page)
    if as_json:
        document("sweep", {"folder": str(folder), **result.summary()})
    else:
        _tell(run, ready, result)
        for made in (picture, page):
            if made:
                click.echo(f"wrote {made}")
    click.get_current_context().exit(result.exit_code)


def _tell(run: Run, ready: Prepared, result: Result) -> None:
    from optimizer.figures_data import front_points
    from optimizer.fronts import corners
    from optimizer.nearest import explanation
    from optimizer.quantities import quantity

    click.echo(
        f"{run.name}: {result.reason}; {result.evaluations:,} designs in {result.seconds:.0f} s "
        f"({result.evaluations / max(result.seconds, 1e-9):,.0f} designs/s, "
        f"{100 * result.search_share:.0f} % of the time outside the evaluation), "
        f"{100 * result.feasible / max(result.evaluations, 1):.1f} % feasible"
    )
    rows = []
    for topology in dict.fromkeys(p.topology for p in ready.problems):
        points = front_points(run, topology)
        rows += [
            [topology, where, p.label, f"{p.density:.2f} kW/l", f"{p.efficiency:.2f} %",
             f"{p.results['cost']:.1f}", quantity(p.results["life_years"], "years")]
            for where, p in corners(points)
        ]  # fmt: skip
    if rows:
        table(
            ["topology", "corner", "design", "density", "efficiency", "cost", "life"],
            rows,
            text_columns=3,
        )
        click.echo(f"open one with: ripplefront sheet {run.name} DESIGN")
    for nearest in result.nearest:
        click.echo(explanation(nearest, ready))
    if result.exit_code == EXIT_NOTHING_FEASIBLE:
        click.echo("no feasible design: relax what stops it, or allow more designs.")


COMMANDS: tuple[click.Command, ...] = (sweep, resume, runs, status)
