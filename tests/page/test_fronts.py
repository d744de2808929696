"""The area "Fronts": its address, what is selected, what is shortlisted, tabled and pinned."""

import dataclasses
import json
import math

import dash
import numpy as np
import pytest
from plotly.utils import PlotlyJSONEncoder

from models.errors import PinError, RunError
from optimizer.page import fronts_area, fronts_draw, fronts_nearest
from optimizer.page import fronts_table as tables
from optimizer.page.areas import parsed
from optimizer.page.fronts_data import Boards, bins, cells, front_rows, selected, thinned
from optimizer.page.fronts_view import (
    DENSITY,
    EFFICIENCY,
    Brush,
    View,
    ViewError,
    checked,
    direction,
    view_of,
)
from optimizer.page.library import Library
from optimizer.page.pins_panel import check
from optimizer.pins import parse
from tests.optimizer.made_runs import made_run
from tests.page.made import many

HOSTILE = "<img src=x onerror=alert(1)>"
WANTED = (DENSITY, EFFICIENCY, "cost", "life_years")


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    root = tmp_path_factory.mktemp("runs")
    many(root, 4_000)
    return Library(root)


@pytest.fixture(scope="module")
def board(library):
    return Boards(library).of(library.run(library.names()[0]))


@pytest.fixture
def few(tmp_path):
    """A library with a parent of five designs and its child of three."""
    rows = [(0.2, 96.0, 90.0, 999.0), (0.4, 95.5, 60.0, 40.0), (0.5, 94.0, 80.0, 30.0),
            (0.3, 95.0, 50.0, 20.0), (0.25, 95.9, 70.0, 25.0)]  # fmt: skip
    parent = made_run(tmp_path, "parent", {"flyback_unfolder": rows}, wanted=WANTED,
                      signs=(-1.0, -1.0, 1.0, -1.0))  # fmt: skip
    made_run(tmp_path, "child", {"flyback_unfolder": rows[:3]}, parent=parent.name,
             wanted=WANTED, signs=(-1.0, -1.0, 1.0, -1.0))  # fmt: skip
    return Library(tmp_path)


def named(library, start):
    return next(n for n in library.names() if n.startswith(start))


def shown(library, theme="light", **query):
    return fronts_area.shown(library, Boards(library), query, theme)


def texts(component):
    return json.dumps(component, cls=PlotlyJSONEncoder, ensure_ascii=False)


# ---- the address ------------------------------------------------------------------------


VIEWS = [
    View(runs=("one",)),
    View(runs=("one", "two"), x="cost", y="life_years", colour="height_mm", cloud="none"),
    View(runs=("one",), guides=(), hidden=("flyback_unfolder",), frame="all", short=9),
    View(runs=("one",), brushes=(Brush("cost", -math.inf, 120.0), Brush("life_years", 5.0, 1e9))),
    View(runs=("one",), window=(0.25, 0.5, 94.0, 97.5), sort="-cost", picked=("one/ab", "two/cd")),
    View(runs=("one",), bars=("cost", "boost.f_khz"), columns=()),
]


@pytest.mark.parametrize("view", VIEWS, ids=range(len(VIEWS)))
def test_an_address_restores_its_view(view):
    assert view_of(parsed(fronts_area.address("", **view.query()))) == view
    assert view_of(view.full()) == view


def test_what_is_as_usual_stays_out_of_the_address():
    assert View(runs=("one",)).query() == {"runs": "one"}


@pytest.mark.parametrize(
    "query",
    [{"x": "<b>"}, {"cloud": "webgl"}, {"window": "1:2"}, {"window": "2:1:0:1"},
     {"window": "a:b:c:d"}, {"brushes": "cost"}, {"brushes": "cost:a:b"}, {"brushes": "<b>:1:2"},
     {"short": "nan"}, {"short": "1e9"}, {"sort": "--cost"}, {"runs": "a,b,c,d,e,f,g"},
     {"picked": "<img>"}],
    ids=str,
)  # fmt: skip
def test_a_malformed_address_is_told_by_its_entry(query):
    with pytest.raises(ViewError, match=next(iter(query))):
        view_of(query)


