"""The module's model: against the public list, against averaging over the ripple."""

import dataclasses

import numpy as np
import pytest
from pvlib import pvsystem

from models.pv_module import (
    SingleDiode,
    cell_temperature,
    listed_modules,
    power_point,
    single_diode,
)
from models.spec import ComplaintError, Module

# Two rows of the public list, by their numbers: a 72-cell module of the 400 W class and
# a 60-cell one of the 300 W class.
SEVENTY_TWO = SingleDiode(
    a=1.851874,
    i_light=10.203273,
    i_saturation=2.69987e-11,
    r_series=0.176758,
    r_shunt=135.703552,
    alpha=0.003057 * (1 - 13.312626 / 100),
    band_gap=1.121,
    band_gap_slope=-0.0002677,
    noct=45.0,
)
SIXTY = SingleDiode(
    a=1.546993,
    i_light=9.98842,
    i_saturation=6.636292e-11,
    r_series=0.338867,
    r_shunt=401.62326,
    alpha=0.002994 * (1 + 1.039589 / 100),
    band_gap=1.121,
    band_gap_slope=-0.0002677,
    noct=45.0,
)
SHEET = Module(
    v_mp_v=33.0,
    i_mp_a=9.8,
    v_oc_v=40.0,
    i_sc_a=10.3,
    i_sc_pct_per_c=0.05,
    v_oc_pct_per_c=-0.28,
    cells_in_series=60,
)


def at(diode, irradiance, cell):
    return power_point(diode, np.atleast_1d(float(irradiance)), np.atleast_1d(float(cell)))


def current(diode, v, irradiance, cell):
    """Return I(V) by pvlib, independently of the formulas under test."""
    conditions = pvsystem.calcparams_desoto(
        irradiance, cell, diode.alpha, diode.a, diode.i_light, diode.i_saturation,
        diode.r_shunt, diode.r_series, EgRef=diode.band_gap, dEgdT=diode.band_gap_slope,
    )  # fmt: skip
    with np.errstate(all="ignore"):
        return pvsystem.i_from_v(v, *conditions)


@pytest.mark.published("CEC module list, as carried by pvlib")
def test_standard_conditions_give_the_ratings_of_the_list():
    point = at(SEVENTY_TWO, 1000, 25)
    assert point.v_mp[0] == pytest.approx(41.80, rel=1e-3)
    assert point.i_mp[0] == pytest.approx(9.46, rel=1e-3)
    assert point.v_oc[0] == pytest.approx(49.30, rel=1e-3)
    assert current(SEVENTY_TWO, np.zeros(1), 1000, 25)[0] == pytest.approx(10.19, rel=1e-3)


def test_voltage_and_power_move_with_sun_and_temperature():
    # Computed with pvlib's calcparams_cec and singlediode from the same row.
    hot, dim, cold = (
        at(SEVENTY_TWO, 1000, 65),
        at(SEVENTY_TWO, 200, 30),
        at(SEVENTY_TWO, 1000, -10),
    )
    assert hot.v_mp[0] == pytest.approx(35.75, rel=1e-3)
    assert hot.p_mp[0] == pytest.approx(338.4, rel=1e-3)
    assert dim.v_mp[0] == pytest.approx(39.37, rel=1e-3)
    assert dim.p_mp[0] == pytest.approx(74.65, rel=1e-3)
    assert cold.v_mp[0] == pytest.approx(47.14, rel=1e-3)
    assert cold.v_oc[0] == pytest.approx(54.35, rel=1e-3)


@pytest.mark.parametrize(
    ("diode", "cell", "kappa"),
    [(SEVENTY_TWO, 25, 22.2), (SEVENTY_TWO, 65, 17.1), (SIXTY, 25, 18.6), (SIXTY, 65, 13.8)],
)
def test_curvature_is_the_second_derivative_of_the_power(diode, cell, kappa):
    point = at(diode, 1000, cell)
    v, p, h = point.v_mp[0], point.p_mp[0], 1e-3 * point.v_mp[0]
    power = [x * current(diode, np.array([x]), 1000, cell)[0] for x in (v - h, v, v + h)]
    numeric = -(power[0] - 2 * power[1] + power[2]) / h**2 * v**2 / p
    assert point.kappa[0] == pytest.approx(numeric, rel=3e-3)
    assert point.kappa[0] == pytest.approx(kappa, rel=5e-3)


