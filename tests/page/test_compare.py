"""The compare area: designs and runs side by side, what it refuses, what it gives away."""

import csv
import io
import json
from types import SimpleNamespace

import pytest
from plotly.utils import PlotlyJSONEncoder

from models.errors import RipplefrontError, RunError
from optimizer import named
from optimizer.binding import Summary
from optimizer.cautions import CAUTIONS
from optimizer.compare import compared
from optimizer.figures import COLOURS
from optimizer.page import compare_choosers as choosers
from optimizer.page import compare_design_view, compare_designs, compare_runs, exports
from optimizer.page.app import page_app
from optimizer.page.compare_address import Asked, CompareError, added, asked, entry, first, key
from optimizer.page.compare_area import layout
from optimizer.page.compare_bits import number_row, row_table, text_row
from optimizer.page.compare_designs import columns
from optimizer.page.compare_figures import fronts_picture, loss_bars, part_bars
from optimizer.page.compare_limits import limits, rows_of
from optimizer.page.compare_prices import spoken
from optimizer.page.library import Library
from tests.optimizer.made_runs import DEMO, made_run
from tests.page.made import many

HOST = "127.0.0.1:8050"
HOSTILE = "<img src=x onerror=alert(1)>"
BEFORE = {"boost": [(0.30, 96.0), (0.40, 95.5), (0.50, 95.0)]}
AFTER = {"boost": [(0.30, 95.8), (0.40, 95.2)]}


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    """Runs with one run of 600 designs, one of which is kept under names."""
    root = tmp_path_factory.mktemp("runs")
    many(root, 600)
    library = Library(root)
    run = library.run(library.names()[0])
    design = run.front_of(run.candidates[0].topology)[0].id
    named.save(root, named.Named("twin", run.name, design, {}))
    named.save(root, named.Named("high", run.name, design, {"box.height_mm": "55"}))
    return library


@pytest.fixture(scope="module")
def entries(library):
    """A design each of two topologies."""
    run = library.run(library.names()[0])
    filled = dict.fromkeys(c.topology for c in run.candidates if run.fronts[c.number].size)
    return [f"{run.name}/{run.front_of(t)[0].id}" for t in list(filled)[:2]]


@pytest.fixture(scope="module")
def pinned(tmp_path_factory):
    """A run and its re-run under a pin, both made up."""
    root = tmp_path_factory.mktemp("pinned")
    before = made_run(root, "before", BEFORE).name
    after = made_run(root, "after", AFTER, pins=["box.height_mm <= 30"], parent=before).name
    return SimpleNamespace(library=Library(root), before=before, after=after)


def both(pinned):
    return compared([pinned.library.run(pinned.before), pinned.library.run(pinned.after)])


def texts(parts):
    """Return every text of a tree of components, data of figures and tables included."""
    return json.dumps(parts, cls=PlotlyJSONEncoder, ensure_ascii=False)


def cells(rows):
    return {r.name: r for r in rows}


# ---- the address ----------------------------------------------------------------------


def test_a_view_survives_its_address():
    one = Asked(("one/ab12", "named/small"), ("one", "two"), everything=True)
    query = dict(p.split("=") for p in one.query.removeprefix("?").split("&"))
    again = asked({k: v.replace("%2F", "/").replace("%2C", ",") for k, v in query.items()})
    assert again == one
    assert asked({}) == Asked()
    assert Asked().query == ""


def test_designs_are_read_in_both_ways_that_other_areas_write_them():
    assert asked({"designs": "one:ab12,one/ab12,two/cd"}).designs == ("one/ab12", "two/cd")
    assert key("one/ab12") == ("one", "ab12", {})


def test_changes_by_hand_travel_with_a_design_whatever_they_say():
    changes = {"box.height_mm": "30", "choke.core": "A,B;C=D/é"}
    text = entry("one", "ab12", changes)
    assert asked({"designs": f"{text},two/cd"}).designs == (text, "two/cd")
    assert key(text) == ("one", "ab12", changes)


@pytest.mark.parametrize("text", [HOSTILE, "one", "../up/ab", "one/a b", "/", "one/"])
def test_an_entry_that_names_no_design_says_how_one_is_written(text):
    with pytest.raises(CompareError, match="RUN/DESIGN"):
        key(text)