def test_brushes_turn_round_and_an_open_one_is_none():
    assert view_of({"brushes": "cost:9:1;height_mm::"}).brushes == (Brush("cost", 1.0, 9.0),)


def test_axes_must_be_known_and_unknown_histograms_are_left_out():
    with pytest.raises(ViewError, match="beauty"):
        checked(View(x="beauty"), ["cost"], [])
    view = View(x="cost", y="cost", bars=("cost", "gone"), brushes=(Brush("gone", 0.0, 1.0),),
                columns=("cost", "gone"), sort="gone")  # fmt: skip
    kept = checked(view, ["cost"], [])
    assert (kept.bars, kept.columns, kept.brushes, kept.sort) == (("cost",), ("cost",), (), "")


def test_more_is_better_of_efficiencies_density_and_life_only():
    assert [direction(n) for n in (*WANTED, "peak_efficiency_pct", "height_mm")] == [
        1.0, 1.0, -1.0, 1.0, 1.0, -1.0,
    ]  # fmt: skip


# ---- selections and fronts --------------------------------------------------------------


def test_brushes_hold_together_and_hidden_topologies_are_left_out(board):
    cost, height = board.of("cost"), board.of("height_mm")
    middle = float(np.median(cost)), float(np.median(height))
    brushes = [Brush("cost", -math.inf, middle[0]), Brush("height_mm", middle[1], math.inf)]
    inside = selected(board, brushes)
    assert (inside == ((cost <= middle[0]) & (height >= middle[1]))).all()
    assert 0 < inside.sum() < board.size
    assert not selected(board, [], board.topologies).any()
    assert (selected(board, [], board.topologies[:1]) == (board.kind != 0)).all()


def test_the_front_is_what_nothing_selected_beats_on_both_axes(board):
    inside = selected(board, [Brush("cost", -math.inf, float(np.median(board.of("cost"))))])
    for x, y in ((DENSITY, EFFICIENCY), ("cost", "life_years")):
        found = front_rows(board, inside, x, y, 10_000)
        for topology in found:
            kind = board.topologies.index(topology)
            rows = np.flatnonzero(inside & (board.kind == kind))
            goals = np.stack([direction(n) * board.of(n)[rows] for n in (x, y)], axis=1)
            better = (goals[None] >= goals[:, None]).all(2) & (goals[None] > goals[:, None]).any(2)
            assert set(found[topology]) <= set(rows[~better.any(axis=1)])
            assert np.unique(goals[~better.any(axis=1)], axis=0).shape[0] == len(found[topology])


def test_a_long_front_is_thinned_and_keeps_its_ends(board):
    inside = selected(board, [])
    long = front_rows(board, inside, DENSITY, EFFICIENCY, 10_000)
    short = front_rows(board, inside, DENSITY, EFFICIENCY, 20)
    for topology, rows in short.items():
        assert len(rows) == 20
        assert set(rows[[0, -1]]) == set(long[topology][[0, -1]])
        assert (np.diff(board.of(DENSITY)[rows]) > 0).all()


def test_infeasible_designs_are_hidden(tmp_path):
    wanted = (DENSITY, EFFICIENCY, "worst_margin")
    rows = [(0.2, 96.0, 0.0), (0.4, 95.0, 0.1)]
    run = made_run(tmp_path, "one", {"flyback_unfolder": rows}, wanted=wanted,
                   signs=(-1.0, -1.0, 1.0))  # fmt: skip
    assert Boards(Library(tmp_path)).of(run).size == 1


