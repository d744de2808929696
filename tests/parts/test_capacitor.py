"""Capacitor banks: books, heating, limits and life; the shipped rows obey the size laws."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import brentq

from models import cost
from models.axes import designs, points
from models.ledger import Kind
from models.parts import capacitor, electrolytic
from models.parts.catalogue import Catalogue, read_table
from models.physics.capacitor import (
    E12,
    electrolytic_volume,
    film_resistance,
    film_volume,
    warm_share,
)
from models.physics.lifetime import equivalent_voltage
from models.stress import CapacitorStress

CATALOGUE = Catalogue({n: read_table(n, s) for n, s in capacitor.SCHEMAS.items()})
FILM, CANS, CHIPS = (CATALOGUE[n] for n in ("film", "electrolytic", "ceramic"))


def case(*, thermal=(1.0, 1.0), hours=(8760.0, 0.0), cap=20.0, catalogue=CATALOGUE):
    return SimpleNamespace(
        points=SimpleNamespace(
            f_grid=points([50.0] * len(thermal)), thermal=points(thermal), hours=points(hours)
        ),
        spec=SimpleNamespace(life=SimpleNamespace(electrolytic_cap_years=cap)),
        catalogue=catalogue,
    )


def numbers(table, *names):
    return designs([table.rows.index(n) for n in names]).astype(int)


def film(*names, count=1.0):
    return capacitor.Film(row=numbers(FILM, *names), count=designs([count] * len(names)))


def cans(*names, count=1.0, lying=0):
    one = [1] * len(names)
    mounting = designs(one).astype(int) * lying
    return capacitor.Electrolytic(numbers(CANS, *names), count * designs(one), mounting)


def chips(*names, count=1.0):
    return capacitor.Ceramic(row=numbers(CHIPS, *names), count=designs([count] * len(names)))


def stress(*, v=200.0, swing=0.0, i_line=0.0, i_hf=0.0, f_hf=1e5, peak=None):
    return CapacitorStress(
        v_mean=designs(v), v_max=designs(v + swing / 2 if peak is None else peak),
        v_swing=designs(swing), i_line_rms=designs(i_line), i_hf_rms=designs(i_hf),
        f_hf=designs(f_hf),
    )  # fmt: skip


def margin(bank, name, t, setting=None):
    books = bank.book(t * np.ones((1, 2, 1)), setting or case())
    return books.find(f"bank.{name}", Kind.LIMIT).value


# ---------------------------------------------------------------- the shipped tables


def test_film_rows_fill_the_boxes_of_their_energy():
    c = FILM.columns
    box = c["length"] * c["breadth"] * c["height"]
    law = film_volume(c["c"], c["v_rated"], c["ac_rated"])
    np.testing.assert_allclose(box, law, rtol=0.25)


def test_electrolytic_rows_fill_the_boxes_of_their_energy():
    c = CANS.columns
    np.testing.assert_array_equal(c["length"], c["breadth"])
    box = c["length"] * c["breadth"] * c["height"]
    np.testing.assert_allclose(box, electrolytic_volume(c["c"], c["v_rated"]), rtol=0.25)


def test_ceramic_rows_store_what_their_class_does():
    c = CHIPS.columns
    stored = 0.5 * c["c"] * c["v_rated"] ** 2 / (c["length"] * c["breadth"] * c["height"])
    np.testing.assert_allclose(stored, np.where(c["half"] < 1, 2.8e6, 0.2e6), rtol=0.25)


@pytest.mark.parametrize("table", [FILM, CANS, CHIPS])
def test_rows_have_preferred_values(table):
    decades = 10.0 ** np.arange(-10, 0)
    allowed = np.outer(decades, E12).ravel()
    for c in table.columns["c"]:
        assert np.abs(allowed / c - 1).min() < 1e-9


def test_film_rows_resist_as_two_published_parts_suggest():
    c = FILM.columns
    expected = 10.8e-3 * (5e-6 / c["c"]) ** 0.23
    large = c["c"] >= 2e-6  # in small ones the dielectric rules at 10 kHz
    np.testing.assert_allclose(
        film_resistance(c["r_series"], c["c"], 1e4)[large], expected[large], rtol=0.15
    )


def test_prices_of_the_rows_follow_the_forms():
    c = FILM.columns
    np.testing.assert_allclose(
        c["cost"], cost.film(c["c"], c["v_rated"], c["ac_rated"]), rtol=0.01
    )
    c = CANS.columns
    long = np.where(c["life"] > 6000, 1.3, 1.0)
    np.testing.assert_allclose(
        c["cost"], long * cost.electrolytic(c["c"], c["v_rated"]), rtol=0.01
    )
    c = CHIPS.columns
    np.testing.assert_allclose(c["cost"], cost.ceramic(c["c"], c["v_rated"]), rtol=0.01)


def test_tables_offer_both_dielectric_duties_and_all_ports():
    assert set(FILM.columns["ac_rated"]) == {0.0, 1.0}
    np.testing.assert_array_equal(FILM.columns["v_ac"] > 0, FILM.columns["ac_rated"] > 0)
    assert CANS.columns["v_rated"].min() == 63
    assert CANS.columns["v_rated"].max() == 450


# ------------------------------------------------------------------------ every kind


def test_bank_adds_its_pieces():
    bank = film("film-10u-500V", "film-47u-250V", count=3.0)
    c = capacitor.capacitance(bank, case())[:, 0, 0]
    np.testing.assert_allclose(c, [30e-6, 141e-6])
    books = capacitor.place("bank", bank, stress(), case()).book(designs([50.0, 50.0]), case())
    one = FILM.at("length", bank.row) * FILM.at("breadth", bank.row)
    np.testing.assert_allclose(books.total(Kind.AREA), 3 * one)
    np.testing.assert_allclose(books.total(Kind.VOLUME), 3 * one * FILM.at("height", bank.row))
    np.testing.assert_allclose(books.total(Kind.HEIGHT), FILM.at("height", bank.row))
    np.testing.assert_allclose(books.total(Kind.COST), 3 * FILM.at("cost", bank.row))
    np.testing.assert_allclose(books.total(Kind.MASS), 3 * FILM.at("mass", bank.row))
    np.testing.assert_allclose(books.total(Kind.PIECES), 3.0)


KINDS = [
    film("film-10u-500V", count=2.0),
    cans("can-100u-450V-5kh", count=2.0),
    chips("x7r-1u-450V", count=2.0),
]


@pytest.mark.parametrize("design", KINDS, ids=["film", "electrolytic", "ceramic"])
def test_books_are_finite_whatever_the_stress(design):
    setting = case()
    for wild in (
        stress(v=0.0, f_hf=0.0),
        stress(v=1e5, swing=1e5, i_line=1e3, i_hf=1e4),
        stress(v=350.0, swing=20.0, i_line=0.5, i_hf=1.0),
    ):
        bank = capacitor.place("bank", design, wild, setting)
        for potted in (0.0, 1.0):
            for t_air in (-40.0, 60.0, 260.0):
                t = bank.temperature(t_air + points([0.0, 0.0]), designs(potted))
                books = bank.book(t, setting)
                for entry in books.entries:
                    assert np.isfinite(entry.value).all(), entry.path
                assert np.array_equal(books.total(Kind.LOSS), bank.loss(t))
                assert bank.items(t, setting)[0].quantity == 2


@pytest.mark.parametrize("design", KINDS, ids=["film", "electrolytic", "ceramic"])
def test_potting_never_heats_a_capacitor_and_its_limits_can_be_met(design):
    bank = capacitor.place("bank", design, stress(v=300.0, swing=5.0, i_line=0.05), case())
    air = bank.temperature(designs(60.0), designs(0.0))
    potted = bank.temperature(designs(60.0), designs(1.0))
    assert ((potted > 60.0) & (potted <= air)).all()
    for entry in bank.book(air, case()).of(Kind.LIMIT):
        assert (entry.value <= 0).all(), entry.path


@pytest.mark.parametrize("design", KINDS, ids=["film", "electrolytic", "ceramic"])
def test_temperature_limits_rest_where_heat_does_not_last(design):
    bank = capacitor.place("bank", design, stress(v=300.0), case(thermal=(1.0, 0.0)))
    found = margin(bank, "temperature", 140.0, case(thermal=(1.0, 0.0)))
    assert found[0, 0, 0] > 0 > found[0, 1, 0]


@pytest.mark.parametrize("design", KINDS, ids=["film", "electrolytic", "ceramic"])
def test_three_times_the_pieces_bear_three_times_the_current(design):
    t_air = points([60.0, 60.0])

    def bank(times):
        more = dataclasses.replace(design, count=times * design.count)
        load = stress(v=200.0, i_line=times * 0.05, i_hf=times * 0.5)
        return capacitor.place("bank", more, load, case())

    one, three = bank(1.0), bank(3.0)
    t = one.temperature(t_air, designs(0.0))
    assert (t > 60.0).all()
    np.testing.assert_allclose(three.temperature(t_air, designs(0.0)), t)
    np.testing.assert_allclose(three.loss(t), 3 * one.loss(t))
    for a, b in zip(one.book(t, case()).of(Kind.LIMIT), three.book(t, case()).of(Kind.LIMIT),
                    strict=True):  # fmt: skip
        np.testing.assert_allclose(a.value, b.value)


@pytest.mark.parametrize("spare", [(KINDS[0], 500 / 1.1), (KINDS[1], 450 / 1.05), (KINDS[2], 375)])
def test_rated_voltage_leaves_the_usual_spare(spare):
    design, bound = spare
    bank = capacitor.place("bank", design, stress(v=300.0, peak=bound * 1.01), case())
    assert margin(bank, "voltage", 40.0).max() == pytest.approx(0.01)


def test_a_batch_equals_its_designs_one_by_one():
    names = ("film-10u-500V", "film-47u-250V", "film-1u-630V-305VAC")
    setting, load = case(), stress(v=190.0, swing=48.0, i_line=0.8, i_hf=1.2)
    t = points([50.0, 70.0])

    def entries(*chosen):
        bank = capacitor.place("bank", film(*chosen), load, setting)
        return bank.book(bank.temperature(t, designs(0.0)), setting).entries

    for i, name in enumerate(names):
        for whole, single in zip(entries(*names), entries(name), strict=True):
            pick = whole.value[i : i + 1] if whole.value.shape[0] > 1 else whole.value
            np.testing.assert_array_equal(pick, single.value)


# ------------------------------------------------------------------------------ film


def test_film_heats_by_both_currents():
    bank = capacitor.place("bank", film("film-10u-500V", count=2.0),
                           stress(i_line=2.0, i_hf=4.0, f_hf=1e5), case())  # fmt: skip
    slow = 8.1e-3 + 5e-4 / (2 * np.pi * 100 * 10e-6)
    fast = 8.1e-3 + 5e-4 / (2 * np.pi * 1e5 * 10e-6)
    expected = (2.0**2 * slow + 4.0**2 * fast) / 2
    assert bank.loss(designs(60.0))[0, 0, 0] == pytest.approx(expected)


def test_film_at_its_rated_current_rises_seventeen_kelvin():
    for name in ("film-10u-500V", "film-1u-630V-305VAC", "film-47u-250V"):
        rated = FILM.at("i_rms", numbers(FILM, name)).item()
        bank = capacitor.place("bank", film(name), stress(i_hf=rated, f_hf=1e4), case())
        assert margin(bank, "current", 50.0).max() == pytest.approx(0, abs=1e-9)
        rise = bank.temperature(designs(50.0), designs(0.0))[0, 0, 0] - 50.0
        assert rise == pytest.approx(17.3, rel=0.15)  # two digits of the rating


@pytest.mark.published("data sheet of a DC-link film series: ripple at most 0.2·V_R peak to peak")
def test_direct_voltage_film_swings_at_most_a_fifth_of_its_rating():
    bank = capacitor.place("bank", film("film-47u-250V"), stress(v=190.0, swing=48.0), case())
    assert margin(bank, "swing", 50.0).max() == pytest.approx(48 / 50 - 1)
    wide = capacitor.place("bank", film("film-47u-250V"), stress(v=190.0, swing=85.0), case())
    assert margin(wide, "swing", 50.0).max() > 0.5


def test_film_rated_for_alternating_voltage_swings_freely():
    bank = film("film-10u-630V-305VAC")
    port = capacitor.place("bank", bank, stress(v=230.0, swing=300.0), case())
    assert margin(port, "swing", 50.0).max() == pytest.approx(300 / (2 * 2**0.5 * 305) - 1)


@pytest.mark.published("data sheet of a DC-link film series, 2017: 1.5 % a kelvin above 85 °C")
def test_film_gives_up_voltage_above_85_degrees():
    bank = capacitor.place("bank", film("film-10u-500V"), stress(v=400.0), case())
    assert margin(bank, "voltage", 85.0).max() == pytest.approx(400 * 1.1 / 500 - 1)
    assert margin(bank, "voltage", 95.0).max() == pytest.approx(400 * 1.1 / (500 * 0.85) - 1)


def test_film_life_counts_hours_swing_and_heat():
    bank = capacitor.place("bank", film("film-10u-500V"), stress(v=450.0), case())
    t = points([70.0, 120.0])  # the second point has no hours
    life = bank.life(t, case()).item()
    assert life == pytest.approx(2e5 * (500 / 450) ** 7)
    swung = capacitor.place("bank", film("film-10u-500V"), stress(v=450.0, swing=112.5), case())
    wear = (equivalent_voltage(designs(450.0), designs(112.5)).item() / 450) ** 7
    assert life / swung.life(t, case()).item() == pytest.approx(wear)
    assert wear > 1.16


# --------------------------------------------------------------------- electrolytic


def test_electrolytic_core_temperature_is_the_root_of_its_heat_balance():
    for current in (0.3, 0.6, 0.9):
        bank = capacitor.place("bank", cans("can-100u-450V-5kh"), stress(v=400.0, i_line=current),
                               case())  # fmt: skip
        for t_air in (-20.0, 30.0, 80.0):
            resistance = 1 / (10 * bank.surface.item()) + electrolytic.CORE_TO_CAN

            def balance(t, t_air=t_air, resistance=resistance, bank=bank):
                heat = bank.cold_heat[0, 0, 0] * warm_share(designs(t)).item()
                return t - t_air - resistance * heat

            root = brentq(balance, t_air, t_air + 500)
            found = bank.temperature(designs(t_air), designs(0.0))[0, 0, 0]
            assert found == pytest.approx(root, abs=0.1 if root - t_air < 15 else 5)
            assert found <= root + 1e-9


def test_electrolytic_at_its_rated_ripple_rises_as_rated():
    for name in CANS.rows:
        index = numbers(CANS, name)
        rated = CANS.at("i_ripple", index).item() * 0.979  # 100 Hz instead of 120 Hz
        bank = capacitor.place("bank", cans(name), stress(v=50.0, i_line=rated), case())
        rise = bank.temperature(designs(105.0), designs(0.0))[0, 0, 0] - 105.0
        assert rise == pytest.approx(CANS.at("rise", index).item(), rel=0.10)
        assert margin(bank, "current", 110.0).max() == pytest.approx(0, abs=2e-3)


def test_cool_electrolytic_bears_more_ripple():
    bank = capacitor.place("bank", cans("can-100u-450V-5kh"), stress(i_line=0.42 * 0.979), case())
    at_55 = margin(bank, "current", 60.0).max()
    assert at_55 + 1 == pytest.approx(1 / 2.5, rel=2e-3)


def test_electrolytic_life_is_that_of_the_ten_kelvin_rule_with_the_ceiling_beside_it():
    bank = capacitor.place("bank", cans("can-100u-450V-10kh"), stress(v=405.0), case())
    books = bank.book(points([65.0, 150.0]), case())
    life = books.find("bank", Kind.LIFE).value.item()
    assert life == pytest.approx(2 * 147231, rel=1e-3)
    assert books.find("bank.capped", Kind.FIGURE).value.item() == 20.0


def test_lying_can_trades_height_for_board():
    name = "can-100u-450V-5kh"
    books = [
        capacitor.place("bank", cans(name, lying=k), stress(), case()).book(designs(50.0), case())
        for k in (0, 1)
    ]
    heights = [b.total(Kind.HEIGHT).item() for b in books]
    areas = [b.total(Kind.AREA).item() for b in books]
    assert heights == pytest.approx([32e-3, 20e-3])
    assert areas == pytest.approx([20e-3 * 20e-3, 20e-3 * 32e-3])
    assert books[0].total(Kind.VOLUME) == pytest.approx(books[1].total(Kind.VOLUME))


@pytest.mark.published("endurance test of an electrolytic series, 2008: −20 %, twice tan δ")
def test_worn_electrolytic_has_lost_a_fifth_and_resists_twice():
    worn = case(catalogue=electrolytic.end_of_life(CATALOGUE))
    design, load = cans("can-220u-400V-5kh"), stress(v=350.0, i_line=0.5)
    ratio = capacitor.capacitance(design, worn) / capacitor.capacitance(design, case())
    assert ratio.item() == pytest.approx(0.8)
    t = designs(60.0)
    heat = [capacitor.place("bank", design, load, c).loss(t)[0, 0, 0] for c in (worn, case())]
    assert heat[0] / heat[1] == pytest.approx(2.0)
    assert worn.catalogue["film"] is CATALOGUE["film"]


# -------------------------------------------------------------------------- ceramic


def test_class_two_ceramic_loses_capacitance_by_bias_and_age():
    design = chips("x7r-1u-100V", count=4.0)
    rated = capacitor.capacitance(design, case()).item()
    at_half = capacitor.capacitance_at(design, designs(45.0), case()).item()
    assert at_half / rated == pytest.approx(0.5 * 0.875)


def test_class_one_ceramic_and_film_keep_theirs():
    for design in (chips("c0g-10n-250V"), film("film-10u-500V")):
        rated = capacitor.capacitance(design, case()).item()
        biased = capacitor.capacitance_at(design, designs(200.0), case()).item()
        assert biased == pytest.approx(rated, rel=1e-4)


def test_ceramic_heats_by_its_loss_factor_at_the_biased_capacitance():
    load = stress(v=0.45 * 450, i_line=0.01, i_hf=0.8, f_hf=1e5)
    bank = capacitor.place("bank", chips("x7r-1u-450V", count=2.0), load, case())
    c = 1e-6 * 0.5 * 0.875
    slow = 3e-3 + 0.015 / (2 * np.pi * 100 * c)
    fast = 3e-3 + 0.015 / (2 * np.pi * 1e5 * c)
    heat = (0.01**2 * slow + 0.8**2 * fast) / 2
    assert bank.loss(designs(60.0))[0, 0, 0] == pytest.approx(heat)
    rise = bank.temperature(designs(60.0), designs(0.0))[0, 0, 0] - 60.0
    assert rise == pytest.approx(40.0 * heat / 2)


def test_ceramics_do_not_wear_out():
    bank = capacitor.place("bank", chips("x7r-1u-450V"), stress(v=200.0, i_hf=0.5), case())
    assert not list(bank.book(designs(60.0), case()).of(Kind.LIFE))


def test_placed_bank_is_a_plain_record():
    bank = capacitor.place("bank", film("film-10u-500V"), stress(), case())
    assert dataclasses.is_dataclass(bank)
    assert bank.anchor.value == "inside"
