"""The report of a run: whole, self-contained, harmless, and without prices where so asked."""

import base64
import copy
import gzip
import hashlib
import html
import json
import re
import shutil

import numpy as np
import plotly.offline
import pytest
from click.testing import CliRunner

from models.errors import RipplefrontError, RunError
from optimizer import report_data
from optimizer.archive import open_run
from optimizer.cautions import CAUTIONS
from optimizer.cli import main
from optimizer.report import escaped, material, report
from optimizer.report_choice import SPREAD, shortlist
from optimizer.report_data import Wishes
from optimizer.report_prices import LEFT_OUT, priceless, tells
from tests.optimizer.made_runs import made_run
from tests.page.real import real

HOSTILE = '</script><script>alert(1)</script><img src=x onerror="alert(2)">'
SHED = {"candidate": "one[a=1]", "rival": "one[a=2]", "why": "no feasible design",
        "evaluations": 1234, "lead": None}  # fmt: skip
BEHIND = {"topology": "flyback_unfolder", "text": "dominated everywhere: behind by 3 points"}


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    return tmp_path_factory.mktemp("runs")


@pytest.fixture(scope="module")
def run(root):
    return open_run(real(root, status={"shed": [SHED], "dominated": [BEHIND], "seeds": "one"}))


@pytest.fixture(scope="module")
def found(run):
    return material(run)


@pytest.fixture(scope="module")
def text(found):
    return report(found, Wishes(designs=4))


def held(text):
    return json.loads(re.search(r'id="held">(.*?)</script>', text, re.DOTALL)[1])


def unpacked(letters):
    return gzip.decompress(base64.b64decode(letters)).decode()


def sheets(text):
    """Return the sheets of a report as plain data."""
    content = held(text)
    return [json.loads(unpacked(s["held"])) if content["packed"] else s["held"]
            for s in content["sheets"]]  # fmt: skip


def words(text):
    """Return what a reader of a report sees without scripts."""
    bare = re.sub(r"<(script|style)[^>]*>.*?</\1>", "", text, flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", bare)))


# ---- whole ----------------------------------------------------------------------------


def test_everything_that_belongs_into_a_report_is_there(text, run):
    seen = words(text)
    for caution in CAUTIONS:
        assert caution in seen
    for heading in ("Fronts", "Design sheets", "What limits the designs of the fronts",
                    "How far to trust the search", "Structures given up on the way",
                    "What was asked for"):  # fmt: skip
        assert f" {heading} " in seen
    assert "one[a=1] no feasible design one[a=2] 1,234" in seen
    assert "dominated everywhere: behind by 3 points" in seen
    assert "more designs may help" in seen
    assert "output.rated_power_w 300" in seen
    for topology in dict.fromkeys(c.topology for c in run.candidates):
        for design in run.front_of(topology):
            assert design.id in seen


def test_sheets_hold_every_section_and_figure(text):
    made = sheets(text)
    assert len(made) == 4
    for sheet in made:
        titles = [part["title"] for part in sheet["sections"]]
        assert titles == ["Where the watts go", "What limits it", "Will it last",
                          "How to build it", "Control and protection", "All values"]  # fmt: skip
        named = [n for part in sheet["sections"] for block in part["blocks"]
                 if block["block"] == "pictures" for n in block["names"]]  # fmt: skip
        assert set(named) == set(sheet["figures"])
        assert sheet["heads"]


def test_packed_and_plain_say_the_same(found, text):
    plain = report(found, Wishes(designs=4, packed=False))
    assert sheets(plain) == sheets(text)
    assert words(plain) == words(text)
    assert len(plain) > len(text)


def test_the_same_run_gives_the_same_report(found, text):
    assert report(found, Wishes(designs=4)) == text


# ---- self-contained and harmless ------------------------------------------------------


def policy(text):
    return html.unescape(re.search(r'Security-Policy" content="([^"]*)"', text)[1])


def hashed(script):
    return f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'"


@pytest.mark.parametrize("packed", [True, False])
def test_only_the_scripts_of_the_report_may_run_and_nothing_is_fetched(found, packed):
    text = report(found, Wishes(designs=1, packed=packed))
    rules = policy(text)
    assert rules.startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe-inline" not in rules.split("style-src")[0]
    assert "unsafe-eval" not in rules
    scripts = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    library = plotly.offline.get_plotlyjs()
    assert scripts == ([scripts[-1]] if packed else [library, scripts[-1]])
    assert all(hashed(script) in rules for script in (*scripts, library))
    if packed:
        letters = re.search(r'id="packed">(.*?)</script>', text, re.DOTALL)[1]
        assert unpacked(letters) == library
    markup = re.sub(r"<script[^>]*>.*?</script>", "", text, flags=re.DOTALL)
    assert not re.search(r"""(src|href)=["']?(https?:)?//|@import|url\(""", markup)


def test_no_figure_offers_to_send_anything_away(text):
    config = held(text)["config"]
    assert config["showSendToCloud"] is False
    assert config["plotlyServerURL"] == ""
    assert config["displaylogo"] is False


def test_the_own_script_builds_no_markup_from_text(text):
    script = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)[-1]
    for way in (
        "innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(",
        "new Function", "http://", "https://", "fetch(", "XMLHttp", "import(",
    ):  # fmt: skip
        assert way not in script


