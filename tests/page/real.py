"""A small run folder whose designs are really evaluated, for tests of what is taken away."""

from pathlib import Path

import numpy as np

from models.results import NAMES
from optimizer.budget import Settings
from optimizer.front import Front, staircase
from optimizer.launch import new_store, prepared

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
EVIDENCE = {
    "topology": "", "hypervolume": 0.8, "moved": 0.01, "disagreement": None, "designs": 16,
    "share": 1.0, "guaranteed": 1.0, "still": False, "agree": None,
}  # fmt: skip


def real(root, pins=(), *, parent="", designs=12, seed=4, status=()):
    """Return a new run folder: fronts of random designs of the first and the last candidate.

    Feasible or not: a sheet shows either.
    """
    ready = prepared(DEMO, pins)
    more = {"parent": {"run": parent}} if parent else {}
    arrays = {"barrier": np.array(1)}
    for c, problem in enumerate(ready.problems):
        count = designs if c in (0, len(ready.problems) - 1) else 0
        for part, stored in zip(("front", "cloud"), _designs(problem, count, seed), strict=True):
            arrays |= {f"c{c}.{part}.{k}": getattr(stored, k)
                       for k in ("genes", "objectives", "columns")}  # fmt: skip
    with new_store(ready, Settings(seed=seed, evaluations=1000), Path(root), more) as store:
        store.archive(arrays, [])
        store.status({"state": "ended", "reason": "done", "designs": 2 * designs,
                      "evidence": [EVIDENCE], **dict(status)})  # fmt: skip
    return store.folder


def _designs(problem, count, seed):
    """Return a front, and what lies behind it, of one candidate."""
    if not count:
        nothing = Front.empty(problem.space.size, 2, len(NAMES))
        return nothing, nothing
    genes = problem.space.snapped(np.random.default_rng(seed).random((count, problem.space.size)))
    found = problem.evaluate(genes)
    both = Front(genes, found.objectives, found.columns)
    ahead = staircase(both.objectives)
    return both.at(ahead), both.at(np.setdiff1d(np.arange(count), ahead))
