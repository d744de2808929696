"""Operating points: weights, corners and the year that a specification asks for."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from models.catalogues import SCHEMAS, catalogue
from models.climate import climate
from models.errors import CatalogueError, SpecError
from models.module_view import module_views
from models.operating import make_case, oddities, operating_points
from models.parts.catalogue import DATA
from models.points import Purpose
from models.pv_module import cell_temperature, listed_modules, power_point
from models.site import WEIGHTS
from models.spec import ComplaintError, Parts, Specification
from models.year import SHARE_AC, derating, year_bins

HERE = Path()
SHEET = {"v_mp_v": 33.0, "i_mp_a": 9.8, "v_oc_v": 40.2, "i_sc_a": 10.4, "p_mp_pct_per_c": -0.36}
GRID = {"voltage_v": 120, "frequency_hz": 60}


def asked(**changes):
    sections = {"module": [SHEET], "grid": [GRID], "output": {"rated_power_w": 300}}
    return Specification.model_validate({**sections, **changes})


def rows(points, purpose):
    return [i for i, p in enumerate(points.purpose) if p is purpose]


def row(points, label):
    """Return the one row whose label begins so, as plain numbers."""
    (i,) = [i for i, name in enumerate(points.label) if name.startswith(label)]
    return {
        field.name: getattr(points, field.name)[0, i, 0]
        for field in dataclasses.fields(points)
        if field.name not in ("label", "purpose")
    }


@pytest.fixture(scope="module")
def plain():
    with np.errstate(all="raise", under="ignore"):
        return operating_points(asked(), HERE)


@pytest.mark.published("CEC and EN 50530 weights, as printed on public pages")
@pytest.mark.parametrize(("name", "expected"), [("cec", 0.967916), ("european", 0.964713)])
def test_weights_give_the_weighted_efficiency_of_a_known_loss_curve(name, expected):
    # Loss 0.005 + 0.01·p + 0.02·p² per unit of rated power; the sum is arithmetic.
    efficiency = sum(
        weight * load / (load + 0.005 + 0.01 * load + 0.02 * load**2)
        for load, weight in WEIGHTS[name]
    )
    assert efficiency == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("weighting", ["cec", "european"])
@pytest.mark.parametrize("three", [False, True])
def test_weights_sum_to_one_and_hours_to_a_year(weighting, three):
    spec = asked(
        output={"rated_power_w": 300, "weighting": weighting, "three_voltages": three},
        module=[SHEET, {**SHEET, "v_mp_v": 40.0, "v_oc_v": 48.8, "cells_in_series": 72}],
        grid=[GRID, {"voltage_v": 230, "frequency_hz": 50}],
    )
    points = operating_points(spec, HERE)
    assert points.weight.sum() == pytest.approx(1.0, rel=1e-12)
    assert points.hours.sum() == pytest.approx(8760.0, rel=1e-12)
    assert len(rows(points, Purpose.WEIGHTED)) == 4 * 6 * (3 if three else 1)


def test_every_column_is_finite_and_lies_along_the_points(plain):
    assert plain.count == 20
    for field in dataclasses.fields(plain):
        value = getattr(plain, field.name)
        if field.name not in ("label", "purpose"):
            assert value.shape == (1, 20, 1), field.name
            assert np.isfinite(value).all(), field.name
    assert len(set(plain.label)) == plain.count
    for positive in ("v_pv", "v_grid", "f_grid", "kappa", "v_nominal"):
        assert (getattr(plain, positive) > 0).all()


def test_weighted_rows_are_measured_as_in_a_laboratory(plain):
    chosen = rows(plain, Purpose.WEIGHTED)
    np.testing.assert_allclose(plain.p_ac[0, chosen, 0], [30, 60, 90, 150, 225, 300], rtol=1e-12)
    np.testing.assert_allclose(plain.v_pv[0, chosen, 0], 33.0, rtol=1e-4)
    np.testing.assert_allclose(plain.v_grid[0, chosen, 0], 120.0)
    np.testing.assert_allclose(plain.t_air[0, chosen, 0], 25.0)
    assert (plain.hours[0, chosen, 0] == 0).all()


def test_weighted_rows_keep_unity_power_factor_and_corners_the_one_asked_for():
    spec = asked(output={"rated_power_w": 300, "power_factor": -0.9})
    points = operating_points(spec, HERE)
    for i, purpose in enumerate(points.purpose):
        wanted = 1.0 if purpose is Purpose.WEIGHTED else -0.9
        assert points.power_factor[0, i, 0] == wanted


def test_three_voltages_span_the_window_with_equal_thirds():
    spec = asked(output={"rated_power_w": 300, "three_voltages": True})
    points = operating_points(spec, HERE)
    (view,) = module_views(spec)
    chosen = rows(points, Purpose.WEIGHTED)
    for voltage in (view.v_low, view.v_nominal, view.v_high):
        same = [i for i in chosen if points.v_pv[0, i, 0] == voltage]
        assert points.weight[0, same, 0].sum() == pytest.approx(1 / 3, rel=1e-12)


def test_corners_stand_at_the_edges_of_both_windows(plain):
    low, high = row(plain, "lowest module"), row(plain, "highest module")
    # 60 cells: about 80 % and 115 % of the voltage at 25 °C, by -0.4 %/K over 45 and -35 K.
    assert low["v_pv"] == pytest.approx(0.81 * 33, rel=0.02)
    assert high["v_pv"] == pytest.approx(1.14 * 33, rel=0.02)
    assert row(plain, "lowest grid")["v_grid"] == pytest.approx(0.88 * 120)
    assert row(plain, "highest grid")["v_grid"] == pytest.approx(1.10 * 120)
    for label in ("lowest module", "highest module", "lowest grid", "highest grid"):
        corner = row(plain, label)
        assert corner["p_ac"] == 300
        assert corner["thermal"] == 1
        assert corner["weight"] == corner["hours"] == 0


def test_the_air_behind_a_module_is_warmer_than_the_ambient_by_the_sun(plain):
    # 45 °C, 1000 W/m²: 45 + 0.02·1000 = 65 °C; the cell by the NOCT rule 76.25 °C.
    hot = row(plain, "lowest grid")
    assert hot["t_air"] == pytest.approx(65.0)
    assert hot["t_module"] == pytest.approx(76.25)
    open_air = operating_points(asked(roof={"module_side": False}), HERE)
    assert row(open_air, "lowest grid")["t_air"] == pytest.approx(45.0)
    assert row(open_air, "lowest grid")["t_module"] == pytest.approx(45.0)


def test_the_hottest_roof_gives_up_power_along_the_slope(plain):
    assert row(plain, "hottest roof")["p_ac"] == pytest.approx(300 * (1 - 0.02 * 10))
    assert row(plain, "hottest roof")["t_air"] == pytest.approx(75.0)
    spec = asked(roof={"derating_pct_per_k": 0})
    assert row(operating_points(spec, HERE), "hottest roof")["p_ac"] == 300


def test_idle_is_cold_open_circuit_under_the_transient_grid(plain):
    idle = row(plain, "idle")
    # -0.28 to -0.31 %/K over 45 K above the 40.2 V of the sheet.
    assert idle["v_pv"] == pytest.approx(40.2 * 1.13, rel=0.015)
    assert idle["v_grid"] == pytest.approx(1.2 * 120)
    assert idle["p_ac"] == idle["thermal"] == idle["hours"] == 0
    assert idle["t_air"] == -20


def test_load_rejection_is_full_power_at_the_highest_grid(plain):
    lost = row(plain, "load rejection")
    assert lost["p_ac"] == 300
    assert lost["v_grid"] == pytest.approx(132)
    assert (lost["rejection"], lost["thermal"]) == (1, 0)
    assert plain.rejection.sum() == 1


def test_the_night_is_long_dark_and_without_limits(plain):
    night = row(plain, "year: 6 °C, 0 W/m²")
    assert night["p_ac"] == night["irradiance"] == night["thermal"] == 0
    assert night["v_pv"] == pytest.approx(33.0, rel=1e-4)
    assert night["v_grid"] == 120
    assert 4000 < night["hours"] < 4800


def hourly(spec, year):
    """Return power and local air of every bin of the uncompressed year, written anew."""
    (view,) = module_views(spec)
    cell = cell_temperature(year.ambient, year.irradiance, 45.0)
    available = SHARE_AC * power_point(view.diode, year.irradiance, cell).p_mp
    power = np.minimum(300 * derating(year.ambient, spec), available)
    return np.where(power > 1.5, power, 0.0), year.ambient + 0.02 * year.irradiance


@pytest.mark.parametrize("profile", ["temperate", "hot_desert", "cold_continental"])
def test_a_compressed_year_keeps_energy_and_ageing(profile):
    spec = asked(climate={"profile": profile})
    year = climate(spec.climate, HERE)
    power, air = hourly(spec, year)
    bins = year_bins(year, module_views(spec)[0], spec)
    assert len(bins) <= 7
    energy = sum(b.power * b.hours for b in bins)
    assert energy == pytest.approx((power * year.hours).sum(), rel=1e-12)
    (view,) = module_views(spec)
    voltage = power_point(
        view.diode, year.irradiance, cell_temperature(year.ambient, year.irradiance, 45.0)
    ).v_mp
    volts = sum(b.power * b.hours * b.v_pv for b in bins) / energy
    assert volts == pytest.approx(
        (power * year.hours * voltage).sum() / (power * year.hours).sum(), rel=1e-9
    )
    for heating in (10.0, 25.0, 40.0):
        ageing = (2.0 ** ((air + heating * power / 300) / 10) * year.hours).sum()
        kept = sum(2.0 ** ((b.t_air + heating * b.power / 300) / 10) * b.hours for b in bins)
        assert kept == pytest.approx(ageing, rel=1e-9 if heating == 25 else 0.03)


def test_a_year_of_two_bins_is_kept_as_it_is(tmp_path):
    (tmp_path / "year.csv").write_text(
        "ambient [°C],irradiance [W/m²],hours [h]\n5,0,5000\n20,600,3760\n", encoding="utf-8"
    )
    points = operating_points(asked(climate={"csv": "year.csv"}), tmp_path)
    chosen = rows(points, Purpose.CLIMATE)
    assert points.hours[0, chosen, 0].tolist() == [5000, 3760]
    assert points.t_air[0, chosen, 0] == pytest.approx([5, 32], rel=1e-9)


def test_power_in_the_year_never_exceeds_the_rating():
    spec = asked(output={"rated_power_w": 200}, climate={"profile": "hot_desert"})
    points = operating_points(spec, HERE)
    assert points.p_ac.max() == 200
    chosen = rows(points, Purpose.CLIMATE)
    (view,) = module_views(spec)
    assert (points.v_pv[0, chosen, 0] >= view.v_low).all()
    assert (points.v_pv[0, chosen, 0] <= view.v_high).all()


def test_the_hardest_combination_lives_the_year():
    tall = {**SHEET, "v_mp_v": 40.0, "v_oc_v": 48.8, "cells_in_series": 72, "name": "tall"}
    spec = asked(
        module=[tall, {**SHEET, "name": "small"}],
        grid=[{"voltage_v": 240, "frequency_hz": 60, "kind": "split_phase"}, GRID],
    )
    points = operating_points(spec, HERE)
    assert points.count == 4 * 13 + 7
    chosen = rows(points, Purpose.CLIMATE)
    assert all(points.label[i].endswith("(small, 120 V)") for i in chosen)
    assert set(points.v_nominal[0, :, 0]) == {120, 240}
    assert len(set(points.label)) == points.count


def test_a_listed_module_takes_its_own_ratings():
    table = listed_modules().T
    name = table[(table.N_s == 60) & table.STC.astype(float).between(299, 301)].index[0]
    spec = asked(module=[{"listed": name}])
    (view,) = module_views(spec)
    assert view.v_nominal == pytest.approx(float(table.loc[name].V_mp_ref), rel=0.01)
    assert view.diode.noct == float(table.loc[name].T_NOCT)
    assert operating_points(spec, HERE).count == 20


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"module": [{"v_mp_v": 50.0, "i_mp_a": 7.0, "v_oc_v": 60.0, "i_sc_a": 7.5,
                      "cells_in_series": 90, "name": "long"}]},
         "long: open-circuit voltage when cold is 6"),
        ({"output": {"rated_power_w": 400}}, "output.rated_power_w = 400: never reached"),
        ({"output": {"rated_power_w": 160}}, "output.rated_power_w = 160: much is cut off"),
        ({"grid": [{**GRID, "kind": "split_phase"}]}, "grid.kind = 'split_phase' with"),
        ({"life": {"use_cap": True}}, "life.use_cap holds electrolytics to 20 years"),
        ({"climate": {"profile": "hot_desert"},
          "roof": {"hot_ambient_c": 40, "full_power_ambient_c": 35}}, "the climate reaches 4"),
        ({"module": [{**SHEET, "window_v": [12.0, 50.0]}]}, "from 12.0 to 50.0 V leaves"),
    ],
)  # fmt: skip
def test_odd_but_lawful_wishes_are_pointed_out(changes, expected):
    assert any(expected in text for text in oddities(asked(**changes), HERE))


def test_nothing_is_odd_about_a_plain_specification():
    assert oddities(asked(), HERE) == ()


def test_a_case_holds_every_table(plain):
    case = make_case(asked(), HERE)
    assert set(case.catalogue.tables) == set(SCHEMAS)
    np.testing.assert_array_equal(case.points.v_pv, plain.v_pv)


def test_the_same_specification_makes_the_same_bits():
    first, second = (make_case(asked(), HERE).points for _ in range(2))
    for field in dataclasses.fields(first):
        np.testing.assert_array_equal(getattr(first, field.name), getattr(second, field.name))


@pytest.mark.parametrize("name", SCHEMAS)
def test_a_shipped_table_may_be_replaced_by_a_copy_with_fewer_rows(name, tmp_path):
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "mine.csv").write_text("\n".join(lines[:2]) + "\n", encoding="utf-8")
    tables = catalogue(Parts.model_validate({name: "mine.csv"}), tmp_path).tables
    assert len(tables[name].rows) == 1


def test_a_broken_replacement_is_refused_with_file_row_and_column(tmp_path):
    lines = (DATA / "ferrites.csv").read_text(encoding="utf-8").splitlines()
    cells = lines[1].split(",")
    cells[1] = "nan"
    (tmp_path / "mine.csv").write_text(f"{lines[0]}\n{','.join(cells)}\n", encoding="utf-8")
    with pytest.raises(CatalogueError, match=r"mine\.csv:2:\d+: row 2, column 'p1 \[kW/m³\]'"):
        make_case(asked(parts={"ferrites": "mine.csv"}), tmp_path)


def test_excluded_rows_disappear_and_unknown_ones_are_refused():
    name = catalogue(Parts(), HERE)["ferrites"].rows[0]
    left = catalogue(Parts(exclude=(name,)), HERE)["ferrites"].rows
    assert name not in left
    with pytest.raises(ComplaintError, match=f"no table has a row '{name}x'") as caught:
        catalogue(Parts(exclude=(name + "x",)), HERE)
    assert caught.value.remedy == f"did you mean {name!r}?"


def test_a_table_may_not_be_emptied():
    everything = catalogue(Parts(), HERE)["ferrites"].rows
    with pytest.raises(SpecError, match="nothing is left of the table ferrites"):
        make_case(asked(parts={"exclude": list(everything)}), HERE)