def test_a_text_cannot_end_the_script_that_holds_it():
    text = escaped({HOSTILE: [HOSTILE, "\u2028", "&amp;"]})
    assert not set(text) & set("<>&\u2028\u2029")
    assert json.loads(text) == {HOSTILE: [HOSTILE, "\u2028", "&amp;"]}


def hostile_sheet(make):
    def made(item):
        data = copy.deepcopy(make(item))
        data["bill"][0]["what"] = data["bill"][0]["build"][0]["value"] = HOSTILE
        data["losses"]["rows"][0]["path"] = data["limits"][0]["path"] = HOSTILE
        data["waves"][0]["name"] = data["volume"][0]["path"] = data["title"] = HOSTILE
        return data

    return made


def test_a_hostile_part_name_stays_text(found, monkeypatch):
    monkeypatch.setattr(report_data, "sheet_data", hostile_sheet(report_data.sheet_data))
    for packed in (True, False):
        text = report(found, Wishes(designs=2, packed=packed))
        assert HOSTILE not in text
        assert "<img" not in text.replace(plotly.offline.get_plotlyjs(), "")
        sheet = sheets(text)[0]
        assert HOSTILE in sheet["title"]
        drawn = json.dumps([f["data"] for f in sheet["figures"].values()])
        assert "<img" not in drawn  # drawing code reads some markup in its texts


def test_hostile_facts_of_a_run_stay_text(run, tmp_path):
    folder = tmp_path / run.name
    shutil.copytree(run.folder, folder)
    for name, key in (("manifest.json", "version"), ("status.json", "seeds")):
        document = json.loads((folder / name).read_text())
        (folder / name).write_text(json.dumps({**document, key: HOSTILE}))
    text = report(material(open_run(folder)), Wishes(designs=1))
    assert HOSTILE not in text
    assert HOSTILE in words(text.replace(HOSTILE, "")) or "alert(1)" in words(text)


# ---- prices ---------------------------------------------------------------------------


def test_without_prices_no_amount_of_money_is_in_it(found, run):
    text = report(found, Wishes(designs=4, prices=False))
    assert LEFT_OUT in words(text)
    everything = words(text) + json.dumps(
        [sheets(text), held(text)["figures"]], ensure_ascii=False
    )
    everything = everything.replace(LEFT_OUT, "")
    for caution in CAUTIONS:
        everything = everything.replace(caution, "")
    assert "€" not in everything
    cited = "A low cost flyback"  # title of a source
    assert not re.findall(r".{30}\bcost\b.{30}", everything.replace(cited, ""))
    column = [c.name for c in run.columns].index("cost")
    for front in run.fronts:
        for value in front.columns[:, column]:
            assert repr(float(value)) not in text + everything
    assert LEFT_OUT not in words(report(found, Wishes(designs=1)))


def test_a_cost_limit_and_pins_on_cost_are_left_out(root):
    run = open_run(real(root, ("cost <= 300", "box.height_mm <= 60"), designs=6, seed=5))
    found = material(run)
    assert "cost <= 300" in words(report(found, Wishes(designs=1)))
    bare = words(report(found, Wishes(designs=1, prices=False)))
    assert "cost <= 300" not in bare
    assert "box.height_mm <= 60" in bare


def test_a_sheet_without_prices_keeps_everything_else(found):
    from optimizer.launch import open_design
    from optimizer.sheet_data import sheet_data

    run = found.run
    data = sheet_data(open_design(run, run.common_front()[0], found.case))
    bare = priceless(data)
    assert len(bare["results"]) == len(data["results"]) - 1
    assert bare["losses"] == data["losses"]
    assert bare["cautions"] == data["cautions"]
    assert any(row["path"] == "cost" for row in data["limits"]) is bool(
        [row for row in data["limits"] if row not in bare["limits"]]
    )


@pytest.mark.parametrize(
    ("given", "told"),
    [("cost <= 60", True), ("limits.cost_max", True), ("cost", True), ("price", True),
     ("costal", False), ("box.height_mm <= 25", False), ("boost.f_khz", False)],
)  # fmt: skip
def test_what_tells_of_money(given, told):
    assert tells(given) is told


# ---- shortlist ------------------------------------------------------------------------


def front(count, shift=0.0):
    """Return points of a convex front."""
    x = np.linspace(0.2, 0.9, count)
    return list(zip(x, 97.0 - shift - 3.0 * x**2, strict=True))


