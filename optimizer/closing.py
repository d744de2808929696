"""What is said when a search is over, from the run folders alone."""

from __future__ import annotations

import collections
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click
import numpy as np

from optimizer.archive import Run, open_run
from optimizer.figures_data import front_points, write_page, write_picture
from optimizer.fronts import corners
from optimizer.launch import resumable
from optimizer.nearest import explanation
from optimizer.outcome import Nearest
from optimizer.quantities import quantity
from optimizer.standing import MEANING
from optimizer.terminal import EXIT_NOTHING_FEASIBLE, document, table


def finish(
    folders: Sequence[Path],
    code: int,
    *,
    picture: Path | None,
    page: Path | None,
    as_json: bool,
) -> None:
    """Report what a sweep found, draw it if asked, and leave with its exit code.

    Parameters
    ----------
    folders : Sequence of Path
        The runs of the sweep; those that have not ended are passed over.
    code : int
        What ``launched`` or ``followed`` returned.
    picture, page : Path, optional
        Where to draw the fronts; several runs get a file each, with the variant's name.
    as_json : bool
        One JSON document instead of tables.
    """
    every = [open_run(folder) for folder in folders]
    ended = [(run, run.status) for run in every if run.status["state"] == "ended"]
    for run, _ in ended:
        if picture:
            write_picture(run, beside(picture, run, len(every)))
        if page:
            write_page(run, beside(page, run, len(every)))
    if as_json:
        _document(every)
    else:
        for run, status in ended:
            _tell(run, status)
            for made in (picture, page):
                if made:
                    click.echo(f"wrote {beside(made, run, len(every))}")
    click.get_current_context().exit(code)


def beside(path: Path, run: Run, count: int) -> Path:
    """Return where a run's drawing goes: the path itself, or one a variant."""
    if count < 2:
        return path
    variant = run.manifest.get("sweep", {}).get("variant") or run.name
    return path.with_name(f"{path.stem}-{'-'.join(str(variant).split())}{path.suffix}")


def _document(runs: Sequence[Run]) -> None:
    rows: list[dict[str, Any]] = [{"folder": str(run.folder), **run.status} for run in runs]
    document("sweep", {**rows[0], "runs": rows} if len(rows) > 1 else rows[0])


def _tell(run: Run, status: Mapping[str, Any]) -> None:
    designs, seconds = int(status["designs"]), float(status["seconds"])
    click.echo(
        f"{run.name}: {MEANING.get(status['reason'], status['reason'])}; "
        f"{designs:,} designs in {seconds:.0f} s "
        f"({designs / max(seconds, 1e-9):,.0f} designs/s, "
        f"{100 * float(status['search_share']):.0f} % of the time outside the evaluation), "
        f"{100 * int(status['feasible']) / max(designs, 1):.1f} % feasible"
    )
    rows = [
        [topology, where, p.label, f"{p.density:.2f} kW/l", f"{p.efficiency:.2f} %",
         f"{p.results['cost']:.1f}", quantity(p.results["life_years"], "years")]
        for topology in dict.fromkeys(c.topology for c in run.candidates)
        for where, p in corners(front_points(run, topology))
    ]  # fmt: skip
    if rows:
        table(
            ["topology", "corner", "design", "density", "efficiency", "cost", "life"],
            rows,
            text_columns=3,
        )
        evidence(status)
        click.echo(f"open one with: ripplefront sheet {run.name} DESIGN")
    _unserved(run, status)


def evidence(status: Mapping[str, Any]) -> None:
    """Print what speaks for each topology's front, and which structures were given up."""
    found = [e for e in status.get("evidence", ()) if e["hypervolume"] > 0.0]
    if len(found) == 2:
        found = found[:1]  # the common front is that of the only topology
    if found:
        table(
            ["topology", "designs", "hypervolume", "moved in the last third", "seeds differ",
             "evidence"],
            [_evidence(e) for e in found],
        )  # fmt: skip
    for row in status.get("dominated", ()):
        click.echo(f"{row['topology']}: {row['text']}")
    shed = collections.Counter(row["why"] for row in status.get("shed", ()))
    for why, count in shed.items():
        click.echo(f"given up on the way: {count} structures, {why}; see shed in status --json")


def _evidence(row: Mapping[str, Any]) -> list[str]:
    return [
        row["topology"] or "all together",
        f"{row.get('designs', 0):,}",
        f"{row['hypervolume']:.4f}",
        _share(row["moved"]),
        _share(row.get("disagreement")),
        verdict(row),
    ]


def verdict(row: Mapping[str, Any]) -> str:
    """Return in words whether a front can be relied on."""
    if not row["still"]:
        return "too early to tell" if row["moved"] is None else "more designs may help"
    if row.get("agree") is None:
        return "stands still; seeds not compared"
    return "converged" if row["agree"] else "stands still, but seeds differ"


def _share(value: float | None) -> str:
    return "–" if value is None else f"{100 * value:.2f} %"


def _unserved(run: Run, status: Mapping[str, Any]) -> None:
    """Explain for each topology without a feasible design what its nearest one breaks."""
    near = status.get("nearest", ())
    ready = resumable(run) if near else None
    for row in near:
        candidate = next(c for c in run.candidates if c.name == row["candidate"])
        found = run.nearest(candidate.number)
        if found and ready:
            margins = np.array(list(found.margins.values()))
            nearest = Nearest(candidate.name, found.design.genes, margins, row["violation"])
            click.echo(explanation(nearest, ready))
    if status["exit_code"] == EXIT_NOTHING_FEASIBLE:
        click.echo("no feasible design: relax what stops it, or allow more designs.")
