"""The rows of the table of cores hold together, and with the geometry of the drawings."""

import math

import numpy as np
import pytest

from models.parts.cores import core
from tests.parts.wound_case import CATALOGUE, case, row

CORES = CATALOGUE["cores"]


def of(name: str, column: str) -> float:
    return float(CORES.columns[column][CORES.rows.index(name)])


def effective(lengths: list[float], areas: list[float]) -> tuple[float, float, float]:
    """Return effective area, length and volume of a magnetic path of several pieces."""
    c_1 = sum(x / a for x, a in zip(lengths, areas, strict=True))
    c_2 = sum(x / a**2 for x, a in zip(lengths, areas, strict=True))
    return c_1 / c_2, c_1**2 / c_2, c_1**3 / c_2**2


def effective_e(a: float, b: float, c: float, d: float, e: float, f: float):
    """Return the effective dimensions of an E core from those of its drawing."""
    leg, back = (a - e) / 2, b - d
    outer, yoke, centre = 2 * leg * c, 2 * back * c, f * c
    bends = [math.pi / 4 * (leg + back), math.pi / 4 * (f / 2 + back)]
    areas = [outer, yoke, centre, (outer + yoke) / 2, (yoke + centre) / 2]
    return effective([2 * d, e - f, 2 * d, *bends], areas)


def effective_ring(outer: float, inner: float, height: float) -> tuple[float, float, float]:
    """Return the effective dimensions of a ring core."""
    ln = math.log(outer / inner)
    c_1 = 2 * math.pi / (height * ln)
    c_2 = 4 * math.pi * (1 / inner - 1 / outer) / (height**2 * ln**3)
    return c_1 / c_2, c_1**2 / c_2, c_1**3 / c_2**2


@pytest.mark.published("data sheet of an E13/7/4 core, 2008; rules of IEC 60205 (from memory)")
def test_effective_dimensions_of_an_e_core_follow_its_drawing():
    found = effective_e(12.65, 6.4, 3.55, 4.65, 9.2, 3.55)
    table = [of("E13/7/4", "a_e") * 1e6, of("E13/7/4", "l_e") * 1e3, of("E13/7/4", "v_e") * 1e9]
    assert table == pytest.approx([12.4, 29.7, 369])
    assert found == pytest.approx(table, rel=0.01)


@pytest.mark.parametrize(
    ("name", "drawing"),
    [
        ("E16/8/5", (16.1, 8.05, 4.5, 5.9, 11.6, 4.55)),
        ("E20/10/6", (20.1, 10.0, 5.65, 7.2, 14.5, 5.7)),
        ("E25/13/7", (25.05, 12.55, 7.2, 8.95, 18.0, 7.25)),
        ("E32/16/9", (32.1, 16.2, 9.15, 11.5, 23.2, 9.2)),
        ("E42/21/15", (42.15, 21.0, 14.95, 15.1, 30.1, 11.95)),
        ("E42/21/20", (42.15, 21.0, 19.75, 15.1, 30.1, 11.95)),
    ],
)
def test_remembered_e_cores_agree_with_their_drawings(name, drawing):
    area, length, volume = effective_e(*drawing)
    assert of(name, "a_e") * 1e6 == pytest.approx(area, rel=0.013)
    assert of(name, "l_e") * 1e3 == pytest.approx(length, rel=0.025)
    assert of(name, "v_e") * 1e9 == pytest.approx(volume, rel=0.02)


@pytest.mark.published("table of ring cores, 25.3/14.8/10 mm (from memory)")
def test_effective_dimensions_of_a_ring():
    assert effective_ring(25.3, 14.8, 10.0) == pytest.approx([51.26, 60.07, 3079], rel=1e-3)


@pytest.mark.parametrize("name", [n for n in CORES.rows if n.startswith("T")])
def test_powder_rings_agree_with_their_size(name):
    outer, inner, height = (float(x) for x in name[1:].split("x"))
    area, length, volume = effective_ring(outer, inner, height)
    # Coating and rounded edges take up to 6 %.
    assert of(name, "a_e") * 1e6 == pytest.approx(area, rel=0.06)
    assert of(name, "l_e") * 1e3 == pytest.approx(length, rel=0.05)
    assert of(name, "v_e") * 1e9 == pytest.approx(volume, rel=0.05)


def test_volume_is_area_times_length_in_every_row():
    columns = CORES.columns
    assert columns["a_e"] * columns["l_e"] == pytest.approx(columns["v_e"], rel=0.01)


def test_least_area_is_at_most_the_effective_one():
    assert (CORES.columns["a_min"] <= CORES.columns["a_e"] * 1.001).all()


def test_window_is_breadth_times_height():
    former = CORES.columns["powder"] < 0.5
    area = CORES.columns["bw"] * CORES.columns["hw"]
    assert area[former] == pytest.approx(CORES.columns["a_w"][former], rel=0.06)


def test_the_box_holds_the_core_and_stands_as_it_is_mounted():
    columns = CORES.columns
    assert (columns["box_l"] * columns["box_w"] * columns["box_h"] > columns["v_e"]).all()
    flat = np.array([f in ("E", "ETD") for f in CORES.texts["family"]])
    lowest = np.minimum(columns["box_l"], columns["box_w"])
    assert (columns["box_h"][flat] <= lowest[flat]).all()


def test_mass_is_that_of_the_volume():
    density = CORES.columns["mass"] / CORES.columns["v_e"]
    expected = np.where(CORES.columns["powder"] > 0.5, 5800.0, 4850.0)
    assert density == pytest.approx(expected, rel=0.02)


@pytest.mark.published("catalogue curve of sendust of permeability 60 (from memory): 544 kW/m³")
def test_sendust_loses_what_its_curve_fit_says():
    powders = CATALOGUE["powders"]
    i = powders.rows.index("sendust 60")
    # 62.65·B^1.781·f^1.36 in mW/cm³, T, kHz.
    assert powders.columns["p"][i] == pytest.approx(62.65e3 * 0.1**1.781 * 100**1.36, rel=1e-3)
    at_50 = powders.columns["p"][i] * 0.5 ** (
        powders.columns["alpha"][i] + powders.columns["beta"][i]
    )
    assert at_50 == pytest.approx(61.7e3, rel=0.03)


@pytest.mark.parametrize(
    ("name", "oersted"),
    [("sendust 26", 220), ("sendust 125", 42), ("high-flux 60", 160), ("MPP 60", 120)],
)
def test_powders_have_half_their_permeability_where_remembered(name, oersted):
    columns = CATALOGUE["powders"].columns
    i = CATALOGUE["powders"].rows.index(name)
    half = columns["a"][i] + columns["b"][i] * oersted ** columns["c"][i]
    assert half == pytest.approx(0.02, rel=0.03)


@pytest.mark.published("data sheets of ETD29 to ETD49: 28/20/16/11/8 K/W (from memory)")
def test_thermal_resistance_follows_the_volume():
    names = ["ETD29/16/10", "ETD34/17/11", "ETD39/20/13", "ETD44/22/15", "ETD49/25/16"]
    found = core(row("cores", *names), case(1)).r_th
    assert found.ravel() == pytest.approx([28, 20, 16, 11, 8], rel=0.25)
