"""Film in a link, swinging widely or hardly: stress, limits, published swings."""

import math

import numpy as np
import pytest

from models.axes import designs
from models.ledger import Kind
from models.stages import link_film, link_film_small
from models.stages.link_voltage import K_SMALL
from tests.stages.grid_cases import Point, film, make_case
from tests.stages.link_circuit import (
    M_MAX,
    averaged_link,
    book,
    currents,
    idle_variables,
    laws,
    placed_books,
    pulsating,
    random_designs,
    side_of,
    worst_limits,
)

STAGES = {"wide": link_film, "small": link_film_small}


def placed(module, case, design, l_bridge=None):
    side = side_of(case) if l_bridge is None else side_of(case, designs(l_bridge))
    link = module.swing(design, side, M_MAX, case)
    return side, link, module.place("link", design, link, side, currents(case), case)


def design_of(name, count, ratio=1.15):
    return link_film.Design(designs(ratio), film(name, count))


@pytest.mark.parametrize(
    ("module", "name", "count", "point", "v_nominal"),
    [
        (link_film, "film-33u-250V", 2.0, Point(), 120.0),
        (link_film, "film-22u-630V", 1.0, Point(300.0, 230.0), 230.0),
        (link_film, "film-47u-250V", 2.0, Point(power_factor=-0.8), 120.0),
        (link_film_small, "film-68u-250V", 9.0, Point(), 120.0),
    ],
)
def test_stress_follows_the_averaged_circuit(module, name, count, point, v_nominal):
    case = make_case(point, v_nominal=v_nominal)
    side, link, stage = placed(module, case, design_of(name, count))
    stress = stage.parts[0].stress
    x = pulsating(case, side)
    start = link.v_rms.item() * math.sqrt(1.0 + link.k.item() * math.sin(x.psi))
    t, v = averaged_link(x, link.c.item(), start)
    rms = math.sqrt(np.mean((link.c.item() * np.gradient(v, t[1] - t[0])) ** 2))
    assert stress.i_line_rms.item() == pytest.approx(rms, rel=2e-3)
    assert stress.v_swing.item() == pytest.approx(np.ptp(v), rel=2e-3)
    assert stress.v_max.item() == pytest.approx(v.max(), rel=2e-3)
    assert stress.i_hf_rms.item() == pytest.approx(math.hypot(1.0, 0.5), rel=1e-12)
    assert link.swing.item() == pytest.approx(0.5 * np.ptp(v), rel=2e-3)


@pytest.mark.published(
    "Kjaer, Pedersen, Blaabjerg, IEEE Trans. Ind. Appl. 41(5), 2005: 33 µF at 380 V and "
    "20 V amplitude for 160 W, 50 Hz (value from memory)"
)
def test_capacitance_for_twenty_volts_of_ripple():
    case = make_case(Point(160.0, 230.0), v_nominal=230.0, f_grid=50.0)
    ratio = 380.0 * 0.97 / (math.sqrt(2.0) * 230.0)
    _, link, _ = placed(link_film, case, design_of("film-33u-500V", 1.0, ratio), 200e-6)
    assert link.v_rms.item() == pytest.approx(380.0, rel=1e-9)
    # Printed to two digits.
    assert link.swing.item() == pytest.approx(20.0, rel=0.03)


@pytest.mark.published(
    "Krein, Balog, Mirjafari, IEEE Trans. Power Electron. 27(11), 2012: 1.1 mF for 12 V peak to "
    "peak at 400 V, 2 kW, 60 Hz (value from memory)"
)
def test_capacitance_of_a_passive_link_for_twelve_volts():
    # A quarter of the power on a quarter of the capacitance: 282 µF of film.
    case = make_case(Point(500.0, 240.0), v_nominal=240.0)
    ratio = 400.0 * 0.97 / (math.sqrt(2.0) * 240.0)
    _, link, _ = placed(link_film_small, case, design_of("film-47u-500V", 6.0, ratio), 200e-6)
    assert 4.0 * link.c.item() * 2.0 * link.swing.item() == pytest.approx(1.1e-3 * 12.0, rel=0.03)


def test_a_small_swing_is_seen_as_one_voltage_and_held_to_a_few_percent():
    case = make_case(Point())
    few, many = design_of("film-68u-250V", 2.0), design_of("film-68u-250V", 9.0)
    for design, met in ((few, False), (many, True)):
        _, link, stage = placed(link_film_small, case, design)
        assert link.v_nodes.shape == (1, 1, 1)
        limit = stage.books.find("link.swing", Kind.LIMIT)
        assert limit.bound.item() == pytest.approx(min(K_SMALL, link.k_max.item()))
        assert (limit.value.item() <= 0.0) == met
    _, link, stage = placed(link_film, case, few)
    assert link.v_nodes.shape == (1, 1, link_film.NODES)
    assert stage.books.find("link.swing", Kind.LIMIT).value.item() <= 0.0
    assert link_film.TRAITS.swings
    assert not link_film_small.TRAITS.swings


def test_film_for_direct_voltage_bears_a_fifth_of_its_rating():
    case = make_case(Point())
    _, link, stage = placed(link_film, case, design_of("film-33u-250V", 2.0))
    limit = placed_books(stage, case).find("link.film.swing", Kind.LIMIT)
    assert limit.bound.item() == pytest.approx(50.0)
    assert limit.actual.item() == pytest.approx(link.v_max.item() - link.v_min.item())


@pytest.mark.parametrize("name", STAGES)
def test_figures_tell_the_link(name):
    case = make_case(Point())
    _, link, stage = placed(STAGES[name], case, design_of("film-68u-250V", 6.0))
    assert book(stage.books, "link.v_min") == link.v_min.item()
    assert book(stage.books, "link.v_max") == link.v_max.item()
    assert book(stage.books, "link.swing") == link.k.item()


@pytest.mark.parametrize("name", STAGES)
def test_laws_of_a_stage(name, rng):
    module = STAGES[name]

    def place(design, case):
        return placed(module, case, design)[2]

    laws(module.Design, place, rng)
    assert not idle_variables(module.Design, place, rng)


@pytest.mark.parametrize("name", STAGES)
def test_some_random_design_meets_every_limit(name, rng):
    module, n = STAGES[name], 3000
    case = make_case(*(Point(), Point(v_grid=132.0), Point(p_ac=30.0)))
    _, design = random_designs(module.Design, n, rng)
    limits = worst_limits(placed_books(placed(module, case, design)[2], case), n)
    met = np.all(np.stack(list(limits.values())) <= 0.0, axis=0)
    assert met.any(), {path: float(x.min()) for path, x in limits.items()}
