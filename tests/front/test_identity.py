"""A front design has the same numbers alone, in a batch, and every time it is asked."""

import numpy as np
import pytest

from models.evaluate import evaluate
from models.topologies import TOPOLOGIES
from models.variables import build
from tests.front import reference as front


def groups():
    """Reference designs that share topology and structure, as one batch can."""
    found = {}
    for name in front.NAMES:
        kept = front.document(name)
        key = (kept["topology"], tuple(kept["structure"].items()))
        found.setdefault(key, []).append(name)
    return list(found.values())


@pytest.mark.parametrize("names", groups(), ids=lambda names: "+".join(n[6:] for n in names))
@pytest.mark.parametrize("times", [1, 7])
def test_a_batch_equals_single_designs(names, times):
    items = [front.reference(name) for name in names]
    first = items[0]
    values = {
        key: np.array([item.values[key] for item in items] * times).reshape(-1, 1, 1)
        for key in first.values
    }
    design = build(TOPOLOGIES[first.topology.name].design, values, first.static)
    batch = evaluate(first.topology, design, first.case)
    for i, item in enumerate(items * times):
        assert batch.columns[i] == pytest.approx(item.evaluation.columns[0], rel=1e-12, abs=1e-12)
        assert batch.margins[i] == pytest.approx(item.evaluation.margins[0], rel=1e-12, abs=1e-12)
        assert batch.objectives[i] == pytest.approx(item.evaluation.objectives[0], rel=1e-12)


@pytest.mark.parametrize("name", front.NAMES)
def test_evaluating_twice_gives_the_same_bits(name):
    item = front.reference(name)
    again = evaluate(item.topology, item.design, item.case)
    reopened = front.reopened(name).evaluation
    for other in (again, reopened):
        for field in ("columns", "margins", "objectives"):
            first, second = getattr(item.evaluation, field), getattr(other, field)
            assert first.tobytes() == second.tobytes()
        for a, b in zip(item.evaluation.ledger.entries, other.ledger.entries, strict=True):
            assert a.path == b.path
            assert a.value.tobytes() == b.value.tobytes(), a.path
