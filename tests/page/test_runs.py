"""The area Runs without a browser: what is said of every run, families, pieces, what is broken."""

import contextlib
import json
import re
import shutil
import time
from urllib.parse import unquote

import dash
import plotly
import pytest

from models.errors import RunError
from optimizer.files import Lock
from optimizer.page import (
    runs_area,
    runs_course,
    runs_detail,
    runs_evidence,
    runs_facts,
    runs_limits,
    runs_live,
)
from optimizer.page.library import Library
from optimizer.page.runs_actions import actions, done
from optimizer.page.runs_facts import Entry, Facts
from optimizer.page.runs_families import families
from optimizer.page.runs_list import listed, plain
from optimizer.page.runs_view import Opened
from optimizer.page.runs_words import age
from optimizer.page.theme import GROUND
from optimizer.progress import Progress, Trend
from optimizer.standing import MEANING
from tests.optimizer.made_runs import made_run
from tests.page.made import many
from tests.page.test_pins_panel import text_of
from tests.page.test_theme import contrast

HOSTILE = "<img src=x onerror=alert(1)>"
FRONTS = {"boost": [(0.2, 97.0), (0.5, 96.5), (0.6, 94.0)], "flyback": [(0.3, 95.0)]}


@pytest.fixture
def library(tmp_path):
    made_run(tmp_path, "one", FRONTS)
    return Library(tmp_path)


def edit(folder, file, **entries):
    path = folder / file
    content = json.loads(path.read_text())
    path.write_text(json.dumps({**content, **entries}))


def only(library):
    return Facts(library).entry(library.names()[0])


def made_line(**changed):
    line = {"topology": "boost", "structures": 2, "designs": 600, "feasible_share": 0.5,
            "front": 3, "hypervolume": 0.8, "gained": 0.1, "note": ""}  # fmt: skip
    return {**line, **changed}


def going(designs=600, barrier=3, **changed):
    """Return a status as a search writes it."""
    return {
        "state": "running", "barrier": barrier, "rounds": 10, "elapsed": 4.0 * barrier,
        "left": 8.0, "designs": designs, "planned": 1000, "rate": 150.0, "feasible_share": 0.5,
        "failed": 0, "front": 3, "hypervolume": 0.1 * barrier, "gained": 0.1,
        "search_share": 0.05, "round_ended": True,
        "lines": [made_line(designs=designs, hypervolume=0.1 * barrier)], **changed,
    }  # fmt: skip


def test_an_entry_says_state_corners_and_what_was_asked(library):
    entry = only(library)
    assert (entry.state, entry.why) == ("finished", MEANING["done"])
    assert entry.asked == "300 W · 60-cell class · 120 V 60 Hz · temperate · 25 years"
    assert entry.size > 1000
    assert (entry.designs, entry.planned) == (1000, 1000)


def test_corners_are_those_of_the_common_front(tmp_path):
    folder = many(tmp_path, 2000)
    corners = {c.where: c for c in Facts(Library(tmp_path)).entry(folder.name).corners}
    run = Library(tmp_path).run(folder.name)
    rows = [dict(zip([c.name for c in run.columns], d.columns, strict=True))
            for d in run.common_front()]  # fmt: skip
    assert corners["densest"].density == max(r["power_density_kw_l"] for r in rows)
    assert corners["most efficient"].efficiency == max(r["weighted_efficiency_pct"] for r in rows)
    shown = {p.label for p in runs_facts._points(folder / "front.csv")}
    assert shown == {d.id for d in run.common_front()}
    first, last = corners["most efficient"].density, corners["densest"].density
    assert first < corners["knee"].density < last
    for corner in corners.values():
        assert run.design(corner.design).candidate.topology == corner.topology


