"""Quantities read as engineers write them."""

import doctest

import pytest

from optimizer import quantities
from optimizer.quantities import quantity, significant


def test_the_examples_in_the_docstrings_hold():
    assert doctest.testmod(quantities).failed == 0


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (3.35e-5, "F", "33.5 µF"),
        (0.0996, "Ω", "99.6 mΩ"),
        (999.96, "Hz", "1000 Hz"),
        (1e5, "Hz", "100 kHz"),
        (0.03, "m", "30 mm"),
        (0.0, "A", "0 A"),
        (-2.5e-9, "s", "-2.5 ns"),
        ("litz", "", "litz"),
        (float("nan"), "V", "–"),
        (25.4, "years", "25 years"),
        (175_200.0, "h", "20 years"),
        (999.0, "years", "> 99 years"),
    ],
)
def test_a_quantity_has_a_prefix_and_three_figures(value, unit, text):
    assert quantity(value, unit) == text


def test_trailing_zeros_before_the_point_stay():
    assert significant(1200.0) == "1200"