def test_a_variable_is_brushed_in_its_unit_where_designs_have_it(board):
    name = next(g.variable.path for g in board.run.candidates[0].genes.genes
                if g.variable.kind == "real")  # fmt: skip
    values = board.of(name)
    has = np.isfinite(values)
    assert has.any()
    gene = next(g for g in board.run.candidates[0].genes.genes if g.variable.path == name)
    assert values[has].min() >= gene.lo / gene.variable.scale - 1e-9
    stored = board.run.design(str(board.ids[np.flatnonzero(has)[0]]))
    assert stored.shown()[name] == pytest.approx(values[has][0], rel=1e-12)
    assert not selected(board, [Brush(name, -math.inf, math.inf)])[~has].any()


def test_bins_hold_every_design_once_and_brushed_ones_too(board):
    inside = selected(board, [Brush("cost", -math.inf, float(np.median(board.of("cost"))))])
    for name in ("cost", "life_years", "electrolytics"):
        found = bins(board, name, inside)
        assert found.every.sum() == board.size
        assert found.selected.sum() == inside.sum()
        assert (found.selected <= found.every).all()
        assert (np.diff(found.edges) > 0).all()


def test_lives_beyond_a_century_do_not_squeeze_the_others(few):
    found = bins(Boards(few).of(few.run(named(few, "parent"))), "life_years", np.ones(5, bool))
    assert found.edges[-1] <= 99.0
    assert found.every[-1] == 1


def test_cells_count_the_designs_or_hold_their_mean(board):
    inside = selected(board, [])
    frame = (0.0, 2.0, 0.0, 100.0)
    count = cells(board, inside, (DENSITY, EFFICIENCY), frame)
    shown_ = (board.of(EFFICIENCY) >= 0.0) & (board.of(EFFICIENCY) < 100.0)
    assert np.nansum(count) == shown_.sum()
    mean = cells(board, inside, (DENSITY, EFFICIENCY), frame, "cost")
    assert np.nansum(count * mean) == pytest.approx(board.of("cost")[shown_].sum(), rel=1e-9)
    assert (np.isnan(mean) == np.isnan(count)).all()


def test_points_are_thinned_evenly():
    assert len(thinned(np.ones(100_000, bool), 1_500)) <= 1_500
    assert len(thinned(np.ones(7, bool), 1_500)) == 7
    assert len(thinned(np.zeros(7, bool), 1_500)) == 0


# ---- shortlist, table, fields, pins -----------------------------------------------------


def test_the_shortlist_has_ends_knee_and_an_even_spread(board):
    rows = front_rows(board, selected(board, []), DENSITY, EFFICIENCY, 200)
    part = tables.Part(board, board.topologies[0], rows[board.topologies[0]], 0)
    x, y = (tables.quantity_of(board, n) for n in (DENSITY, EFFICIENCY))
    found = tables.shortlist(part, x, y, 9)
    assert len(found) == 9
    assert set(found.values()) == {f"best {x.title}", f"best {y.title}", "knee", "even spread"}
    best = next(k for k, why in found.items() if why == f"best {x.title}")
    assert board.of(DENSITY)[board.ids == best].item() == board.of(DENSITY)[part.rows].max()
    assert tables.shortlist(part, x, y, 0) == {}


def test_a_front_of_one_design_has_a_shortlist_too(few):
    board = Boards(few).of(few.run(named(few, "child")))
    part = tables.Part(board, "flyback_unfolder", np.array([0]), 0)
    x, y = (tables.quantity_of(board, n) for n in (DENSITY, EFFICIENCY))
    assert len(tables.shortlist(part, x, y, 5)) == 1


def test_the_table_is_the_front_in_the_order_asked_for(few):
    run = named(few, "parent")
    told = shown(few, runs=run, sort="-cost")[4]
    assert [r["cells"][0] for r in told["rows"]] == ["0.200", "0.500", "0.250", "0.400"]
    assert [r["cells"][2] for r in told["rows"]] == ["90.0", "80.0", "70.0", "60.0"]
    assert told["rows"][0]["href"] == f"/design?run={run}&id={told['rows'][0]['id']}"
    assert [r["cells"][3] for r in told["rows"]] == ["> 99", "30", "25", "40"]
    assert len(shown(few, runs=run, short="3")[4]["rows"]) == 3


