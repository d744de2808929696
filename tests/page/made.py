"""Run folders of any size, written as a sweep writes them, for tests and for trying the page.

python -m tests.page.made FOLDER [DESIGNS]
"""

import sys
from pathlib import Path

import numpy as np

from models.results import NAMES
from optimizer.archive import table_rows
from optimizer.budget import Settings
from optimizer.front import Front, staircase
from optimizer.launch import new_store, prepared

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
DENSITY, EFFICIENCY = NAMES.index("power_density_kw_l"), NAMES.index("weighted_efficiency_pct")
STRUCTURES = 4  # candidates that have designs
EVALUATED = 48  # designs of each that are really evaluated; the others are copies beside them


def many(root, designs=100_000, *, state="ended", seed=1):
    """Return a new run folder under a folder of runs, with so many stored designs.

    Genes belong to the demo's topologies and open as any design does; of the results,
    density and efficiency are made up so that the fronts look like fronts, the others
    stand near those of an evaluated design.
    """
    ready = prepared(DEMO)
    rng = np.random.default_rng(seed)
    step = max(len(ready.problems) // STRUCTURES, 1)
    chosen = range(0, len(ready.problems), step)[:STRUCTURES]
    shares = np.full(len(chosen), designs // len(chosen))
    shares[0] += designs - shares.sum()
    arrays, fronts = {"barrier": np.array(7)}, []
    for c, problem in enumerate(ready.problems):
        count = int(shares[list(chosen).index(c)]) if c in chosen else 0
        front, cloud = _designs(problem, count, rng, worse=0.4 * c / len(ready.problems))
        for name, part in (("front", front), ("cloud", cloud)):
            arrays |= {f"c{c}.{name}.{k}": getattr(part, k)
                       for k in ("genes", "objectives", "columns")}  # fmt: skip
        fronts.append(front)
    settings = Settings(seed=seed, evaluations=10 * designs)
    with new_store(ready, settings, Path(root)) as store:
        store.archive(arrays, table_rows(ready.problems, fronts, store.folder))
        store.status({"state": state, "reason": "done", "designs": 10 * designs, "lines": []})
    return store.folder


def _designs(problem, count, rng, *, worse):
    """Return a front, and what lies behind it, of one candidate."""
    columns = len(NAMES)
    if not count:
        nothing = Front.empty(problem.space.size, 2, columns)
        return nothing, nothing
    few = problem.space.snapped(rng.random((EVALUATED, problem.space.size)))
    found = problem.evaluate(few)
    row = rng.integers(0, EVALUATED, count)
    genes = np.clip(few[row] + 1e-3 * rng.standard_normal((count, few.shape[1])), 0.0, 1.0)
    genes[:EVALUATED] = few[: min(count, EVALUATED)]
    results = found.columns[row] * (1.0 + 0.03 * rng.standard_normal((count, columns)))
    density = 0.15 + 0.75 * rng.random(count) ** 1.5
    behind = np.where(np.arange(count) < 60, 0.0, rng.exponential(0.8, count))
    results[:, DENSITY] = density
    results[:, EFFICIENCY] = 97.0 - worse - 3.0 * density**2 - behind
    results[:, NAMES.index("worst_margin")] = -0.01 * rng.random(count)
    both = Front(genes, -results[:, [DENSITY, EFFICIENCY]], results)
    ahead = staircase(both.objectives)
    rest = np.setdiff1d(np.arange(count), ahead)
    return both.at(ahead), both.at(rest)


if __name__ == "__main__":
    _, folder, *number = sys.argv
    sys.stdout.write(f"{many(folder, int(number[0]) if number else 100_000)}\n")
