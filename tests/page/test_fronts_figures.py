"""Figures of the fronts as plain data: guides, marks, scales, histograms."""

import json

import numpy as np
import pytest

from optimizer.page.fronts_bars import bars_figure
from optimizer.page.fronts_data import Bins
from optimizer.page.fronts_figures import Line, Plane, packed, plane_figure
from optimizer.page.fronts_guides import (
    cost_guides,
    loss_guides,
    loss_per_litre,
    round_levels,
    words,
)
from optimizer.page.fronts_view import DENSITY, EFFICIENCY, Brush, axis_of
from optimizer.page.theme import themed

FRAME = (0.1, 0.9, 90.0, 97.0)
AXES = (axis_of(DENSITY, "kW/l"), axis_of(EFFICIENCY, "%"))


def line(order=0, parent=False, kind=0, count=3):
    values = np.linspace(0.2, 0.8, count)
    return Line(
        run=f"run{order}", topology="t", title=f"<b>t{kind}</b>", kind=kind, order=order,
        parent=parent, x=values, y=96.0 - values, colour=100.0 * values,
        ids=[f"id{i}" for i in range(count)], hover=["hover"] * count,
    )  # fmt: skip


def lines_of(figure):
    return [t for t in figure["data"] if t.get("mode") == "lines+markers"]


def test_loss_guides_are_curves_of_equal_loss_per_litre():
    guides = [g for g in loss_guides((DENSITY, EFFICIENCY), FRAME) if g["mode"] == "lines"]
    assert len(guides) >= 3
    for guide in guides:
        loss = loss_per_litre(np.array(guide["x"]), np.array(guide["y"]))
        assert np.ptp(loss) <= 1e-9 * loss.max()
        assert min(guide["y"]) >= FRAME[2]
        assert max(guide["y"]) <= FRAME[3]


def test_loss_guides_turn_with_the_axes_and_vanish_with_others():
    turned = loss_guides((EFFICIENCY, DENSITY), (*FRAME[2:], *FRAME[:2]))
    straight = loss_guides((DENSITY, EFFICIENCY), FRAME)
    assert turned[0]["x"] == straight[0]["y"]
    assert loss_guides((DENSITY, "cost"), FRAME) == []


def test_loss_per_litre_of_a_known_box():
    # 0.5 kW/l at 95 %: of 1 l, 500 W out, 526.3 W in.
    assert loss_per_litre(np.array([0.5]), np.array([95.0]))[0] == pytest.approx(26.316, rel=1e-4)


def test_levels_are_round_few_and_inside():
    assert round_levels(3.0, 60.0) == [5.0, 10.0, 20.0, 50.0]
    assert len(round_levels(1e-3, 1e3)) <= 5
    assert round_levels(5.0, 5.0) == round_levels(-1.0, 0.0) == []


def test_cost_guides_hold_no_design_that_costs_more():
    rng = np.random.default_rng(1)
    x, y, cost = rng.uniform(0.2, 0.8, 500), rng.uniform(91, 96, 500), rng.uniform(50, 150, 500)
    guides = cost_guides((DENSITY, EFFICIENCY), (x, y, cost), FRAME)
    levels = [float(g["name"].split()[2]) for g in guides]
    assert levels == sorted(levels)
    assert len(levels) == 3
    for guide, level in zip(guides, levels, strict=True):
        for a, b in zip(guide["x"], guide["y"], strict=True):
            assert cost[(x == a) & (y == b)].item() <= level
    assert cost_guides(("cost", EFFICIENCY), (cost, y, cost), FRAME) == []
    assert cost_guides((DENSITY, EFFICIENCY), (x[:0], y[:0], cost[:0]), FRAME) == []


def test_every_guide_is_explained():
    assert len(words(("loss", "cost"))) == 2


def test_topologies_differ_in_colour_and_mark_runs_in_line():
    figure = plane_figure(Plane(AXES, FRAME, [line(kind=0), line(kind=1), line(order=1),
                                              line(order=2, parent=True)]), "light")  # fmt: skip
    looks = [(t["line"]["color"], t["line"]["dash"], t["marker"]["symbol"])
             for t in lines_of(figure)]  # fmt: skip
    assert len(set(looks)) == 4
    assert looks[0][0] != looks[1][0]
    assert looks[0][2] != looks[1][2]
    assert looks[3][1] == "dot"


def test_names_are_text_and_designs_travel_as_lists():
    trace = lines_of(plane_figure(Plane(AXES, FRAME, [line()]), "light"))[0]
    assert trace["name"] == "&lt;b&gt;t0&lt;/b&gt;"
    assert trace["customdata"] == [["run0", "id0"], ["run0", "id1"], ["run0", "id2"]]


def test_a_quantity_colours_front_and_picture_on_one_scale():
    cells = np.full((3, 4), np.nan)
    cells[1, 1] = 70.0
    plane = Plane(AXES, FRAME, [line()], cells=cells, colour=axis_of("cost", "€"), ends=(50, 90))
    for theme in ("light", "dark"):
        figure = plane_figure(plane, theme)
        scale = figure["layout"]["coloraxis"]
        assert (scale["cmin"], scale["cmax"]) == (50, 90)
        assert "cost" in scale["colorbar"]["title"]["text"]
        assert figure["data"][0]["coloraxis"] == "coloraxis"
        assert lines_of(figure)[0]["marker"]["coloraxis"] == "coloraxis"


def test_no_figure_uses_webgl_and_all_can_be_sent():
    plane = Plane(
        AXES, FRAME, [line()], cells=np.ones((3, 4)), picked=[("run0", "id1")],
        marked={("run0", "id0"): "knee", ("run0", "gone"): "knee"},
        points={"x": np.ones(2), "y": np.ones(2), "colour": np.ones(2), "names": [("a", "b")] * 2},
        faint=[(np.ones(2), np.ones(2))],
    )  # fmt: skip
    figure = themed(plane_figure(plane, "dark"), "dark")
    assert {t["type"] for t in figure["data"]} == {"heatmap", "scatter"}
    assert json.dumps(figure, allow_nan=False)
    notes = [t for t in figure["data"] if t.get("mode") == "markers+text"]
    assert [t["text"] for t in notes] == [["knee"], [""]]


def test_packed_numbers_keep_their_shape():
    assert packed(np.ones((2, 3)))["shape"] == "2, 3"
    assert "shape" not in packed(np.ones(4))


def test_histograms_show_all_the_selected_and_the_brush():
    counts = np.arange(32)
    binned = Bins(np.linspace(0.0, 32.0, 33), counts, counts // 2)
    found = [(axis_of("cost", "€"), binned), (axis_of("height_mm", "mm"), binned)]
    figure = bars_figure(found, {"height_mm": Brush("height_mm", 4.0, np.inf)})
    assert [t["xaxis"] for t in figure["data"]] == ["x", "x", "x2", "x2"]
    assert figure["data"][1]["customdata"] == (counts // 2).tolist()
    (box,) = figure["layout"]["shapes"]
    assert (box["xref"], box["x0"]) == ("x2", 4.0)
    assert box["x1"] >= 32.0
    titles = [a["text"] for a in figure["layout"]["annotations"]]
    assert titles == ["cost [€]", "height [mm]"]
    assert figure["layout"]["selectdirection"] == "h"
    assert bars_figure([], {})["data"] == []
