"""Variants in a sweep: names of folders, shares of designs and time, six runs of one file."""

import json
import shutil
import types
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from models.errors import NoCandidateError, PinError, RipplefrontError, RunError
from models.spec import Sweep
from optimizer import engine, launch, variants
from optimizer.archive import open_run
from optimizer.cli import main
from optimizer.store import NAME, Store
from optimizer.variants import DESIGNS, affordable, folder_name, outlook, settings_for

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
ONE = '[topologies]\ninclude = ["flyback_unfolder"]\n[pins]\nhold = ["flyback.phases = 1", '
ONE += '"flyback.clamp = short_pulse"]\n'  # one structure: quick
SIX = "".join(
    f"""[[variant]]
name = "{volt} V, {watt} W"
grid = [{{ voltage_v = {volt}, frequency_hz = {hertz} }}]
output.rated_power_w = {watt}
"""
    for volt, hertz in ((230, 50), (120, 60))
    for watt in (250, 300, 350)
)

THREE = "".join(
    f'[[variant]]\nname = "{name}"\nlife.wanted_years = {years}\n'
    for name, years in (("first", 10), ("second", 15), ("third", 20))
)


def written(folder, extra, name="mine.toml"):
    """Write the demo without its budget, with something more."""
    folder.mkdir(parents=True, exist_ok=True)
    text = DEMO.read_text(encoding="utf-8")
    path = folder / name
    path.write_text(text[: text.index("\n[sweep]\n") + 1] + extra, encoding="utf-8")
    return path


HOSTILE = [
    "230 V, 350 W", "../../etc/passwd", "/", "..", ".", "-rf *", "a\\b:c|d?", "<b>&amp;'\"</b>",
    "[red]rich[/red]", "Straße für Überspannung", "日本 100 V", "🔆", "x" * 200, "CON", "a.b.c.",
    "%2e%2e%2f", "$(reboot)", "name\u00a0with\u202fspaces", "--help", "é" * 90,
]  # fmt: skip


@pytest.mark.parametrize("variant", HOSTILE)
def test_a_variant_of_any_name_gets_a_plain_folder_name(variant):
    for project in ("demo", "p" * 60, "a  b . _"):
        name = folder_name(project, variant)
        assert NAME.fullmatch(name)
        assert len(name) + len("-20260101T000000Z-99") <= 100
        assert name.isascii()
        assert ".." not in name
        assert not name.endswith(".")


def test_a_folder_name_can_still_be_recognised():
    assert folder_name("demo", "230 V, 350 W") == "demo-230-v-350-w"
    assert folder_name("demo", "Überspannung 1,2") == "demo-uberspannung-1-2"
    assert folder_name("demo", "日本") == "demo-variant"
    assert folder_name("roof top", "") == "roof-top"


def test_variants_whose_folder_names_are_the_same_get_two_folders(tmp_path):
    extra = "".join(
        f'[[variant]]\nname = "{name}"\noutput.rated_power_w = {watt}\n'
        for name, watt in (("日本", 250), ("中国", 300), ("../x", 280), ("x", 290))
    )
    ready = launch.prepared_variants(written(tmp_path, ONE + extra))
    root = tmp_path / "runs"
    stores = launch.new_stores(ready, settings_for(ready, designs=4000), root)
    for store in stores:
        store.close()
    assert sorted(p.name for p in root.iterdir()) == sorted(s.name for s in stores)
    assert len({s.name for s in stores}) == 4
    kept = [open_run(s.folder).manifest["sweep"]["variant"] for s in stores]
    assert kept == ["日本", "中国", "../x", "x"]


def waiting(count=6, points=(20,), **sweep):
    """Return as much of prepared variants as a budget depends on."""
    spec = types.SimpleNamespace(sweep=Sweep(**sweep))
    return [
        types.SimpleNamespace(
            spec=spec,
            problems=(),
            case=types.SimpleNamespace(
                points=types.SimpleNamespace(count=points[k % len(points)])
            ),
        )
        for k in range(count)
    ]


def test_designs_are_divided_equally():
    ready = waiting(designs=60_000, seed=4)
    assert [s.evaluations for s in settings_for(ready)] == [10_000] * 6
    assert {s.seed for s in settings_for(ready)} == {4}
    assert {s.time_limit for s in settings_for(ready)} == {None}
    over = settings_for(ready, seed=9, designs=12_000, hours=0.6)
    assert [(s.seed, s.evaluations) for s in over] == [(9, 2000)] * 6
    assert [s.time_limit for s in over] == pytest.approx([360.0] * 6)


def test_with_neither_designs_nor_time_each_variant_gets_the_default():
    assert [s.evaluations for s in settings_for(waiting())] == [DESIGNS] * 6


