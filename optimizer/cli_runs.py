"""Commands that say where runs stand."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from optimizer.terminal import JSON, RUNS, document, table


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
                _state(r),
                f"{r.get('designs', 0):,}",
                _best(r["best"], "efficiency", "{:.2f} %"),
                _best(r["best"], "density", "{:.2f} kW/l"),
            ]
            for r in rows
        ],
        text_columns=2,
    )


def _state(row: Mapping[str, Any]) -> str:
    state = str(row.get("state", ""))
    return f"{state} ({row['reason']})" if state == "ended" and "reason" in row else state


def _best(best: Mapping[str, float], key: str, form: str) -> str:
    return form.format(best[key]) if key in best else "–"


@click.command()
@click.argument("run", default="latest")
@RUNS
@JSON
def status(run: str, runs: Path, as_json: bool) -> None:
    """Show where RUN stands (default: the latest)."""
    from optimizer.launch import find_run
    from optimizer.progress import duration, progress_from, share
    from optimizer.standing import unfinished, why

    found = find_run(runs, run)
    status = found.status
    reason = why(found, status)
    if as_json:
        document("status", {"name": found.name, **status, "why": reason})
        return
    click.echo(f"{found.name}: {status['state']}{f' ({reason})' if reason else ''}")
    variant = found.manifest.get("sweep", {}).get("variant")
    if variant:
        click.echo(f"variant: {variant}")
    progress = progress_from(status)
    if progress:
        running = status["state"] == "running"
        click.echo(
            f"{progress.designs:,} of {progress.planned:,} designs, "
            f"{progress.rate:,.0f} a second; "
            f"{duration(progress.elapsed)} so far"
            + (f", about {duration(progress.left)} left" if running else "")
        )
        click.echo(
            f"round {progress.barrier} of {progress.rounds}; "
            f"{100 * progress.feasible_share:.1f} % feasible, {progress.failed} failed; "
            f"{progress.front} designs on the common front, "
            f"hypervolume {progress.hypervolume:.4f}"
        )
        table(
            ["topology", "structures", "designs", "feasible", "front", "hypervolume", "moved",
             "seeds differ", ""],
            [
                [line.topology, str(line.structures), f"{line.designs:,}",
                 f"{100 * line.feasible_share:.1f} %", str(line.front),
                 f"{line.hypervolume:.4f} (+{line.gained:.4f})", share(line.moved),
                 share(line.disagreement), line.note]
                for line in progress.lines
            ],
        )  # fmt: skip
    click.echo(f"written {status['at']}")
    if status["state"] in ("running", "waiting"):
        click.echo(f"follow it with: ripplefront follow {found.name}")
    elif unfinished(status):
        click.echo(f"go on with: ripplefront resume {found.name}")
