"""Prices follow their forms and units; the numbers themselves are invented."""

import pytest

from models import cost
from models.axes import designs


def test_film_price_takes_nine_tenths_of_a_microeuro_per_microfarad_and_square_volt():
    assert cost.film(designs(10e-6), designs(500.0)).item() == pytest.approx(
        0.08 + 9e-7 * 10 * 500**2
    )


def test_rating_for_alternating_voltage_adds_half_to_the_film_itself():
    plain = cost.film(designs(10e-6), designs(500.0)).item() - 0.08
    rated = cost.film(designs(10e-6), designs(500.0), designs(1.0)).item() - 0.08
    assert rated == pytest.approx(1.5 * plain)


def test_electrolytic_stores_energy_at_an_eighth_of_the_price_of_film():
    film = cost.film(designs(100e-6), designs(450.0)).item() - 0.08
    can = cost.electrolytic(designs(100e-6), designs(450.0)).item() - 0.06
    assert film / can == pytest.approx(9 / 1.1)


def test_ceramic_price_grows_with_capacitance_times_voltage():
    assert cost.ceramic(designs(2e-6), designs(100.0)).item() == pytest.approx(
        0.01 + 0.0012 * 2 * 100
    )


def test_a_square_centimetre_of_silicon_carbide_costs_sixty():
    assert cost.die(designs(1e-4), cost.DIE_SIC).item() == pytest.approx(60.12)


def test_a_kilogram_of_ferrite_costs_nine_besides_its_bobbin():
    heavy = cost.ferrite_core(designs(1.0), designs(20e-6)).item()
    assert heavy == pytest.approx(0.05 + 9 + 0.10 + 0.004 * 20)


def test_powder_core_price_is_its_mass():
    assert cost.powder_core(designs(0.1)).item() == pytest.approx(1.4)


def test_litz_of_half_the_strand_costs_four_times_the_premium():
    thick = cost.litz_wire(designs(1.0), designs(0.1e-3)).item()
    thin = cost.litz_wire(designs(1.0), designs(0.05e-3)).item()
    assert (thick, thin) == pytest.approx((35.0, 65.0))


def test_copper_prices_rank_by_its_insulation_and_form():
    kilogram = designs(1.0)
    prices = [f(kilogram).item() for f in (cost.solid_wire, cost.foil, cost.insulated_wire)]
    assert prices == [12.0, 20.0, 40.0]


def test_winding_labour_counts_turns():
    assert cost.winding_labour(designs(50)).item() == pytest.approx(0.30)


def test_four_layers_cost_twice_two():
    two = cost.board(designs(100e-4), 2).item()
    assert two == pytest.approx(1.2)
    assert cost.board(designs(100e-4), 4).item() == pytest.approx(2 * two)


def test_box_is_paid_by_surface_and_potting_by_volume():
    assert cost.enclosure(designs(780e-4), designs(400e-6)).item() == pytest.approx(
        0.006 * 780 + 0.0015 * 400
    )


def test_assembly_counts_pieces():
    assert cost.assembly(designs(80)).item() == pytest.approx(2.3)
