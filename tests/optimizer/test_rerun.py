"""A re-run from a parent's folder alone: pins, seeds, reports, and the same bits again."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from optimizer.archive import open_run
from optimizer.child import child_pins, new_child
from optimizer.cli import main
from optimizer.launch import resumable
from optimizer.work import work

ROOT = Path(__file__).parents[2]
ONE = ("topology in [flyback_unfolder]", "flyback.phases = 2", "flyback.clamp = short_pulse")


def command(*words):
    return CliRunner().invoke(main, [str(w) for w in words])


@pytest.fixture(scope="module")
def parent(tmp_path_factory):
    """A run of the demonstration's most fruitful structure, moved from where it was made."""
    home = tmp_path_factory.mktemp("home")
    text = (ROOT / "runs" / "demo.toml").read_text(encoding="utf-8")
    spec = home / "mine.toml"
    spec.write_text(text + f'\n[pins]\nhold = ["{ONE[0]}"]\n', encoding="utf-8")
    pins = [word for pin in ONE[1:] for word in ("--pin", pin)]
    found = command("sweep", spec, "--runs", home / "runs", "--designs", 9000, "--seed", 7,
                    "--workers", 0, "--foreground", "-q", *pins)  # fmt: skip
    assert found.exit_code == 0, found.output
    folder = next((home / "runs").iterdir())
    away = tmp_path_factory.mktemp("away") / folder.name
    shutil.move(folder, away)
    shutil.rmtree(home)
    return open_run(away)


@pytest.fixture(scope="module")
def pin(parent):
    """A pin that some of the parent's designs satisfy, others do not."""
    cost = [c.name for c in parent.columns].index("cost")
    middle = sorted(parent.clouds[0].columns[:, cost])[parent.clouds[0].size // 2]
    return f"cost <= {middle:.2f}"


@pytest.fixture(scope="module")
def rerun(parent, pin, tmp_path_factory):
    """The output of a re-run, and its folder."""
    runs = tmp_path_factory.mktemp("runs")
    found = command("rerun", parent.folder, "--runs", runs, "--pin", pin, "--designs", 2000,
                    "--seed", 3, "--workers", 0, "--foreground", "-q")  # fmt: skip
    assert found.exit_code == 0, found.output
    return found, next(runs.iterdir())


def test_a_child_holds_its_parents_pins_and_the_new_one(rerun, parent, pin):
    _, folder = rerun
    child = open_run(folder)
    assert child.pins == (*ONE, pin)
    assert child.specification == parent.specification
    about = child.manifest["parent"]
    assert (about["run"], about["pins_added"], about["pins_dropped"]) == (parent.name, [pin], [])
    cost = [c.name for c in child.columns].index("cost")
    bound = float(pin.split()[-1])
    assert child.fronts[0].size > 0
    assert (child.fronts[0].columns[:, cost] <= bound).all()


def test_a_rerun_tells_what_became_of_the_parents_designs(rerun, parent):
    found, folder = rerun
    counts = open_run(folder).manifest["parent"]["seeds"]["flyback_unfolder"]
    stored = parent.fronts[0].size + parent.clouds[0].size
    assert counts["stored"] == stored
    assert 0 < counts["satisfied"] < stored
    assert 0 < counts["survived"] <= counts["evaluated"]
    said = (f"of {stored:,} designs of the parent {counts['satisfied']:,} satisfy the pins",
            "feasible", "what the pins cost: ripplefront compare")  # fmt: skip
    assert all(text in found.output for text in said)


def test_a_child_killed_before_its_first_checkpoint_ends_at_the_same_bits(
    rerun, parent, pin, tmp_path
):
    made = new_child(parent, tmp_path, added=[pin], designs=2000, seed=3)
    # What a process killed at once leaves is the folder as it was made.
    assert not list((made.folder / "checkpoints").iterdir())
    (result,) = work([made.folder], workers=0, address=None, told=None)
    assert result.reason == "done"
    mine, theirs = (open_run(f).fronts[0] for f in (made.folder, rerun[1]))
    assert mine.genes.tobytes() == theirs.genes.tobytes()
    assert mine.columns.tobytes() == theirs.columns.tobytes()


@pytest.mark.ray
@pytest.mark.slow
def test_two_workers_end_at_the_same_bits(rerun, parent, pin, tmp_path):
    made = new_child(parent, tmp_path, added=[pin], designs=2000, seed=3)
    work([made.folder], workers=2, address=None, told=None)
    mine, theirs = (open_run(f).fronts[0] for f in (made.folder, rerun[1]))
    assert mine.genes.tobytes() == theirs.genes.tobytes()


def test_a_dropped_pin_of_the_specification_stays_dropped(parent, tmp_path):
    made = new_child(parent, tmp_path, dropped=[ONE[0]], added=["topology = flyback_unfolder"])
    assert made.pins == (*ONE[1:], "topology = flyback_unfolder")
    assert resumable(open_run(made.folder)).pins == made.pins


def test_dropping_a_structure_pin_brings_its_candidates_back_without_seeds(parent, tmp_path):
    made = new_child(parent, tmp_path, dropped=["flyback.phases = 2"], designs=1000)
    assert len(made.unseeded) == 1
    assert "phases=1" in made.unseeded[0]
    assert list(open_run(made.folder).stored_seeds()) == [parent.candidates[0].name]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--pin", "flyback.phases = 1"), ("'flyback.phases = 2' of demo-", "contradict")),
        (("--pin", "topology not in [flyback_unfolder]"), ("contradict", "Drop one")),
        (("--pin", "life_years <= 10"), ("life.wanted_years = 25", "cannot be met")),
        (("--pin", "cost => 60"), ("cannot be read",)),
        (("--drop-pin", "cost <= 60"), ("has no pin 'cost <= 60' to drop", "Its pins")),
        (("--drop-pin", "flyback.phases = 1"), ("Did you mean --drop-pin 'flyback.phases = 2'",)),
    ],
)
def test_mistakes_in_pins_are_refused_before_anything_is_written(parent, tmp_path, words, said):
    found = command("rerun", parent.folder, "--runs", tmp_path / "runs", *words)
    assert found.exit_code == 2, found.output
    assert all(text in found.output for text in said), found.output
    assert not (tmp_path / "runs").exists()


def test_the_same_pin_again_is_held_once(parent):
    pins = [str(p) for p in child_pins(parent, [ONE[1], "cost <= 60"], [ONE[2]])]
    assert pins == [ONE[0], ONE[1], "cost <= 60"]
