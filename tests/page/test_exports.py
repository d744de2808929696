"""Files by address: the right one, named harmlessly, or a sentence that says what to do."""

import io
import json
import shutil
import sys
import threading

import pandas as pd
import pypdf
import pytest

from optimizer.archive import open_run
from optimizer.cautions import CAUTIONS
from optimizer.page import exports
from optimizer.page.app import hosts_of, page_app
from optimizer.page.exports import attached
from tests.page.real import real

HOST = "127.0.0.1:8470"
OWN = {"Host": HOST}


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    root = tmp_path_factory.mktemp("runs")
    real(root)
    return root


@pytest.fixture(scope="module")
def run(root):
    return open_run(next(root.glob("*/manifest.json")).parent)


@pytest.fixture(scope="module")
def design(run):
    return run.front_of(run.candidates[0].topology)[0].id


@pytest.fixture(scope="module")
def client(root):
    return page_app(root, hosts_of("127.0.0.1", 8470)).server.test_client()


@pytest.fixture
def get(client):
    def got(what, **query):
        return client.get(f"/export/{what}", query_string=query, headers=OWN)

    return got


def name_of(answer):
    kind, _, name = answer.headers["Content-Disposition"].partition("; filename=")
    assert kind == "attachment"
    return name.strip('"')


def refused(answer, code, *words):
    text = answer.get_data(as_text=True)
    assert answer.status_code == code, text
    assert answer.mimetype == "text/plain"
    assert "Content-Disposition" not in answer.headers
    assert len(text.splitlines()) >= 2, text  # what is wrong, and what to do
    for word in words:
        assert word in text
    return text


# ---- sheets ---------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["html", "pdf", "json", "csv"])
def test_a_sheet_in_every_form(get, run, design, form):
    answer = get("sheet", run=run.name, design=design, **{"as": form})
    assert answer.status_code == 200
    assert name_of(answer) == f"sheet-{design}.{form}"
    assert answer.mimetype == exports.KINDS[form]
    if form == "pdf":
        text = pypdf.PdfReader(io.BytesIO(answer.data)).pages[0].extract_text()
        assert f"{run.name} · design {design}" in text
    else:
        assert "Patents were not checked" in answer.get_data(as_text=True)


def test_a_sheet_with_changes_by_hand_says_so(get, run, design):
    plain = get("sheet", run=run.name, design=design, **{"as": "json"}).get_json()
    set_ = "box.length_mm=200"
    query = {"run": run.name, "design": design, "set": set_}
    changed = get("sheet", **query, **{"as": "json"})
    found = changed.get_json()
    assert found["changed_by_hand"] == {"box.length_mm": "200"}
    assert found["run"] == run.name
    assert plain["changed_by_hand"] == {}
    assert found["results"] != plain["results"]
    assert name_of(changed) == f"sheet-{design}-edited.json"
    pdf = get("sheet", **query, **{"as": "pdf"})
    text = pypdf.PdfReader(io.BytesIO(pdf.data)).pages[0].extract_text()
    assert "Changed by hand: box.length_mm = 200." in text
    assert "changed by hand" in get("sheet", **query).get_data(as_text=True)


@pytest.mark.parametrize(
    ("given", "words"),
    [("box.length_mm=9000", "outside its bounds"), ("box.lenght_mm=1", "no variable"),
     ("nonsense", "cannot be read"), ("box.length_mm=1;box.length_mm=2", "cannot be read"),
     ("box.length_mm=<b>x", "not a number"), ("box.length_mm=nan", "box.length_mm")],
)  # fmt: skip
def test_changes_that_cannot_be_made_are_told(get, run, design, given, words):
    refused(get("sheet", run=run.name, design=design, set=given), 400, words)


def test_what_there_is_not_is_told(get, run, design):
    refused(get("sheet", run="none", design=design), 404, "no run named")
    refused(get("sheet", run=run.name, design="zzzz"), 404, "no design named")
    refused(get("sheet"), 404, "Choose one")
    refused(
        get("sheet", run=run.name, design=design, **{"as": "exe"}), 400, "html, pdf, json, csv"
    )
    refused(get("run", run=run.name, **{"as": "xls"}), 400, "csv, parquet, json")
    refused(get("run", run=run.name, designs="some"), 400, "front, common, all")
    refused(get("fronts", run=run.name, **{"as": "gif"}), 400, "svg, png, pdf")
    for count in ("0", "301", "many", "-1", "1e9", "٣", ""):
        refused(get("report", run=run.name, designs=count), 400, "1 to 300")
    refused(get("report", run=run.name, prices="maybe"), 400, "yes, no")


