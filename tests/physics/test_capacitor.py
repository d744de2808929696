"""Capacitors have the size, resistance and bias behaviour of their kind."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from models.axes import designs, points
from models.physics import capacitor


@pytest.mark.published("IEC 60063: E24, from which E12, E6 and E3 are taken")
def test_preferred_values_are_those_of_the_standard():
    assert capacitor.E12 == (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
    assert capacitor.E6 == (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
    assert capacitor.E3 == (1.0, 2.2, 4.7)
    rounded = [round(10 ** (i / 24), 1) for i in range(24)]
    odd = [v for v, r in zip(capacitor.E24, rounded, strict=True) if v != r]
    assert odd == [2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 8.2]


@pytest.mark.published("data sheet of a DC-link film series, 2022: 5 µF, 500 V, 11 × 21 × 31.5 mm")
def test_film_box_of_five_microfarads_at_500_volts():
    volume = capacitor.film_volume(designs(5e-6), designs(500.0)).item()
    assert volume == pytest.approx(11e-3 * 21e-3 * 31.5e-3, rel=0.05)


def test_film_rated_for_alternating_voltage_takes_twice_the_room():
    plain = capacitor.film_volume(designs(5e-6), designs(500.0)).item()
    rated = capacitor.film_volume(designs(5e-6), designs(500.0), designs(1.0)).item()
    assert rated == pytest.approx(2 * plain)


def test_film_stores_less_below_450_volts():
    def density(v):
        return 0.5 * 1e-6 * v**2 / capacitor.film_volume(designs(1e-6), designs(v)).item()

    assert density(500.0) == pytest.approx(0.086e6)
    assert density(900.0) == pytest.approx(0.086e6 * 1.8**0.3)
    assert density(112.5) / density(450.0) == pytest.approx(0.25**0.8)


@pytest.mark.parametrize(("v", "joule"), [(450.0, 0.80), (63.0, 0.34)])
def test_electrolytic_energy_per_cubic_centimetre(v, joule):
    volume = capacitor.electrolytic_volume(designs(470e-6), designs(v)).item() - 0.3e-6
    assert 0.5 * 470e-6 * v**2 / volume == pytest.approx(joule * 1e6, rel=0.02)


@pytest.mark.published("data sheet of a DC-link film series, 2022: 10.8 and 6.3 mΩ near 10 kHz")
@pytest.mark.parametrize(
    ("c", "r_series", "esr"), [(5e-6, 9.2e-3, 10.8e-3), (50e-6, 6.1e-3, 6.3e-3)]
)
def test_film_resistance_is_metal_and_dielectric(c, r_series, esr):
    found = capacitor.film_resistance(designs(r_series), designs(c), designs(1e4)).item()
    assert found == pytest.approx(esr, rel=0.02)


@pytest.mark.published("data sheet of a 450 V electrolytic series, 2008: ripple multipliers")
def test_electrolytic_resistance_falls_with_frequency_as_printed():
    f = points([20.0, 50.0, 120.0, 1e3, 1e4, 2e4, 1e5])
    share = 1.0 / capacitor.frequency_multiplier(f)[0, :, 0] ** 2
    np.testing.assert_allclose(share, [1.235, 1.235, 1.0, 0.694, 0.444, 0.416, 0.416], rtol=2e-3)


@pytest.mark.published("data sheet of a 450 V electrolytic series, 2008: temperature multipliers")
def test_cool_air_lets_more_ripple_pass_as_printed():
    t = points([20.0, 40.0, 55.0, 70.0, 85.0, 105.0, 130.0])
    np.testing.assert_allclose(
        capacitor.air_multiplier(t)[0, :, 0], [2.7, 2.7, 2.5, 2.1, 1.7, 1.0, 1.0]
    )


def test_two_frequencies_heat_by_their_weighted_squares():
    # 0.8 A at 100 Hz and 1 A at 20 kHz, by the multipliers above: arithmetic.
    assert capacitor.frequency_multiplier(designs(100.0)).item() == pytest.approx(0.979, rel=1e-3)
    i = capacitor.equivalent_ripple(
        designs(0.8), designs(100.0), i_hf=designs(1.0), f_hf=designs(2e4)
    ).item()
    assert i == pytest.approx(1.0410, rel=5e-3)
    assert (0.8 / 0.979 / i) ** 2 == pytest.approx(0.62, rel=0.01)


@pytest.mark.published("data sheet of a 450 V electrolytic series, 2008: tan δ at most 0.20")
def test_electrolytic_resistance_of_the_data_sheet_limit():
    typical = capacitor.electrolytic_resistance(designs(100e-6), designs(0.20)).item()
    assert typical / capacitor.TYPICAL_ESR == pytest.approx(2.65, rel=2e-3)


def test_cold_electrolytics_resist_more():
    t = points([-25.0, 20.0, 105.0])
    np.testing.assert_allclose(
        capacitor.warm_share(t)[0, :, 0],
        0.45 + 0.55 * np.exp(np.array([45.0, 0.0, -85.0]) / 25.0),
    )


def test_class_two_ceramic_at_its_rated_voltage():
    # Computed here independently by quadrature; 0.218, 0.522, 0.385 of the nominal value.
    half = capacitor.CERAMIC_HALF
    charge = quad(lambda v: 1 / (1 + (v / half) ** 1.6), 0, 1)[0]
    energy = 2 * quad(lambda v: v / (1 + (v / half) ** 1.6), 0, 1)[0]
    found = [
        share(designs(1.0), designs(half)).item()
        for share in (capacitor.bias_share, capacitor.charge_share, capacitor.energy_share)
    ]
    assert found == pytest.approx([0.218, 0.522, 0.385], rel=1.5e-3)
    assert found[1:] == pytest.approx([charge, energy], rel=1e-3)


def test_ceramic_keeps_its_value_without_bias_and_ignores_the_sign():
    half = designs(45.0)
    assert capacitor.bias_share(designs(0.0), half).item() == 1.0
    assert capacitor.bias_share(designs(45.0), half).item() == pytest.approx(0.5)
    both = [capacitor.bias_share(designs(v), half).item() for v in (-30.0, 30.0)]
    assert both[0] == both[1]


def test_laws_stay_finite_far_outside_their_range():
    wild = points([-1e4, 0.0, 1e6])
    for law in (capacitor.frequency_multiplier, capacitor.air_multiplier, capacitor.warm_share):
        assert np.isfinite(law(wild)).all()
    assert math.isfinite(capacitor.bias_share(designs(1e6), designs(1.0)).item())
