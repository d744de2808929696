"""The commands as a user types them, mistakes included."""

import json
import os
import stat
from pathlib import Path

import pytest
from click.testing import CliRunner

from optimizer.cli import main

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "runs" / "demo.toml"
ONE = ("--pin", "topology in [flyback_unfolder]", "--pin", "flyback.phases = 1",
       "--pin", "flyback.clamp = short_pulse")  # fmt: skip


def run(*words, code=0):
    """Run a command and return (stdout, stderr); its exit code is checked."""
    found = CliRunner().invoke(main, [str(w) for w in words])
    if found.exception and not isinstance(found.exception, SystemExit):
        raise found.exception
    assert found.exit_code == code, found.output
    assert "Traceback" not in found.output
    return found.stdout, found.stderr


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Folder of runs with one tiny sweep that finds nothing feasible, and its output."""
    root = tmp_path_factory.mktemp("runs")
    found = CliRunner().invoke(
        main,
        ["sweep", str(DEMO), "--runs", str(root), "--designs", "1000", "-q", "--foreground", *ONE],
    )
    assert found.exit_code == 3, found.output
    return root, found.stdout


def test_help_names_every_command():
    out, _ = run("--help")
    for command in ("new", "check", "topologies", "names", "sweep", "resume", "front", "show",
                    "vary", "sheet", "picture", "runs", "status", "follow", "stop"):  # fmt: skip
        assert command in out


def test_new_writes_a_specification_that_check_accepts(tmp_path):
    out, _ = run("new", tmp_path / "mine.toml")
    assert "next: ripplefront check" in out
    out, _ = run("check", tmp_path / "mine.toml")
    assert "can be used" in out


def test_new_does_not_overwrite(tmp_path):
    target = tmp_path / "mine.toml"
    target.write_text("mine")
    _, err = run("new", target, code=2)
    assert "exists" in err
    assert "--force" in err
    assert target.read_text() == "mine"


def test_check_prints_points_and_json_agrees():
    out, _ = run("check", DEMO)
    assert "lowest grid voltage" in out
    document = json.loads(run("check", DEMO, "--json")[0])
    assert document["format"] == "ripplefront.check/1"
    assert sum(p["weight"] for p in document["points"]) == pytest.approx(1.0)
    assert sum(p["hours"] for p in document["points"]) == pytest.approx(8760.0, rel=1e-3)


def test_every_mistake_in_a_file_comes_at_once_with_its_line(tmp_path):
    text = DEMO.read_text()
    bad = text.replace("rated_power_w = 300", 'rated_power_w = "300 W"').replace(
        "voltage_v = 120", "voltagev = 120"
    )
    assert bad != text
    path = tmp_path / "bad.toml"
    path.write_text(bad)
    _, err = run("check", path, code=2)
    assert "rated_power_w" in err
    assert "voltage_v" in err
    line = 1 + bad[: bad.index("rated_power_w")].count("\n")
    assert f"{path}:{line}:" in err
    document = json.loads(run("check", path, "--json", code=2)[0])
    assert document["error"]["code"] == 2
    assert len(document["error"]["mistakes"]) >= 2


@pytest.mark.parametrize(
    ("words", "telling"),
    [
        (("check", "missing.toml"), "missing.toml"),
        (("names", "--topology", "flyback_unfoldr"), "did you mean flyback_unfolder?"),
        (("front", "latest", "--runs", "nowhere"), "there is no run"),
        (("sweep", DEMO, "--pin", "box.heigth_mm <= 25"), "did you mean box.height_mm?"),
        (("sweep", DEMO, "--pin", "box.height_mm =< 25"), "cannot be read"),
        (
            ("sweep", DEMO, "--pin", "box.height_mm <= 25", "--pin", "box.height_mm >= 30"),
            "box.height_mm >= 30",
        ),
        (("sweep", DEMO, "--pin", "cost <= nan"), "no number"),
        (("sweep", DEMO, "--picture", "fronts.jpg"), ".png or .svg"),
        (("sweep", DEMO, "--page", "nowhere/fronts.html"), "does not exist"),
        (("sweep", DEMO, "--pin", "topology in [no_such]"), "topology in [no_such]"),
    ],
)
def test_a_wrong_word_is_refused_with_the_way_out(words, telling, tmp_path):
    _, err = run(*words, *(("--runs", tmp_path) if words[0] == "sweep" else ()), code=2)
    assert telling in err
    assert not list(tmp_path.iterdir())


def test_a_misspelt_option_is_explained_by_the_parser():
    _, err = run("sweep", DEMO, "--desings", "1000", code=2)
    assert "--designs" in err


def test_a_grid_that_no_candidate_serves_says_why_for_each(tmp_path):
    text = DEMO.read_text().replace('kind = "line_neutral"', 'kind = "split_phase"')
    text = text.replace("voltage_v = 120", "voltage_v = 240")
    path = tmp_path / "split.toml"
    only = 'include = ["series_capacitor_boost_half_bridge"]'
    assert "[topologies]" not in text
    path.write_text(f"{text}\n[topologies]\n{only}\n")
    _, err = run("sweep", path, "--runs", tmp_path / "runs", code=2)
    assert "no topology can serve" in err
    assert "must be the neutral" in err
    assert "topologies.include" in err


def test_an_unwritable_runs_folder_is_refused_before_anything_starts(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    _, err = run("sweep", DEMO, "--runs", blocked / "runs", "--designs", "1000", *ONE, code=2)
    assert "cannot be written" in err


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_refused(tmp_path):
    tmp_path.chmod(stat.S_IRUSR | stat.S_IXUSR)
    _, err = run("sweep", DEMO, "--runs", tmp_path / "runs", "--designs", "1000", *ONE, code=2)
    assert "cannot be written" in err


def test_nothing_feasible_is_a_result_with_the_nearest_design(small):
    _, out = small
    assert "no feasible design; the nearest breaks" in out
    assert "must be at" in out


def test_a_finished_run_is_listed_and_told(small):
    root, _ = small
    assert "ended (done)" in run("runs", "--runs", root)[0]
    out, _ = run("status", "--runs", root)
    assert "ended (all designs evaluated)" in out
    assert "flyback_unfolder" in out
    assert "resume" not in out
    document = json.loads(run("status", "latest", "--runs", root, "--json")[0])
    assert document["state"] == "ended"
    _, err = run("resume", "latest", "--runs", root, code=2)
    assert "nothing to resume" in err


def test_an_unknown_design_and_a_broken_folder_are_refused(small, tmp_path):
    root, _ = small
    _, err = run("show", "latest", "ffff", "--runs", root, code=2)
    assert "no design named 'ffff'" in err
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "manifest.json").write_text("{")
    out, _ = run("runs", "--runs", tmp_path)
    assert "broken" in out
    run("front", "broken", "--runs", tmp_path, code=2)


def test_cautions_are_printed():
    assert "Lethal voltages" in run("cautions")[0]
