"""A run folder explains itself: it can be moved, and its origin lost."""

import csv
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from models.catalogues import SCHEMAS
from models.climate import profiles
from models.errors import RunError
from models.parts.catalogue import DATA
from optimizer.archive import open_run
from optimizer.cli import main
from optimizer.launch import find_run, open_design, prepared, resumable, stored_case

ROOT = Path(__file__).parent.parent.parent
CLIMATES = ROOT / "models" / "data" / "climates.csv"
PINS = ("--pin", "topology in [flyback_unfolder]", "--pin", "flyback.phases = 1",
        "--pin", "flyback.clamp = short_pulse")  # fmt: skip


def own_year(path):
    """Write the bins of the first shipped profile as a user's own file."""
    rows = list(csv.reader(CLIMATES.read_text(encoding="utf-8").splitlines()))
    keep = [i for i, c in enumerate(rows[0]) if c not in ("profile", "source")]
    at = rows[0].index("profile")
    mine = [rows[0], *(r for r in rows if r[at] == profiles()[0])]
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([[r[i] for i in keep] for r in mine])


@pytest.fixture(scope="module")
def moved(tmp_path_factory):
    """A run whose specification named files of its own, all of them gone since."""
    home = tmp_path_factory.mktemp("home")
    own_year(home / "year.csv")
    shutil.copy(DATA / "ferrites.csv", home / "my_ferrites.csv")
    text = (ROOT / "runs" / "demo.toml").read_text(encoding="utf-8")
    gone = ("profile", "[climate]", "[parts]")
    lines = [x for x in text.splitlines() if not x.startswith(gone)]
    extra = '[climate]\ncsv = "year.csv"\n[parts]\nferrites = "my_ferrites.csv"\n'
    spec = home / "mine.toml"
    spec.write_text("\n".join(lines) + "\n" + extra, encoding="utf-8")
    words = ["sweep", str(spec), "--runs", str(home / "runs"), "--designs", "1000", "-q", *PINS,
             "--foreground", "--workers", "0"]  # fmt: skip
    found = CliRunner().invoke(main, words)
    assert found.exit_code in (0, 3), found.output
    folder = next((home / "runs").iterdir())
    away = tmp_path_factory.mktemp("away") / folder.name
    shutil.move(folder, away)
    before = prepared(spec, PINS[1::2]).case
    shutil.rmtree(home)
    return away, before


def test_a_moved_run_has_the_same_case(moved):
    folder, before = moved
    after = stored_case(open_run(folder))
    for name in ("v_pv", "p_ac", "t_air", "hours", "weight", "kappa"):
        assert np.array_equal(getattr(after.points, name), getattr(before.points, name))
    for name in SCHEMAS:
        assert after.catalogue[name].rows == before.catalogue[name].rows


def test_no_file_of_a_run_names_a_folder_outside(moved):
    folder, _ = moved
    for path in folder.rglob("*"):
        if path.suffix in (".json", ".jsonl", ".toml", ".csv"):
            text = path.read_text(encoding="utf-8")
            assert str(folder.parent) not in text
            assert "/home" not in text


def test_a_run_carries_the_cautions(moved):
    folder, _ = moved
    assert "Lethal voltages" in (folder / "cautions.txt").read_text(encoding="utf-8")


def test_a_stored_design_evaluates_to_the_stored_results(moved):
    folder, _ = moved
    run = open_run(folder)
    nearest = run.nearest(0)
    assert nearest is not None
    item = open_design(run, nearest.design)
    assert item.evaluation.columns[0] == pytest.approx(nearest.design.columns, rel=1e-9)


def test_a_moved_run_can_be_taken_up_again(moved):
    folder, _ = moved
    ready = resumable(open_run(folder))
    assert [p.name for p in ready.problems] == [c.name for c in open_run(folder).candidates]


def test_runs_are_found_by_a_beginning_and_ambiguity_is_told(moved):
    folder, _ = moved
    assert find_run(folder.parent, "demo").name == folder.name
    assert find_run(folder.parent, "latest").name == folder.name
    shutil.copytree(folder, folder.parent / (folder.name + "-2"))
    with pytest.raises(RunError, match="2 runs in"):
        find_run(folder.parent, "demo-")
    shutil.rmtree(folder.parent / (folder.name + "-2"))


def test_a_design_of_other_variables_is_refused_by_version(moved):
    folder, _ = moved
    copy = folder.parent / "older"
    shutil.copytree(folder, copy)
    text = (copy / "candidates.json").read_text(encoding="utf-8")
    (copy / "candidates.json").write_text(text.replace('"box.wall', '"box.old_wall'), "utf-8")
    run = open_run(copy)
    nearest = run.nearest(0)
    with pytest.raises(RunError, match=r"version .* with other"):
        open_design(run, nearest.design)
    shutil.rmtree(copy)


def test_the_latest_run_is_the_one_made_last_whatever_is_written_since(moved, tmp_path):
    folder, _ = moved
    old, new = tmp_path / "b-made-first", tmp_path / "a-made-last"
    for copy in (old, new):
        shutil.copytree(folder, copy)
        (copy / "candidates.json").touch()
    (old / "status.json").touch()
    (old / "manifest.json").touch()
    assert find_run(tmp_path, "latest").name == new.name
