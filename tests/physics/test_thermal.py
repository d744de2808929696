"""A sealed box sheds what its faces can carry, in free air and behind a module."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp
from scipy.optimize import brentq

from models.axes import designs, points
from models.physics import thermal

BOX = {"length": designs(0.18), "width": designs(0.16), "height": designs(0.03)}
SMALLEST = {"length": designs(0.06), "width": designs(0.06), "height": designs(0.018)}


def surface(heat, *, box=BOX, t_air=40.0, emissivity=0.85, t_module=None):
    return thermal.surface_temperature(
        **box,
        heat=designs(heat),
        t_air=designs(t_air),
        emissivity=emissivity,
        t_module=None if t_module is None else designs(t_module),
    ).item()


def shed(t, *, box=BOX, t_air, emissivity, t_module):
    """Heat that a wall at t gives off, from the textbook sum over the faces."""
    t, air = designs(t), designs(t_air)
    face = box["length"] * box["width"]
    sides = 2 * (box["length"] + box["width"]) * box["height"]
    g = thermal.convection(**box, t_surface=t, t_air=air, top=t_module is None)
    upper = air if t_module is None else designs(t_module)
    heat = (g + thermal.radiation(t, air, emissivity) * (sides + face)) * (t - air)
    return (heat + thermal.radiation(t, upper, emissivity) * face * (t - upper)).item()


@pytest.mark.published("Incropera and DeWitt, glass fire screen, worked example (from memory)")
def test_vertical_plate_of_the_textbook_example():
    nusselt = thermal.vertical_plate(designs(math.log(1.813e9))).item()
    assert nusselt == pytest.approx(147, rel=0.01)
    assert nusselt * 0.0338 / 0.71 == pytest.approx(7.0, rel=0.01)


def similarity_slope(prandtl):
    """Mean Nusselt number over Ra^¼ of the laminar boundary layer, by its two equations."""

    def equations(_, y):
        f, f1, f2, t, t1 = y
        return np.array([f1, f2, -3 * f * f2 + 2 * f1**2 - t, t1, -3 * prandtl * f * t1])

    def ends(a, b):
        return np.array([a[0], a[1], a[3] - 1, b[1], b[3]])

    x = np.linspace(0, 10, 400)
    e = np.exp(-x)
    # A velocity that starts and ends at rest: from zero the solver finds another root.
    guess = np.array([0.6 * (1 - e), 0.6 * x * e, 0.6 * e, e, -e])
    gradient = -solve_bvp(equations, ends, x, guess, tol=1e-6, max_nodes=20000).y[4, 0]
    return 4 / 3 * gradient / math.sqrt(2) / prandtl**0.25


def test_vertical_plate_joins_the_laminar_boundary_layer():
    # Computed here independently from the similarity equations: 0.5157.  The formula for
    # all flows lies 2 to 9 % below the laminar law Nu = 0.68 + c·Ra^¼ at these numbers.
    slope = similarity_slope(0.71)
    assert slope == pytest.approx(0.5157, rel=5e-3)
    for rayleigh in (1e4, 1e5, 1e6):
        laminar = 0.68 + slope * rayleigh**0.25
        nusselt = thermal.vertical_plate(designs(math.log(rayleigh))).item()
        assert nusselt == pytest.approx(0.95 * laminar, rel=0.04)


def test_horizontal_faces_follow_their_power_laws():
    log_rayleigh = designs(math.log(1e5))
    assert thermal.plate_facing_up(log_rayleigh).item() == pytest.approx(0.54 * 1e5**0.25)
    assert thermal.plate_facing_down(log_rayleigh).item() == pytest.approx(0.52 * 1e5**0.2)


@pytest.mark.published("Stefan-Boltzmann law: 4·σ·T³ at 300 K is 6.12 W/(m²·K)")
def test_black_surface_near_300_kelvin_sheds_six_watts_a_square_metre_and_kelvin():
    h = thermal.radiation(designs(26.85), designs(26.85), 1.0).item()
    assert h == pytest.approx(6.124, rel=1e-3)


# Computed independently with a root finder on the same correlations.
@pytest.mark.parametrize(("heat", "expected"), [(5, 46.27), (10, 51.66), (20, 61.39)])
def test_box_temperature_by_heat(heat, expected):
    assert surface(heat) == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize(
    ("sizes", "heat", "rise"),
    [((0.18, 0.16), 15.8, 17.43), ((0.12, 0.10), 15.8, 31.50), ((0.25, 0.20), 15.8, 11.68)],
)
def test_rise_by_size_of_box(sizes, heat, rise):
    box = {"length": designs(sizes[0]), "width": designs(sizes[1]), "height": designs(0.03)}
    assert surface(heat, box=box) - 40 == pytest.approx(rise, rel=2e-3)


def test_bare_metal_runs_hotter_because_half_the_heat_leaves_by_radiation():
    assert surface(10, emissivity=0.0) == pytest.approx(63.2, abs=0.1)


def test_behind_a_module_the_same_heat_raises_the_box_further():
    free = surface(10, t_air=60) - 60
    behind = surface(10, t_air=60, t_module=66) - 60
    assert free == pytest.approx(10.63, abs=0.02)
    assert behind == pytest.approx(13.95, abs=0.02)


def test_box_without_heat_settles_between_air_and_module():
    assert surface(0) == pytest.approx(40, abs=0.01)
    assert 60 < surface(0, t_air=60, t_module=80) < 80
    assert 0 < surface(0, t_air=20, t_module=0) < 20


@pytest.mark.parametrize("t_module", [None, 75.0])
@pytest.mark.parametrize("emissivity", [0.9, 0.6])
def test_two_steps_reach_the_root_within_a_thousandth_of_the_rise(t_module, emissivity):
    case = {"t_air": 60.0, "emissivity": emissivity, "t_module": t_module}
    for rise in (2.0, 10.0, 30.0, 60.0, 100.0):
        for box in (BOX, SMALLEST):
            heat = shed(60 + rise, box=box, **case)
            if heat > 0:
                root = brentq(lambda t: shed(t, box=box, **case) - heat, 59, 200)  # noqa: B023
                assert surface(heat, box=box, **case) - root == pytest.approx(0, abs=1e-3 * rise)


def test_temperature_stays_finite_and_grows_with_heat_for_any_box():
    heat = points(np.linspace(0.0, 500.0, 40))
    for box in (BOX, SMALLEST):
        for t_module in (None, designs(90.0)):
            t = thermal.surface_temperature(
                **box, heat=heat, t_air=designs(-30.0), emissivity=0.85, t_module=t_module
            )
            assert np.isfinite(t).all()
            assert (np.diff(t[0, :, 0]) >= 0).all()
            assert t.max() <= -30.0 + thermal.RISE_MAX


def test_potting_joins_the_inside_to_the_wall():
    area = designs(0.05)
    air = thermal.inside_temperature(designs(60.0), designs(12.0), area, designs(0.0)).item()
    potted = thermal.inside_temperature(designs(60.0), designs(12.0), area, designs(1.0)).item()
    assert air == pytest.approx(60 + 12 / (6 * 0.05))
    assert potted == pytest.approx(60 + 12 / (100 * 0.05))


def test_a_batch_equals_its_designs_one_by_one(rng):
    size = [designs(rng.uniform(0.06, 0.25, 5)) for _ in range(2)] + [designs([0.02] * 5)]
    heat = rng.uniform(0, 40, (5, 3, 1))
    t_air, t_module = points([20.0, 40.0, 60.0]), points([25.0, 50.0, 70.0])
    names = ("length", "width", "height")

    def solve(n):
        return thermal.surface_temperature(
            **{k: v[n] for k, v in zip(names, size, strict=True)},
            heat=heat[n], t_air=t_air, emissivity=0.85, t_module=t_module,
        )  # fmt: skip

    batch = solve(slice(None))
    for i in range(5):
        np.testing.assert_array_equal(batch[i : i + 1], solve(slice(i, i + 1)))


def test_small_part_sheds_ten_watts_a_square_metre_and_kelvin_in_air():
    area = designs(25e-4)
    assert thermal.part_resistance(area, designs(0.0)).item() == pytest.approx(40.0)
    potted = thermal.part_resistance(area, designs(1.0)).item()
    assert potted / 40.0 == pytest.approx(0.45 / 1.2, rel=0.02)
