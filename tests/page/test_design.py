"""The open design: what it says, what a change by hand answers, and what it refuses."""

import json
import math
from pathlib import Path

import dash
import numpy as np
import pytest
from plotly.utils import PlotlyJSONEncoder

from models.errors import ModelError, RunError
from models.ledger import Kind
from models.physics.lifetime import LIFE_MAX
from optimizer import named
from optimizer.budget import Settings
from optimizer.launch import new_store, prepared
from optimizer.objectives import Objective
from optimizer.opened import read_value
from optimizer.page import design_area, design_saved, design_vary
from optimizer.page.design_address import changes_in, written
from optimizer.page.design_bits import movable, table
from optimizer.page.design_differences import difference, loss_changes, result_changes, shown
from optimizer.page.design_figures import efficiency, loss_by_load, sorted_losses, waves
from optimizer.page.design_inputs import described, field_text, sorted_changes
from optimizer.page.design_limits import words
from optimizer.page.design_standing import against, keeps
from optimizer.page.library import Library
from optimizer.pins import parse
from optimizer.sheet_data import SECTIONS, detail_data

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
PINS = ("box.height_mm <= 45", "cost <= 300")
HOSTILE = "<img src=x onerror=alert(1)>, [x]"
LARGEST = 300_000  # bytes of any answer


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    """Runs with one real run folder: a few random designs of the first and last candidate."""
    root = tmp_path_factory.mktemp("runs")
    ready = prepared(DEMO, PINS)
    store = new_store(ready, Settings(seed=1, evaluations=1000), root)
    arrays = {"barrier": np.array(1)}
    for c in (0, len(ready.problems) - 1):
        problem = ready.problems[c]
        genes = problem.space.snapped(np.random.default_rng(4).random((8, problem.space.size)))
        found = problem.evaluate(genes)
        arrays |= {f"c{c}.front.genes": genes, f"c{c}.front.columns": found.columns,
                   f"c{c}.front.objectives": found.objectives}  # fmt: skip
    with store:
        store.archive(arrays, [])
        store.status({"state": "ended", "reason": "done", "designs": 16})
    return Library(root)


@pytest.fixture(scope="module", params=[0, -1], ids=["first", "last"])
def base(library, request):
    """One design of each topology, opened and unchanged."""
    run = library.run(library.names()[0])
    topology = list(dict.fromkeys(c.topology for c in run.candidates))[request.param]
    return design_vary.opened(library, run.name, run.front_of(topology)[0].id, {})


def asked(base, changes, path=""):
    return {"run": base.run.name, "id": base.stored, "changes": changes, "path": path, "n": 1}


UNCHANGED = {"changes": {}, "n": 0}


def texts(component):
    """Return every text of a tree of components, data of figures and tables included."""
    return json.dumps(component, cls=PlotlyJSONEncoder, ensure_ascii=False)


def drawing(library, base, changes, names, there=None):
    place = {"run": base.run.name, "id": base.stored}
    return design_vary.drawing(
        library, place, changes, theme="light", names=names, there=there or {}
    )


# ---- addresses and names --------------------------------------------------------------


def test_changes_survive_the_address_whatever_they_say():
    changes = {"boost.f_khz": "120", "choke.core": "A;B=C&d %", "x": "µ <b>"}
    assert changes_in(written(changes)) == changes
    assert changes_in("nonsense;;=5;a=1") == {"a": "1"}
    assert changes_in(None) == {}


def test_a_named_design_is_read_back_as_it_was_saved(tmp_path):
    one = named.Named("small-one", "run-1", "abcd1234", {"box.height_mm": "30"}, "for the roof")
    named.save(tmp_path, one)
    (found,) = named.all(tmp_path)
    assert (found.run, found.design, found.changes, found.note) == (
        one.run, one.design, one.changes, one.note)  # fmt: skip
    assert found.made
    named.remove(tmp_path, "small-one")
    assert named.every(tmp_path) == []
    named.remove(tmp_path, "small-one")


