"""Storage and gain of the front designs against published examples and common practice."""

import math

import numpy as np
import pytest

from models.axes import designs
from models.ledger import Kind
from models.parts import capacitor
from models.results import full_row
from models.stages.module_buffer import ripple
from models.stages.series_capacitor_gain import off_duty
from tests.front import reference as front
from tests.front.wiring import bridge_of
from tests.simulation.netlist import Netlist, steady_state

KJAER = "S. B. Kjaer, J. K. Pedersen, F. Blaabjerg, IEEE Trans. Ind. Appl. 41(5), 2005"
KREIN = "P. T. Krein, R. S. Balog, M. Mirjafari, IEEE Trans. Power Electron. 27(11), 2012"
FLYBACK = front.names("flyback_unfolder")
BRIDGE = front.names("series_capacitor_boost_half_bridge")


def amplitude(power, c, v, f=50.0):
    """Ripple of a source without curvature, as the published formula has it [1]."""
    found = ripple(
        designs(power), designs(power), c=designs(c), v=designs(v),
        omega=designs(2.0 * math.pi * f), kappa=designs(0.0),
    )  # fmt: skip
    return found.ratio.item()


@pytest.mark.published(KJAER)
def test_160_watts_at_the_module_need_2_4_millifarads_and_33_microfarads_at_a_link():
    # Printed with two digits: 35 V, 8.5 % amplitude; 380 V, 20 V amplitude.
    assert amplitude(160.0, 2.4e-3, 35.0) == pytest.approx(0.085, rel=0.03)
    assert 380.0 * amplitude(160.0, 33e-6, 380.0) == pytest.approx(20.0, rel=0.03)


@pytest.mark.published(KJAER)
@pytest.mark.parametrize("name", FLYBACK)
def test_electrolytics_of_a_front_design_are_those_of_the_published_formula(name):
    """û = P/(2·ω·C·V), from which the module's own curvature takes a little."""
    item = front.reference(name)
    row, points = full_row(item.case), item.case.points
    power = item.evaluation.settled.p_module[0, row, 0]
    v, f = points.v_pv[0, row, 0], points.f_grid[0, row, 0]
    c = capacitor.capacitance(item.design.buffer.storage, item.case).item()
    found = item.evaluation.ledger.find("module.ripple", Kind.FIGURE).value[0, row, 0]
    printed = amplitude(power, c, v, f)
    assert found == pytest.approx(printed, rel=0.02)
    # In farads: what the printed 160 W example becomes at this power, voltage and ripple.
    scaled = 2.4e-3 * (power / 160.0) * (50.0 / f) * (35.0 / v) ** 2 * 0.085 / found
    assert c == pytest.approx(scaled, rel=0.04)


@pytest.mark.published(KREIN)
@pytest.mark.parametrize("name", BRIDGE)
def test_links_hold_several_times_the_least_capacitance_of_a_ripple_port(name):
    """C ≥ 2·P/(ω·V_max²): a port that empties; a link that covers the grid needs 1/k of it."""
    item, one = front.reference(name), bridge_of(name)
    row, points = full_row(item.case), item.case.points
    omega = 2.0 * math.pi * points.f_grid[0, row, 0]
    c_1, c_2 = (
        capacitor.capacitance(x, item.case).item()
        for x in (item.design.links.c_1, item.design.links.c_2)
    )
    k = one.links.k[0, row, 0]
    top = one.links.v_2_rms[0, row, 0] * math.sqrt(1.0 + k)
    s_p = float(np.hypot(one.side.power.cosine, one.side.power.sine)[0, row, 0])
    least = 2.0 * s_p / (omega * top**2)
    # With the swing k of energy the two laws differ by (1 + k)/(2·k), exactly.
    assert (c_2 + 0.25 * c_1) / least == pytest.approx((1.0 + k) / (2.0 * k), rel=1e-9)
    assert c_2 + 0.25 * c_1 > 1.5 * least


def test_three_phases_lift_20_to_190_volts_at_68_percent():
    # Common practice, no source: M = N/(1 − D) = 9.5 at D = 0.684.
    duty = 1.0 - off_duty(designs(190.0 / 20.0), 3).item()
    assert duty == pytest.approx(0.68, abs=0.01)


def test_a_leg_at_half_duty_doubles_190_to_380_volts():
    # The common-ground stage's doubler switch by switch, loaded with 100 W at link 2.
    net = Netlist()
    net.source("link", "p", "0", 190.0)
    net.switch("upper", "p", "a")
    net.switch("lower", "a", "n")
    net.inductor("doubler", "a", "0", 400e-6)
    net.capacitor("c2", "p", "n", 20e-6)
    net.resistor("load", "p", "n", 380.0**2 / 100.0)
    waves = steady_state(
        net,
        period=1e-5,
        gates={"upper": [(0.0, 0.5)], "lower": [(0.5, 1.0)]},
        start={"c2": 380.0, "doubler": -0.5},
        steps=1000,
    )
    assert waves.mean("v:c2") == pytest.approx(380.0, rel=2e-3)
    item, one = front.reference(BRIDGE[0]), bridge_of(BRIDGE[0])
    row = full_row(item.case)
    assert one.links.v_2_rms[0, row, 0] == pytest.approx(2.0 * one.links.v_1_rms[0, row, 0])
    assert 0.5 * one.links.v_2_rms[0, row, 0] == pytest.approx(190.0, rel=0.1)