def test_a_time_alone_plans_as_many_designs_as_fit_into_it(monkeypatch):
    monkeypatch.setattr(variants, "rate", lambda problems: 1500.0)
    ready = waiting(time_limit_h=12.0)
    night = settings_for(ready, hours=8.0, workers=2)
    # Eight hours for six variants on two cores of 1,500 designs a second each.
    assert [s.evaluations for s in night] == [14_000_000] * 6
    assert sum(s.time_limit for s in night) == pytest.approx(8 * 3600.0)
    assert settings_for(ready, workers=0)[0].evaluations == 11_000_000
    # Designs given as well: whichever comes first.
    both = settings_for(ready, designs=6000, hours=8.0, workers=2)
    assert [s.evaluations for s in both] == [1000] * 6
    assert sum(s.time_limit for s in both) == pytest.approx(8 * 3600.0)


def test_more_operating_points_leave_fewer_designs_in_the_same_time(monkeypatch):
    monkeypatch.setattr(variants, "rate", lambda problems: 1000.0)
    one, two = settings_for(waiting(2, points=(20, 40)), hours=2.0)
    assert one.evaluations == 3_600_000
    assert two.evaluations == 1_800_000
    assert one.time_limit == two.time_limit == 3600.0


def test_nothing_is_measured_where_designs_are_given(monkeypatch):
    monkeypatch.setattr(variants, "rate", lambda problems: pytest.fail("measured"))
    assert settings_for(waiting(designs=60_000), hours=8.0)[0].evaluations == 10_000


def test_the_outlook_tells_how_long_a_sweep_takes(monkeypatch):
    monkeypatch.setattr(variants, "rate", lambda problems: 1000.0)
    ready = waiting(designs=60_000)
    assert outlook(ready).seconds == pytest.approx(60.0)
    assert outlook(ready, workers=2).seconds == pytest.approx(30.0)
    assert outlook(ready, hours=12 / 3600).seconds == pytest.approx(12.0)


class Clocked:
    """A problem that takes a millisecond for a design, by a clock of its own."""

    topology = "clocked"
    space = types.SimpleNamespace(size=3, snapped=lambda genes: genes)
    now = 0.0

    def evaluate(self, genes):
        Clocked.now += 1e-3 * len(genes)


def test_the_rate_is_measured_on_a_few_structures_only(monkeypatch):
    monkeypatch.setattr(variants.time, "process_time", lambda: Clocked.now)
    begun = Clocked.now
    found = variants.rate([Clocked()] * 500)
    assert found == pytest.approx(1000.0 * variants.SEARCHING)
    assert Clocked.now - begun < 25 * 0.3


def test_what_is_affordable_is_a_round_number_and_never_nothing():
    assert affordable(2345.0, 100.0) == 230_000
    assert affordable(0.1, 1.0) == variants.LEAST


def test_six_variants_of_one_file_are_searched_from_their_folders_alone(tmp_path):
    home = tmp_path / "home"
    path = written(home, ONE + "[sweep]\ndesigns = 6000\n" + SIX)
    ready = launch.prepared_variants(path)
    settings = settings_for(ready)
    stores = launch.new_stores(ready, settings, home / "runs")
    for store in stores:
        store.close()
    away = tmp_path / "away"
    shutil.move(home / "runs", away)
    shutil.rmtree(home)
    folders = [away / store.name for store in stores]
    results = []
    for folder in folders:
        run = open_run(folder)
        again = launch.resumable(run)
        with Store(folder) as store:
            results.append(engine.resume(again.problems, run.settings, store))
        assert again.variant == run.manifest["sweep"]["variant"]
    names = [f.name for f in folders]
    for folder, before, result in zip(folders, ready, results, strict=True):
        run = open_run(folder)
        assert run.status["state"] == "ended"
        assert result.evaluations >= 1000
        assert run.manifest["sweep"]["runs"] == names
        assert run.manifest["sweep"]["variant"] == before.variant
        assert run.manifest["environment"]["packages"]["numpy"] == np.__version__
        assert launch.stored_case(run).spec.output == before.spec.output
        assert launch.stored_case(run).spec.grid == before.spec.grid
        assert "variant" not in run.specification.split("[project]")[1].replace("variants", "")
    assert len({open_run(f).manifest["sweep"]["id"] for f in folders}) == 1
    assert len({f.name for f in folders}) == 6
    # The last run, told by its folder, is the search of the last variant of the file.
    direct = engine.sweep(ready[5].problems, settings[5])
    stored = open_run(folders[5])
    nearest = stored.nearest(0)
    mine = nearest.design.genes if nearest else stored.fronts[0].genes
    theirs = direct.nearest[0].genes if nearest else direct.fronts[0].genes
    assert np.array_equal(np.ravel(mine), np.ravel(theirs))


def test_each_variant_keeps_its_own_tables_and_weather(tmp_path):
    from models.parts.catalogue import DATA

    home = tmp_path / "home"
    home.mkdir()
    lines = (DATA / "ferrites.csv").read_text(encoding="utf-8").splitlines()
    (home / "few.csv").write_text("\n".join(lines[:4]) + "\n", encoding="utf-8")
    (home / "year.csv").write_text(
        "ambient [°C],irradiance [W/m²],hours [h]\n5,0,4380\n20,700,4380\n", encoding="utf-8"
    )
    extra = '[[variant]]\nname = "few"\nparts.ferrites = "few.csv"\n'
    extra += '[[variant]]\nname = "own year"\nclimate.csv = "year.csv"\n'
    ready = launch.prepared_variants(written(home, ONE + extra))
    stores = launch.new_stores(ready, settings_for(ready, designs=2000), tmp_path / "runs")
    for store in stores:
        store.close()
    shutil.rmtree(home)
    few, year = (launch.stored_case(open_run(s.folder)) for s in stores)
    assert len(few.catalogue["ferrites"].rows) < len(year.catalogue["ferrites"].rows)
    assert year.points.hours.max() == pytest.approx(4380.0)
    assert not (stores[0].folder / "catalogue" / "climate.csv").exists()


