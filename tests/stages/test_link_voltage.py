"""A link that stores the pulsating power: closed form against the averaged circuit."""

import math

import numpy as np
import pytest

from models.axes import designs, line_mean
from models.points import Purpose
from models.stages.link_voltage import RESERVE, TRIP_TIME, link_stress, link_voltage
from tests.stages.grid_cases import Point, make_case
from tests.stages.link_circuit import M_MAX, averaged_link, pulsating, side_of

CASES = {
    "300 W, 120 V, 60 µF": (Point(), 60e-6, 120.0, 60.0),
    "400 W, 230 V, 25 µF": (Point(p_ac=400.0, v_grid=230.0), 25e-6, 230.0, 50.0),
    "250 W, 240 V, lagging": (Point(250.0, 240.0, 0.8), 20e-6, 240.0, 60.0),
    "250 W, 240 V, leading": (Point(250.0, 240.0, -0.8), 30e-6, 240.0, 60.0),
    "300 W, 120 V, 700 µF": (Point(), 700e-6, 120.0, 60.0),
}


def made(name, ratio=1.15, nodes=3):
    point, c, v_nominal, f = CASES[name]
    case = make_case(point, v_nominal=v_nominal, f_grid=f)
    side = side_of(case)
    link = link_voltage(designs(ratio), designs(c), side, M_MAX, nodes=nodes, case=case)
    return case, side, link


@pytest.mark.parametrize("name", CASES)
def test_voltage_and_current_follow_the_averaged_circuit(name):
    case, side, link = made(name)
    x, c = pulsating(case, side), link.c.item()
    start = link.v_rms.item() * math.sqrt(1.0 + link.k.item() * math.sin(x.psi))
    t, v = averaged_link(x, c, start)
    assert math.sqrt(np.mean(v * v)) == pytest.approx(link.v_rms.item(), rel=1e-5)
    assert v.max() == pytest.approx(link.v_max.item(), rel=1e-4)
    assert v.min() == pytest.approx(link.v_min.item(), rel=1e-4)
    stress = link_stress(link, side, designs(0.0), designs(1e5))
    assert v.mean() == pytest.approx(stress.v_mean.item(), rel=1e-4)
    assert np.ptp(v) == pytest.approx(stress.v_swing.item(), rel=1e-3)
    rms = math.sqrt(np.mean((c * np.gradient(v, t[1] - t[0])) ** 2))
    assert rms == pytest.approx(stress.i_line_rms.item(), rel=1e-3)
    waves = np.interp(side.theta[0, 0] / x.omega, t - t[0], v)
    np.testing.assert_allclose(link.v[0, 0], waves, rtol=1e-4)


@pytest.mark.parametrize("name", CASES)
def test_power_into_the_link_is_what_the_bridge_leaves(name):
    _, side, link = made(name)
    energy = 0.5 * link.c * link.v**2
    taken = np.mean(side.swing_cosine**2) ** 0.5
    # The energy of every angle against the integral of the power: 2ω·ΔE in quadrature.
    swung = np.mean((energy - np.mean(energy)) ** 2) ** 0.5 * 2.0 * side.omega.item()
    assert swung == pytest.approx(taken, rel=1e-3)
    assert taken == pytest.approx(side.power.s_p.item() / math.sqrt(2.0), rel=1e-3)


@pytest.mark.parametrize("factor", [1.0, 0.8, -0.8])
def test_reference_rises_until_the_link_covers_the_grid_at_every_angle(factor):
    case = make_case(Point(v_grid=132.0, power_factor=factor))
    side = side_of(case)
    link = link_voltage(designs(1.01), designs(35e-6), side, M_MAX, nodes=3, case=case)
    theta = np.linspace(0.0, math.pi, 4001)
    x = pulsating(case, side)
    v = link.v_rms.item() * np.sqrt(1.0 + link.k.item() * np.sin(2.0 * theta + x.psi))
    u = math.sqrt(2.0) * np.abs(np.imag(x.u * np.exp(1j * theta)))
    assert np.max(u / v) == pytest.approx(0.97 / RESERVE, rel=0.01)
    assert link.k.item() < link.k_max.item()


def test_reference_is_the_nominal_one_where_that_covers_the_grid():
    _, _, link = made("400 W, 230 V, 25 µF", ratio=1.3)
    assert link.v_rms.item() == pytest.approx(1.3 * 230.0 * math.sqrt(2.0) / 0.97, rel=1e-12)


def test_one_node_is_the_rms_voltage_and_more_keep_its_mean_square():
    _, _, three = made("300 W, 120 V, 60 µF")
    assert line_mean(three.v_nodes**2).item() == pytest.approx(three.v_rms.item() ** 2, rel=1e-12)
    _, _, one = made("300 W, 120 V, 60 µF", nodes=1)
    assert one.v_nodes.item() == one.v_rms.item()


def test_idle_link_sits_at_the_peak_of_the_grid_and_rejection_adds_its_energy():
    case = make_case(
        Point(),
        Point(purpose=Purpose.REJECTION),
        Point(p_ac=0.0, v_grid=144.0, purpose=Purpose.IDLE),
    )
    c = 60e-6
    link = link_voltage(designs(1.15), designs(c), side_of(case), M_MAX, nodes=3, case=case)
    normal, lost, idle = link.v_max[0, :, 0]
    assert 0.5 * c * (lost**2 - normal**2) == pytest.approx(300.0 * TRIP_TIME, rel=1e-9)
    assert idle == pytest.approx(math.sqrt(2.0) * 144.0, rel=1e-12)
    assert link.swing[0, 2, 0] == 0.0


def test_more_capacitance_swings_less_and_a_lack_of_it_stays_finite():
    case = make_case(Point())
    c = designs([1e-7, 1e-6, 10e-6, 30e-6, 60e-6, 600e-6])
    link = link_voltage(designs(1.15), c, side_of(case), M_MAX, nodes=3, case=case)
    assert (np.diff(link.k[3:, 0, 0]) < 0.0).all()
    for name in ("v", "v_max", "v_nodes", "swing", "k", "k_max"):
        assert np.isfinite(getattr(link, name)).all(), name
