"""The swing of a capacitor that takes the pulsating power."""

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from models.axes import angles, designs, line_mean, line_rms
from models.physics.buffer import (
    least_voltage,
    mean_voltage,
    rejected_voltage,
    ripple_current,
    swing_ratio,
    swing_ratio_max,
    swing_voltage,
)

OMEGA = designs(2.0 * math.pi * 50.0)


def extremes(s_p, c, v_rms, omega=OMEGA):
    k = swing_ratio(designs(s_p), omega, designs(c), designs(v_rms)).item()
    return v_rms * math.sqrt(max(1.0 - k, 0.0)), v_rms * math.sqrt(1.0 + k)


@pytest.mark.published("Kjaer, Pedersen and Blaabjerg, IEEE Trans. Ind. Appl. 41(5), 2005")
@pytest.mark.parametrize(("c", "v", "amplitude"), [(2.4e-3, 35.0, 3.0), (33e-6, 380.0, 20.0)])
def test_small_ripple_needs_the_printed_capacitance(c, v, amplitude):
    low, high = extremes(160.0, c, math.hypot(v, amplitude / math.sqrt(2.0)))
    # Both capacitances are printed with two digits.
    assert (high - low) / 2.0 == pytest.approx(amplitude, rel=0.02)


@pytest.mark.published("Krein, Balog and Mirjafari, IEEE Trans. Power Electron. 27(11), 2012")
def test_least_capacitance_empties_within_the_cycle():
    power, v_max, omega = 2e3, 400.0, designs(2.0 * math.pi * 60.0)
    c = 2.0 * power / (omega.item() * v_max**2)
    low, high = extremes(power, c, v_max / math.sqrt(2.0), omega)
    assert c == pytest.approx(66e-6, rel=0.01)
    assert 0.5 * c * v_max**2 == pytest.approx(5.3, rel=0.01)
    assert high == pytest.approx(v_max, rel=1e-9)
    assert low**2 / high**2 < 1e-9


@pytest.mark.parametrize(("c", "v_0", "s_p"), [(60e-6, 205.0, 300.0), (20e-6, 420.0, 312.0)])
def test_voltage_solves_the_differential_equation(c, v_0, s_p):
    omega = OMEGA.item()
    k = swing_ratio(designs(s_p), OMEGA, designs(c), designs(v_0))
    theta = angles(64, math.pi)
    v = swing_voltage(designs(v_0), k * np.sin(2.0 * theta))[0, 0]
    found = solve_ivp(
        lambda t, y: s_p * np.cos(2.0 * omega * t) / (c * y),
        (0.0, math.pi / omega),
        [v_0],
        t_eval=theta[0, 0] / omega,
        rtol=1e-9,
        atol=1e-9,
    )
    np.testing.assert_allclose(v, found.y[0], rtol=1e-6)


@pytest.mark.parametrize(("k", "tolerance"), [(0.3, 8e-6), (0.6, 1e-3), (0.9, 8e-3)])
def test_mean_voltage_follows_the_integral(k, tolerance):
    exact = quad(lambda x: math.sqrt(1.0 + k * math.sin(x)), 0.0, 2.0 * math.pi)[0]
    mean = mean_voltage(designs(200.0), designs(k)).item()
    assert mean == pytest.approx(200.0 * exact / (2.0 * math.pi), rel=tolerance)


@pytest.mark.parametrize("k", [0.05, 0.25, 0.6])
def test_ripple_current_is_the_rms_of_power_over_voltage(k):
    theta = angles(256)
    v = swing_voltage(designs(200.0), designs(k) * np.sin(2.0 * theta))
    rms = line_rms(300.0 * np.cos(2.0 * theta) / v).item()
    assert ripple_current(designs(300.0), designs(200.0), designs(k)).item() == pytest.approx(
        rms, rel=1e-9
    )
    assert line_mean(v * v).item() == pytest.approx(200.0**2, rel=1e-12)


CASES = [  # V₀, V_pk, m_max, φ, k_max computed here by brute force over the angle
    (190.0, 165.0, 0.98, 0.0),
    (400.0, 325.0, 0.97, 0.0),
    (400.0, 325.0, 0.97, math.acos(0.8)),
    (400.0, 340.0, 0.97, -math.acos(0.8)),
]


@pytest.mark.parametrize(("v_0", "v_peak", "m_max", "phi"), CASES)
def test_largest_swing_just_covers_the_grid(v_0, v_peak, m_max, phi):
    theta = np.linspace(0.0, 2.0 * math.pi, 20001)

    def room(k):
        link = m_max**2 * v_0**2 * (1.0 + k * np.sin(2.0 * theta - phi))
        return float(np.min(link - (v_peak * np.sin(theta)) ** 2))

    args = (designs(v_peak), designs(m_max))
    k_max = swing_ratio_max(designs(v_0), *args, designs(math.sin(phi))).item()
    assert k_max == pytest.approx(brentq(room, 1e-6, 1.2), rel=1e-4)


@pytest.mark.parametrize(("v_0", "v_peak", "m_max", "phi"), CASES)
def test_least_voltage_is_where_the_swing_is_the_largest(v_0, v_peak, m_max, phi):
    sine, m = designs(math.sin(phi)), designs(m_max)
    k_max = swing_ratio_max(designs(v_0), designs(v_peak), m, sine)
    least = least_voltage(designs(v_peak), m, k_max * v_0**2, sine)
    assert least.item() == pytest.approx(v_0, rel=1e-9)


def test_a_cut_off_link_keeps_the_energy():
    v = rejected_voltage(designs(420.0), designs(300.0), 2e-3, designs(22e-6)).item()
    assert 0.5 * 22e-6 * (v**2 - 420.0**2) == pytest.approx(0.6, rel=1e-9)
