"""Runs side by side: what differs, what it costs, what must be said of it."""

import csv
import io
import json

import pytest
from click.testing import CliRunner

from models.errors import RunError
from optimizer.cli import main
from optimizer.compare import compared
from optimizer.comparison_figures import price_figure
from optimizer.comparison_files import write_comparison_page, write_comparison_picture
from optimizer.unrest import unrest
from tests.optimizer.made_runs import DEMO, made_run

BEFORE = {"boost": [(0.2, 97.0), (0.3, 96.5), (0.4, 95.0)], "other": [(0.1, 94.0), (0.15, 93.0)]}
AFTER = {"boost": [(0.2, 96.6), (0.3, 96.0), (0.35, 94.5)], "other": [(0.1, 93.9)]}
STILL = [{"topology": t, "hypervolume": 1.0, "moved": 1e-4, "disagreement": 2e-3}
         for t in ("boost", "other", "")]  # fmt: skip
PIN = "box.height_mm <= 30"


@pytest.fixture
def pair(tmp_path):
    """A run and its child under one pin."""
    old = made_run(tmp_path, "old", BEFORE, evidence=STILL)
    new = made_run(tmp_path, "new", AFTER, pins=[PIN], parent=old.name, evidence=STILL)
    return old, new


def price_of(comparison, topology):
    """Return the price of one topology in the first pair."""
    return next(p for p in comparison.pairs[0].prices if p.topology == topology)


def test_a_child_is_held_against_its_parent_whatever_the_order(pair):
    old, new = pair
    for runs in ([old, new], [new, old]):
        found = compared(runs)
        assert [(p.before, p.after) for p in found.pairs] == [(old.name, new.name)]
        assert found.pairs[0].added == (PIN,)
        assert found.differences == ()


def test_a_grandchild_is_held_against_its_own_parent(pair):
    old, new = pair
    root = old.folder.parent
    last = made_run(root, "last", AFTER, pins=[PIN, "cost <= 200"], parent=new.name)
    stranger = made_run(root, "stranger", AFTER, pins=[PIN], parent="gone")
    found = compared([old, last, stranger, new])
    assert [(p.before, p.after) for p in found.pairs] == [
        (new.name, last.name), (old.name, stranger.name), (old.name, new.name)
    ]  # fmt: skip
    assert found.pairs[0].added == ("cost <= 200",)


def test_the_price_stands_for_every_topology_and_for_all(pair):
    found = compared(pair)
    table = price_of(found, "boost").tables[0]
    at = {round(r.level, 3): r.loss for r in table.rows}
    assert at[0.3] == pytest.approx(0.5)
    assert at[0.4] is None
    assert [p.topology for p in found.pairs[0].prices] == ["", "boost", "other"]
    assert found.pairs[0].remarks == ()


def test_a_better_child_says_that_the_parent_had_not_converged(tmp_path):
    old = made_run(tmp_path, "old", AFTER, evidence=STILL)
    new = made_run(tmp_path, "new", BEFORE, pins=[PIN], evidence=STILL)
    remarks = " ".join(compared([old, new]).pairs[0].remarks)
    assert "A pin can only cost" in remarks
    assert f"{old.name} had not converged" in remarks


def test_runs_that_differ_in_more_than_pins_have_no_price_of_a_pin(tmp_path):
    other = DEMO.replace("rated_power_w = 300", "rated_power_w = 280")
    old = made_run(tmp_path, "old", AFTER)
    new = made_run(tmp_path, "new", BEFORE, pins=[PIN], specification=other)  # the better one
    found = compared([old, new])
    assert [(d.field, d.values) for d in found.differences] == [
        ("output.rated_power_w", ("300.0", "280.0"))
    ]
    remarks = " ".join(found.pairs[0].remarks)
    assert "Not the price of a pin alone" in remarks
    assert "A pin can only cost" not in remarks


def test_a_dropped_pin_is_no_price(tmp_path):
    old = made_run(tmp_path, "old", BEFORE, pins=[PIN, "cost <= 60"])
    new = made_run(tmp_path, "new", AFTER, pins=[PIN])
    assert "dropped pins" in compared([old, new]).pairs[0].remarks[0]


def test_name_note_and_budget_of_a_specification_are_no_differences(tmp_path):
    other = DEMO.replace('name = "demo"', 'name = "mine"').replace("seed = 7", "seed = 8")
    assert other != DEMO
    runs = [made_run(tmp_path, "a", BEFORE), made_run(tmp_path, "b", AFTER, specification=other)]
    assert compared(runs).differences == ()


def test_hypervolumes_share_one_frame(pair):
    old, new = compared(pair).runs
    assert old.sides["boost"].share == pytest.approx(1.0)  # dominates the child everywhere
    assert 0.0 < new.sides["boost"].share < 1.0
    equal = compared([pair[0], made_run(pair[0].folder.parent, "twin", BEFORE)])
    assert {f.sides["boost"].share for f in equal.runs} == {1.0}


def test_corners_are_the_best_of_each_objective_and_the_knee(pair):
    corners = compared(pair).runs[0].sides["boost"].corners
    assert [c.where for c in corners] == ["best power density", "best weighted efficiency", "knee"]
    assert [c.point.density for c in corners] == [0.4, 0.2, 0.3]


