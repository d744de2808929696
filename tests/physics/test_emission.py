"""Attenuation that the mains limit wants, and that a ladder gives."""

import math

import numpy as np
import pytest

from models.axes import designs
from models.physics.emission import (
    COMMON,
    DIFFERENTIAL,
    Section,
    attenuation,
    limit,
    need,
    order_in_band,
    transfer,
)


@pytest.mark.published("CISPR 11, group 1, class B, quasi-peak, mains port (from memory)")
@pytest.mark.parametrize(
    ("f", "level"), [(150e3, 66.0), (200e3, 63.61), (300e3, 60.24), (500e3, 56.0)]
)
def test_limit_falls_linearly_in_the_logarithm(f, level):
    assert limit(designs(f)).item() == pytest.approx(level, rel=2e-4)


@pytest.mark.parametrize(
    ("f", "order", "level"),
    [(50e3, 3, 59.8), (100e3, 2, 69.2), (140e3, 2, 72.0), (200e3, 1, 85.4), (400e3, 1, 91.2)],
)
def test_need_follows_the_first_harmonic_in_band(f, order, level):
    # A triangle of 1 A peak to peak that rises 40 % of the time, levels computed here.
    assert order_in_band(designs(f)).item() == order
    amplitude = math.sin(0.4 * math.pi * order) / (math.pi**2 * order**2 * 0.4 * 0.6)
    i = designs(abs(amplitude) / math.sqrt(2.0))
    assert need(designs(order * f), i, DIFFERENTIAL).item() == pytest.approx(level, rel=2e-3)


def test_common_mode_current_splits_over_both_networks():
    both = need(designs(150e3), designs(1e-3), COMMON).item()
    one = need(designs(150e3), designs(0.5e-3), DIFFERENTIAL).item()
    assert both == pytest.approx(one, rel=1e-12)


@pytest.mark.parametrize(("f", "level"), [(150e3, 40.1), (200e3, 44.7)])
def test_one_section_gives_the_known_attenuation(f, level):
    section = Section(designs(0.47e-6), designs(220e-6))
    assert attenuation(designs(f), (section,), DIFFERENTIAL).item() == pytest.approx(
        level, rel=2e-3
    )


@pytest.mark.parametrize("f", [150e3, 420e3])
def test_ladder_equals_a_solved_network(f):
    sections = (
        Section(designs(0.68e-6), designs(100e-6), designs(3.74)),
        Section(designs(0.1e-6), designs(30e-6)),
    )
    s = 2j * math.pi * f
    y_1 = 1.0 / (3.74 + 1.0 / (s * 0.68e-6))
    y_2, z_1, z_2 = s * 0.1e-6, s * 100e-6, s * 30e-6 + DIFFERENTIAL
    matrix = np.array([[y_1 + 1.0 / z_1, -1.0 / z_1], [-1.0 / z_1, y_2 + 1.0 / z_1 + 1.0 / z_2]])
    out = np.linalg.solve(matrix, np.array([1.0, 0.0]))[1] / z_2
    db = attenuation(designs(f), sections, DIFFERENTIAL).item()
    assert db == pytest.approx(-20.0 * math.log10(abs(out)), rel=1e-9)


def test_no_noise_needs_no_filter():
    assert need(designs(150e3), designs(0.0), DIFFERENTIAL).item() < 0.0


def test_transfer_of_a_capacitor_and_choke_is_that_of_the_series_circuit():
    # 1 nF, 2 mH and 25 Ω at 150 kHz: X_C = 1061.0 Ω, X_L = 1885.0 Ω, |Z| = 824.3 Ω.
    f, c = np.array([150e3]), np.array([1e-9])
    choke = Section(np.array([0.0]), np.array([2e-3]))
    assert transfer(f, c, (choke,), COMMON)[0] == pytest.approx(np.hypot(25.0, 823.9), rel=1e-3)


def test_transfer_behind_a_small_capacitance_is_its_reactance_times_the_attenuation():
    f, c = np.array([200e3]), np.array([1e-15])
    ladder = (Section(np.array([4.7e-9]), np.array([3e-3])),)
    x = 1.0 / (2.0 * np.pi * f * c)
    gain = 10.0 ** (attenuation(f, ladder, COMMON) / 20.0)
    assert transfer(f, c, ladder, COMMON)[0] == pytest.approx((x * gain)[0], rel=1e-4)
