"""A diode position: data, heat, books."""

import types

import numpy as np
import pytest

from models.axes import angles, designs, points
from models.ledger import Kind
from models.parts import diode
from models.parts.catalogue import DATA, Catalogue, read_table
from models.parts.part import Anchor
from models.stress import Commutation, DiodeStress

TABLE = read_table("diodes", diode.SCHEMA)
POTTED = designs(0.0)


@pytest.fixture
def case():
    rows = types.SimpleNamespace(thermal=points([1.0, 0.0]))
    return types.SimpleNamespace(
        spec=types.SimpleNamespace(limits=types.SimpleNamespace(junction_margin_k=25.0)),
        points=rows,
        catalogue=Catalogue({"diodes": TABLE}),
    )


def design(name, parallel=1.0):
    index = np.array([TABLE.rows.index(n) for n in np.atleast_1d(name)]).reshape(-1, 1, 1)
    return diode.Design(index, designs(parallel) + 0.0 * index)


def stress(i_avg=(3.0, 1.0), i_rms=(5.0, 1.5), v_block=400.0, commutations=()):
    return DiodeStress(points(i_avg), points(i_rms), points(v_block), commutations)


def settled(part, t_anchor=80.0):
    return part.temperature(points(t_anchor), POTTED)


@pytest.mark.published("data sheet of an 8 A 650 V silicon-carbide diode, 2019")
@pytest.mark.parametrize(("t", "v_f"), [(25.0, 1.27), (175.0, 1.37)])
def test_silicon_carbide_class_drops_what_its_data_sheet_prints(case, t, v_f):
    # Two diodes of 4 A are one of 8 A.
    one = design("SiC Schottky 650 V 4 A class", 2.0)
    part = diode.place("d", one, stress((8.0,), (8.0,)), case)
    assert part.loss(points(t)).item() / 8.0 == pytest.approx(v_f, rel=0.01)


def test_charge_and_resistance_scale_with_the_rated_current(case):
    own = diode.device(design("SiC Schottky 650 V 4 A class", 2.0), case)
    assert own.i_rated.item() == 8.0
    assert own.charge.q_ref.item() == pytest.approx(8 * 2.9e-9, rel=1e-12)
    assert own.r_d.item() == pytest.approx(0.35 / 8, rel=1e-12)


def test_every_voltage_class_is_there():
    assert sorted(set(TABLE.columns["v_max"])) == [100, 200, 300, 600, 650, 1200]
    for line in (DATA / "diodes.csv").read_text().splitlines()[1:]:
        assert line.endswith(",invented") or (
            " class," in line and line.endswith("price invented")
        )


def test_junction_carries_all_losses(case):
    turns = (Commutation(designs(1e5), designs(5.0), designs(300.0)),)
    part = diode.place("d", design("ultrafast 600 V 8 A class"), stress(commutations=turns),
                       case, count=2)  # fmt: skip
    t = settled(part)
    assert t == pytest.approx(80.0 + part.device.r_th * 0.5 * part.loss(t), rel=1e-9)
    assert part.anchor is Anchor.SURFACE
    books = part.book(t, case)
    assert books.total(Kind.LOSS) == pytest.approx(part.loss(t), rel=1e-12)


def test_recovery_is_charge_times_voltage_averaged_over_the_line_cycle(case):
    i = 8.0 * np.maximum(np.sin(angles(64)), 0.0)
    turns = (Commutation(designs(1e5), i, designs(300.0)),)
    part = diode.place("d", design("ultrafast 600 V 8 A class"), stress(commutations=turns), case)
    expected = 1e5 * 300.0 * 8 * 13.33e-9 * np.mean((i / 8.0) ** 0.6)
    books = part.book(points([25.0, 125.0]), case)
    found = books.find("d.recovery", Kind.LOSS).value.ravel()
    assert found == pytest.approx([expected, 1.5 * expected], rel=1e-9)


def test_schottky_diodes_do_not_recover(case):
    turns = (Commutation(designs(1e5), designs(8.0), designs(300.0)),)
    part = diode.place("d", design("SiC Schottky 650 V 6 A class"),
                       stress(commutations=turns), case)  # fmt: skip
    assert not part.book(settled(part), case).find("d.recovery", Kind.LOSS).value.any()


def test_limits_stand_against_derated_ratings(case):
    part = diode.place("d", design("SiC Schottky 650 V 2 A class"), stress(v_block=520.0), case)
    t = settled(part, 140.0)
    books = part.book(t, case)
    assert books.find("d.voltage", Kind.LIMIT).value.max() == pytest.approx(0.0)
    assert books.find("d.current", Kind.LIMIT).value.ravel() == pytest.approx([0.5, -0.5])
    junction = books.find("d.junction", Kind.LIMIT).value.ravel()
    assert junction[0] == pytest.approx(t.ravel()[0] / 150.0 - 1.0)
    assert junction[1] == -1.0  # a row without temperature limits


def test_runaway_stays_finite(case):
    part = diode.place("d", design("SiC Schottky 650 V 2 A class"),
                       stress((100.0, 50.0), (200.0, 100.0)), case)  # fmt: skip
    t = settled(part)
    assert t.ravel() == pytest.approx([275.0, 275.0])
    assert all(np.isfinite(e.value).all() for e in part.book(t, case).entries)


def test_sheet_line_says_what_to_buy_and_what_it_bears(case):
    part = diode.place("d", design("SiC Schottky 650 V 4 A class", 2.0), stress(), case, count=2)
    (item,) = part.items(settled(part), case)
    facts = {f.name: f for f in (*item.build, *item.stress)}
    assert item.quantity == 4
    assert facts["diode"].value == "SiC Schottky 650 V 4 A class"
    assert facts["mean current"].bound == pytest.approx(8.0)
    assert facts["blocking voltage"].bound == pytest.approx(520.0)


def test_a_batch_of_every_row_equals_one(case):
    i = 5.0 * np.sin(angles(8))
    turns = (Commutation(designs(1e5), i, designs(150.0)),)

    def loss(names):
        part = diode.place("d", design(names, 2.0), stress(commutations=turns), case)
        t = settled(part)
        assert all((e.value >= 0.0).all() for e in part.book(t, case).of(Kind.LOSS))
        return part.loss(t)

    whole = loss(TABLE.rows)
    for n, name in enumerate(TABLE.rows):
        assert np.array_equal(loss(name), whole[[n]])