def test_different_objectives_are_refused_with_both(tmp_path):
    text = 'maximise = ["weighted_efficiency_pct"]\nminimise = ["cost"]'
    other = DEMO.replace('maximise = ["power_density_kw_l", "weighted_efficiency_pct"]', text)
    assert other != DEMO
    old = made_run(tmp_path, "old", BEFORE)
    new = made_run(tmp_path, "new", AFTER, specification=other)
    with pytest.raises(RunError, match=r"most power density.*least cost"):
        compared([old, new])


def test_other_objectives_than_the_usual_have_a_price_too(tmp_path):
    text = 'maximise = ["weighted_efficiency_pct"]\nminimise = ["cost"]'
    spec = DEMO.replace('maximise = ["power_density_kw_l", "weighted_efficiency_pct"]', text)
    kind = {"specification": spec, "wanted": ("weighted_efficiency_pct", "cost"),
            "signs": (-1.0, 1.0)}  # fmt: skip
    old = made_run(tmp_path, "old", {"boost": [(96.0, 90.0), (95.0, 50.0)]}, **kind)
    new = made_run(tmp_path, "new", {"boost": [(96.0, 110.0), (95.0, 58.0)]}, **kind)
    found = compared([old, new])
    tables = price_of(found, "boost").tables
    by_cost = next(t for t in tables if t.of.name == "cost")
    assert {r.level: r.loss for r in by_cost.rows}[96.0] == pytest.approx(20.0)
    by_efficiency = next(t for t in tables if t.at.name == "cost")
    assert by_efficiency.rows[-1].note == "not reachable after"  # for 50 € there is none
    assert by_efficiency.rows[-1].level == 50.0
    price_figure(found, found.pairs[0])
    write_comparison_picture(found, tmp_path / "p.svg")


def test_noise_is_what_the_hypervolume_still_moved(tmp_path):
    moving = [{"topology": "boost", "hypervolume": 1.0, "moved": 0.02, "disagreement": 0.1}]
    run = made_run(tmp_path, "old", {"boost": [(0.2, 97.0), (0.4, 95.0)]}, evidence=moving)
    # Two ends of the frame dominate 2·1.1·0.1 − 0.01 of the frame of 1.1 by 1.1.
    volume = 2 * 1.1 * 0.1 - 0.01
    shift = unrest(run)["boost"]
    assert shift["weighted_efficiency_pct"] == pytest.approx(0.1 * volume / 1.1 * 2.0)
    assert shift["power_density_kw_l"] == pytest.approx(0.1 * volume / 1.1 * 0.2)


def test_where_nothing_is_known_of_convergence_that_is_said(tmp_path):
    runs = [made_run(tmp_path, "old", BEFORE), made_run(tmp_path, "new", AFTER, pins=[PIN])]
    assert "not known" in compared(runs).pairs[0].remarks[-1]


def test_one_run_or_the_same_twice_is_refused(pair):
    for runs in (pair[:1], [pair[0], pair[0]]):
        with pytest.raises(RunError, match="two or more different runs"):
            compared(runs)


def test_picture_and_page_carry_the_cautions(pair, tmp_path):
    found = compared(pair)
    write_comparison_picture(found, tmp_path / "p.svg")
    assert "lethal voltages" in (tmp_path / "p.svg").read_text()
    write_comparison_picture(found, tmp_path / "p.png")
    write_comparison_page(found, tmp_path / "p.html")
    page = (tmp_path / "p.html").read_text()
    assert "Lethal voltages" in page
    assert "not reachable" in page
    assert PIN.replace("<", "&lt;") in page


def test_the_figure_keeps_a_topology_in_its_colour_and_dashes_the_old(pair):
    found = compared(pair)
    fronts = [t for t in price_figure(found, found.pairs[0]).data if t.mode == "lines+markers"]
    assert [t.line.dash for t in fronts] == ["dash", "solid"] * 2
    assert fronts[0].line.color == fronts[1].line.color != fronts[2].line.color
    assert {t.line.shape for t in fronts} == {"vh"}


def test_the_command_prints_and_writes(pair, tmp_path):
    root = str(pair[0].folder.parent)
    words = ["compare", pair[0].name, pair[1].name, "--runs", root]
    found = CliRunner().invoke(main, words)
    assert found.exit_code == 0, found.output
    assert PIN in found.stdout
    assert "not reachable" in found.stdout
    document = json.loads(CliRunner().invoke(main, [*words, "--json"]).stdout)
    assert document["format"] == "ripplefront.compare/1"
    assert document["prices"][0]["pins_added"] == [PIN]
    lines = CliRunner().invoke(main, [*words, "--csv"]).stdout
    rows = list(csv.reader(io.StringIO(lines)))
    assert rows[0][0].startswith("# ")
    heads = next(r for r in rows if r[0] == "before_run")
    assert all(len(r) == len(heads) for r in rows[rows.index(heads) :])
    refused = CliRunner().invoke(main, [*words, "--picture", str(tmp_path / "p.jpg")])
    assert refused.exit_code == 2
