"""Capacitors wear by voltage and temperature; damage adds over the year."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from models.axes import designs, points
from models.physics import lifetime


def electrolytic(*, t_hot, v=1.0, v_rated=450.0, life=5000.0, t_rated=110.0):
    return lifetime.electrolytic_life(
        designs(life), designs(t_rated),
        t_hot=designs(t_hot), v=designs(v * v_rated), v_rated=designs(v_rated),
    ).item()  # fmt: skip


def film(*, t_hot, v=1.0):
    return lifetime.film_life(
        designs(1e5), designs(85.0),
        t_hot=designs(t_hot), v=designs(v * 500.0), v_rated=designs(500.0),
    ).item()  # fmt: skip


def test_5000_hours_at_105_become_17_years_at_65():
    # 5000 h at 105 + 5 °C, hot spot 65 °C, nine tenths of the rated voltage: arithmetic.
    life = electrolytic(t_hot=65.0, v=0.9)
    assert life == pytest.approx(147231, rel=1e-3)
    assert life / lifetime.HOURS_PER_YEAR == pytest.approx(16.8, rel=2e-3)


def test_ten_kelvin_halve_an_electrolytic():
    assert electrolytic(t_hot=65.0) / electrolytic(t_hot=75.0) == pytest.approx(2.0)


def test_no_longer_life_is_claimed_below_forty_degrees():
    assert electrolytic(t_hot=10.0) == electrolytic(t_hot=40.0) > electrolytic(t_hot=41.0)


def test_spare_voltage_helps_up_to_a_quarter_and_only_high_voltage_cans():
    assert electrolytic(t_hot=65.0, v=0.8) == pytest.approx(electrolytic(t_hot=65.0) * 1.25**2.5)
    assert electrolytic(t_hot=65.0, v=0.0) == electrolytic(t_hot=65.0, v=0.8)
    low = [electrolytic(t_hot=65.0, v=v, v_rated=100.0) for v in (0.5, 1.0)]
    assert low[0] == low[1]


@pytest.mark.published("a DC-link film series, 2017: 100,000 h at 85 °C, 200,000 h at 70 °C")
def test_fifteen_kelvin_halve_a_film_capacitor():
    assert film(t_hot=85.0) == pytest.approx(1e5)
    assert film(t_hot=70.0) == pytest.approx(2e5)


def test_film_life_goes_with_the_seventh_power_of_voltage():
    assert film(t_hot=85.0, v=0.5) == pytest.approx(2**7 * 1e5)


@pytest.mark.parametrize(("k", "printed"), [(0.25, 1.14), (0.45, 1.45)])
def test_swing_wears_film_more_than_its_mean(k, printed):
    exact = quad(lambda x: (1 + k * math.sin(x)) ** 3.5, 0, 2 * math.pi)[0] / (2 * math.pi)
    wear = lifetime.swing_wear(designs(k)).item()
    assert wear == pytest.approx(exact, rel=1e-5)
    assert wear == pytest.approx(printed, rel=5e-3)


def test_swing_to_zero_is_still_within_a_tenth_of_a_permille():
    exact = quad(lambda x: (1 + math.sin(x)) ** 3.5, 0, 2 * math.pi)[0] / (2 * math.pi)
    assert lifetime.swing_wear(designs(1.0)).item() == pytest.approx(exact, rel=1e-4)


def test_equivalent_voltage_is_the_mean_seventh_power():
    v = lifetime.equivalent_voltage(designs(200.0), designs(0.0)).item()
    assert v == pytest.approx(200.0)
    # Energy as a sine between 160 and 240 V.
    mean, half = (240**2 + 160**2) / 2, (240**2 - 160**2) / 2
    power = quad(lambda x: (mean + half * math.sin(x)) ** 3.5, 0, 2 * math.pi)[0]
    v = lifetime.equivalent_voltage(designs(200.0), designs(80.0)).item()
    assert v == pytest.approx((power / (2 * math.pi)) ** (1 / 7), rel=1e-5)


def test_alternating_voltage_wears_by_its_mean_seventh_power():
    power = quad(lambda x: math.sin(x) ** 7, 0, math.pi)[0] / math.pi
    v = lifetime.equivalent_voltage(designs(0.0), designs(2 * 340.0)).item()
    assert v == pytest.approx(340.0 * power ** (1 / 7), rel=1e-3)


# Three bins of 75, 60 and 30 °C and a 5000 h part with a hot spot of 110 °C: arithmetic.
BINS, HOURS = points([75.0, 60.0, 30.0]), points([1500.0, 2500.0, 4760.0])


def test_miner_sum_of_three_bins_without_a_clamp():
    life = 5000.0 * 2.0 ** ((110.0 - BINS) / 10.0)
    years = lifetime.miner_life(life, HOURS).item() / lifetime.HOURS_PER_YEAR
    assert years == pytest.approx(21.805, rel=1e-4)


def test_miner_sum_of_three_bins_claims_nothing_below_forty_degrees():
    life = lifetime.electrolytic_life(
        designs(5000.0), designs(110.0),
        t_hot=BINS, v=designs(100.0), v_rated=designs(100.0),
    )  # fmt: skip
    years = lifetime.miner_life(life, HOURS).item() / lifetime.HOURS_PER_YEAR
    assert years == pytest.approx(20.17, rel=1e-3)


def test_normally_distributed_temperature_ages_like_a_hotter_constant_one():
    # Mean 40 °C, deviation 12 K: as 40 + σ²·ln 2/20 = 44.99 °C, without the clamp.
    t = np.linspace(-20.0, 100.0, 2001)
    share = np.exp(-0.5 * ((t - 40.0) / 12.0) ** 2)
    hours = points(8760.0 * share / share.sum())
    life = lifetime.miner_life(1e5 * 2.0 ** (-points(t) / 10.0), hours).item()
    assert -10.0 * math.log2(life / 1e5) == pytest.approx(44.9907, rel=1e-5)


def test_conditions_without_hours_do_not_count():
    life = points([1e5, 1.0, 2e5])
    hours = points([8000.0, 0.0, 760.0])
    both = lifetime.miner_life(life, hours).item()
    assert both == pytest.approx(8760 / (8000 / 1e5 + 760 / 2e5))


def test_life_stays_finite_without_hours_and_past_any_limit():
    assert lifetime.miner_life(designs(1e5), points([0.0])).item() == lifetime.LIFE_MAX
    for t_hot in (-60.0, 1e4):
        for v in (0.0, 1e3):
            assert math.isfinite(film(t_hot=t_hot, v=v))
            assert 0 < electrolytic(t_hot=t_hot, v=v) < math.inf
