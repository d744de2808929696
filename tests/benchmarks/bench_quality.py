"""How well and how fast full mixed problems are searched, beside pymoo's defaults.

Run: .venv/bin/python tests/benchmarks/bench_quality.py --problem stand-in --seeds 10
     .venv/bin/python tests/benchmarks/bench_quality.py --problem flyback --seeds 20
     .venv/bin/python tests/benchmarks/bench_quality.py --problem boost --seeds 20

Shares are of the hypervolume of the best front known: what all runs here found, and what
tests/data/best_known_fronts.npz holds of longer ones, evaluated again today.
"""

import sys
import time
from pathlib import Path

import click
import numpy as np

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from optimizer.budget import Settings
from optimizer.engine import sweep
from optimizer.launch import prepared
from optimizer.machine import keep_memory
from tests.benchmarks import usual
from tests.benchmarks.recorder import Recorder, Yardstick, best_of, shown, table
from tests.optimizer.stand_in import StandIn

TARGET_TO_99, TARGET_WORST = 50_000, 0.993
KNOWN = ROOT / "tests" / "data" / "best_known_fronts.npz"
# The candidate of each topology that holds most of its front in the demonstration.
STRUCTURES = {
    "flyback": "flyback_unfolder[flyback.phases=2, flyback.clamp=short_pulse]",
    "boost": "series_capacitor_boost_half_bridge[boost=synchronous, boost.phases=2, "
    "boost.gating=uniform]",
}


def problem_named(name):
    """The stand-in, or the main candidate of a topology."""
    if name == "stand-in":
        return StandIn()
    ready = prepared(ROOT / "runs" / "demo.toml")
    return next(p for p in ready.problems if p.name == STRUCTURES[name])


def ours(problem, evaluations, seed):
    """A sweep as a user starts it; return its genes."""
    return sweep([problem], Settings(seed=seed, evaluations=evaluations)).fronts[0].genes


def searched(problem, who, search, evaluations, seed):
    """The record of one run, and the genes of its front if it tells."""
    recorder = Recorder(problem, who, seed)
    begun = time.process_time()
    genes = search(recorder, evaluations, seed)
    return recorder.done(time.process_time() - begun), genes


def known(problem, name):
    """Objectives of the best designs of earlier runs that today's models still admit."""
    if not KNOWN.exists() or f"{name}.genes" not in (held := np.load(KNOWN)):
        return np.zeros((0, problem.sizes[0]))
    genes = held[f"{name}.genes"]
    if genes.shape[1] != problem.space.size:
        print("the stored front belongs to other variables: not used")
        return np.zeros((0, problem.sizes[0]))
    found = problem.evaluate(problem.space.snapped(genes))
    return found.objectives[(found.margins <= 0.0).all(axis=1)]


def remember(problem, name, rows):
    """Store the best designs of these and earlier runs."""
    held = dict(np.load(KNOWN)) if KNOWN.exists() else {}
    old = held.get(f"{name}.genes", np.zeros((0, problem.space.size)))
    rows = [old, *rows] if old.shape[1] == problem.space.size else rows
    genes = np.unique(np.concatenate(rows), axis=0)
    found = problem.evaluate(genes)
    met = np.flatnonzero((found.margins <= 0.0).all(axis=1))
    order = met[best_rows(found.objectives[met])]
    np.savez_compressed(KNOWN, **{**held, f"{name}.genes": genes[order]})


def best_rows(objectives, most=300):
    """Rows of the staircase, thinned evenly."""
    from optimizer.front import staircase

    rows = staircase(objectives)
    return rows[:: max(1, -(-len(rows) // most))]


@click.command()
@click.option("--problem", "name", type=click.Choice(["stand-in", *STRUCTURES]), required=True)
@click.option("--evaluations", default=300_000)
@click.option("--seeds", default=5)
@click.option("--first-seed", default=1)
@click.option("--pymoo/--no-pymoo", "beside", default=True, help="Run pymoo's defaults as well.")
@click.option("--pymoo-seeds", default=3)
@click.option("--remember", "keep", is_flag=True, help="Store the best designs found.")
def main(name, evaluations, seeds, first_seed, beside, pymoo_seeds, keep):
    """Print shares of the best known hypervolume."""
    keep_memory()
    problem = problem_named(name)
    searches = {"ripplefront": (ours, seeds)}
    if beside:
        searches["pymoo NSGA2, 100"] = (usual.default, pymoo_seeds)
        searches["pymoo NSGA2, mixed mating"] = (usual.mixed, pymoo_seeds)
    records, genes = [], []
    for who, (search, count) in searches.items():
        for seed in range(first_seed, first_seed + count):
            record, found = searched(problem, who, search, evaluations, seed)
            records.append(record)
            if found is not None:
                genes.append(found)
    earlier = known(problem, name)
    yardstick = Yardstick(best_of([earlier, *(r.fronts[-1] for r in records)]))
    alone = yardstick.share(best_of([r.fronts[-1] for r in records]))
    print(f"{problem.name}: {evaluations:,} designs, {seeds} seeds; best known front of "
          f"{len(yardstick.best)} designs, of which the runs here give {alone:.4f}")  # fmt: skip
    marks = [m for m in (10_000, 30_000, 100_000) if m < evaluations]
    found = table(records, yardstick, marks)
    _, ends, to = found["ripplefront"]
    middle = np.quantile(to[0.99], 0.5, method="higher")
    print(f"designs to 99 %: {shown(middle)} (target <= {TARGET_TO_99:,})")
    print(f"worst of {seeds} seeds at {evaluations:,}: {ends.min():.4f} "
          f"(target >= {TARGET_WORST} of 20 at 300,000)")  # fmt: skip
    if keep:
        remember(problem, name, genes)


if __name__ == "__main__":
    main()