def test_brush_figure_and_table_are_one_selection(library):
    view = {"runs": library.names()[0], "brushes": f"{DENSITY}:0.3:0.5"}
    plane, _, _, _, told, *_ = shown(library, **view)
    fronts = [t for t in plane["data"] if t.get("mode") == "lines+markers"]
    drawn = {tuple(c) for t in fronts for c in t["customdata"]}
    assert drawn == {(r["run"], r["id"]) for r in told["rows"]}
    assert all(0.3 <= v <= 0.5 for t in fronts for v in t["x"])
    count = fronts_area.number(library, Boards(library), view)[0]
    assert count.endswith("stored designs")


def test_only_figures_that_change_are_sent_again(few):
    boards, same = Boards(few), dash.no_update
    view = {"runs": named(few, "parent")}
    there = fronts_area.shown(few, boards, view, "light")[5]

    def sent(theme="light", **more):
        answer = fronts_area.shown(few, boards, {**view, **more}, theme, there)
        return [part is not same for part in answer[:2]]

    assert sent() == [False, False]
    assert sent(sort="cost") == [False, False]
    assert sent(x="cost") == [True, False]
    assert sent(bars="cost") == [False, True]
    assert sent(brushes="cost::80") == sent(theme="dark") == [True, True]
    path = few.root / view["runs"] / "archive.npz"
    path.write_bytes(path.read_bytes())
    assert sent() == [True, True]


def test_brushed_and_zoomed_ends_are_offered_as_pins_that_hold(library):
    view = View(brushes=(Brush("cost", -math.inf, 1200.0), Brush("height_mm", 5.0, 55.0)),
                window=(0.2, 0.5, 94.0, 97.0))  # fmt: skip
    found = tables.pins(view)
    assert found[:3] == ["cost <= 1200", "height_mm >= 5", "height_mm <= 55"]
    assert f"{DENSITY} >= 0.2" in found
    assert [str(parse(p)) for p in found] == found
    run = library.run(library.names()[0])
    assert check(run, found[1:3]) == tuple(found[1:3])
    with pytest.raises(PinError):
        check(run, ["beauty <= 1"])


def test_fields_hold_the_brushes_and_hint_at_the_range(board):
    view = View(bars=("cost",), brushes=(Brush("height_mm", -math.inf, 40.0),))
    cost, height = tables.fields(board, view)
    assert (cost["lo"], cost["hi"]) == ("", "")
    assert float(cost["least"]) < float(cost["most"])
    assert (height["lo"], height["hi"]) == ("", "40")


# ---- runs -------------------------------------------------------------------------------


def test_the_child_is_looked_at_and_its_parent_dotted_whatever_the_order(few):
    parent, child = named(few, "parent"), named(few, "child")
    for runs in (f"{parent},{child}", f"{child},{parent}"):
        lines = [t for t in shown(few, runs=runs)[0]["data"] if t.get("mode") == "lines+markers"]
        look = {t["customdata"][0][0]: (t["line"]["dash"], t["marker"]["symbol"]) for t in lines}
        assert look == {child: ("solid", "circle"), parent: ("dot", "circle-open")}
    assert texts(fronts_area.layout(few, {"runs": f"{parent},{child}"})).count("(parent)") == 1


def test_six_runs_differ_in_line_or_mark(few):
    looks = set()
    for k in range(3):
        made_run(few.root, f"more{k}", {"flyback_unfolder": [(0.2, 96.0 + k), (0.3, 95.0 + k)]})
    names = few.names()[:5]
    for trace in shown(few, runs=",".join(names))[0]["data"]:
        if trace.get("mode") == "lines+markers":
            looks.add((trace["line"]["dash"], trace["marker"]["symbol"]))
    assert len(looks) == 5


def test_without_runs_the_page_says_where_they_come_from(tmp_path):
    assert "ripplefront sweep" in texts(fronts_area.layout(Library(tmp_path), {}))