def test_variants_that_no_topology_serves_are_named_all_at_once(tmp_path):
    bad = 'topologies.isolation = "non_isolated"\n'
    extra = '[[variant]]\nname = "good"\nlife.wanted_years = 20\n'
    extra += f'[[variant]]\nname = "north"\n{bad}[[variant]]\nname = "south"\n{bad}'
    extra += "life.wanted_years = 10\n"
    with pytest.raises(NoCandidateError, match=r"(?s)variant 'north'.*variant 'south'") as caught:
        launch.prepared_variants(written(tmp_path, ONE + extra))
    assert "'good'" not in str(caught.value)


def test_a_pin_that_a_variant_cannot_hold_names_the_variant(tmp_path):
    extra = '[[variant]]\nname = "flat"\n'
    extra += 'pins.hold = ["box.height_mm <= 25", "box.height_mm >= 30"]\n'
    text = "[[variant]]\nname = 'free'\nlife.wanted_years = 20\n" + extra
    with pytest.raises(PinError, match=r"variant 'flat': .*box\.height_mm"):
        launch.prepared_variants(written(tmp_path, text))


def test_one_run_is_not_prepared_from_several_variants(tmp_path):
    with pytest.raises(RipplefrontError, match="holds 3 variants"):
        launch.prepared(written(tmp_path, ONE + THREE))


def test_no_folder_is_left_where_one_cannot_be_made(tmp_path, monkeypatch):
    ready = launch.prepared_variants(written(tmp_path, ONE + THREE))
    made = launch.new_store

    def full(each, *rest, **named):
        if each.variant == "third":
            raise RunError("the disk is full")
        return made(each, *rest, **named)

    monkeypatch.setattr(launch, "new_store", full)
    with pytest.raises(RunError, match="full"):
        launch.new_stores(ready, settings_for(ready, designs=3000), tmp_path / "runs")
    assert list((tmp_path / "runs").iterdir()) == []


def test_the_environment_of_a_run_names_nobody(tmp_path):
    import getpass
    import platform

    from optimizer.environment import environment

    told = json.dumps(environment())
    assert platform.python_version() in told
    assert platform.node() not in told or not platform.node()
    assert str(Path.home()) not in told
    assert f'"{getpass.getuser()}"' not in told


def run(*words, code=0):
    found = CliRunner().invoke(main, [str(w) for w in words])
    assert found.exit_code == code, found.output
    return found.stdout


def test_check_shows_every_variant_and_how_long_all_take(tmp_path, monkeypatch):
    monkeypatch.setattr(variants, "rate", lambda problems: 1000.0)
    extra = '[[variant]]\nname = "[bold]120 V"\nlife.wanted_years = 20\n'
    extra += '[[variant]]\nname = "230 V"\ngrid = [{ voltage_v = 230, frequency_hz = 50 }]\n'
    extra += "output.rated_power_w = 250\n"
    path = written(tmp_path, ONE + "[sweep]\ndesigns = 60_000\nworkers = 2\n" + extra)
    out = run("check", path)
    assert out.index("variant: [bold]120 V") < out.index("variant: 230 V")
    assert out.count("lowest grid voltage") == 2
    assert "series_capacitor_boost_half_bridge: excluded: " in out
    assert "60,000 designs take about 30 s with 2 of this machine's cores" in out
    told = json.loads(run("check", path, "--json"))
    assert [v["variant"] for v in told["variants"]] == ["[bold]120 V", "230 V"]
    assert [v["designs"] for v in told["variants"]] == [30_000, 30_000]
    assert max(p["p_ac"] for p in told["variants"][1]["points"]) == pytest.approx(250.0)
    assert told["expected"] == {"seconds": pytest.approx(30.0), "workers": 2}


def test_check_plans_a_night_from_a_time_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(variants, "rate", lambda problems: 1000.0)
    path = written(tmp_path, ONE + "[sweep]\ntime_limit_h = 8\nworkers = 0\n")
    told = json.loads(run("check", path, "--json"))
    assert told["designs"] == 29_000_000
    assert told["expected"]["seconds"] == pytest.approx(8 * 3600.0, rel=0.05)


def test_topologies_says_in_which_variant_one_is_excluded(tmp_path):
    extra = '[[variant]]\nname = "any"\nlife.wanted_years = 20\n'
    extra += '[[variant]]\nname = "open"\ntopologies.isolation = "non_isolated"\n'
    told = json.loads(run("topologies", written(tmp_path, extra), "--json"))
    (why,) = next(t["excluded"] for t in told["topologies"] if t["name"] == "flyback_unfolder")
    assert why.startswith("in open: ")
