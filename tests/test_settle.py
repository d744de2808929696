"""The power balance closes in one secant step."""

import numpy as np
import pytest
from scipy.optimize import brentq

from models.axes import designs
from models.settle import fixed_point


@pytest.mark.parametrize("slope", [0.02, 0.1, -0.05])
def test_a_straight_loss_is_solved_exactly(slope):
    def loss(x):
        return 4.0 + slope * x

    guess = designs([10.0])
    found = fixed_point(guess, loss(guess), loss(loss(guess)))
    assert found.item() == pytest.approx(4.0 / (1.0 - slope), rel=1e-12)


def test_a_curved_loss_is_solved_to_a_ten_thousandth():
    def loss(x):
        return 3.0 + 1e-4 * (300.0 + x) ** 2

    exact = brentq(lambda x: x - loss(x), 0.0, 100.0)
    guess = designs([16.0])
    found = fixed_point(guess, loss(guess), loss(loss(guess)))
    assert found.item() == pytest.approx(exact, rel=1e-4)


def test_a_guess_that_is_already_right_stays():
    x = designs([5.0])
    assert np.isfinite(fixed_point(x, x, x)).all()
    assert fixed_point(x, x, x).item() == pytest.approx(5.0)
