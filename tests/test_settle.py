"""Power, heat and temperatures balance after two evaluations of the front."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest

from models.axes import Array, designs, points
from models.ledger import Kind, Ledger, booking
from models.parts import enclosure
from models.parts.part import Anchor
from models.settle import settle
from models.stages.stage import Placed

P_AC = points([15.0, 75.0, 150.0, 300.0])
CASE = SimpleNamespace(
    points=SimpleNamespace(
        p_ac=P_AC,
        irradiance=points([50.0, 250.0, 500.0, 1000.0]),
        t_air=points([20.0, 25.0, 40.0, 60.0]),
        t_module=points([22.0, 30.0, 48.0, 75.0]),
        thermal=points([1.0] * 4),
    ),
    spec=SimpleNamespace(
        roof=SimpleNamespace(
            touch_limit_c=90.0, cable_limit_c=95.0, emissivity=0.85, module_side=True
        ),
        limits=SimpleNamespace(height_max_mm=None),
    ),
)
BOX = enclosure.Design(
    length=designs(0.2),
    width=designs(0.18),
    height=designs(0.035),
    wall=designs(0.002),
    potting=designs(1).astype(int),
)


@dataclasses.dataclass(frozen=True)
class Heater:
    """A part with a loss that grows by half a percent a kelvin."""

    path: str
    watts: Array  # at 25 °C
    anchor: Anchor = Anchor.INSIDE

    def temperature(self, t_anchor, potted):
        return t_anchor + 0.5 * self.watts

    def loss(self, t):
        return self.watts * (1.0 + 0.005 * (t - 25.0))

    def book(self, t, case):
        return booking(f"{self.path}.copper", Kind.LOSS, self.loss(t), "heat") + booking(
            self.path, Kind.TEMPERATURE, t, "heater"
        )

    def items(self, t, case):
        return ()


def front_of(fixed, share, square):
    """A front that loses fixed + share·p + square·p²/300 W at 25 °C."""

    def front(p):
        return Placed((Heater("front", fixed + share * p + square * p * p / 300.0),), Ledger())

    return front


def truth(behind, front):
    """Heat by plain iteration of power, temperatures and air until nothing moves."""
    heat = 0.05 * P_AC + 1.0
    for _ in range(60):
        surface = enclosure.surface_temperature(BOX, heat, CASE)
        inside = enclosure.inside_temperature(BOX, surface, heat)
        parts = (behind + front(P_AC + heat)).parts
        heat = sum(p.loss(p.temperature(inside, 1.0)) for p in parts)
    return heat


# Fixed, straight and square losses of converters of 90 to 97 % at full power.
FRONTS = [
    (1.5, 0.01, 0.02),
    (0.7, 0.02, 0.01),
    (1.5, 0.0, 0.03),
    (1.0, 0.04, 0.0),
    (1.5, 0.0, 0.0),
]


@pytest.mark.parametrize("behind", [0.0, 0.02])
@pytest.mark.parametrize("law", FRONTS)
def test_two_evaluations_find_the_heat_and_the_power_within_a_thousandth(law, behind):
    stages = Placed((Heater("behind", behind * P_AC + 0.1),), Ledger())
    found = settle(stages, front_of(*law), BOX, CASE)
    exact = truth(stages, front_of(*law))
    assert found.heat == pytest.approx(exact, rel=1e-3)
    assert found.p_module == pytest.approx(P_AC + found.heat, rel=1e-3)
    assert (found.residual < 1e-3).all()


def test_the_residual_is_not_below_the_error_it_stands_for():
    """A front far from the guess leaves an error, and the figure says how much."""
    stages = Placed((Heater("behind", 0.1 + 0.0 * P_AC),), Ledger())
    law = (1.0, 0.0, 0.08)
    found = settle(stages, front_of(*law), BOX, CASE)
    error = np.abs(found.heat / truth(stages, front_of(*law)) - 1.0)
    assert error.max() > 1e-3
    assert (found.residual > 0.7 * error - 2e-4).all()
    entry = found.books.find("balance.residual", Kind.FIGURE)
    assert (entry.value == found.residual).all()


def test_the_front_is_evaluated_twice():
    seen = []

    def front(p):
        seen.append(p)
        return front_of(1.0, 0.02, 0.01)(p)

    settle(Placed((Heater("behind", 0.1 + 0.0 * P_AC),), Ledger()), front, BOX, CASE)
    assert len(seen) == 2


def test_the_books_hold_the_heat_and_the_temperatures_of_the_end():
    stages = Placed((Heater("behind", 0.02 * P_AC + 0.1),), Ledger())
    found = settle(stages, front_of(1.0, 0.02, 0.01), BOX, CASE)
    assert found.books.total(Kind.LOSS) == pytest.approx(found.heat, rel=1e-12)
    assert found.t_surface == pytest.approx(
        enclosure.surface_temperature(BOX, found.heat, CASE), rel=1e-3
    )
