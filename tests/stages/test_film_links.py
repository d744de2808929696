"""Film links that swing together: closed form against the averaged circuit."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from models.axes import designs, line_mean
from models.ledger import Kind
from models.parts import capacitor
from models.points import Purpose
from models.stages import film_links, grid_filter, link_voltage
from tests.stages.grid_cases import Point, filter_design, links_design, make_case

M_MAX = designs(0.97)
L_BRIDGE = designs(600e-6)


def links(point, **values):
    case = make_case(point)
    side = grid_filter.bridge_side(filter_design(), L_BRIDGE, case)
    return case, side, film_links.swing(links_design(**values), side, M_MAX, case)


def averaged(case, side, found, **values):
    """Links and doubler as averaged differential equations, damped, after six line cycles."""
    design = links_design(**values)
    c_1 = capacitor.capacitance(design.c_1, case).item()
    c_2 = capacitor.capacitance(design.c_2, case).item()
    l_b, omega, power = 400e-6, side.omega.item(), case.points.p_ac.item()
    damping = 0.7 * math.sqrt(l_b * (1.0 / c_1 + 0.25 / c_2))
    phasor_u = grid_phasor(side.u, side.theta)
    phasor_i = grid_phasor(side.i, side.theta)

    def wave(phasor, t):
        return math.sqrt(2.0) * np.imag(phasor * np.exp(1j * omega * t))

    def slopes(t, x):
        v_1, v_2, i_b = x
        u, i = wave(phasor_u, t), wave(phasor_i, t)
        i_in = power / v_1
        wanted = i_in - i - 0.5 * c_1 * (power - u * i) / ((c_2 + 0.25 * c_1) * v_2)
        lower_a = 0.5 + damping / v_2 * (i_b - wanted)
        lower_b = (v_1 - u) / v_2
        return [
            (i_in - i_b - i) / c_1,
            (lower_a * i_b + lower_b * i) / c_2,
            (v_1 - lower_a * v_2) / l_b,
        ]

    cycle = 2.0 * math.pi / omega
    start = [found.v_1_rms.item(), found.v_2_rms.item(), power / found.v_1_rms.item()]
    ran = solve_ivp(
        slopes, (0.0, 6.0 * cycle), start, rtol=1e-7, atol=1e-7, max_step=5e-5, dense_output=True
    )
    t = np.linspace(5.0 * cycle, 6.0 * cycle, 4000, endpoint=False)
    return t, ran.sol(t), (c_1, c_2)


def grid_phasor(half, theta):
    """Phasor of a wave given over half a cycle that changes sign in the other."""
    return complex(
        (math.sqrt(2.0) * line_mean(half * np.sin(theta))).item(),
        (math.sqrt(2.0) * line_mean(half * np.cos(theta))).item(),
    )


POINTS = {
    "small swing": {},
    "large swing": {"n_1": 3.0, "n_2": 4.0, "ratio": 1.15},
}


@pytest.mark.parametrize("name", POINTS)
def test_both_links_follow_the_averaged_circuit(name):
    values = POINTS[name]
    case, side, found = links(Point(), **values)
    t, (v_1, v_2, _), (c_1, c_2) = averaged(case, side, found, **values)
    # The mean energy is the controller's affair: compare at the simulated rms value.
    scale = math.sqrt(np.mean(v_2**2)) / found.v_2_rms.item()
    assert scale == pytest.approx(1.0, rel=0.01)
    k = found.k.item()
    assert v_2.max() == pytest.approx(found.v_2_rms.item() * math.sqrt(1.0 + k), rel=0.01)
    assert v_2.min() == pytest.approx(found.v_2_rms.item() * math.sqrt(1.0 - k), rel=0.01)
    assert v_1.min() == pytest.approx(found.v_1_min.item(), rel=0.01)
    step = t[1] - t[0]
    for share, c, v in ((found.share_1, c_1, v_1), (found.share_2, c_2, v_2)):
        rms = math.sqrt(np.mean((c * np.gradient(v, step)) ** 2))
        assert (share * found.i_line).item() == pytest.approx(rms, rel=0.02)


def test_worked_example():
    # 300 W, 120 V, 60 Hz, 40 and 12 µF near 190 V: k 0.25, 0.51 A in C₁ and 0.31 A in C₂,
    # computed by an independent script; 40 and 11 µF here.
    _, _, found = links(Point())
    assert found.k.item() == pytest.approx(0.2505 * 22.0 / 21.0, rel=0.02)
    assert (found.share_1 * found.i_line).item() == pytest.approx(0.51 * 22.0 / 21.0, rel=0.02)
    assert (found.share_2 * found.i_line).item() == pytest.approx(
        0.31 * 11.0 / 12.0 * 22.0 / 21.0, rel=0.02
    )


def test_reference_follows_the_grid_where_the_nominal_value_is_too_low():
    _, side, low = links(Point(v_grid=132.0))
    k_least = low.k.item() * link_voltage.RESERVE**2
    least = side.u_peak.item() / (0.97 * math.sqrt(1.0 - k_least**2))
    assert low.v_1_rms.item() == pytest.approx(link_voltage.RESERVE * least, rel=5e-3)
    assert low.k.item() < low.k_max.item()
    _, _, nominal = links(Point(v_grid=120.0), ratio=1.3)
    assert nominal.v_1_rms.item() == pytest.approx(1.3 * 120.0 * math.sqrt(2.0) / 0.97, rel=1e-9)


@pytest.mark.parametrize("factor", [1.0, 0.9, -0.9])
def test_link_covers_the_grid_at_every_angle(factor):
    _, side, found = links(Point(v_grid=132.0, power_factor=factor), n_1=2.0, n_2=2.0, ratio=1.02)
    modulation = np.max(np.abs(side.u) / (0.5 * found.v_2))
    assert modulation == pytest.approx(0.97 / link_voltage.RESERVE, rel=0.02)


def test_nodes_have_the_mean_square_of_the_swing():
    _, _, found = links(Point())
    assert line_mean(found.v_1_nodes**2).item() == pytest.approx(
        found.v_1_rms.item() ** 2, rel=1e-12
    )
    assert line_mean(found.v_2**2).item() == pytest.approx(found.v_2_rms.item() ** 2, rel=1e-12)


def test_load_rejection_adds_the_energy_of_two_milliseconds():
    _, _, normal = links(Point())
    _, _, lost = links(Point(purpose=Purpose.REJECTION))
    added = 0.5 * 21e-6 * (lost.v_2_max.item() ** 2 - normal.v_2_max.item() ** 2)
    assert added == pytest.approx(300.0 * 2e-3, rel=1e-9)


def test_idle_links_sit_at_the_peak_to_peak_of_the_grid():
    _, _, found = links(Point(p_ac=0.0, v_grid=144.0, purpose=Purpose.IDLE))
    assert found.v_2_max.item() == pytest.approx(2.0 * math.sqrt(2.0) * 144.0, rel=1e-12)
    assert found.k.item() == 0.0


@pytest.mark.parametrize("count", [1.0, 4.0])
def test_placed_capacitors_bear_swing_and_ripple(count):
    case = make_case(Point(), Point(p_ac=0.0, v_grid=144.0, purpose=Purpose.IDLE))
    side = grid_filter.bridge_side(filter_design(), L_BRIDGE, case)
    design = links_design(n_1=count)
    found = film_links.swing(design, side, M_MAX, case)
    current = designs(1.5) * side.running
    hf = film_links.HighFrequency(current, designs(100e3), current, designs(100e3))
    placed = film_links.place("links", design, found, hf, case)
    limit = placed.books.find("links.swing", Kind.LIMIT)
    assert limit.value[0, 0, 0] < 0.0
    c_1, c_2 = (p.stress for p in placed.parts)
    np.testing.assert_allclose(2.0 * c_1.v_swing, c_2.v_swing, rtol=1e-12)
    np.testing.assert_allclose(2.0 * c_1.v_max, c_2.v_max, rtol=1e-12)
    assert c_2.i_hf_rms[0, 0, 0] == 1.5


def test_a_capacitor_too_small_is_refused_with_finite_numbers():
    _, _, found = links(Point(), c_1="film-470n-250V", n_1=1.0, c_2="film-1u-500V", n_2=1.0)
    assert found.k.item() > found.k_max.item() or found.v_1_rms.item() > 400.0
    assert np.isfinite(found.v_2).all()
