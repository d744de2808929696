"""An infeasible specification is a result: the nearest design and what stops it."""

from __future__ import annotations

import numpy as np

from models.axes import designs
from models.evaluate import evaluate, worst_point
from models.ledger import Kind
from models.topologies import TOPOLOGIES
from models.variables import build
from optimizer.launch import Prepared
from optimizer.outcome import Nearest
from optimizer.quantities import quantity


def explanation(nearest: Nearest, ready: Prepared, most: int = 5) -> str:
    """Return which limits the nearest design of a topology breaks, with numbers."""
    problem = next(p for p in ready.problems if p.name == nearest.candidate)
    genes = problem.genes.arrays(np.atleast_2d(nearest.genes))
    topology = TOPOLOGIES[problem.topology]
    values = {k: designs(v.ravel()) for k, v in genes.items()}
    found = evaluate(topology, build(topology.design, values, problem.structure), ready.case)
    broken = []
    for entry in found.ledger.of(Kind.LIMIT):
        at, margin = worst_point(entry, 0, ready.case)
        if margin > 0.0:
            numbers = ""
            if entry.actual is not None and entry.bound is not None:
                i = min(at, entry.actual.shape[1] - 1)
                j = min(at, entry.bound.shape[1] - 1)
                sign = {"<=": "at most", ">=": "at least"}.get(entry.sense, "")
                numbers = (
                    f" is {quantity(float(entry.actual[0, i, 0]), entry.unit)}, must be {sign} "
                    f"{quantity(float(entry.bound[0, j, 0]), entry.unit)}"
                )
            label = ready.case.points.label[at] if entry.value.shape[1] > 1 else "every point"
            broken.append((margin, f"  {entry.path} ({entry.meaning}){numbers}, at {label}"))
    for name, margin in zip(problem.margin_names, nearest.margins, strict=True):
        if margin > 0.0 and name not in found.margin_names:
            broken.append((float(margin), f"  the pin '{name}' is missed by {100 * margin:.1f} %"))
    broken.sort(key=lambda b: -b[0])
    head = f"{problem.topology}: no feasible design; the nearest breaks {len(broken)} limit(s):"
    return "\n".join([head, *(text for _, text in broken[:most])])
