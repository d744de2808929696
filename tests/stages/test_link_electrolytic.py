"""Electrolytics in a link with film beside them: who takes which current."""

import math

import numpy as np
import pytest

from models.axes import designs
from models.ledger import Kind
from models.parts import electrolytic
from models.physics.capacitor import electrolytic_resistance, frequency_multiplier
from models.stages import link_electrolytic as stage
from models.stages.module_buffer import END_OF_LIFE, WARM
from models.stages.ports import LinkCurrents
from tests.stages.grid_cases import Point, film, make_case
from tests.stages.link_circuit import (
    M_MAX,
    averaged_link,
    currents,
    electrolytics,
    idle_variables,
    laws,
    placed_books,
    pulsating,
    random_designs,
    side_of,
    worst_limits,
)

CASES = {
    "120 V": (Point(), "can-330u-250V-5kh", 2.0, "film-4.7u-250V", 120.0, 60.0),
    "230 V": (Point(300.0, 230.0), "can-150u-450V-5kh", 1.0, "film-1u-500V", 230.0, 50.0),
    "lagging, much film": (
        Point(power_factor=0.8), "can-220u-250V-5kh", 1.0, "film-47u-250V", 120.0, 60.0
    ),
}  # fmt: skip


def placed(case, design, flows=None):
    side = side_of(case)
    link = stage.swing(design, side, M_MAX, case)
    return side, link, stage.place("link", design, link, side, flows or currents(case), case)


def made(name):
    point, can, count, beside, v_nominal, f = CASES[name]
    case = make_case(point, v_nominal=v_nominal, f_grid=f)
    return case, stage.Design(designs(1.15), electrolytics(can, count), film(beside, 2.0))


@pytest.mark.parametrize("name", CASES)
def test_slow_stress_follows_the_averaged_circuit_of_worn_cans(name):
    case, design = made(name)
    side, link, found = placed(case, design)
    slow, fast = (part.stress for part in found.parts)
    table = case.catalogue
    c_can = 0.8 * design.storage.count.item() * table["electrolytic"].at("c", design.storage.row)
    c_film = design.film.count.item() * table["film"].at("c", design.film.row)
    x = pulsating(case, side)
    start = link.v_rms.item() * math.sqrt(1.0 + link.k.item() * math.sin(x.psi))
    t, v = averaged_link(x, (c_can + c_film).item(), start)
    slope = math.sqrt(np.mean(np.gradient(v, t[1] - t[0]) ** 2))
    assert slow.v_swing.item() == pytest.approx(np.ptp(v), rel=2e-3)
    assert slow.i_line_rms.item() == pytest.approx(c_can.item() * slope, rel=2e-3)
    assert fast.i_line_rms.item() == pytest.approx(c_film.item() * slope, rel=2e-3)
    assert slow.v_max.item() == pytest.approx(v.max(), rel=2e-3)


@pytest.mark.parametrize("name", CASES)
def test_switching_ripple_divides_between_resistance_and_reactance(name):
    case, design = made(name)
    flows = LinkCurrents(designs(1.3), designs(70e3), designs(0.9), designs(30e3))
    _, _, found = placed(case, design, flows)
    slow, fast = (part.stress for part in found.parts)
    table, row = case.catalogue[electrolytic.TABLE], design.storage.row
    r_cold = electrolytic_resistance(table.at("c", row), table.at("tan_delta", row)).item()
    c = (design.film.count * case.catalogue["film"].at("c", design.film.row)).item()
    in_can = in_film = 0.0
    for i, f in ((1.3, 70e3), (0.9, 30e3)):
        z_film = 1.0 / (2j * math.pi * f * c)
        gain = frequency_multiplier(designs(f)).item()
        z_can = WARM * r_cold / gain**2 / design.storage.count.item()
        in_can += abs(i * z_film / (z_can + z_film)) ** 2
        in_film += abs(i * z_can / (z_can + z_film)) ** 2
    assert slow.i_hf_rms.item() == pytest.approx(math.sqrt(in_can), rel=1e-9)
    assert fast.i_hf_rms.item() == pytest.approx(math.sqrt(in_film), rel=1e-9)


def test_more_film_relieves_the_cans():
    case, design = made("120 V")
    found = [
        placed(case, stage.Design(design.ratio, design.storage, film("film-4.7u-250V", n)))[2]
        for n in (1.0, 2.0, 4.0)
    ]
    heat = [f.parts[0].loss(designs(60.0)).item() for f in found]
    assert heat[0] > heat[1] > heat[2]


def test_a_stage_at_rest_leaves_finite_numbers():
    case, design = made("120 V")
    none = LinkCurrents(*(designs(0.0) for _ in range(4)))
    _, _, found = placed(case, design, none)
    assert all(np.isfinite(part.loss(designs(60.0))).all() for part in found.parts)
    assert found.parts[0].stress.i_hf_rms.item() == 0.0


def test_swing_is_held_to_a_few_percent_at_the_end_of_life():
    case, design = made("120 V")
    _, link, found = placed(case, design)
    worn = END_OF_LIFE * 660e-6 + 9.4e-6
    assert link.c.item() == pytest.approx(worn, rel=1e-9)
    assert found.books.find("link.swing", Kind.LIMIT).bound.item() == pytest.approx(0.07)
    assert link.v_nodes.shape == (1, 1, stage.NODES)


@pytest.mark.published(
    "Krein, Balog, Mirjafari, IEEE Trans. Power Electron. 27(11), 2012: 1.1 mF for 12 V peak to "
    "peak at 400 V, 2 kW, 60 Hz (value from memory)"
)
def test_capacitance_of_a_passive_link_for_twelve_volts():
    # An eighth of the power on an eighth of the capacitance: 136 µF of worn cans and film.
    case = make_case(Point(250.0, 240.0), v_nominal=240.0)
    ratio = 400.0 * 0.97 / (math.sqrt(2.0) * 240.0)
    design = stage.Design(
        designs(ratio), electrolytics("can-150u-450V-5kh"), film("film-4.7u-500V", 3.0)
    )
    _, link, _ = placed(case, design)
    assert 8.0 * link.c.item() * 2.0 * link.swing.item() == pytest.approx(1.1e-3 * 12.0, rel=0.03)


def test_laws_of_a_stage(rng):
    def place(design, case):
        return placed(case, design)[2]

    laws(stage.Design, place, rng)
    assert not idle_variables(stage.Design, place, rng)


def test_some_random_design_meets_every_limit(rng):
    n = 3000
    case = make_case(*(Point(), Point(v_grid=132.0), Point(p_ac=30.0)))
    _, design = random_designs(stage.Design, n, rng)
    limits = worst_limits(placed_books(placed(case, design)[2], case), n)
    met = np.all(np.stack(list(limits.values())) <= 0.0, axis=0)
    assert met.any(), {path: float(x.min()) for path, x in limits.items()}