def test_six_fit_side_by_side_and_none_twice():
    six = [f"r/{k}" for k in range(6)]
    assert added(six[:5], "r/5", "designs") == six
    with pytest.raises(CompareError, match="6 designs fit"):
        added(six, "r/7", "designs")
    with pytest.raises(CompareError, match="compared already"):
        added(six[:2], "r/1", "designs")
    assert first(six, "r/3")[:2] == ["r/3", "r/0"]
    assert first(six, "gone") == six


# ---- rows -----------------------------------------------------------------------------


def test_differences_are_to_the_first_with_sign_and_unit():
    row = number_row("efficiency", [96.0, 96.5, None, 95.5], "%", less=False)
    assert row.cells == ("96.00 %", "96.50 %", "–", "95.50 %")
    assert row.steps == ("", "+0.50 points", "", "−0.50 points")
    assert row.looks == ("", "better", "", "worse")
    assert number_row("cost", [10.0, 8.0], "€", less=True).looks == ("", "better")
    assert not row.alike
    assert not row.shared


def test_what_reads_the_same_is_alike_and_has_no_difference():
    row = number_row("volume", [1.00001, 1.00002], "cm³")
    assert (row.alike, row.steps) == (True, ("", ""))


def test_rows_alike_are_folded_and_counted():
    rows = [text_row("a", ["1", "1"]), text_row("b", ["1", "2"]), text_row("c", ["x", "x"])]
    told = texts(row_table([], rows, "rows"))
    assert "2 more rows are alike and folded away" in told
    assert told.count('alike\\": true') == 2
    assert "No difference: all 2 rows alike" in texts(row_table([], rows[::2], "rows"))
    assert "folded away" not in texts(row_table([], rows, "rows", fold=False))


# ---- designs --------------------------------------------------------------------------


def test_losses_by_group_add_up_and_volumes_fill_the_box(library, entries):
    found, wrong = columns(library, entries)
    assert wrong == []
    for column in found:
        groups = [compare_designs.group_loss(column, g)
                  for g in ("semiconductor", "magnetic", "capacitor", "other")]  # fmt: skip
        assert sum(groups) == pytest.approx(column.sheet["losses"]["total_w"][-1], rel=1e-3)
        outer = {r["name"]: r["value"] for r in library_results(column)}["volume_l"]
        assert sum(compare_designs.volumes(column).values()) >= 1e3 * outer * (1 - 1e-9)


def library_results(column):
    from optimizer.sheet_data import SECTIONS

    return SECTIONS["results"](column.item)


def test_a_design_against_itself_has_no_difference_anywhere(library, entries):
    found, _ = columns(library, [entries[0], "named/twin"])
    for rows in (
        compare_designs.headline(found), compare_designs.other_results(found),
        compare_designs.life_rows(found), compare_designs.limit_rows(found),
        compare_designs.variable_rows(found), compare_designs.bill_rows(found),
    ):  # fmt: skip
        assert rows
        assert all(r.alike for r in rows)


def test_a_change_by_hand_shows_as_the_one_variable_that_differs(library, entries):
    found, _ = columns(library, [entries[0], "named/high"])
    differing = [r for r in compare_designs.variable_rows(found) if not r.alike]
    assert [r.name for r in differing] == ["box.height_mm"]
    assert differing[0].cells[1] == "55 mm"
    assert differing[0].steps[1].endswith(" mm")
    assert not cells(compare_designs.headline(found))["height"].alike
    assert "set=box.height_mm" in found[1].place
    assert found[1].label == "high"


def test_designs_of_two_topologies_share_what_they_share(library, entries):
    found, _ = columns(library, entries)
    rows = cells(compare_designs.variable_rows(found))
    assert not rows["topology"].alike
    assert rows["box.height_mm"].shared
    assert any(not r.shared for r in rows.values())
    assert "that not all of them have" in texts(
        compare_design_view.view(library, entries, "light")
    )


def test_bars_share_one_scale_and_small_parts_are_summed(library, entries):
    found, _ = columns(library, entries)
    parts = compare_designs.by_part(found, compare_designs.costs)
    drawn = part_bars(found, parts, "Cost", "€")["data"]
    assert drawn[0]["y"][-1].endswith(" others")
    for k, trace in enumerate(drawn):
        total = sum(v[k] or 0.0 for v in parts.values())
        assert sum(x or 0.0 for x in trace["x"]) == pytest.approx(total, rel=1e-4)
    assert loss_bars(found)["layout"]["xaxis"]["range"][0] == 0.0