@pytest.mark.parametrize(
    ("status", "state", "why"),
    [
        ({"state": "ended", "reason": "converged"}, "finished", "converged"),
        ({"state": "ended", "reason": "time"}, "finished", "time limit"),
        ({"state": "ended", "reason": "stopped"}, "stopped", "can be resumed"),
        ({"state": "ended", "reason": "failed"}, "failed", "gave no result"),
        ({"state": "running", "designs": 5}, "interrupted", "killed"),
        ({"state": "interrupted", "reason": HOSTILE}, "interrupted", HOSTILE),
        ({"state": "ended", "reason": "done", "exit_code": 3}, "finished", "no feasible design"),
    ],
)
def test_the_state_is_told_in_words(library, status, state, why):
    folder = library.root / library.names()[0]
    (folder / "status.json").write_text(json.dumps(status))
    entry = only(library)
    assert entry.state == state
    assert why in entry.why
    assert entry.resumable == (state in ("stopped", "interrupted"))


def test_a_held_run_is_running_with_its_progress_and_an_unheld_one_is_not(library):
    folder = library.root / library.names()[0]
    (folder / "status.json").write_text(json.dumps(going()))
    with contextlib.closing(Lock(folder / "lock")):
        entry = only(library)
        assert entry.state == "running"
        assert entry.progress.designs == 600
        edit(folder, "status.json", state="waiting")
        assert only(library).state == "waiting"
    assert only(library).state == "interrupted"


def test_a_stopped_run_whose_process_still_holds_it_cannot_be_resumed_yet(library):
    folder = library.root / library.names()[0]
    edit(folder, "status.json", reason="stopped")
    with contextlib.closing(Lock(folder / "lock")):
        entry = only(library)
        assert (entry.state, entry.resumable) == ("busy", False)
        assert actions(entry, [entry]) == []
    assert only(library).resumable


@pytest.mark.parametrize(
    ("file", "content", "words"),
    [
        ("manifest.json", '{"schema": 1, tor', "manifest.json cannot be read"),
        ("manifest.json", '{"schema": 99}', "newer version"),
        ("manifest.json", "[]", "it holds a list"),
        ("candidates.json", '{"candidates": [', "its end is missing"),
        ("candidates.json", None, "candidates.json"),
        ("status.json", None, "no status.json"),
        ("status.json", '{"state": "ended", "designs": "many"}', "status.json cannot be read"),
        ("columns.json", "{}", "columns.json"),
        ("specification.toml", "[[module", "specification.toml cannot be used"),
        ("front.csv", "design,candidate,x\n,,\na,b,1,word\n", "front.csv cannot be read"),
    ],
)
def test_a_broken_folder_is_one_row_with_its_reason(library, file, content, words):
    broken = library.root / library.names()[0]
    made_run(library.root, "whole", FRONTS)
    path = broken / file
    path.unlink()
    if content is not None:
        path.write_text(content)
    entries = {e.name: e for e in Facts(library).every()}
    assert entries[broken.name].state == "broken"
    assert words in entries[broken.name].why
    assert sorted(e.state for e in entries.values()) == ["broken", "finished"]
    assert words in text_of(runs_area.layout(library, {"run": broken.name}))
    assert broken.name in json.dumps(plain(listed(list(entries.values()), [])))


def test_a_link_out_of_the_folder_makes_a_run_broken(library, tmp_path_factory):
    secret = tmp_path_factory.mktemp("elsewhere") / "secret"
    secret.write_text("{}")
    (library.root / library.names()[0] / "log.txt").symlink_to(secret)
    assert "links are not followed" in only(library).why


def made(name, parent="", sweep="", created=0.0, **more):
    return Entry(name, "finished", parent=parent, sweep=sweep, created=created, **more)


def test_a_sweep_and_its_reruns_are_one_family_the_newest_family_first():
    entries = [
        made("b1", parent="v1", created=9.0),
        made("lone", created=5.0),
        made("c1", parent="b1", created=4.0),
        made("v2", sweep="s", created=2.0),
        made("v1", sweep="s", created=1.0),
    ]
    assert [[(d, e.name) for d, e in f] for f in families(entries)] == [
        [(0, "v1"), (1, "b1"), (2, "c1"), (0, "v2")],
        [(0, "lone")],
    ]


def test_runs_that_name_each_other_as_parents_are_all_listed():
    entries = [made("a", "b"), made("b", "a"), made("c", "c"), made("d", "gone")]
    found = [e.name for family in families(entries) for _, e in family]
    assert sorted(found) == ["a", "b", "c", "d"]