@pytest.mark.parametrize("name", ["", "../up", "a/b", ".hidden", "x" * 61, "a b", "a\n"])
def test_a_name_that_leads_elsewhere_is_refused(tmp_path, name):
    with pytest.raises(RunError, match="cannot be named"):
        named.save(tmp_path, named.Named(name, "r", "d", {}))
    assert not list(tmp_path.rglob("*.json"))


def test_a_taken_name_is_refused_and_keeps_what_it_had(tmp_path):
    named.save(tmp_path, named.Named("one", "r", "first", {}))
    with pytest.raises(RunError, match="already"):
        named.save(tmp_path, named.Named("one", "r", "second", {}))
    assert named.read(tmp_path, "one").design == "first"


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", '{"format": "ripplefront.named/1"}', '{"format": "ripplefront.named/9"}',
     '{"format": "ripplefront.named/1", "run": 5, "design": "", "changes": {}, "note": "",'
     ' "made": ""}', "[" * 100_000],
)  # fmt: skip
def test_a_damaged_named_design_is_listed_with_its_reason(tmp_path, text):
    named.save(tmp_path, named.Named("good", "r", "d", {}))
    (tmp_path / "named" / "bad.json").write_text(text)
    good, bad = named.every(tmp_path)
    assert good.name == "good"
    assert isinstance(bad, named.Unread)
    assert bad.reason
    assert named.all(tmp_path) == [good]


def test_links_among_the_named_designs_are_not_followed(tmp_path):
    outside = tmp_path / "outside"
    outside.mkdir()
    (tmp_path / "named").symlink_to(outside)
    with pytest.raises(RunError, match="link"):
        named.save(tmp_path, named.Named("one", "r", "d", {}))
    assert named.every(tmp_path) == []


def test_the_page_keeps_lists_and_opens_named_designs(library, base):
    place = {"run": base.run.name, "id": base.stored}
    name = f"kept-{base.stored}"
    told = texts(design_saved.keep(library, name, HOSTILE, place, {"box.height_mm": "30"}))
    assert "Kept as" in told
    assert "already" in texts(design_saved.keep(library, name, "", place, {}))
    assert "name first" in texts(design_saved.keep(library, " ", "", place, {}))
    assert "no run named" in texts(
        design_saved.keep(library, "x", "", {"run": "../x", "id": "a"}, {})
    )
    listed = texts(design_area.layout(library, {}))
    assert name in listed
    assert f"id={base.stored}" in listed
    named.remove(library.root, name)


# ---- standing -------------------------------------------------------------------------

OBJECTIVES = (
    Objective("power_density_kw_l", "kW/l", 1.0),
    Objective("weighted_efficiency_pct", "%", 1.0),
)
FRONT = -np.array([[0.2, 97.0], [0.4, 96.0], [0.6, 95.0]])


def standing(density, efficiency):
    results = {"power_density_kw_l": density, "weighted_efficiency_pct": efficiency}
    return against("the front", FRONT, results, OBJECTIVES)


def test_a_design_behind_is_told_by_how_much_at_equal_everything_else():
    found = standing(0.3, 95.5)
    assert found.place == "behind"
    assert {o.name: gap for o, gap in found.gaps} == pytest.approx(
        {"power_density_kw_l": 0.1, "weighted_efficiency_pct": 0.5}
    )
    assert found.words == (
        "behind the front by 0.100 kW/l of power density or 0.50 points of weighted efficiency"
    )


def test_a_design_of_the_front_stands_on_it_and_a_better_one_extends_it():
    assert standing(0.4, 96.0).place == "on"
    assert standing(0.5, 95.9).place == "ahead"
    assert standing(0.7, 90.0).words == "would extend the front"


@pytest.mark.parametrize(
    ("text", "value", "kept"),
    [("a <= 5", 5.0, True), ("a <= 5", 5.1, False), ("a >= 5", 4.9, False), ("a = 5", 5.0, True),
     ("a in [x, y]", "x", True), ("a not in [x, y]", "x", False), ("a not in [1, 2]", 3.0, True),
     ("a = none", 0.0, True), ("a = none", 1.0, False)],
)  # fmt: skip
def test_a_pin_is_kept_or_left(text, value, kept):
    assert keeps(parse(text), value) is kept