def test_a_design_changed_by_hand_stands_beside_its_original(library, entries):
    found, wrong = columns(library, [entries[0], f"{entries[0]};box.height_mm=55"])
    assert wrong == []
    assert [len(c.changes) for c in found] == [0, 1]
    rows = [r.name for r in compare_designs.variable_rows(found) if not r.alike]
    assert rows == ["box.height_mm"]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [("nowhere/ab12", "no run named"), ("{run}/ffffffff", "ffffffff"),
     (HOSTILE, "names no design"), ("named/gone", "no design named"),
     ("{run}/{design};box.height_mm=1e9", "outside its bounds"),
     ("{run}/{design};box.heigt_mm=1", "did you mean box.height_mm")],
)  # fmt: skip
def test_what_cannot_be_opened_is_told_in_place_and_the_others_are_compared(
    library, entries, wrong, said
):
    run, design = entries[0].split("/")
    told = texts(compare_design_view.view(
        library, [*entries, wrong.format(run=run, design=design)], "light"
    ))  # fmt: skip
    assert said in told
    assert "headline figures" in told


def test_a_design_keeps_its_letter_and_colour_when_another_cannot_be_opened(library, entries):
    found, _ = columns(library, ["nowhere/ab12", *entries])
    assert [c.number for c in found] == [1, 2]
    told = texts(compare_design_view.view(library, ["nowhere/ab12", *entries], "light"))
    assert "differences to B" in told
    parts = compare_designs.by_part(found, compare_designs.costs)
    drawn = part_bars(found, parts, "Cost", "€")["data"]
    assert [t["marker"]["color"] for t in drawn] == list(COLOURS[1:3])
    assert [t["name"][0] for t in drawn] == ["B", "C"]


def test_one_design_alone_asks_for_another(library, entries):
    assert "Add another" in texts(compare_design_view.view(library, entries[:1], "light"))
    assert "Add two or more" in texts(compare_design_view.view(library, [], "light"))


# ---- runs -----------------------------------------------------------------------------


def test_the_price_of_a_pin_is_drawn_told_and_tabled(pinned):
    told = texts(compare_runs.view(pinned.library, [pinned.before, pinned.after], "light"))
    assert "Pins added: " in told
    assert "box.height_mm <= 30" in told
    assert "Loss of weighted efficiency at equal power density" in told
    assert "Loss of power density at equal weighted efficiency" in told
    assert f"designs={pinned.before}%2F" in told  # both designs of a level side by side
    found = both(pinned)
    said = "; ".join(spoken(found, found.pairs[0]))
    assert "−0.2" in said
    assert "points of weighted efficiency at equal power density" in said


def test_hypervolume_falls_where_a_pin_costs(pinned):
    found = both(pinned)
    row = cells(compare_runs.reach_rows(found))["hypervolume"]
    assert row.steps[1].startswith("−")
    assert row.steps[1].endswith("points")
    pin = compare_runs.pin_rows(found)[0]
    assert (pin.name, pin.cells) == ("box.height_mm <= 30", ("–", "pinned"))


def test_the_run_given_last_is_solid_and_the_others_dotted(pinned):
    drawn = fronts_picture(both(pinned))["data"]
    assert [t["line"]["dash"] for t in drawn] == ["dot", "solid"]
    assert [t["marker"]["symbol"].endswith("-open") for t in drawn] == [True, False]
    assert drawn[0]["line"]["color"] == drawn[1]["line"]["color"]


@pytest.mark.parametrize("name", ["nowhere", HOSTILE, "../before", ""])
def test_an_unknown_run_is_told_and_the_others_are_compared(pinned, name):
    told = texts(compare_runs.view(pinned.library, [pinned.before, name, pinned.after], "light"))
    assert "there is no run named" in told
    assert "Pins added" in told


