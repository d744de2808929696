"""Junction temperature against root finding and data sheets."""

import pytest
from scipy.optimize import brentq

from models.axes import designs
from models.physics.junction import (
    die_thermal_resistance,
    diode_temperature,
    junction_temperature,
    pad_thermal_resistance,
)


def settled(i, *, p_fixed=1.5, p_recovery=0.0, t_case=80.0, t_max=175.0):
    return junction_temperature(
        designs(t_case),
        designs(6.0),
        p_fixed=designs(p_fixed),
        p_recovery=designs(p_recovery),
        p_conduction=designs(0.05 * i**2),
        exponent=designs(2.5),
        t_max=designs(t_max),
    ).item()


@pytest.mark.published("data sheets of a 60 and a 15 mΩ silicon-carbide transistor, 2020")
def test_thermal_resistance_falls_with_the_die():
    r_th = die_thermal_resistance(designs(1.00), designs(15e-3), designs(60e-3))
    assert r_th.item() == pytest.approx(0.361, rel=0.01)


def test_pad_is_a_slab():
    # 0.5 mm of 3 W/(m·K) under 1.5 × 64 mm²
    assert pad_thermal_resistance(designs(64e-6)).item() == pytest.approx(1.736, rel=1e-3)


# Computed here independently by root finding, and by the bracketing solver below.
@pytest.mark.parametrize(("i", "t"), [(6.0, 109.1005), (9.0, None), (10.5, None)])
def test_junction_temperature_balances_loss_and_heat(i, t):
    exact = brentq(
        lambda u: 80 + 6 * (1.5 + 0.05 * i**2 * ((u + 273.15) / 298.15) ** 2.5) - u, 80, 250
    )
    assert settled(i) == pytest.approx(exact, rel=1e-5 if i < 10 else 2e-3)
    if t:
        assert settled(i) == pytest.approx(t, rel=1e-5)


def test_recovery_grows_with_temperature():
    exact = brentq(
        lambda u: (
            80
            + 6 * (1.5 + 0.8 * (1 + 0.005 * (u - 25)) + 1.8 * ((u + 273.15) / 298.15) ** 2.5)
            - u
        ),
        80,
        250,
    )
    assert settled(6.0, p_recovery=0.8) == pytest.approx(exact, rel=1e-5)


# Runaway current computed here independently by root finding: 11.748 A.
@pytest.mark.parametrize("i", [11.8, 12.0, 20.0, 1000.0])
def test_past_runaway_the_temperature_is_finite_and_above_the_limit(i):
    assert 175.0 < settled(i) <= 275.0


def test_cold_case_without_loss_stays_cold():
    assert settled(0.0, p_fixed=0.0, t_case=-30.0) == pytest.approx(-30.0, rel=1e-12)


def test_diode_temperature_solves_the_straight_balance():
    t = diode_temperature(
        designs(90.0), designs(4.0), p_25=designs(3.0), slope=designs(-0.004), t_max=designs(175.0)
    ).item()
    assert t == pytest.approx(90.0 + 4.0 * (3.0 - 0.004 * (t - 25.0)), rel=1e-12)


def test_diode_past_runaway_ends_above_its_limit():
    t = diode_temperature(
        designs(90.0), designs(40.0), p_25=designs(30.0), slope=designs(0.1), t_max=designs(175.0)
    )
    assert t.item() == pytest.approx(275.0)
