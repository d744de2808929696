"""Our engine against the usual way: one design a Python call in pymoo's default loop.

Run: .venv/bin/python tests/benchmarks/bench_usual_way.py [--designs 50000]

The formulas are the same; both are measured one after the other, by CPU time, in turns so
that a busy machine treats both alike.  A sweep starts with small batches, until something
feasible is known: with 5,000 designs it is mostly that, with 50,000 hardly.
"""

import sys
import time
from pathlib import Path

import click
import numpy as np

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from models.evaluate import evaluate
from models.topologies import TOPOLOGIES
from models.variables import build
from optimizer.budget import Settings
from optimizer.engine import sweep
from optimizer.machine import keep_memory
from optimizer.problem import Outcome
from tests.benchmarks import usual
from tests.benchmarks.bench_quality import STRUCTURES, problem_named

TARGET = 50.0


class Bare:
    """A problem evaluated as a script would: straight to the formulas, no padding."""

    def __init__(self, problem, case):
        self._genes, self._case = problem.genes, case
        self._topology, self._structure = TOPOLOGIES[problem.topology], problem.structure
        self.space, self.sizes = problem.space, problem.sizes

    def evaluate(self, genes):
        """Evaluate as many designs as asked for."""
        design = build(self._topology.design, self._genes.arrays(genes), self._structure)
        found = evaluate(self._topology, design, self._case)
        n = len(found.objectives)
        return Outcome(found.objectives, found.margins, found.columns, np.zeros(n, dtype=bool))


def seconds(work):
    """CPU seconds that something takes."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


@click.command()
@click.option("--designs", default=50_000, help="Of the engine: a small sweep of one candidate.")
@click.option("--few", default=500, help="Designs of the usual way, which never changes pace.")
@click.option("--turns", default=3)
def main(designs, few, turns):
    """Print designs per second of both, and their ratio."""
    keep_memory()
    from tests.conformance.designs import demo_case

    case = demo_case()
    for name in STRUCTURES:
        problem = problem_named(name)
        bare = Bare(problem, case)
        sweep([problem], Settings(evaluations=1000))  # warm up
        ours, theirs = [], []
        for turn in range(turns):
            settings = Settings(seed=turn, evaluations=designs)
            ours.append(seconds(lambda s=settings, p=problem: sweep([p], s)) / designs)
            theirs.append(seconds(lambda t=turn, b=bare: usual.one_by_one(b, few, t)) / few)
        a, b = 1.0 / np.median(ours), 1.0 / np.median(theirs)
        print(f"{problem.name}\n  engine {a:,.0f} designs/s, one by one in pymoo's loop {b:,.1f}: "
              f"{a / b:.0f} times (target >= {TARGET:.0f})")  # fmt: skip


if __name__ == "__main__":
    main()
