"""Run folders with made-up fronts, for tests of what reads them."""

from pathlib import Path

import numpy as np

from models.results import NAMES, RESULTS
from optimizer.archive import open_run
from optimizer.budget import Settings
from optimizer.encode import Genes
from optimizer.store import create
from tests.optimizer.stand_in import VARIABLES

DEMO = (Path(__file__).parent.parent.parent / "runs" / "demo.toml").read_text()
COSTS = 100.0  # [€] of every made-up design, unless given


def made_run(
    root, name, fronts, *, pins=(), parent="", evidence=(), specification=DEMO, signs=(-1.0, -1.0),
    wanted=("power_density_kw_l", "weighted_efficiency_pct"),
):  # fmt: skip
    """Return a run whose topologies have the fronts given as rows of the wanted results."""
    genes = Genes.of(VARIABLES)
    store = create(
        root,
        name,
        specification=specification,
        catalogue={"cores.csv": "name,source\ncore 0,invented\n"},
        candidates=[
            {"name": t, "topology": t, "structure": {}, "variables": genes.record(), "limits": []}
            for t in fronts
        ],
        columns=[{"name": r.name, "unit": r.unit, "meaning": r.meaning} for r in RESULTS],
        manifest={
            "version": "1",
            "settings": Settings(seed=3, evaluations=1000).__dict__,
            "pins": list(pins),
            "parent": {"run": parent} if parent else None,
        },
    )
    arrays = {"barrier": np.array(1)}
    rng = np.random.default_rng(1)
    for c, rows in enumerate(fronts.values()):
        values = np.array(rows, dtype=float).reshape(-1, len(wanted))
        columns = np.zeros((len(values), len(NAMES)))
        columns[:, NAMES.index("cost")] = COSTS
        for j, result in enumerate(wanted):
            columns[:, NAMES.index(result)] = values[:, j]
        objectives = values * np.array(signs)
        order = np.argsort(objectives[:, 0])
        arrays |= {
            f"c{c}.front.genes": rng.random((len(values), genes.space.size)),
            f"c{c}.front.objectives": objectives[order],
            f"c{c}.front.columns": columns[order],
        }
    store.archive(arrays, [])
    store.status({"state": "ended", "reason": "done", "designs": 1000, "evidence": evidence})
    store.close()
    return open_run(store.folder)
