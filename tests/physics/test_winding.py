"""Windings against published laws, Bessel functions, a diffusion equation and sums."""

import numpy as np
import pytest
from scipy.integrate import quad, solve_bvp
from scipy.linalg import solve_banded
from scipy.optimize import brentq, minimize_scalar
from scipy.special import iv

from models.axes import designs
from models.physics.winding import (
    bundle_diameter,
    enamelled_diameter,
    layered_factor,
    leakage_inductance,
    litz_factor,
    resistivity,
    round_thickness,
    skin_depth,
    strand_field_loss,
    strand_skin_factor,
)

MU_0 = 4e-7 * np.pi


def factor(thickness: float, layers: float) -> float:
    return layered_factor(designs(thickness), designs(1.0), designs(layers)).item()


def resistance(thickness: float, layers: float) -> float:
    """AC resistance of equal turns in so many layers, up to a common factor."""
    return factor(thickness, layers) / (layers * thickness)


def least_resistance(layers: float) -> float:
    return minimize_scalar(lambda h: resistance(h, layers), bounds=(0.05, 4), method="bounded").fun


@pytest.mark.published("handbook rule: 66 mm over the root of the frequency in hertz, 20 °C")
def test_skin_depth_of_copper():
    depth = skin_depth(designs(100e3), resistivity(20.0)).item()
    assert depth == pytest.approx(66e-3 / np.sqrt(100e3), rel=0.01)
    assert depth == pytest.approx(0.209e-3, rel=0.01)


@pytest.mark.published("handbooks: 0.24 mm at 100 kHz, 100 °C (from memory)")
def test_skin_depth_grows_with_temperature():
    assert skin_depth(designs(100e3), resistivity(100.0)).item() == pytest.approx(
        0.2396e-3, rel=0.01
    )


def diffusion_factor(delta: float, layers: int, n: int = 4000) -> float:
    """Solve the field of every layer of unit thickness by finite differences."""
    h = 1.0 / n
    band = np.zeros((3, n - 1), complex)
    band[0, 1:], band[2, :-1] = 1.0, 1.0
    band[1] = -2.0 - 2j * (delta * h) ** 2
    loss = 0.0
    for m in range(1, layers + 1):
        right = np.zeros(n - 1, complex)
        right[0], right[-1] = -(m - 1), -m
        field = np.concatenate([[m - 1], solve_banded((1, 1), band, right), [m]])
        loss += np.sum(np.abs(np.diff(field) / h) ** 2) * h
    return loss / layers


@pytest.mark.parametrize(
    ("delta", "layers", "expected"),
    [
        (0.5, 1, 1.00554),
        (1.0, 3, 1.93996),
        (1.5, 4, 8.38418),
        (2.0, 2, 5.14649),
        (0.4, 8, 1.18129),
    ],
)
def test_layers_solve_the_diffusion_of_the_field(delta, layers, expected):
    # Expected values computed independently by finite differences, as again here.
    assert factor(delta, layers) == pytest.approx(expected, rel=1e-5)
    assert diffusion_factor(delta, layers) == pytest.approx(expected, rel=1e-5)


@pytest.mark.published("Hurley, Gath and Breslin, IEEE TPEL 15(2), 2000 (from memory)")
@pytest.mark.parametrize(("layers", "thickness"), [(3, 0.770), (6, 0.539)])
def test_the_best_foil_has_four_thirds_of_its_direct_resistance(layers, thickness):
    best = minimize_scalar(lambda h: resistance(h, layers), bounds=(0.05, 2), method="bounded").x
    assert factor(best, layers) == pytest.approx(4 / 3, rel=0.01)
    assert best == pytest.approx(thickness, rel=0.01)


@pytest.mark.published("Hurley, Gath and Breslin, IEEE TPEL 15(2), 2000 (from memory)")
@pytest.mark.parametrize("layers", [1, 2, 5, 8])
def test_thin_layers_follow_the_fourth_power(layers):
    xi = 0.05
    series = (5 * layers**2 - 1) / 45 * xi**4
    assert factor(xi, layers) - 1 == pytest.approx(series, rel=2e-3)


