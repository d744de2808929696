"""Conduction, output charge, recovery charge and gate against data sheets and algebra."""

import numpy as np
import pytest
from scipy.integrate import quad

from models.axes import designs
from models.physics.semiconductor import (
    charge_and_energy,
    curve_charge_and_energy,
    diode_conduction,
    gate_power,
    recovery_charge,
    recovery_rise,
    resistance_rise,
)
from models.stress import Charge


def law(q_ref=20e-9, v_ref=400.0, a=0.51, extra=0.0):
    return Charge(designs(q_ref), designs(v_ref), designs(a), extra)


@pytest.mark.published("transistor data sheets, 2013 to 2020: on-resistance at 25 and 150 °C")
@pytest.mark.parametrize(
    ("exponent", "ratio"), [(2.50, 2.40), (0.93, 1.385), (1.70, 1.8125), (2.04, 2.04)]
)
def test_on_resistance_rises_as_data_sheets_print_it(exponent, ratio):
    rise = resistance_rise(designs(150.0), designs(exponent)).item()
    assert rise == pytest.approx(ratio, rel=0.005)


def test_on_resistance_is_held_below_the_coldest_temperature():
    n = designs(2.5)
    assert resistance_rise(designs(-200.0), n) == resistance_rise(designs(-40.0), n)
    assert resistance_rise(designs(25.0), n).item() == pytest.approx(1.0, rel=1e-12)


@pytest.mark.published("data sheet of an 8 A 650 V silicon-carbide diode, 2019")
@pytest.mark.parametrize(("t", "v_f"), [(25.0, 1.27), (175.0, 1.37)])
def test_forward_voltage_of_a_silicon_carbide_diode(t, v_f):
    i = designs(8.0)
    p_25, slope = diode_conduction(
        i,
        i,
        v_0=designs(0.92),
        v_0_slope=designs(-0.0012),
        r_d=0.35 / i,
        r_d_rise=designs(0.8 / 150),
    )
    assert ((p_25 + slope * (t - 25.0)) / i).item() == pytest.approx(v_f, rel=0.01)


@pytest.mark.published("data sheet of an 8 A 650 V silicon-carbide diode, 2019: charge and energy")
def test_charge_and_energy_from_a_capacitance_curve():
    # Fit to the printed 518, 57 and 45 pF at 0, 200 and 400 V.
    q, e = curve_charge_and_energy(
        designs(518e-12), designs(0.312216), designs(0.341421), v=designs(400.0)
    )
    assert q.item() == pytest.approx(29e-9, rel=0.08)
    assert e.item() == pytest.approx(4.4e-6, rel=0.08)


def test_curve_is_the_integral_of_its_capacitance():
    c_j0, v_b, m, v = 3108e-12, 2.0, 0.46, 400.0
    q, e = curve_charge_and_energy(designs(c_j0), designs(v_b), designs(m), v=designs(v))

    def c(u):
        return c_j0 / (1 + u / v_b) ** m

    assert q.item() == pytest.approx(quad(c, 0, v)[0], rel=1e-6)
    assert e.item() == pytest.approx(quad(lambda u: u * c(u), 0, v)[0], rel=1e-6)


@pytest.mark.published("data sheet of a GaN half bridge: equivalents 50 and 31 pF at 400 V")
def test_equivalent_capacitances_give_charge_and_energy():
    v, q_print, e_print = 400.0, 20e-9, 2.7e-6
    q_ref, e_ref = 50e-12 * v, 0.5 * 31e-12 * v**2
    q, e = charge_and_energy(law(q_ref, v, 1.0 / (q_ref * v / e_ref - 1.0)), designs(v))
    assert q.item() == pytest.approx(q_print, rel=1e-3)
    assert e.item() == pytest.approx(e_ref, rel=1e-12)
    assert e.item() == pytest.approx(e_print, rel=0.09)


def test_energy_is_the_integral_of_voltage_over_charge():
    device = law(extra=30e-12)
    q_end, e_end = charge_and_energy(device, designs(300.0))

    def voltage(q):
        from scipy.optimize import brentq

        return brentq(lambda u: charge_and_energy(device, designs(u))[0].item() - q, 0.0, 301.0)

    assert quad(voltage, 0.0, q_end.item(), epsabs=1e-15, epsrel=1e-7)[0] == pytest.approx(
        e_end.item(), rel=1e-5
    )


def test_an_empty_device_holds_nothing():
    q, e = charge_and_energy(law(a=0.047, extra=40e-12), designs(0.0))
    assert not q.any()
    assert not e.any()


def test_recovery_charge_follows_current_and_temperature():
    q = recovery_charge(designs(100e-9), designs(10.0), designs([-1.0, 0.0, 5.0, 10.0]))
    assert q.ravel()[:2].tolist() == [0.0, 0.0]
    assert q.ravel()[2] == pytest.approx(100e-9 * 0.5**0.6, rel=1e-12)
    assert q.ravel()[3] == pytest.approx(100e-9, rel=1e-12)
    assert recovery_rise(designs([25.0, 125.0])).ravel() == pytest.approx([1.0, 1.5])


def test_gate_power_is_charge_times_swing_times_rate():
    assert gate_power(designs(1e5), designs(93e-9), designs(12.0)).item() == pytest.approx(
        111.6e-3, rel=1e-12
    )


def test_batch_equals_single_evaluation():
    q_ref, a, v = np.array([10e-9, 20e-9]), np.array([0.05, 0.6]), np.array([100.0, 400.0])
    both = charge_and_energy(law(q_ref, 400.0, a), designs(v))
    for i in range(2):
        one = charge_and_energy(law(q_ref[i], 400.0, a[i]), designs(v[i]))
        assert [x[i].item() for x in both] == [x.item() for x in one]
