"""Laws of the books."""

import numpy as np
import pytest

from models.axes import designs
from models.errors import ModelError
from models.ledger import Kind, at_least, at_most, booking, joined

WATTS = designs([1.0, 2.0])


def test_bookings_add_up():
    books = booking("a.x", Kind.LOSS, WATTS, "x") + booking("b.x", Kind.LOSS, WATTS, "x")
    assert books.total(Kind.LOSS).ravel().tolist() == [2.0, 4.0]


def test_a_path_booked_twice_is_refused_but_kinds_are_apart():
    once = booking("a", Kind.LOSS, WATTS, "x")
    joined(once, booking("a", Kind.COST, WATTS, "x"))
    with pytest.raises(ModelError, match="a is booked twice as LOSS"):
        joined(once, once)


def test_a_value_that_lost_an_axis_is_refused():
    with pytest.raises(ModelError, match="three axes"):
        booking("a", Kind.LOSS, np.ones(3), "x")


def test_margins_are_the_relative_excess_and_feasible_at_or_below_zero():
    high = at_most("t", designs([110.0]), designs([100.0]), "°C", "t").entries[0]
    low = at_least("l", designs([20.0]), designs([25.0]), "years", "l").entries[0]
    assert high.value.item() == pytest.approx(0.1)
    assert low.value.item() == pytest.approx(0.2)
    assert (high.sense, low.sense) == ("<=", ">=")