@pytest.mark.parametrize(
    ("diode", "cell", "r", "loss"),
    [(SEVENTY_TWO, 25, 0.04, 0.00916), (SIXTY, 25, 0.04, 0.00753)],
)
def test_ripple_costs_a_quarter_of_curvature_times_its_square(diode, cell, r, loss):
    theta = (np.arange(2000) + 0.5) / 2000 * 2 * np.pi
    point = at(diode, 1000, cell)
    v = point.v_mp[0] * (1 + r * np.sin(theta))
    averaged = 1 - np.mean(v * current(diode, v, 1000, cell)) / point.p_mp[0]
    assert averaged == pytest.approx(loss, rel=2e-3)
    formula = point.kappa[0] * r**2 / 4
    assert formula == pytest.approx(averaged, rel=0.05)
    assert formula < averaged


@pytest.mark.published("Kjaer, Pedersen and Blaabjerg, IEEE Trans. Ind. Appl. 41(5), 2005")
def test_the_old_rule_of_two_per_cent_at_eight_and_a_half_means_a_softer_module():
    # Their example (from memory): 98 % utilisation at a ripple of 8.5 % means κ = 11.07;
    # modules of today bend more sharply, so that the rule is optimistic for them.
    kappa = 4 * 0.02 / 0.085**2
    assert kappa == pytest.approx(11.07, rel=0.01)
    assert at(SIXTY, 1000, 65).kappa[0] > 1.2 * kappa


def test_conditions_of_no_sun_stay_finite():
    point = at(SIXTY, 0, -40)
    for field in dataclasses.fields(point):
        assert np.isfinite(getattr(point, field.name)).all()
    assert 0 < point.p_mp[0] < 1


def test_the_cell_is_at_its_nominal_temperature_in_nominal_conditions():
    assert cell_temperature(np.array([20.0]), np.array([800.0]), 46.0)[0] == pytest.approx(46.0)
    # 35 °C, 1000 W/m², NOCT 45: 66.25 °C by arithmetic.
    assert cell_temperature(np.array([35.0]), np.array([1000.0]), 45.0)[0] == pytest.approx(66.25)


def test_the_fitted_curve_passes_through_the_data_sheet():
    diode = single_diode(SHEET)
    point = at(diode, 1000, 25)
    assert point.v_mp[0] == pytest.approx(33.0, rel=1e-4)
    assert point.i_mp[0] == pytest.approx(9.8, rel=1e-4)
    assert point.v_oc[0] == pytest.approx(40.0, rel=1e-4)
    assert current(diode, np.zeros(1), 1000, 25)[0] == pytest.approx(10.3, rel=1e-4)
    warm = at(diode, 1000, 35)
    assert warm.v_oc[0] / point.v_oc[0] == pytest.approx(1 - 0.028, rel=1e-4)


def test_the_power_coefficient_decides_where_it_is_given():
    diode = single_diode(SHEET.model_copy(update={"p_mp_pct_per_c": -0.36}))
    power = [at(diode, 1000, cell).p_mp[0] for cell in (25, 65)]
    assert power[1] / power[0] == pytest.approx(1 - 40 * 0.0036, rel=1e-4)