def test_runs_with_other_objectives_are_refused_with_the_remedy(tmp_path):
    usual = 'maximise = ["power_density_kw_l", "weighted_efficiency_pct"]'
    other = DEMO.replace(usual, 'maximise = ["power_density_kw_l"]\nminimise = ["cost"]')
    assert other != DEMO
    names = [made_run(tmp_path, "one", BEFORE).name,
             made_run(tmp_path, "two", BEFORE, specification=other).name]  # fmt: skip
    told = texts(compare_runs.view(Library(tmp_path), names, "light"))
    assert "searched for different things" in told
    assert "compare runs with the same [objectives]" in told


def test_a_broken_run_is_told_in_place(tmp_path):
    runs = [made_run(tmp_path, name, BEFORE) for name in ("one", "two", "three")]
    (runs[1].folder / "columns.json").write_text("{")
    names = [r.name for r in runs]
    told = texts(compare_runs.view(Library(tmp_path), names, "light"))
    assert "columns.json" in told
    assert f"From {names[0]} to {names[2]}" in told
    assert compare_runs.stamp(Library(tmp_path), names)[names[1]][0] == "broken"


def test_names_from_a_file_stay_text_in_figures(tmp_path):
    one = made_run(tmp_path, "one", {HOSTILE: [(0.3, 96.0)]}, pins=[f"x = {HOSTILE}"])
    two = made_run(tmp_path, "two", {HOSTILE: [(0.3, 95.0)]}, parent=one.name)
    library = Library(tmp_path)
    assert "<img" not in texts(fronts_picture(compare_runs.plain(compared([one, two]))))
    parts = compare_runs.view(library, [one.name, two.name], "dark")
    graphs = [p for p in walked(parts) if type(p).__name__ == "Graph"]
    assert len(graphs) == 2
    assert all("<img" not in texts(g.figure) for g in graphs)


def walked(part):
    """Yield every component of a tree."""
    if isinstance(part, list | tuple):
        for one in part:
            yield from walked(one)
    elif part is not None and not isinstance(part, str):
        yield part
        yield from walked(getattr(part, "children", None))


def test_a_run_that_goes_on_is_looked_at_again_until_it_ends(tmp_path):
    run = made_run(tmp_path, "one", BEFORE)
    library = Library(tmp_path)
    before = compare_runs.stamp(library, [run.name])
    assert compare_runs.settled(before)
    status = run.folder / "status.json"
    status.write_text(status.read_text().replace('"ended"', '"running"'))
    now = compare_runs.stamp(library, [run.name])
    assert now != before
    assert not compare_runs.settled(now)  # interrupted: it may be resumed
    assert "interrupted" in texts(compare_runs.states([run]))


def test_what_limits_is_set_side_by_side():
    def one(share):
        return [Summary("boost", "limit", "hot winding", {"choke.temperature": share}, share,
                        {}, "hottest roof", "", "", natural=False)]  # fmt: skip

    (row,) = rows_of([one(0.5), one(0.75)], "boost")
    assert (row.cells, row.steps) == (("50 %", "75 %"), ("", "+25 points"))
    (row,) = rows_of([one(0.5), []], "boost")
    assert row.cells == ("50 %", "0 %")


def test_limits_of_a_run_that_this_version_cannot_evaluate_are_told_in_place(pinned):
    told = texts(limits(pinned.library, [pinned.library.run(pinned.before)]))
    assert "catalogue" in told
    assert "mistake" in told


# ---- ways in --------------------------------------------------------------------------


def test_designs_are_offered_best_first_and_named_ones_too(library):
    run = library.names()[0]
    offered = choosers.offered(library, run)
    assert offered[0].label.startswith("best ")
    assert len({o.value for o in offered}) == len(offered)
    kept = choosers.offered(library, choosers.KEPT)
    assert {o.value for o in kept} == {"twin", "high"}
    assert choosers.offered(library, HOSTILE) == []


def test_a_design_is_added_by_a_unique_beginning_of_its_number(library, entries):
    run, design = entries[0].split("/")
    button = {"type": choosers.FORWARD, "what": "designs"}
    found, told, said = choosers.chosen(library, button, [], run, f" {design[:7]} ")
    assert (found, told) == ([entries[0]], None)
    assert entries[0] in said
    found, told, _ = choosers.chosen(library, button, entries, choosers.KEPT, "twin")
    assert found == [*entries, "named/twin"]