@pytest.mark.published("Dale and Sullivan, IEEE ISIE 2006, abstract")
def test_one_layer_wins_from_one_and_a_half_skin_depths():
    single = least_resistance(1)
    crossing = brentq(lambda h: resistance(h, 2) - single, 1.0, 3.0)
    assert crossing == pytest.approx(1.5, rel=0.02)  # printed to two digits


@pytest.mark.published("Dale and Sullivan, IEEE ISIE 2006, abstract: gain grows as √layers")
def test_many_layers_gain_with_the_root_of_their_number():
    gain = [least_resistance(1) / least_resistance(p) for p in (25, 100)]
    assert gain[1] / gain[0] == pytest.approx(2.0, rel=0.01)


def test_thick_layers_carry_their_current_in_one_skin_depth_on_each_face():
    # Flux on both faces of layers 2 … p, on one of the first: Σ(m² + (m−1)²) over p.
    assert factor(40.0, 3) == pytest.approx(40.0 * (1 + 2 / 3 * 8), rel=1e-8)


def test_layers_are_finite_for_absurd_thickness():
    x = layered_factor(designs([1e-9, 1e4]), designs(1.0), designs(8.0))
    assert x.ravel() == pytest.approx([1.0, 1e4 * (1 + 2 / 3 * 63)], rel=1e-6)


def test_wire_that_fills_its_layer_stands_for_foil_of_its_area():
    # Square wire of equal area has the side d·√π/2; the exponent ¾ keeps d⁴-law loss.
    h = round_thickness(designs(1.0), designs(1.0)).item()
    assert h == pytest.approx((np.pi / 4) ** 0.75)


STRAND = 0.4e-3
RHO = float(resistivity(100.0))
DEPTH = skin_depth(designs(100e3), RHO)


def bessel_field_loss(diameter: float, depth: float, rho: float) -> float:
    z = (1 + 1j) * diameter / 2 / depth
    return 2 * np.pi * rho * np.real(z * iv(1, z) / iv(0, z))


def bessel_skin_factor(diameter: float, depth: float) -> float:
    z = (1 + 1j) * diameter / 2 / depth
    return np.real(z / 2 * iv(0, z) / iv(1, z))


def test_skin_effect_of_one_strand():
    # 1.01004 computed independently from Bessel functions.
    found = strand_skin_factor(designs(STRAND), DEPTH).item()
    assert found == pytest.approx(1.01004, rel=1e-3)


@pytest.mark.parametrize(
    ("k", "rel"), [(0.5, 2e-4), (2.0, 2e-4), (3.3, 2e-4), (4.0, 0.028), (9.0, 0.028)]
)
def test_skin_effect_follows_bessel_functions(k, rel):
    found = strand_skin_factor(designs(k), designs(1.0)).item()
    assert found == pytest.approx(bessel_skin_factor(k, 1.0), rel=rel)


@pytest.mark.parametrize("k", [0.1, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0])
def test_loss_in_a_transverse_field_follows_bessel_functions(k):
    found = strand_field_loss(designs(k), designs(1.0), 1.0).item()
    assert found == pytest.approx(bessel_field_loss(k, 1.0, 1.0), rel=0.035)


def test_bessel_functions_solve_the_field_of_a_wire():
    """The loss per length from the vector potential f(r)·cos φ, solved as a boundary problem."""
    depth, a, omega = DEPTH.item(), STRAND / 2, 2 * np.pi * 100e3
    k_2 = 2j / depth**2

    def slope(x, y):
        f, g = y[0] + 1j * y[1], y[2] + 1j * y[3]
        d = -g / x + f / x**2 + k_2 * a * a * f
        return np.array([y[2], y[3], d.real, d.imag])

    start = 1e-3

    def edges(ya, yb):
        return np.array(
            [
                ya[2] - ya[0] / start,
                ya[3] - ya[1] / start,
                yb[2] + yb[0] - 2 * MU_0 * a,
                yb[3] + yb[1],
            ]
        )

    x = np.linspace(start, 1, 400)
    guess = np.vstack([MU_0 * a * x, 0 * x, MU_0 * a + 0 * x, 0 * x])
    solved = solve_bvp(slope, edges, x, guess, tol=1e-7, max_nodes=20000).sol(x)
    squared = solved[0] ** 2 + solved[1] ** 2
    loss = 0.5 * omega**2 / RHO * np.trapezoid(squared * x * np.pi, x) * a * a
    assert loss == pytest.approx(bessel_field_loss(STRAND, depth, RHO), rel=1e-3)
    # 1.6377e-8 computed independently in the same way.
    assert strand_field_loss(designs(STRAND), DEPTH, RHO).item() == pytest.approx(
        1.6377e-8, rel=0.035
    )