def test_a_change_that_leaves_a_pin_of_the_run_is_told(library, base):
    changes = {"box.height_mm": "55"}
    after = design_vary.opened(library, base.run.name, base.stored, changes)
    assert "box.height_mm <= 45" in texts(design_area.head(after))


# ---- fields ---------------------------------------------------------------------------


def test_every_variable_has_a_field_that_suits_its_kind(base):
    told = described(base.base, {})
    assert [f["path"] for f in told["fields"]] == [v.path for v in base.base.variables]
    for field, variable in zip(told["fields"], base.base.variables, strict=True):
        assert read_value(variable, field["value"]) == pytest.approx(
            base.base.values[variable.field], rel=1e-5
        )
        if variable.options:
            assert [o for o, _ in told["tables"][field["table"]]] == list(variable.options)
        else:
            mantissa = field["step"] / 10 ** math.floor(math.log10(field["step"]) + 1e-9)
            assert round(mantissa, 6) in (1, 2, 5, 10)
            assert field["lo"] < field["hi"]
    assert len(json.dumps(told)) < LARGEST


def test_rows_show_what_tells_them_apart(base):
    told = described(base.base, {})["tables"]
    assert any("V" in text and "·" in text for _, text in told["switches"])
    assert any("mm²" in text for _, text in told["cores"])
    assert all(text.startswith(name) for rows in told.values() for name, text in rows)


@pytest.mark.parametrize("text", ["wide", "", "1e9", "-3", "nan", "inf", "12 mm", "<b>1</b>"])
def test_an_impossible_value_gets_a_message_and_changes_nothing(library, base, text):
    before = {"changes": {"box.width_mm": "120"}, "n": 1}
    answer = design_vary.varied(library, asked(base, {"box.width_mm": text}), before)
    assert answer.after is None
    assert "box.width_mm" in answer.fields["messages"]
    assert answer.fields["marked"] == ["box.width_mm"]
    assert "box.width_mm" in answer.told


def test_unknown_paths_and_rows_are_told_not_followed(base):
    good, bad = sorted_changes(base.base, {"no.such": "1", "box.potting": HOSTILE})
    assert good == {}
    assert set(bad) == {"no.such", "box.potting"}


def test_the_value_that_stands_there_is_no_change(library, base):
    same = {v.path: field_text(v, base.base.values[v.field]) for v in base.base.variables}
    answer = design_vary.varied(library, asked(base, same), UNCHANGED)
    assert answer.fields["marked"] == []
    assert answer.after is None


def test_no_value_at_an_end_of_its_range_breaks_the_page(library, base):
    for variable in base.base.variables:
        for end in (variable.lo, variable.hi):
            text = field_text(variable, end)
            answer = design_vary.varied(library, asked(base, {variable.path: text}), UNCHANGED)
            assert not answer.fields["messages"]
            assert answer.told


def test_a_design_that_cannot_be_worked_out_says_so(library, base, monkeypatch):
    def broken(*_):
        raise ModelError("not finite")

    monkeypatch.setattr("optimizer.page.library.edited", broken)
    answer = design_vary.varied(
        library, asked(base, {"box.wall_mm": "2.22"}, "box.wall_mm"), UNCHANGED
    )
    assert answer.after is None
    assert "cannot be worked out" in answer.fields["messages"]["box.wall_mm"]


def test_a_change_is_answered_with_every_difference(library, base):
    changes = {"box.width_mm": "200", "box.length_mm": "280"}
    after = design_vary.varied(library, asked(base, changes), UNCHANGED).after
    assert dict(after.changes) == changes
    names = {c.name for c in result_changes(after.base, after.item)}
    assert "power_density_kw_l" in names
    told = texts(design_area.changes_box(after))
    assert "volume_l" in told
    assert (
        changes_in(after.query.split("set=")[1].replace("%3D", "=").replace("%3B", ";")) == changes
    )
    assert "set=" in texts(design_area.head(after))


