"""Stored designs as CSV, Parquet and JSON: complete, with units, the same bytes every time."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from models.errors import RipplefrontError
from optimizer.archive import open_run
from optimizer.cautions import CAUTIONS
from optimizer.cli import main
from optimizer.engine import sweep
from optimizer.export import FORMS, export_columns, export_frame, exported
from tests.optimizer import stand_in
from tests.optimizer.stand_in import SETTINGS, problems, store_for

ROOT = Path(stand_in.__file__).parents[2]


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    with np.errstate(all="raise", under="ignore"):
        root = tmp_path_factory.mktemp("runs")
        with store_for(root, problems(), SETTINGS) as store:
            sweep(problems(), SETTINGS, store)
    return open_run(store.folder)


def from_csv(data: bytes) -> tuple[pd.DataFrame, dict[str, str]]:
    """Return the table and its units, read as runs/README.md tells."""
    table = pd.read_csv(io.BytesIO(data), comment="#", header=[0, 1])
    units = {n: "" if u.startswith("Unnamed") else u for n, u in table.columns}
    table.columns = table.columns.get_level_values(0)
    return table, units


def test_every_design_of_a_front_comes_with_its_variables_and_results_in_shown_units(run):
    table = export_frame(run).set_index("design")
    assert len(table) == sum(f.size for f in run.fronts)
    for design in run.common_front():
        row = table.loc[design.id]
        assert row["topology"] == design.candidate.topology
        assert row["structure"] == "boost.phases = 1"
        assert row["on_common_front"] == 1
        shown = design.shown()
        assert {k: row[k] for k in shown} == shown
        assert [row["loss_w"], row["volume_l"]] == design.columns.tolist()
    assert table["on_common_front"].sum() == len(run.common_front())


def test_the_choice_of_designs_is_honoured(run):
    sizes = {kind: len(export_frame(run, kind)) for kind in ("common", "front", "all")}
    assert sizes["common"] == len(run.common_front())
    assert sizes["common"] < sizes["front"] < sizes["all"]
    every = export_frame(run, "all")
    assert every["on_front"].sum() == sizes["front"]
    assert not every["design"].duplicated().any()


def test_a_csv_reads_back_with_units_and_every_bit_of_every_number(run):
    data = exported(run, "csv", "all")
    table, units = from_csv(data)
    wanted = export_frame(run, "all")
    assert list(table.columns) == list(wanted.columns)
    assert units["boost.f_khz"] == "kHz"
    assert units["loss_w"] == "W"
    for name in wanted.columns:
        assert table[name].tolist() == wanted[name].tolist(), name
    lines = data.decode().splitlines()
    assert lines[: 1 + len(CAUTIONS)] == [f"# {line}" for line in (f"run {run.name}", *CAUTIONS)]


def test_a_json_document_holds_columns_cautions_and_designs(run):
    document = json.loads(exported(run, "json"))
    assert document["format"] == "ripplefront.export/1"
    assert document["cautions"] == list(CAUTIONS)
    assert document["run"] == run.name
    units = {c["name"]: c["unit"] for c in document["columns"]}
    assert units["box.height_mm"] == "mm"
    wanted = export_frame(run)
    assert [list(d.values()) for d in document["designs"]] == wanted.values.tolist()
    assert isinstance(document["designs"][0]["boost.turns"], int)


def test_a_parquet_file_reads_back_with_units_and_cautions(run):
    pq = pytest.importorskip("pyarrow.parquet")
    table = pq.read_table(io.BytesIO(exported(run, "parquet", "all")))
    facts = {k.decode(): v.decode() for k, v in table.schema.metadata.items()}
    assert facts["cautions"] == "\n\n".join(CAUTIONS)
    units = json.loads(facts["units"])
    assert units == {c.name: c.unit for c in export_columns(run)}
    assert table.schema.field("boost.f_khz").metadata[b"unit"] == b"kHz"
    wanted = export_frame(run, "all")
    for name in wanted.columns:
        assert table[name].to_pylist() == wanted[name].tolist(), name


@pytest.mark.parametrize("form", ["csv", "json"])
def test_equal_runs_give_equal_bytes_with_and_without_pyarrow(run, form):
    script = (
        "import sys; sys.modules['pyarrow'] = None\n"
        "from pathlib import Path\n"
        "from optimizer.archive import open_run\n"
        "from optimizer.export import exported\n"
        "data = exported(open_run(Path(sys.argv[1])), sys.argv[2], 'all')\n"
        "sys.stdout.buffer.write(data)\n"
    )
    made = subprocess.run(
        [sys.executable, "-c", script, str(run.folder), form],
        cwd=ROOT, env={**os.environ, "PYTHONHASHSEED": "7"}, capture_output=True, check=True,
    )  # fmt: skip
    assert made.stdout == exported(run, form, "all")


def test_parquet_without_pyarrow_says_what_to_install(run, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(RipplefrontError, match=r"needs the package pyarrow(?s:.*)\[parquet\]"):
        exported(run, "parquet")


HOSTILE = '=HYPERLINK("http://example.invalid","x")'


@pytest.fixture
def hostile(run, tmp_path):
    """A run whose names of topologies, structures and rows are formulas."""
    import shutil

    folder = shutil.copytree(run.folder, tmp_path / "hostile")
    text = json.loads((folder / "candidates.json").read_text())
    for row in text["candidates"]:
        row["topology"] = "+cmd"
        row["structure"] = {"@SUM(1,2)": 1}
        for variable in row["variables"]:
            if variable["kind"] == "row":
                variable["options"] = [f"{HOSTILE} {i}" for i in range(8)]
    (folder / "candidates.json").write_text(json.dumps(text))
    return open_run(folder)


def test_no_text_cell_of_a_csv_is_taken_for_a_formula(hostile):
    table, _ = from_csv(exported(hostile, "csv", "all"))
    for name in ("topology", "structure", "boost.core"):
        assert table[name].str.startswith("'").all()
    raw = json.loads(exported(hostile, "json"))["designs"][0]
    assert raw["topology"] == "+cmd"
    assert raw["boost.core"].startswith("=HYPERLINK")


def test_variables_of_other_topologies_stay_empty(run, tmp_path):
    import shutil

    folder = shutil.copytree(run.folder, tmp_path / "two")
    text = json.loads((folder / "candidates.json").read_text())
    for variable in text["candidates"][2]["variables"]:
        variable["path"] = "second." + variable["path"]
        variable["field"] = "second." + variable["field"]
    (folder / "candidates.json").write_text(json.dumps(text))
    two = open_run(folder)
    table, units = from_csv(exported(two, "csv"))
    other = table["topology"] == "other"
    assert table.loc[other, "boost.f_khz"].isna().all()
    assert table.loc[other, "second.boost.f_khz"].notna().all()
    assert table.loc[~other, "second.boost.core"].isna().all()
    assert units["second.boost.f_khz"] == "kHz"
    assert "boost.core" not in json.loads(exported(two, "json"))["designs"][-1]
    if "pyarrow" in sys.modules:
        import pyarrow.parquet as pq

        made = pq.read_table(io.BytesIO(exported(two, "parquet")))
        assert made["boost.turns"].null_count == other.sum()


def test_a_run_without_designs_gives_names_and_units_alone(tmp_path):
    with store_for(tmp_path, problems(), SETTINGS) as store:
        pass
    empty = open_run(store.folder)
    for form in FORMS:
        assert exported(empty, form)
    table, _ = from_csv(exported(empty, "csv"))
    assert not len(table)
    assert list(table.columns) == [c.name for c in export_columns(empty)]


def export(*words, code=0):
    found = CliRunner().invoke(main, ["export", *map(str, words)])
    assert found.exit_code == code, found.output
    assert "Traceback" not in found.output
    return found


def test_the_command_writes_a_file_or_stdout(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    root = run.folder.parent
    out = export("latest", "--runs", root, "--as", "csv").stdout
    assert out == f"wrote {run.name}.csv\n"
    assert (tmp_path / f"{run.name}.csv").read_bytes() == exported(run, "csv")
    found = export(run.name, "--runs", root, "--as", "json", "--designs", "common", "--out", "-")
    assert found.stdout_bytes == exported(run, "json", "common")


def test_a_file_that_cannot_be_written_and_a_run_that_is_not_there_are_refused(run, tmp_path):
    root = run.folder.parent
    found = export("latest", "--runs", root, "--as", "csv", "--out", tmp_path / "no" / "x", code=2)
    assert "no/x cannot be written" in found.stderr
    assert "no run" in export("absent", "--runs", root, "--as", "csv", code=2).stderr
    assert "--as" in export("latest", "--runs", root, code=2).stderr
