"""Moments of straight lines against quadrature."""

import numpy as np
import pytest
from scipy.integrate import quad

from models.axes import designs
from models.physics.waveform import ramp_product, ramp_square, segment_square


def line(a: float, b: float, x: float) -> float:
    return a + (b - a) * x


def test_mean_square_of_a_ramp_is_its_integral(rng: np.random.Generator) -> None:
    for a, b in rng.normal(size=(20, 2)):
        exact = quad(lambda x, a=a, b=b: line(a, b, x) ** 2, 0.0, 1.0)[0]
        assert ramp_square(designs(a), designs(b)).item() == pytest.approx(exact, rel=1e-12)


def test_middle_and_half_rise_tell_the_same_ramp(rng: np.random.Generator) -> None:
    a, b = designs(rng.normal(size=30)), designs(rng.normal(size=30))
    assert segment_square(0.5 * (a + b), 0.5 * (b - a)) == pytest.approx(
        ramp_square(a, b), rel=1e-12
    )


def test_mean_product_of_two_ramps_is_its_integral(rng: np.random.Generator) -> None:
    for a, b, c, d in rng.normal(size=(20, 4)):
        exact = quad(lambda x, a=a, b=b, c=c, d=d: line(a, b, x) * line(c, d, x), 0.0, 1.0)[0]
        ours = ramp_product(designs(a), designs(b), designs(c), designs(d)).item()
        assert ours == pytest.approx(exact, rel=1e-11, abs=1e-12)