def test_what_others_beat_everywhere_is_a_table_in_words_of_the_goals(library):
    gaps = [["power_density_kw_l", 0.2067, 0.2331], ["weighted_efficiency_pct", 1.2, 1.7]]
    behind = {"topology": "boost", "distance": 1.0, "gaps": gaps, "text": "dominated everywhere"}
    folder = library.root / library.names()[0]
    edit(folder, "status.json", dominated=[behind])
    told = " ".join(text_of(part) for part in runs_evidence.evidence(library.run(folder.name)))
    assert "power density [kW/l]" in told
    assert "weighted efficiency [points]" in told
    assert "0.207, 0.233" in told
    assert "1.20, 1.70" in told
    del behind["gaps"]  # as an older version wrote it
    edit(folder, "status.json", dominated=[behind])
    told = " ".join(text_of(part) for part in runs_evidence.evidence(library.run(folder.name)))
    assert "boost: dominated everywhere" in told


def test_a_run_is_offered_as_report_tables_and_pictures(library):
    entry = only(library)
    told = runs_detail.head(entry, [entry])
    found = json.dumps(told, cls=plotly.utils.PlotlyJSONEncoder)
    for asked in ("report?run=", "run?run=", "as=csv", "as=parquet", "as=json", "as=svg"):
        assert asked in found
    assert found.count('"download": true') == 7


def test_names_and_pins_from_files_stay_texts(tmp_path):
    run = made_run(tmp_path, "one", {HOSTILE: [(0.2, 97.0)]}, pins=[HOSTILE], parent=HOSTILE)
    edit(run.folder, "manifest.json", sweep={"id": "s", "variant": HOSTILE})
    library = Library(tmp_path)
    entry = only(library)
    assert entry.variant == entry.parent == entry.pins[0] == HOSTILE
    row = json.dumps(plain(listed([entry], [])))
    assert row.count(HOSTILE) >= 2
    assert '["img"' not in row
    assert HOSTILE in text_of(runs_area.layout(library, {"run": run.name}))


def test_a_text_without_end_is_cut(tmp_path):
    run = made_run(tmp_path, "one", FRONTS, pins=["x" * 100_000])
    edit(run.folder, "manifest.json", sweep={"variant": "y" * 100_000})
    assert len(json.dumps(plain(listed([only(Library(tmp_path))], [])))) < 6000


def test_every_part_of_a_plain_table_is_a_tag_its_attributes_and_children():
    tags = set()

    def walk(part):
        if isinstance(part, list):
            tag, attributes, children = part
            tags.add(tag)
            assert all(isinstance(v, str) for v in attributes.values())
            assert all(v.startswith("/") for k, v in attributes.items() if k == "href")
            for child in children:
                walk(child)
        else:
            assert isinstance(part, str)

    corner = runs_facts.Corner("knee", "ab", "boost", 0.5, 96.0)
    walk(plain(listed([made("a", corners=(corner,)), made("b", "a")], ["a"])))
    assert {"table", "tr", "td", "th", "a", "button"} <= tags
    assert tags <= {"table", "caption", "thead", "tbody", "tr", "td", "th", "a", "button",
                    "div", "span"}  # fmt: skip


def test_only_what_changed_is_sent(library):
    name = library.names()[0]
    other = made_run(library.root, "two", FRONTS)
    _, shown = runs_area.looked(library, "", [], {})
    assert runs_area.looked(library, "", [], shown) == ([], shown)
    edit(other.folder, "status.json", designs=1500)
    fresh, now = runs_area.looked(library, "", [], shown)
    assert [(place, list(p["data"])) for place, p in fresh] == [("runs-fresh", [other.name])]
    assert now[f"row {name}"] == shown[f"row {name}"]