def test_a_shortlist_has_knees_and_ends_first_and_fills_up_evenly(tmp_path):
    run = made_run(tmp_path, "two", {"boost": front(50), "other": front(8, 1.0)})
    few = shortlist(run, 24)
    assert len(few) == len({c.design.id for c in few}) == 24
    whys = {c.why.split(" of all")[0].split(",")[0] for c in few}
    assert whys == {"knee", "best power density", "best weighted efficiency", SPREAD}
    for topology in ("boost", "other"):
        ids = [d.id for d in run.front_of(topology)]
        mine = [ids.index(c.design.id) for c in few if c.design.candidate.topology == topology]
        assert {0, len(ids) - 1} <= set(mine)
        assert mine == sorted(mine)
    # What the short front cannot fill goes to the long one.
    assert sum(c.design.candidate.topology == "other" for c in few) == 8
    assert len(shortlist(run, 300)) == 58
    for count in range(1, 12):
        assert len(shortlist(run, count)) == count
    gaps = np.diff([ids.index(c.design.id) for ids in [[d.id for d in run.front_of("boost")]]
                    for c in few if c.design.candidate.topology == "boost"])  # fmt: skip
    assert gaps.max() <= 9  # of 50 designs, 16 are taken


def test_counts_that_no_report_holds_are_refused(tmp_path):
    run = made_run(tmp_path, "one", {"boost": front(5)})
    for count in (0, -1, 301):
        with pytest.raises(RipplefrontError, match="1 to 300 designs"):
            shortlist(run, count)
    assert shortlist(made_run(tmp_path, "none", {"boost": []}), 24) == []


# ---- parents, runs without anything ---------------------------------------------------


def test_a_child_tells_the_price_of_its_pins(root, run):
    child = open_run(real(root, ("box.height_mm <= 60",), parent=run.name, designs=8))
    seen = words(report(material(child), Wishes(designs=1)))
    assert "Price of the pins" in seen
    assert f"From {run.name} to {child.name}" in seen
    assert "Pins added: box.height_mm <= 60" in seen
    assert "price" in held(report(material(child), Wishes(designs=1)))["figures"]


@pytest.mark.parametrize("parent", ["gone", "../secret", "/etc"])
def test_a_parent_that_is_not_there_leads_nowhere(tmp_path, parent):
    child = open_run(real(tmp_path, designs=4, parent=parent))
    assert material(child).parent is None
    assert "Price of the pins" not in words(report(material(child), Wishes(designs=1)))


def test_a_run_without_a_feasible_design_has_a_report(run, tmp_path):
    folder = tmp_path / run.name
    shutil.copytree(run.folder, folder)
    (folder / "archive.npz").unlink()
    status = json.loads((folder / "status.json").read_text())
    (folder / "status.json").write_text(json.dumps({**status, "state": "running"}))
    seen = words(report(material(open_run(folder)), Wishes()))
    assert "No feasible design was found" in seen
    assert "The search had not ended" in seen


# ---- the command ----------------------------------------------------------------------


def ripplefront(*words):
    return CliRunner().invoke(main, list(map(str, words)))


def test_the_command_writes_the_report_and_says_what_is_in_it(root, run, tmp_path):
    out = tmp_path / "x.html"
    asked = ("report", run.name, "--runs", root, "--out", out, "--designs", 1)
    answer = ripplefront(*asked)
    assert answer.exit_code == 0, answer.output
    assert "--without-prices" in answer.output
    assert f"wrote {out}" in answer.output
    assert "cost [€]" in out.read_text(encoding="utf-8")
    answer = ripplefront(*asked, "--without-prices")
    assert "--without-prices" not in answer.output
    assert LEFT_OUT in out.read_text(encoding="utf-8")


def test_mistakes_of_the_command_are_told_before_anything_is_worked_out(root, run, tmp_path):
    for words_, reason in (
        (("--out", tmp_path / "x.doc"), "End the name in .html"),
        (("--out", tmp_path / "none" / "x.html"), "does not exist"),
        (("--designs", 301), "1 to 300 designs"),
        (("--out", tmp_path), "End the name"),
    ):
        answer = ripplefront("report", run.name, "--runs", root, *words_)
        assert answer.exit_code == 2, answer.output
        assert reason in answer.output
    assert ripplefront("report", "none", "--runs", root).exit_code == 2


def test_a_topology_that_is_not_known_is_told(run, tmp_path):
    folder = tmp_path / run.name
    shutil.copytree(run.folder, folder)
    path = folder / "candidates.json"
    path.write_text(path.read_text().replace(f'"{run.candidates[0].topology}"', '"old"'))
    with pytest.raises(RunError, match="not known to this version"):
        report(material(open_run(folder)), Wishes(designs=3))