@pytest.mark.parametrize("name", ["../../etc", "..", "/etc/passwd", "a/b", "\x00", "%2e%2e"])
@pytest.mark.parametrize("what", ["sheet", "run", "fronts", "report"])
def test_no_name_leads_out_of_the_folder_of_runs(get, what, name):
    refused(get(what, run=name, design="0"), 404, "no run named")


# ---- tables, pictures, report ---------------------------------------------------------


@pytest.mark.parametrize("designs", ["front", "common", "all"])
def test_the_stored_designs_as_tables(get, run, designs):
    answer = get("run", run=run.name, designs=designs, **{"as": "csv"})
    assert name_of(answer) == f"{run.name}-{designs}.csv"
    text = answer.get_data(as_text=True)
    assert text.startswith(f"# run {run.name}\n# {CAUTIONS[0]}")
    rows = pd.read_csv(io.StringIO(text), comment="#", low_memory=False)
    found = json.loads(get("run", run=run.name, designs=designs, **{"as": "json"}).data)
    assert len(rows) - 1 == len(found["designs"])  # a row of units
    parquet = get("run", run=run.name, designs=designs, **{"as": "parquet"})
    assert len(pd.read_parquet(io.BytesIO(parquet.data))) == len(found["designs"])


def test_without_pyarrow_parquet_is_refused_with_the_way_out(get, run, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    refused(get("run", run=run.name, **{"as": "parquet"}), 400, "pip install", "csv or json")
    assert get("run", run=run.name, **{"as": "csv"}).status_code == 200


@pytest.mark.parametrize(
    ("form", "begin"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")]
)
def test_the_fronts_as_a_picture(get, run, form, begin):
    answer = get("fronts", run=run.name, **{"as": form})
    assert answer.data.startswith(begin)
    assert name_of(answer) == f"fronts-{run.name}.{form}"
    if form == "svg":
        assert "qualified people" in answer.get_data(as_text=True)


def test_the_report_with_and_without_prices(get, run):
    answer = get("report", run=run.name, designs="1")
    assert answer.mimetype == "text/html"
    assert name_of(answer) == f"report-{run.name}.html"
    assert "cost [€]" in answer.get_data(as_text=True)
    bare = get("report", run=run.name, designs="1", prices="no").get_data(as_text=True)
    assert "cost [€]" not in bare
    assert "left out" in bare


# ---- guarded like the rest ------------------------------------------------------------


def test_exports_are_guarded_and_no_file_is_shown_inside_the_page(client, get, run, design):
    for what in ("sheet", "run", "fronts", "report"):
        address = f"/export/{what}?run={run.name}&design={design}"
        assert client.get(address, headers={"Host": "attacker.example"}).status_code == 421
        cross = {**OWN, "Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "cors"}
        assert client.get(address, headers=cross).status_code == 403
        assert client.post(address, headers=OWN).status_code == 405
    headers = get("sheet", run=run.name, design=design).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cache-Control"] == "no-store"
    assert "script-src" in headers["Content-Security-Policy"]


@pytest.mark.parametrize(
    "name", ['a"; filename="b.exe', "a\r\nSet-Cookie: x=1", "../../x.html", "ü 電.pdf", "", "..."]
)
def test_no_name_of_a_file_breaks_its_header(name):
    header = attached(b"x", name, "text/html").headers["Content-Disposition"]
    assert header.startswith('attachment; filename="')
    kept = header.removeprefix('attachment; filename="').removesuffix('"')
    assert kept
    assert set(kept) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-")
    assert not kept.startswith((".", "-"))


def test_one_picture_at_a_time_and_those_who_wait_too_long_are_told(get, run, monkeypatch):
    monkeypatch.setattr(exports, "PATIENCE", 0.05)
    held = threading.Lock()
    held.acquire()
    monkeypatch.setattr(exports, "_drawing", held)
    refused(get("fronts", run=run.name), 503, "Ask again")
    held.release()
    assert get("fronts", run=run.name).status_code == 200
    assert get("fronts", run=run.name).status_code == 200  # let go of again


def test_a_run_with_a_topology_that_is_not_known_is_told(root, run, tmp_path):
    folder = tmp_path / "older"
    shutil.copytree(run.folder, folder)
    path = folder / "candidates.json"
    hostile = "$\\\\frac{1}{0}$<img src=x>"
    path.write_text(path.read_text().replace(f'"{run.candidates[0].topology}"', f'"{hostile}"'))
    client = page_app(tmp_path, hosts_of("127.0.0.1", 8470)).server.test_client()
    assert client.get("/export/fronts?run=older", headers=OWN).status_code == 200
    assert client.get("/export/run?run=older", headers=OWN).status_code == 200
    answer = client.get("/export/report?run=older&designs=3", headers=OWN)
    refused(answer, 404, "not known to this version", "Open the run")