def test_a_new_run_brings_the_whole_list_and_a_running_one_its_card(library):
    _, shown = runs_area.looked(library, "", [], {})
    run = made_run(library.root, "two", FRONTS)
    (run.folder / "status.json").write_text(json.dumps(going()))
    with contextlib.closing(Lock(run.folder / "lock")):
        fresh, shown = runs_area.looked(library, "", [], shown)
        assert [place for place, _ in fresh] == ["runs-cards", "status", "runs-rows"]
        assert fresh[1][1] == {"children": f"being searched: {run.name}"}
        assert "600 of 1,000 designs, 150 a second" in text_of(fresh[0][1]["children"])
        (run.folder / "status.json").write_text(json.dumps(going(700, 4)))
        fresh, shown = runs_area.looked(library, "", [], shown)
        assert fresh[0][0] == {"type": "runs-card", "run": run.name}
        assert "700 of 1,000" in text_of(fresh[0][1]["children"])
        assert [place for place, _ in fresh[1:]] == ["runs-fresh"]
    fresh, _ = runs_area.looked(library, "", [], shown)
    assert fresh[:2] == [
        ("runs-cards", {"children": []}),
        ("status", {"children": "no run is being searched"}),
    ]


def test_an_open_run_redraws_its_parts_and_all_of_it_when_it_breaks(library):
    name = library.names()[0]
    _, shown = runs_area.looked(library, name, [], {})
    assert runs_area.looked(library, name, [], shown) == ([], shown)
    edit(library.root / name, "status.json", reason="stopped")
    fresh, shown = runs_area.looked(library, name, [], shown)
    assert {place for place, _ in fresh} >= {"runs-head", "runs-actions"}
    shutil.rmtree(library.root / name)
    fresh, _ = runs_area.looked(library, name, [], shown)
    assert "not here any more" in text_of(fresh[0][1]["children"])


def test_progress_that_makes_no_sense_is_told_in_place(library):
    folder = library.root / library.names()[0]
    (folder / "status.json").write_text(json.dumps(going(rate="fast")))
    with contextlib.closing(Lock(folder / "lock")):
        assert "status.json cannot be read" in text_of(runs_area.layout(library, {}))


def test_the_trend_of_a_topology_grows_with_every_round():
    trends = runs_live.Trends()
    for k in range(1, 5):
        status = going(100 * k, k)
        progress = runs_facts.progress_from(status)
        trend = trends.seen("one", progress)
    assert isinstance(trend, Trend)
    assert trend.hypervolumes(progress, progress.lines[0]) == pytest.approx([0.1, 0.2, 0.3, 0.4])
    assert isinstance(progress, Progress)


@pytest.mark.parametrize("values", [[0.0, 0.0], [0.1, 0.5, 0.3], [k / 999 for k in range(999)]])
def test_a_sparkline_stays_within_its_picture(values):
    svg = unquote(runs_live.sparkline(values))
    points = re.search(r'points="([^"]*)"', svg)[1].split()
    assert 2 <= len(points) <= runs_live.MOST + 1
    for point in points:
        x, y = map(float, point.split(","))
        assert 0 <= x <= runs_live.WIDTH
        assert 0 <= y <= runs_live.HEIGHT


def test_a_sparkline_is_seen_on_both_grounds():
    for ground in ("#ffffff", GROUND):
        assert contrast(runs_live.LINE, ground) >= 3.0


def test_events_are_told_in_words_the_newest_first():
    events = [
        {"event": "created", "at": "2026-01-02T03:04:05Z", "name": "x"},
        {"event": "barrier", "at": "", "barrier": 9, "designs": 23068, "front": 3,
         "hypervolume": 0.25, "live": 12},
        {"event": "shed", "at": "", "candidate": "boost", "why": "no feasible design",
         "evaluations": 2617, "lead": None, "rival": "flyback"},
        {"event": "interrupted", "at": "", "reason": HOSTILE},
        {"event": "barrier", "at": ""},
        {"event": "of a later version", "at": "", "what": [1]},
    ]  # fmt: skip
    told = [text for _, text in runs_course.told(events)]
    assert told[-1] == "run folder made"
    assert runs_course.told(events)[-1][0] == "2026-01-02 03:04:05 UTC"
    assert "round 9: 23,068 designs, 3 on the common front" in told[-2]
    assert told[-3] == "given up: boost: no feasible design, after 2,617 designs"
    assert told[-4] == f"interrupted: {HOSTILE}"
    assert told[1] == "barrier"
    assert told[0] == "of a later version: what [1]"