@pytest.mark.parametrize("text", ["", HOSTILE, "ffffffff", None])
def test_a_wrong_design_is_refused_beside_the_field(library, entries, text):
    button = {"type": choosers.FORWARD, "what": "designs"}
    found, told, said = choosers.chosen(library, button, entries, library.names()[0], text)
    assert (found, said) == (None, "")
    assert "mistake" in texts(told)


def test_entries_are_removed_and_put_first(library, entries):
    drop = {"type": choosers.DROP, "what": "designs", "entry": entries[0]}
    assert choosers.chosen(library, drop, entries, None, None)[0] == entries[1:]
    ahead = {"type": choosers.FIRST, "what": "designs", "entry": entries[1]}
    assert choosers.chosen(library, ahead, entries, None, None)[0] == entries[::-1]


def test_the_parent_of_a_run_is_offered_first(pinned):
    told = texts(choosers.chooser(pinned.library, "runs", [pinned.after]))
    assert f'"value": "{pinned.before}"' in told
    with pytest.raises(RunError, match="no run is chosen"):
        choosers.wanted(pinned.library, "runs", None, None)


def test_the_layout_takes_anything_an_address_may_hold(library):
    told = texts(layout(library, {"designs": f"{HOSTILE},a,,", "runs": "../x", "rows": "all"}))
    assert "show rows that are alike" in told
    assert "compare folded" not in told


# ---- files ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def client(pinned):
    return page_app(pinned.library.root, [HOST]).server.test_client()


def got(client, path, host=HOST):
    return client.get(path, headers={"Host": host})


@pytest.mark.parametrize(
    ("form", "begins"),
    [("csv", b'"# '), ("svg", b"<?xml"), ("png", b"\x89PNG"), ("json", b"{"), ("html", b"<!")],
)
def test_a_comparison_of_runs_is_given_away_with_its_cautions(client, pinned, form, begins):
    answer = got(client, f"/export/comparison?runs={pinned.before},{pinned.after}&as={form}")
    assert answer.status_code == 200
    assert answer.data[: len(begins)].lower() == begins.lower()
    assert "attachment" in answer.headers["Content-Disposition"]
    if form != "png":
        assert b"lethal" in answer.data.lower() or b"certification" in answer.data


def test_designs_are_given_away_as_numbers(library, entries):
    client = page_app(library.root, [HOST]).server.test_client()
    answer = got(client, f"/export/comparison-designs?designs={','.join(entries)}")
    lines = list(csv.reader(io.StringIO(answer.data.decode())))
    assert lines[0][0] == f"# {CAUTIONS[0]}"
    head = next(row for row in lines if row[0] == "section")
    row = next(row for row in lines if row[:2] == ["headline", "weighted efficiency"])
    assert len(row) == len(head) == 4 + 2 + 1
    assert float(row[6]) == pytest.approx(float(row[5]) - float(row[4]))


@pytest.mark.parametrize(
    ("path", "code", "said"),
    [
        ("comparison?runs={0},nowhere", 404, "no run named"),
        ("comparison?runs={0}", 404, "two or more"),
        ("comparison?runs={0}&as=exe", 400, "can be had as"),
        ("comparison-designs?designs={0}/x", 404, "x"),
        ("comparison-designs", 404, "two or more designs"),
    ],
)
def test_files_that_cannot_be_made_are_refused_in_a_line(client, pinned, path, code, said):
    answer = got(client, f"/export/{path.format(pinned.before)}")
    assert answer.status_code == code
    assert said in answer.text
    assert "Traceback" not in answer.text


def test_a_picture_waits_for_others_and_not_for_ever(client, pinned, monkeypatch):
    monkeypatch.setattr(exports, "PATIENCE", 0.01)
    address = f"/export/comparison?runs={pinned.before},{pinned.after}&as="
    with exports.drawing():
        answer = got(client, f"{address}svg")
        assert (answer.status_code, "Ask again" in answer.text) == (503, True)
        assert got(client, f"{address}csv").status_code == 200
    assert got(client, f"{address}svg").status_code == 200


def test_files_are_guarded_as_the_rest(client):
    assert (
        got(client, "/export/comparison?runs=before,after", "attacker.example").status_code == 421
    )


def test_errors_of_entries_are_errors_of_the_user():
    assert issubclass(CompareError, RipplefrontError)
