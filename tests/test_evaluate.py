"""What holds for the whole evaluation whatever the topology."""

import numpy as np
import pytest

from models.evaluate import evaluate
from models.results import NAMES
from tests.conformance.designs import candidates, demo_case, made, random_values

ONE_OF_EACH = {topology.name: (topology, static) for topology, static in candidates()}


@pytest.fixture(scope="module")
def case():
    return demo_case()


@pytest.mark.parametrize("name", ONE_OF_EACH)
def test_a_design_has_the_same_bits_in_every_size_of_batch(name, case, rng):
    topology, static = ONE_OF_EACH[name]
    values = random_values(topology, static, case, 256, rng)
    whole = evaluate(topology, made(topology, static, values), case)
    for start, stop in ((0, 32), (96, 192)):
        some = {k: v[start:stop] for k, v in values.items()}
        found = evaluate(topology, made(topology, static, some), case)
        assert (found.columns == whole.columns[start:stop]).all()
        assert (found.margins == whole.margins[start:stop]).all()


@pytest.mark.parametrize("name", ONE_OF_EACH)
def test_the_worst_margin_is_the_largest_of_all(name, case, rng):
    topology, static = ONE_OF_EACH[name]
    values = random_values(topology, static, case, 32, rng)
    found = evaluate(topology, made(topology, static, values), case)
    assert (found.columns[:, NAMES.index("worst_margin")] == found.margins.max(axis=1)).all()
    assert (found.feasible == (found.margins <= 0.0).all(axis=1)).all()
    assert np.isfinite(found.objectives).all()