def test_actions_suit_the_state():
    def titles(entry, *others):
        return [a.children[0].children for a in actions(entry, [entry, *others])]

    running = Entry("a", "running", sweep="s")
    assert titles(running) == ["Stop", "Stop now"]
    assert "The 2 unfinished runs of its sweep stop" in text_of(
        actions(running, [running, Entry("b", "waiting", sweep="s")])
    )
    assert titles(Entry("a", "stopped", resumable=True)) == ["Resume"]
    assert titles(Entry("a", "finished")) == []


def test_an_action_that_cannot_be_done_says_why(library):
    for what in ("stop", "now", "resume"):
        said = done(library, library.names()[0], what)
        assert said.role == "alert"
        assert "nobody works on" in text_of(said) or "has ended" in text_of(said)


def test_picks_are_taken_given_back_and_no_more_than_can_be_compared():
    assert runs_area.picked(["a"], "b") == ["a", "b"]
    assert runs_area.picked(["a", "b"], "a") == ["b"]
    assert runs_area.picked(["a", "b"], "") == []
    with pytest.raises(RunError, match="no more than 6"):
        runs_area.picked(list("abcdef"), "g")


def test_an_address_restores_picks_that_are_still_there(library):
    name = library.names()[0]
    area = runs_area.layout(library, {"picks": f"{name},gone,../x"})
    assert f"Picked: {name}." in text_of(area)
    assert "gone" not in text_of(area)


def test_an_address_of_no_run_is_refused(library):
    with pytest.raises(RunError, match="no run named"):
        runs_area.layout(library, {"run": "../../etc"})


def test_an_open_run_links_to_the_price_of_its_pins_and_to_its_relations(library):
    parent = library.names()[0]
    child = made_run(library.root, "child", FRONTS, pins=["cost <= 60"], parent=parent)
    drawn = json.dumps(Opened(*runs_area._kept(library), Facts(library).every(), child.name)
                       .body(), default=lambda c: c.to_plotly_json())  # fmt: skip
    assert f"/compare?runs={parent}%2C{child.name}" in drawn
    assert f"/fronts?runs={child.name}" in drawn
    assert "cost <= 60" in drawn
    assert child.name in text_of(runs_area.layout(library, {"run": parent}))


def test_an_open_run_shows_its_specification_versions_and_seed(library):
    said = text_of(runs_area.layout(library, {"run": library.names()[0]}))
    assert "full_power_ambient_c = 45" in said
    assert "seed 3" in said
    assert "designs planned 1,000" in said


def test_what_limits_a_run_is_worked_out_once(tmp_path, monkeypatch):
    folder = many(tmp_path, 300)
    library = Library(tmp_path)
    first = text_of(runs_limits.limits(library, folder.name))
    assert "designs on its front" in first
    assert "A limit is active" in first
    monkeypatch.setattr(runs_limits, "bindings", None)
    assert text_of(runs_limits.limits(library, folder.name)) == first


def test_what_limits_a_run_of_another_version_is_told(library):
    said = runs_limits.limits(library, library.names()[0])
    assert said[0].role == "alert"


def test_ages_are_rough():
    assert [age(0.0, t) for t in (0, 59, 60, 3599, 7200, 2 * 86400 - 1, 2 * 86400)] == [
        "just now", "just now", "1 min", "59 min", "2 h", "47 h", "2 days",
    ]  # fmt: skip


def test_two_hundred_runs_are_looked_at_quickly(library):
    first = library.root / library.names()[0]
    for k in range(200):
        shutil.copytree(first, library.root / f"copy-{k}")
    _, shown = runs_area.looked(library, "", [], {})
    begun = time.process_time()
    assert runs_area.looked(library, "", [], shown)[0] == []
    assert time.process_time() - begun < 0.5  # 0.014 s measured


def test_no_run_at_all_says_how_to_start_one(tmp_path):
    area = runs_area.layout(Library(tmp_path), {})
    stores = [c for c in area.children[-1].children if getattr(c, "id", "") == "runs-rows"]
    assert "ripplefront sweep FILE" in json.dumps(stores[0].data)
    assert isinstance(area, dash.html.Div)