def test_differences_have_a_sign_and_the_unit_of_a_difference():
    assert difference(95.0, 95.25, "%") == "+0.25 points"
    assert difference(80.0, 78.0, "°C") == "−2 K"
    assert difference(1.0, 1.0000001, "kW/l") == ""
    assert difference(500.0, 600.0, "years") == ""
    assert shown(150.0, "years") == "> 99 years"
    assert shown(95.2499, "%") == "95.25 %"


def test_the_largest_changes_of_loss_come_first(library, base):
    whole = {"emi.stages": "1"} if "emi.stages" in {v.path for v in base.base.variables} else {
        "filter.emi.stages": "1"}  # fmt: skip
    good, _ = sorted_changes(base.base, {**whole, "box.potting": "none"})
    after = design_vary.opened(library, base.run.name, base.stored, good)
    steps = [abs(float(c.difference.strip("+−").split()[0])) for c in
             loss_changes(after.base, after.item)]  # fmt: skip
    assert steps == sorted(steps, reverse=True)


# ---- groups ---------------------------------------------------------------------------


def test_every_group_is_drawn_small_and_finite(library, base):
    drawn = drawing(library, base, {}, list(design_vary.GROUPS))
    for content in drawn.contents:
        text = texts(content)
        assert 500 < len(text) < LARGEST
        assert "NaN" not in text
        assert "Infinity" not in text


def test_only_the_open_group_is_worked_out_and_sent(library, base, monkeypatch):
    def never(_):
        raise AssertionError("a folded group was drawn")

    for name in ("limits", "life", "build"):
        title, _ = design_vary.GROUPS[name]
        monkeypatch.setitem(design_vary.GROUPS, name, (title, never))
    drawn = drawing(library, base, {}, ["watts"])
    assert [c is dash.no_update for c in drawn.contents] == [False, True, True, True, True]


@pytest.mark.parametrize("name", ["watts", "limits", "life", "build", "cautions"])
def test_a_group_that_is_there_only_gets_new_data(library, base, name):
    first = drawing(library, base, {}, [name])
    again = drawing(library, base, {"box.width_mm": "201"}, [name], first.ids)
    assert again.moved
    assert all(c is dash.no_update for c in again.contents)
    assert list(again.moved) == first.ids[name]
    assert len(texts(again.moved)) < LARGEST


def test_figures_out_of_sight_are_sent_to_be_drawn_later(library, base):
    drawn = drawing(library, base, {}, ["watts"])
    assert set(drawn.moved) == {"design-efficiency", "design-spectra", "design-waves"}
    assert all(m["figure"]["data"] for m in drawn.moved.values())
    placed = movable(drawn.contents)
    assert [bool(placed[f"design-{n}"]["figure"]["data"]) for n in ("loss", "parts", "waves")] == [
        True, True, False]  # fmt: skip


def test_ids_of_one_page_are_unique(library, base):
    drawn = drawing(library, base, {}, list(design_vary.GROUPS))
    ids = [i for found in drawn.ids.values() for i in found]
    assert len(ids) == len(set(ids))
    assert set(movable(drawn.contents)) == set(ids)


def test_the_bars_add_up_to_the_losses(base):
    losses = SECTIONS["losses"](base.base)
    bars = [t["y"] for t in loss_by_load(losses)["data"] if t["type"] == "bar"]
    assert np.sum(bars, axis=0) == pytest.approx(np.array(losses["total_w"]), rel=1e-3)
    largest = sorted_losses(losses)
    single = {y: x for t in largest["data"] for x, y in zip(t["x"], t["y"], strict=True)}
    ordered = [single[name] for name in largest["layout"]["yaxis"]["categoryarray"]]
    assert ordered == sorted(ordered)
    assert ordered[-1] == max(r["watts"][-1] for r in losses["rows"])


def test_efficiency_has_three_module_voltages_and_waves_one_time_axis(base):
    assert len(efficiency(SECTIONS["efficiency"](base.base))["data"]) == 3
    frequency = float(base.base.case.spec.grid[0].frequency_hz)
    found = waves(detail_data(base.base)["waves"], frequency)
    assert found["layout"]["xaxis"]["range"] == pytest.approx([0.0, 1e3 / frequency])
    for trace in found["data"]:
        assert len(trace["x"]) == len(trace["y"])
        assert trace["x"][-1] > 0.9e3 / frequency