def test_a_module_made_by_the_model_is_found_again_from_its_sheet():
    point, warm = at(SIXTY, 1000, 25), at(SIXTY, 1000, 35)
    i_sc = current(SIXTY, np.zeros(1), 1000, 25)[0]
    beta = (warm.v_oc[0] - point.v_oc[0]) / 10
    diode = single_diode(
        Module(
            v_mp_v=float(point.v_mp[0]),
            i_mp_a=float(point.i_mp[0]),
            v_oc_v=float(point.v_oc[0]),
            i_sc_a=float(i_sc),
            i_sc_pct_per_c=100 * SIXTY.alpha / i_sc,
            v_oc_pct_per_c=100 * beta / point.v_oc[0],
            cells_in_series=60,
        )
    )
    assert diode.a == pytest.approx(SIXTY.a, rel=0.01)  # one step of the search
    assert diode.r_series == pytest.approx(SIXTY.r_series, rel=0.05)
    assert diode.band_gap == pytest.approx(SIXTY.band_gap, rel=0.02)
    assert diode.r_shunt == pytest.approx(SIXTY.r_shunt, rel=0.10)


def rows_like(cells, power, count):
    """Return rows of the public list by their ratings, spread over the list."""
    table = listed_modules().T
    table = table[(table.N_s == cells) & table.STC.astype(float).between(*power)]
    return table.iloc[:: max(len(table) // count, 1)].head(count)


@pytest.mark.published("CEC module list, as carried by pvlib")
@pytest.mark.parametrize(("cells", "power"), [(60, (250, 330)), (72, (300, 420))])
def test_fits_follow_the_list_in_heat_and_in_weak_light(cells, power):
    irradiance = np.array([1000.0, 1000.0, 200.0])
    cell = np.array([65.0, -10.0, 30.0])
    ratios = []
    for name, row in rows_like(cells, power, 12).iterrows():
        sheet = Module(
            v_mp_v=float(row.V_mp_ref),
            i_mp_a=float(row.I_mp_ref),
            v_oc_v=float(row.V_oc_ref),
            i_sc_a=float(row.I_sc_ref),
            i_sc_pct_per_c=100 * float(row.alpha_sc / row.I_sc_ref),
            v_oc_pct_per_c=100 * float(row.beta_oc / row.V_oc_ref),
            p_mp_pct_per_c=float(row.gamma_r),
            cells_in_series=cells,
        )
        fitted, listed = single_diode(sheet), single_diode(Module(listed=name))
        ours = power_point(fitted, irradiance, cell)
        theirs = power_point(listed, irradiance, cell)
        ratios.append([ours.v_mp / theirs.v_mp, ours.p_mp / theirs.p_mp])
    error = np.abs(np.array(ratios) - 1.0)
    # Weak light leans on R_sh, which the list limits otherwise: single rows differ by more.
    assert np.median(error, axis=0).max() < 0.02
    assert error[:, :, :2].max() < 0.03
    assert error.max() < 0.08


def test_a_current_too_near_short_circuit_gives_up_only_the_short_circuit():
    sheet = SHEET.model_copy(
        update={"v_mp_v": 31.0, "i_mp_a": 8.39, "v_oc_v": 38.4, "i_sc_a": 8.6}
    )
    point = at(single_diode(sheet), 1000, 25)
    assert point.v_mp[0] == pytest.approx(31.0, rel=1e-4)
    assert point.i_mp[0] == pytest.approx(8.39, rel=1e-4)
    assert point.v_oc[0] == pytest.approx(38.4, rel=1e-4)


def test_half_cells_counted_twice_are_refused():
    with pytest.raises(ComplaintError, match="180 cells in series") as caught:
        single_diode(SHEET.model_copy(update={"cells_in_series": 180}))
    assert "half-cells" in caught.value.remedy


def test_a_coefficient_that_no_diode_has_is_refused():
    with pytest.raises(ComplaintError, match=r"v_oc_pct_per_c = 0\.9 %/°C does not fit"):
        single_diode(SHEET.model_copy(update={"v_oc_pct_per_c": 0.9}))


def test_an_unknown_row_offers_the_nearest():
    name = rows_like(60, (299, 301), 1).index[0]
    with pytest.raises(ComplaintError, match="has no row") as caught:
        single_diode(Module(listed=name[:-1] + "§"))
    assert "did you mean" in caught.value.remedy
