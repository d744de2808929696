"""Laws that every listed topology and structure must obey."""

import numpy as np
import pytest

from models.evaluate import evaluate
from models.ledger import Kind
from models.results import NAMES
from models.variables import variables
from tests.conformance.designs import candidates, demo_case, made, name_of, random_values

CANDIDATES = candidates()


@pytest.fixture(scope="module")
def case():
    return demo_case()


@pytest.fixture(params=CANDIDATES, ids=name_of)
def candidate(request):
    return request.param


def test_every_design_of_the_box_and_of_its_corners_is_finite(candidate, case, rng):
    topology, static = candidate
    for corners in (False, True):
        values = random_values(topology, static, case, 64, rng, corners)
        found = evaluate(topology, made(topology, static, values), case)
        assert np.isfinite(found.columns).all()
        assert np.isfinite(found.margins).all()


def test_the_books_sum_to_the_heat_and_no_loss_is_negative(candidate, case, rng):
    topology, static = candidate
    values = random_values(topology, static, case, 32, rng)
    found = evaluate(topology, made(topology, static, values), case)
    heat = found.settled.heat
    total = sum(e.value + 0.0 * heat for e in found.ledger.of(Kind.LOSS))
    assert total == pytest.approx(heat, rel=1e-12)
    for entry in found.ledger.of(Kind.LOSS):
        assert (entry.value >= 0.0).all(), entry.path


def test_a_design_alone_has_the_numbers_it_has_in_a_batch(candidate, case, rng):
    topology, static = candidate
    values = random_values(topology, static, case, 16, rng)
    batch = evaluate(topology, made(topology, static, values), case)
    for i in (0, 7, 15):
        one = {k: v[i : i + 1] for k, v in values.items()}
        alone = evaluate(topology, made(topology, static, one), case)
        assert alone.columns[0] == pytest.approx(batch.columns[i], rel=1e-9)
        assert alone.margins[0] == pytest.approx(batch.margins[i], rel=1e-9, abs=1e-12)


def test_inputs_are_not_changed(candidate, case, rng):
    topology, static = candidate
    values = random_values(topology, static, case, 8, rng)
    before = {k: v.copy() for k, v in values.items()}
    for v in values.values():
        v.setflags(write=False)
    evaluate(topology, made(topology, static, values), case)
    for k, v in before.items():
        assert (values[k] == v).all()


def test_margins_have_unique_names_units_and_meanings(candidate, case, rng):
    topology, static = candidate
    values = random_values(topology, static, case, 4, rng)
    found = evaluate(topology, made(topology, static, values), case)
    assert len(set(found.margin_names)) == len(found.margin_names)
    for entry in found.ledger.of(Kind.LIMIT):
        assert entry.meaning
        assert entry.sense in ("<=", ">=")
    assert found.columns.shape == (4, len(NAMES))


def test_every_variable_matters(candidate, case, rng):
    """Moving a gene changes something booked for some design of a random batch."""
    topology, static = candidate
    values = random_values(topology, static, case, 64, rng)
    base = evaluate(topology, made(topology, static, values), case)
    idle = []
    for v in variables(topology.design, case.catalogue.names(), static=static):
        other = random_values(topology, static, case, 64, rng)[v.field]
        moved = evaluate(topology, made(topology, static, {**values, v.field: other}), case)
        same = (moved.columns == base.columns).all() and (moved.margins == base.margins).all()
        idle += [v.path] if same else []
    assert not idle, f"these variables change nothing: {idle}"