def test_damage_shares_add_up_and_explain_the_life(base):
    wear = SECTIONS["wear"](base.base)
    lives = {e.path: float(e.value[0, 0, 0]) for e in base.base.evaluation.ledger.of(Kind.LIFE)}
    assert {p["path"] for p in wear["parts"]} == set(lives)
    for part in wear["parts"]:
        assert sum(part["share"]) == pytest.approx(1.0)
        damage = sum(h / (y * 8760.0) for h, y in zip(wear["hours"], part["years"], strict=True))
        assert min(8760.0 / damage, LIFE_MAX) == pytest.approx(lives[part["path"]], rel=1e-6)


def test_the_heat_chain_starts_at_the_air_and_ends_at_the_hottest_part(base):
    chain = SECTIONS["heat_chain"](base.base)
    hottest = float(base.base.evaluation.column("part_max_c")[0])
    assert chain[0]["part_c"] == pytest.approx(hottest)
    for row in chain:
        assert row["air_c"] < row["wall_c"] <= row["part_c"] + 1e-9


def test_ripple_at_full_power_is_the_reported_one(base):
    rows = SECTIONS["ripple"](base.base)
    reported = float(base.base.evaluation.column("module_ripple_pct")[0])
    assert 100.0 * rows[-1]["share"] == pytest.approx(reported)
    assert [r["power_w"] for r in rows] == sorted(r["power_w"] for r in rows)


def test_every_part_of_a_catalogue_can_be_pinned_by_its_row(library, base):
    drawn = drawing(library, base, {}, ["build"])
    bill = json.loads(drawn_table(drawn, "bill-of-materials"))
    rows = {name for t in base.base.case.catalogue.names().values() for name in t}
    known = {v.path: v for v in base.base.variables}
    for row in bill["rows"]:
        part = row[3]
        if part["text"] in rows:
            variable = known[part["pin"]]
            assert variable.shown(base.base.values[variable.field]) == part["text"]


def drawn_table(drawn, name):
    return movable(drawn.contents)[f"design-table-{name}"]["data-table"]


def test_margins_are_told_in_words():
    assert words(0.032) == "not met by 3.2 %"
    assert words(-0.056) == "5.6 % left"
    assert words(12.0) == "not met by 1200 %"


def test_markup_in_a_name_is_text_everywhere():
    cell = json.loads(getattr(table(["a"], [[HOSTILE]], (), "c"), "data-table"))
    assert cell["rows"] == [[HOSTILE]]  # the browser sets it as text, see the browser's tests
    losses = {"rows": [{"path": f"{HOSTILE}.copper_dc", "group": "magnetic", "watts": [1.0]}],
              "power_w": [10.0], "total_w": [1.0]}  # fmt: skip
    for figure in (loss_by_load(losses), sorted_losses(losses)):
        assert "<img" not in json.dumps(figure)


# ---- the area -------------------------------------------------------------------------


def test_the_area_opens_what_the_address_holds(library, base):
    query = {"run": base.run.name, "id": base.stored, "set": "box.width_mm=150;box.wall_mm=9"}
    text = texts(design_area.layout(library, query))
    assert "changed by hand: 1 value" in text
    assert "box.wall_mm = 9 is outside its bounds" in text
    assert len(text) < LARGEST


@pytest.mark.parametrize("run", ["../etc", "nobody", "", "<b>"])
def test_a_run_that_is_not_there_is_an_error_not_a_fault(library, run):
    query = {"run": run, "id": "abc"}
    if run:
        with pytest.raises(RunError):
            design_area.layout(library, query)
    else:
        assert "No design is open" in texts(design_area.layout(library, query))


def test_a_design_that_is_not_there_is_an_error(library):
    with pytest.raises(RunError, match="no design"):
        design_area.layout(library, {"run": library.names()[0], "id": "zzzz"})
