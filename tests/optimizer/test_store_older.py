"""The promise of runs/README.md: a run of any earlier schema opens, and reads as told there."""

import csv
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest

from optimizer.archive import open_run, table_rows
from optimizer.export import exported
from optimizer.problem import Problem
from optimizer.store import SCHEMA

ROOT = Path(__file__).parents[2]
STORED = sorted((ROOT / "tests" / "data").glob("run_schema_*"))
README = (ROOT / "runs" / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```python\n(.*?)```", README, re.DOTALL)


def test_a_run_of_every_schema_up_to_this_one_is_kept():
    assert [folder.name for folder in STORED] == [f"run_schema_{n + 1}" for n in range(SCHEMA)]


@pytest.mark.parametrize("folder", STORED, ids=lambda folder: folder.name)
def test_an_older_run_opens_with_its_fronts(folder):
    run = open_run(folder)
    assert run.status["state"] == "ended"
    assert run.pid is None
    assert run.settings.seed == run.manifest["settings"]["seed"]
    assert [front.size for front in run.fronts] == [36, 24, 0]
    assert [cloud.size for cloud in run.clouds] == [11, 19, 0]
    assert run.nearest(2).margins["link"] > 0.5
    assert run.stored_seeds() == {}
    events, damaged = run.events()
    assert (events[0]["event"], events[-1]["event"], damaged) == ("created", "ended", 0)
    design = run.common_front()[0]
    assert run.design(design.id).shown() == design.shown()


@pytest.mark.parametrize("folder", STORED, ids=lambda folder: folder.name)
def test_the_table_of_an_older_run_is_still_written_the_same(folder):
    run = open_run(folder)
    problems: list[Problem] = list(run.candidates)  # of a problem only the name is needed
    text = io.StringIO(newline="")
    csv.writer(text).writerows(table_rows(problems, run.fronts, folder))
    assert text.getvalue().encode() == (folder / "front.csv").read_bytes()
    for form in ("csv", "json"):
        assert exported(run, form, "all")


@pytest.mark.parametrize("folder", STORED, ids=lambda folder: folder.name)
def test_the_lines_of_the_readme_read_it_with_numpy_alone(folder):
    lines = BLOCKS[0].replace('"runs/demo-20261125T210000Z"', repr(str(folder)))
    assert len([line for line in lines.splitlines() if line]) <= 10
    assert "optimizer" not in lines
    found = {}
    exec(lines, found)
    run = open_run(folder)
    for candidate, front in zip(run.candidates, run.fronts, strict=True):
        if front.size:
            best = found["best"][candidate.name]
            assert best["loss_w"] == front.columns[:, 0].min()
            assert list(best) == [c.name for c in run.columns]


def test_the_line_of_the_readme_reads_an_export(tmp_path):
    target = tmp_path / "demo.csv"
    target.write_bytes(exported(open_run(STORED[-1]), "csv"))
    found = {}
    exec(BLOCKS[1].replace('"demo.csv"', repr(str(target))), found)
    assert ("boost.f_khz", "kHz") in found["table"].columns
    assert len(found["table"]) == 60


def test_the_genes_mean_what_the_readme_says():
    folder = STORED[-1]
    run = open_run(folder)
    rows = json.loads((folder / "candidates.json").read_text())["candidates"][0]["variables"]
    genes = run.fronts[0].genes
    values = run.candidates[0].genes.values(genes)
    for j, row in enumerate(rows):
        lo, hi, log = row["gene_lo"], row["gene_hi"], row["log"]
        allowed = np.array(row["allowed"])
        if row["kind"] == "real" and log:
            told = np.exp(np.log(lo) + genes[:, j] * (np.log(hi) - np.log(lo)))
        elif row["kind"] == "real":
            told = lo + genes[:, j] * (hi - lo)
        elif log:
            first, last = np.log(allowed[0] - 0.5), np.log(allowed[-1] + 0.5)
            told = np.round(np.exp(first + genes[:, j] * (last - first)))
        else:
            told = allowed[np.floor(genes[:, j] * len(allowed)).astype(int)]
        assert told == pytest.approx(values[:, j], rel=1e-12), row["path"]


def test_a_stored_run_is_small_and_holds_text_and_arrays_only():
    for folder in STORED:
        files = [path for path in folder.rglob("*") if path.is_file()]
        assert sum(path.stat().st_size for path in files) < 100_000
        assert {path.suffix for path in files} <= {".json", ".jsonl", ".npz", ".csv", ".toml"}
