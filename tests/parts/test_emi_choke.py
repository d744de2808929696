"""Bought parts of the filter: mains choke and damping resistor."""

import math

import numpy as np
import pytest

from models.axes import designs
from models.ledger import Kind
from models.parts import emi_choke, resistor
from tests.stages.grid_cases import Point, make_case, row

CASE = make_case(Point())


def choke(current, count=1):
    design = emi_choke.Design(row=row("emi_chokes", "ring 2.2 mH 2 A"))
    return emi_choke.place("x", design, designs(current), CASE, count=designs(float(count)))


def test_rated_current_heats_by_fifty_kelvin():
    part = choke(2.0)
    assert part.temperature(designs(60.0), designs(0.0)).item() == pytest.approx(110.0, rel=1e-9)
    half = choke(1.0).temperature(designs(60.0), designs(0.0)).item()
    assert half == pytest.approx(60.0 + 50.0 / 4.0, rel=1e-9)
    entry = part.book(designs(60.0), CASE).find("x.current", Kind.LIMIT)
    assert entry.value.item() == pytest.approx(0.0, abs=1e-12)


def test_losses_of_chokes_in_a_row_add():
    hot = designs(80.0)
    one, two = choke(1.0).loss(hot).item(), choke(1.0, count=2).loss(hot).item()
    assert one == pytest.approx(0.110 * (1.0 + 0.00393 * 60.0), rel=1e-9)
    assert two == pytest.approx(2.0 * one, rel=1e-12)


def test_inductances_come_from_the_row():
    common, leakage = emi_choke.inductances(choke(1.0).design, CASE)
    assert (common.item(), leakage.item()) == pytest.approx((2.2e-3, 20e-6), rel=1e-9)


E12 = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2]


@pytest.mark.published("IEC 60063, E12 series (from memory)")
def test_resistors_snap_to_the_nearest_of_the_series(rng):
    values = 10.0 ** rng.uniform(-1.0, 3.0, 200)
    snapped = resistor.preferred(designs(values))[:, 0, 0]
    series = np.array([v * 10.0**d for d in range(-2, 4) for v in E12])
    distance = np.abs(np.log(series[None, :] / values[:, None]))
    np.testing.assert_allclose(snapped, series[np.argmin(distance, axis=1)], rtol=1e-12)


def test_a_resistor_past_its_rating_breaks_its_limit():
    part = resistor.place("r", designs(4.7), designs(1.0))
    t = part.temperature(designs(70.0), designs(0.0))
    assert t.item() == pytest.approx(70.0 + 55.0 * 4.7, rel=1e-9)
    assert part.book(t, CASE).find("r.temperature", Kind.LIMIT).value.item() > 0.0
    rated = resistor.place("r", designs(4.7), designs(math.sqrt(3.0 / 4.7)))
    assert rated.temperature(designs(70.0), designs(0.0)).item() == pytest.approx(235.0, rel=1e-9)
