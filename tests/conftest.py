"""Fixtures shared by all tests."""

import optimizer  # noqa: F401, I001 - sets one thread for linear algebra, before numpy

import numpy as np
import pytest


@pytest.fixture(autouse=True)
def _floating_point_errors_raise():
    with np.errstate(all="raise", under="ignore"):
        yield


@pytest.fixture
def rng():
    """A generator with a fixed seed."""
    return np.random.default_rng(20261)
