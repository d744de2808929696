"""A box holds its parts, sheds their heat and is paid and weighed."""

from types import SimpleNamespace

import numpy as np
import pytest

from models import cost
from models.axes import designs, points
from models.ledger import Kind, Ledger, booking, joined
from models.parts import enclosure
from models.variables import build, variables

BOX = {"length": 0.18, "width": 0.16, "height": 0.03, "wall": 0.002}


def boxes(potting=0, **sizes):
    values = {k: designs(v) for k, v in {**BOX, **sizes}.items()}
    return enclosure.Design(**values, potting=designs(potting).astype(int))


def case(*, module_side=True, height_max_mm=None, thermal=(1.0, 1.0), emissivity=0.85):
    return SimpleNamespace(
        points=SimpleNamespace(
            t_air=points([60.0, 60.0]), t_module=points([66.0, 66.0]), thermal=points(thermal)
        ),
        spec=SimpleNamespace(
            roof=SimpleNamespace(
                touch_limit_c=90.0,
                cable_limit_c=95.0,
                emissivity=emissivity,
                module_side=module_side,
            ),
            limits=SimpleNamespace(height_max_mm=height_max_mm),
        ),
    )


def parts(*, volume=0.0, area=0.0, heights=(0.0,), pieces=0.0):
    return joined(
        booking("a", Kind.VOLUME, designs(volume), "part"),
        booking("a", Kind.AREA, designs(area), "part"),
        booking("a", Kind.PIECES, designs(pieces), "part"),
        *(booking(f"a{i}", Kind.HEIGHT, designs(h), "part") for i, h in enumerate(heights)),
    )


def margin(name, design=None, inside=None, t=70.0, setting=None):
    books = enclosure.book(
        boxes() if design is None else design,
        parts() if inside is None else inside,
        t + points([0.0, 0.0]),
        setting or case(),
    )
    return books.find(f"box.{name}", Kind.LIMIT).value


def test_box_behind_a_module_runs_hotter_than_in_free_air():
    heat = designs(10.0)
    behind = enclosure.surface_temperature(boxes(), heat, case())[0, 0, 0]
    free = enclosure.surface_temperature(boxes(), heat, case(module_side=False))[0, 0, 0]
    assert behind - 60 == pytest.approx(13.95, abs=0.02)
    assert free - 60 == pytest.approx(10.63, abs=0.02)


def test_potting_brings_the_inside_to_the_wall():
    t_surface, heat = points([70.0]), points([12.0])
    rise = [enclosure.inside_temperature(boxes(k), t_surface, heat).item() - 70.0 for k in (0, 1)]
    assert enclosure.surface(boxes()).item() == pytest.approx(780e-4)
    assert rise == pytest.approx([12 / (6 * 0.078), 12 / (100 * 0.078)])


@pytest.mark.parametrize(("potting", "share"), [(0, 0.45), (1, 0.60)])
def test_parts_and_board_fill_a_share_of_the_inside(potting, share):
    room = 0.176 * 0.156 * 0.026
    board = 0.6 * 0.176 * 0.156 * 1.6e-3
    full = parts(volume=share * room - board)
    assert margin("packing", boxes(potting), full).item() == pytest.approx(0, abs=1e-9)
    assert margin("packing", boxes(potting), parts(volume=share * room)).item() > 0


def test_board_takes_nearly_twice_the_footprints():
    fits = parts(area=0.176 * 0.156 / 1.8)
    assert margin("board", inside=fits).item() == pytest.approx(0, abs=1e-9)


def test_board_covers_at_least_three_fifths_and_at_most_the_box():
    for area, expected in ((0.0, 0.6), (0.8 / 1.8, 0.8), (5.0, 1.0)):
        books = enclosure.book(boxes(), parts(area=area * 0.176 * 0.156), designs(70.0), case())
        board = books.find("box.board_area", Kind.FIGURE).value.item()
        assert board == pytest.approx(expected * 0.176 * 0.156)


def test_tallest_part_needs_four_millimetres_more():
    assert margin("part_height", inside=parts(heights=(5e-3, 22e-3, 8e-3))).item() == (
        pytest.approx(0, abs=1e-9)
    )


def test_wall_is_limited_where_heat_lasts():
    setting = case(thermal=(1.0, 0.0))
    for name, limit in (("touch", 90.0), ("cable", 95.0)):
        found = margin(name, t=limit * 1.1, setting=setting)
        assert found[0, 0, 0] == pytest.approx(0.1)
        assert found[0, 1, 0] < 0


def test_height_is_limited_only_if_asked_for():
    assert margin("height", setting=case(height_max_mm=25.0)).item() == pytest.approx(0.2)
    books = enclosure.book(boxes(), parts(), designs(70.0), case())
    assert "box.height" not in [e.path for e in books.of(Kind.LIMIT)]


def test_box_is_paid_and_weighed():
    inside = parts(volume=200e-6, area=100e-4, pieces=80.0)
    books = enclosure.book(boxes(1), inside, designs(70.0), case())
    board = 180e-4
    poured = 0.9 * (0.176 * 0.156 * 0.026 - 200e-6 - board * 1.6e-3)
    prices = {e.path: e.value.item() for e in books.of(Kind.COST)}
    assert prices["box"] == pytest.approx(cost.enclosure(designs(780e-4), designs(poured)).item())
    assert prices["box.board"] == pytest.approx(0.012 * 180 * 2)
    assert prices["box.assembly"] == pytest.approx(2.3)
    masses = {e.path: e.value.item() for e in books.of(Kind.MASS)}
    assert masses["box"] == pytest.approx(2700 * 780e-4 * 2e-3)
    assert masses["box.potting"] == pytest.approx(1700 * poured)
    assert books.find("box.outer", Kind.FIGURE).value.item() == pytest.approx(0.864e-3)
    dry = enclosure.book(boxes(0), inside, designs(70.0), case())
    assert dry.find("box.potting", Kind.MASS).value.item() == 0.0


def test_every_corner_of_the_bounds_gives_finite_books():
    found = variables(enclosure.Design, {})
    for pick in ("lo", "hi"):
        design = build(enclosure.Design, {v.field: designs(getattr(v, pick)) for v in found}, {})
        t = enclosure.surface_temperature(design, points([0.0, 500.0]), case())
        inside = parts(volume=1e-3, area=1.0, heights=(0.1,), pieces=500.0)
        for entry in enclosure.book(design, inside, t, case()).entries:
            assert np.isfinite(entry.value).all(), entry.path
        assert np.isfinite(enclosure.inside_temperature(design, t, points([0.0, 500.0]))).all()


def test_books_join_those_of_the_parts():
    books = enclosure.book(boxes(), parts(), designs(70.0), case())
    assert isinstance(parts() + books, Ledger)