@pytest.mark.published("Sullivan, IEEE TPEL 14(2), 1999, eq. 1 rewritten (from memory)")
@pytest.mark.parametrize(
    ("strands", "diameter", "expected"),
    [(60, 0.1e-3, 1.0562), (200, 0.05e-3, 1.00975), (20, 0.2e-3, 1.3987)],
)
def test_fine_litz_in_the_field_of_its_winding(strands, diameter, expected):
    # Without the field inside the bundle (a bundle without end) and for thin strands.
    turns, breadth = 20, 20e-3
    found = litz_factor(
        designs(diameter),
        DEPTH,
        strands=designs(strands),
        bundle=designs(1e3),
        turns_per_breadth=designs(turns / breadth),
    ).item()
    law = 1 + (np.pi * strands * turns) ** 2 * diameter**6 / (192 * DEPTH.item() ** 4 * breadth**2)
    assert law == pytest.approx(expected, rel=1e-3)
    assert found - 1 == pytest.approx(law - 1, rel=0.01)


def test_field_inside_a_bundle_adds_as_its_mean_square():
    strands, diameter, bundle = 100, 0.1e-3, 1.4e-3
    inside = quad(
        lambda r: (r / (2 * np.pi * (bundle / 2) ** 2)) ** 2 * 2 * np.pi * r, 0, bundle / 2
    )
    mean_square = inside[0] / (np.pi * (bundle / 2) ** 2)
    found = litz_factor(
        designs(diameter),
        DEPTH,
        strands=designs(strands),
        bundle=designs(bundle),
        turns_per_breadth=designs(0.0),
    ).item()
    direct = 4 * RHO / (strands * np.pi * diameter**2)
    expected = (
        strands * bessel_field_loss(diameter, DEPTH.item(), RHO) * mean_square / (0.5 * direct)
    )
    expected += bessel_skin_factor(diameter, DEPTH.item())
    assert found == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("interfaces", "gaps", "nanohenry"), [(1, 0.3e-3, 1843.07), (2, 0.6e-3, 555.01)]
)
def test_leakage_is_the_energy_of_the_field(interfaces, gaps, nanohenry):
    # Computed independently as the integral of H² over windings and gaps, as again here.
    found = leakage_inductance(
        designs(20),
        mean_turn=designs(50e-3),
        breadth=designs(20e-3),
        interfaces=designs(interfaces),
        copper=designs(3.5e-3),
        gaps=designs(gaps),
    ).item()
    assert found * 1e9 == pytest.approx(nanohenry, rel=1e-4)
    edges = {
        1: ([0, 2e-3, 2.3e-3, 3.8e-3], [0, 1, 1, 0]),
        2: ([0, 1e-3, 1.3e-3, 2.8e-3, 3.1e-3, 4.1e-3], [0, 0.5, 0.5, -0.5, -0.5, 0]),
    }[interfaces]
    x = np.linspace(0, edges[0][-1], 200001)
    field = np.interp(x, *edges) * 20 / 20e-3
    energy = MU_0 * np.trapezoid(field**2, x) * 50e-3 * 20e-3
    assert found == pytest.approx(energy, rel=1e-4)


@pytest.mark.published("Sullivan, IEEE TPEL 14(2), 1999 (from memory)")
def test_enamel_adds_a_tenth_to_a_thin_strand():
    assert enamelled_diameter(designs(79e-6)).item() == pytest.approx(79e-6 * 1.12)


def test_a_single_wire_is_no_bundle():
    d = bundle_diameter(designs(0.1e-3), designs([1.0, 100.0])).ravel()
    assert d == pytest.approx([0.1e-3, 1.155e-3])
