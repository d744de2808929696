"""Phasors, pulsating power, filter, distortion and leakage."""

import math

import numpy as np
import pytest

from models.axes import angles, designs, line_mean
from models.physics.grid import (
    base_capacitance,
    bridge_phasors,
    current_loop,
    damping_resistance,
    distortion_current,
    ground_current,
    lcl_admittance,
    line_harmonics,
    pulsation,
    resonance,
)

OMEGA = 2.0 * math.pi * 60.0


def phasors(power=300.0, factor=1.0, v=120.0):
    return bridge_phasors(
        designs(v),
        designs(power),
        designs(factor),
        omega=designs(OMEGA),
        l_bridge=designs(600e-6),
        c=designs(0.68e-6),
        l_grid=designs(100e-6),
    )


@pytest.mark.parametrize("factor", [1.0, 0.9, -0.9])
def test_phasors_equal_complex_nodal_analysis(factor):
    x = phasors(factor=factor)
    phi = math.copysign(math.acos(abs(factor)), factor)
    grid = 300.0 / 120.0 / abs(factor) * np.exp(-1j * phi)
    middle = 120.0 + 1j * OMEGA * 100e-6 * grid
    bridge = grid + 1j * OMEGA * 0.68e-6 * middle
    voltage = middle + 1j * OMEGA * 600e-6 * bridge
    assert x.u_re.item() + 1j * x.u_im.item() == pytest.approx(voltage, rel=1e-12)
    assert x.i_re.item() + 1j * x.i_im.item() == pytest.approx(bridge, rel=1e-12)
    assert x.v_filter.item() == pytest.approx(abs(middle), rel=1e-12)
    assert x.i_grid.item() == pytest.approx(abs(grid), rel=1e-12)
    power = pulsation(x)
    assert power.p.item() == pytest.approx(300.0, rel=1e-12)
    lag = np.angle(voltage) - np.angle(bridge)
    assert power.sin_phi.item() == pytest.approx(math.sin(lag), rel=1e-9)


@pytest.mark.parametrize("factor", [1.0, 0.9, -0.9])
def test_power_is_the_product_of_voltage_and_current(factor):
    x, theta = phasors(factor=factor), angles(64)
    u = math.sqrt(2.0) * (x.u_re * np.sin(theta) + x.u_im * np.cos(theta))
    i = math.sqrt(2.0) * (x.i_re * np.sin(theta) + x.i_im * np.cos(theta))
    p = pulsation(x)
    wave = p.p - p.cosine * np.cos(2.0 * theta) + p.sine * np.sin(2.0 * theta)
    np.testing.assert_allclose(u * i, wave, rtol=1e-9, atol=1e-9 * 300.0)


def test_worked_example_of_the_common_ground_converter():
    # Computed here for 300 W, 120 V, 60 Hz; the same figures came out of an
    # independent calculation with complex phasors.
    p = pulsation(phasors())
    assert p.s_p.item() == pytest.approx(300.0, rel=2e-3)
    assert math.atan2(p.sine.item(), p.cosine.item()) == pytest.approx(0.018, rel=0.03)
    base = base_capacitance(300.0, designs(120.0), designs(OMEGA)).item()
    assert base == pytest.approx(55.3e-6, rel=1e-3)
    f_res = resonance(designs(600e-6), designs(100e-6), designs(0.68e-6))
    assert f_res.item() == pytest.approx(20.8e3, rel=3e-3)
    assert damping_resistance(f_res, designs(0.68e-6)).item() == pytest.approx(3.74, rel=2e-3)


def test_no_power_still_gives_finite_phasors():
    x = phasors(power=0.0)
    p = pulsation(x)
    assert x.i_grid.item() == 0.0
    assert math.isfinite(p.sin_phi.item())


@pytest.mark.parametrize("f", [40e3, 100e3, 150e3])
def test_filter_equals_a_solved_network(f):
    l_1, l_2, c, r = 0.6e-3, 0.15e-3, 1e-6, 4.0
    s = 2j * math.pi * f
    # unknowns: bridge current, grid current, voltage of the middle node
    matrix = np.array(
        [[s * l_1, 0.0, 1.0], [0.0, s * l_2, -1.0], [1.0, -1.0, -1.0 / (r + 1.0 / (s * c))]]
    )
    bridge, grid, _ = np.linalg.solve(matrix, np.array([1.0, 0.0, 0.0]))
    y_grid, y_c = lcl_admittance(
        designs(f), designs(l_1), designs(l_2), c=designs(c), r_damp=designs(r)
    )
    assert y_grid.item() == pytest.approx(abs(grid), rel=1e-9)
    assert y_c.item() == pytest.approx(abs(bridge - grid), rel=1e-9)


def test_undamped_filter_passes_the_known_share():
    # 2 mH, 0.4 mH, 0.68 µF; ratio of grid to bridge current computed by nodal analysis.
    args = (designs(2e-3), designs(0.4e-3), designs(0.68e-6))
    assert resonance(*args).item() == pytest.approx(10.571e3, rel=1e-3)
    y_grid, y_c = lcl_admittance(designs(100e3), args[0], args[1], c=args[2], r_damp=designs(0.0))
    assert y_grid.item() / (y_c.item() - y_grid.item()) == pytest.approx(0.00940, rel=1e-3)


def test_line_harmonics_are_fourier_coefficients():
    theta = angles(32, math.pi)
    wave = 3.0 * np.sin(theta) + 0.5 * np.sin(3.0 * theta + 0.4) + 0.2 * np.cos(5.0 * theta)
    third, fifth, seventh = line_harmonics(wave, theta, (3, 5, 7))
    assert third.item() == pytest.approx(0.5, rel=1e-9)
    assert fifth.item() == pytest.approx(0.2, rel=1e-9)
    assert seventh.item() < 1e-12


def test_current_loop_holds_down_the_dead_time_harmonics():
    # 300 W, 120 V, 100 kHz: 1.03, 0.36, 0.04 V make 19, 10, 1 mA and 0.6 % of rated.
    gains = current_loop(designs(100e3), designs(700e-6))
    assert gains[0].item() == pytest.approx(19.5, rel=5e-3)
    assert gains[1].item() == pytest.approx(5.74e4, rel=5e-3)
    amplitude = [
        math.sqrt(2.0)
        * distortion_current(
            (designs(v),), (h,), omega=designs(OMEGA), inductance=designs(700e-6), gains=gains
        ).item()
        for v, h in ((1.03, 3), (0.36, 5), (0.04, 7))
    ]
    assert amplitude[0] == pytest.approx(19e-3, rel=0.05)
    assert amplitude[1] == pytest.approx(10e-3, rel=0.1)
    assert math.hypot(*amplitude) / (2.5 * math.sqrt(2.0)) == pytest.approx(0.006, rel=0.05)


def test_leakage_of_a_grounded_and_a_split_module():
    # 33 nF at 2 V between neutral and earth; 60 nF at half of 230 V.
    grounded = ground_current(designs(2.0), designs(60.0), designs(33e-9)).item()
    assert grounded == pytest.approx(25e-6, rel=0.01)
    split = ground_current(designs(115.0), designs(50.0), designs(60e-9)).item()
    assert split == pytest.approx(2.2e-3, rel=0.02)


def test_mean_power_is_what_the_phasors_say():
    x, theta = phasors(), angles(32, math.pi)
    u = math.sqrt(2.0) * (x.u_re * np.sin(theta) + x.u_im * np.cos(theta))
    i = math.sqrt(2.0) * (x.i_re * np.sin(theta) + x.i_im * np.cos(theta))
    assert line_mean(u * i).item() == pytest.approx(300.0, rel=1e-12)