def test_without_a_name_the_newest_run_is_shown(few):
    view, runs = fronts_area.asked(few, {})
    assert view.runs == (few.names()[0],)
    assert runs[0].name == few.names()[0]


def test_a_run_that_is_not_there_is_told(few):
    with pytest.raises(RunError, match="gone"):
        fronts_area.layout(few, {"runs": "gone"})
    answer = shown(few, runs="gone")
    assert answer[0] is dash.no_update
    assert "gone" in texts(answer[-1])


def test_an_empty_selection_says_which_brush_to_loosen(few):
    told = shown(few, runs=named(few, "parent"), brushes="cost::1;height_mm::90")[-1]
    assert "No design is left" in texts(told)
    assert "Without the brush on cost: 5" in texts(told)


def test_a_run_without_designs_says_so_and_draws_nothing_false(tmp_path):
    run = made_run(tmp_path, "none", {"flyback_unfolder": []})
    answer = shown(Library(tmp_path), runs=run.name)
    assert "has no design yet" in texts(answer[-1])
    assert answer[4]["rows"] == []


def test_the_nearest_design_says_what_stops_it(tmp_path):
    run = made_run(tmp_path, "near", {"flyback_unfolder": []})
    candidate = dataclasses.replace(run.candidates[0], limits=("a.heat", "b.height", "pin"))
    run.candidates = (candidate,)
    size = candidate.genes.space.size
    vars(run)["_arrays"] = {
        "c0.nearest.genes": np.full((1, size), 0.5),
        "c0.nearest.columns": np.zeros((1, len(run.columns))),
        "c0.nearest.margins": np.array([[0.2, -0.1, 1.5]]),
    }
    library = Library(tmp_path)
    near = fronts_nearest.nearest_of(run)["flyback_unfolder"]
    assert fronts_nearest.stops(library, run, near) == [
        "pin: missed by 150.0 %", "a.heat: missed by 20.0 %",
    ]  # fmt: skip
    assert "no design meets all limits" in texts(fronts_nearest.told(library, run))


def test_hostile_names_stay_text(tmp_path):
    run = made_run(tmp_path, "one", {HOSTILE: [(0.2, 96.0), (0.4, 95.0)]})
    plane = shown(Library(tmp_path), runs=run.name)[0]
    fronts = [t for t in plane["data"] if t.get("mode") == "lines+markers"]
    assert "<img" not in fronts[0]["name"] + "".join(fronts[0]["text"])
    assert "&lt;img" in fronts[0]["text"][0]


def test_what_is_followed_changes_only_with_the_archive(few):
    run = few.run(named(few, "parent"))
    before = fronts_area.standing(few, [run.name])
    assert before == fronts_area.standing(few, [run.name])
    assert before[1:] == ("", True)
    path = run.folder / "archive.npz"
    path.write_bytes(path.read_bytes())
    assert fronts_area.standing(few, [run.name])[0] != before[0]


def test_a_run_that_goes_on_is_told_with_its_progress():
    going = fronts_area._progress("one", {"state": "running", "designs": 1200, "planned": 5000})
    assert "1,200 of 5,000" in going
    assert "waits" in fronts_area._progress("one", {"state": "waiting"})


def test_the_frame_holds_every_front_whole(few):
    board = Boards(few).of(few.run(named(few, "parent")))
    seen = fronts_draw.sight([board], View(runs=(board.run.name,)))
    view = View(runs=(board.run.name,))
    parts = fronts_draw._parts(seen, view, seen.inside)
    x0, x1, y0, y1 = fronts_draw._frame(seen, parts, view)
    rows = parts[0].rows
    assert x0 < board.of(DENSITY)[rows].min()
    assert x1 > board.of(DENSITY)[rows].max()
    assert y0 < board.of(EFFICIENCY)[rows].min()
    assert y1 > board.of(EFFICIENCY)[rows].max()
