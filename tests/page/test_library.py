"""Runs by name: read once, read anew when they change, and nothing outside their folder."""

import os
import shutil
import sys
import threading
import time

import numpy as np
import pytest

from models.errors import RunError
from models.results import NAMES
from optimizer.archive import Run, design_id
from optimizer.page.library import Broken, Library
from optimizer.page.memory import Memory
from tests.optimizer.made_runs import made_run
from tests.page.made import many

FRONT = {"boost": [(0.3, 96.0), (0.5, 95.0)], "flyback": [(0.4, 95.8)]}
THREADS = 8


@pytest.fixture
def library(tmp_path):
    made_run(tmp_path, "one", FRONT)
    return Library(tmp_path)


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """A run with as many designs as a sweep of a night keeps."""
    root = tmp_path_factory.mktemp("large")
    many(root, 100_000)
    return root


def together(count, function):
    """Return what a function returns or raises in so many threads at once."""
    start, found = threading.Barrier(count), [None] * count

    def one(k):
        start.wait()
        try:
            found[k] = function()
        except RunError as error:
            found[k] = error

    threads = [threading.Thread(target=one, args=(k,)) for k in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return found


# ---- names and folders ----------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["", ".", "..", "../one", "a/b", "/etc", "one/../one", "one\\x", "one\x00", "one\n", "x" * 81,
     ".hidden", "none-such", "%2e%2e", "<b>", None, 5, ["one"]],
)  # fmt: skip
def test_a_name_that_is_none_never_reaches_the_disk(library, name):
    with pytest.raises(RunError, match="there is no run named"):
        library.folder(name)


def test_a_run_that_is_a_link_is_listed_and_not_followed(library, tmp_path_factory):
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    run = made_run(elsewhere, "two", FRONT)
    (library.root / "linked").symlink_to(run.folder)
    with pytest.raises(RunError, match="links are not followed"):
        library.run("linked")
    broken = [r for r in library.every() if isinstance(r, Broken)]
    assert [b.name for b in broken] == ["linked"]


@pytest.mark.parametrize(
    "file", ["specification.toml", "archive.npz", "manifest.json", "catalogue/cores.csv"]
)
def test_a_link_inside_a_run_leads_nowhere(library, tmp_path_factory, file):
    secret = tmp_path_factory.mktemp("secret") / "key"
    secret.write_text("{}")
    path = library.folder(library.names()[0]) / file
    path.unlink()
    path.symlink_to(secret)
    with pytest.raises(RunError, match="links are not followed"):
        library.run(library.names()[0])


def test_a_pipe_inside_a_run_does_not_hold_up_the_page(library):
    path = library.folder(library.names()[0]) / "manifest.json"
    path.unlink()
    os.mkfifo(path)
    with pytest.raises(RunError, match="no plain file"):
        library.run(library.names()[0])


def test_the_run_made_last_comes_first_whatever_changes_later(library):
    second = made_run(library.root, "second", FRONT)
    first = library.folder(next(n for n in library.names() if n.startswith("one")))
    for run, made in ((first, 1_000), (second.folder, 2_000)):
        os.utime(run / "candidates.json", (made, made))
    (first / "notes.txt").write_text("written later")
    assert library.names()[0] == second.name


def test_folders_that_are_no_runs_are_not_listed(library):
    (library.root / "notes").mkdir()
    (library.root / "bad name").mkdir()
    (library.root / "bad name" / "manifest.json").write_text("{}")
    assert len(library.names()) == 1


# ---- runs that change -----------------------------------------------------------------


def test_a_run_is_opened_once_and_again_when_it_has_changed(library):
    name = library.names()[0]
    run = library.run(name)
    assert library.run(name) is run
    os.utime(run.folder / "archive.npz", ns=(1, 1))
    assert library.run(name) is not run


def test_a_run_replaced_by_another_of_its_name_shows_the_other(library, tmp_path_factory):
    name = library.names()[0]
    old = library.run(name)
    assert len(library.table(old)) == 3
    other = made_run(tmp_path_factory.mktemp("x"), "one", {"boost": [(0.1, 90.0)]})
    shutil.rmtree(old.folder)
    shutil.copytree(other.folder, library.root / name)
    assert len(library.table(library.run(name))) == 1


def test_the_table_of_a_run_opened_before_it_changed_is_not_taken_for_the_new_one(library):
    name = library.names()[0]
    old = library.run(name)
    assert old.fronts[0].size == 2  # read now, before the change
    grown = made_run(library.root.parent / "y", "one", {**FRONT, "boost": [(0.3, 96), (0.6, 94)]})
    (grown.folder / "archive.npz").replace(old.folder / "archive.npz")
    stale = library.table(old)
    fresh = library.table(library.run(name))
    assert 0.5 in stale["power_density_kw_l"].to_numpy()
    assert 0.6 in fresh["power_density_kw_l"].to_numpy()


def test_a_run_deleted_while_it_is_shown_is_told_as_such(library):
    name = library.names()[0]
    run = library.run(name)
    shutil.rmtree(run.folder)
    with pytest.raises(RunError, match="there is no run named"):
        library.run(name)
    with pytest.raises(RunError):
        library.case(run)
    with pytest.raises(RunError):
        library.design(run, "00000000")
    assert library.names() == []
    assert library.every() == []


def test_a_library_whose_folder_is_gone_is_empty(library):
    shutil.rmtree(library.root)
    assert library.names() == []


def test_a_run_that_has_found_nothing_yet_has_an_empty_table(library):
    run = library.run(library.names()[0])
    (run.folder / "archive.npz").unlink()
    (run.folder / "status.json").write_text('{"schema": 1, "state": "running"}')
    run = library.run(run.name)
    table = library.table(run)
    assert list(table)[:4] == ["design", "candidate", "topology", "place"]
    assert len(table) == 0
    with pytest.raises(RunError, match="no design"):
        library.stored(run, "00000000")


@pytest.mark.parametrize("file", ["manifest.json", "candidates.json", "columns.json"])
@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff\xfe", b'{"schema": "x"}'])
def test_a_broken_run_is_listed_with_the_reason(library, file, content):
    made_run(library.root, "whole", FRONT)
    folder = library.folder(next(n for n in library.names() if n.startswith("one")))
    (folder / file).write_bytes(content)
    found = library.every()
    assert sorted(type(f).__name__ for f in found) == ["Broken", "Run"]
    (broken,) = (f for f in found if isinstance(f, Broken))
    assert broken.name == folder.name
    assert broken.reason


def test_a_torn_archive_is_told_and_found_again_when_it_is_mended(library):
    name = library.names()[0]
    path = library.folder(name) / "archive.npz"
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(RunError, match="damaged"):
        library.table(library.run(name))
    path.write_bytes(whole)
    assert len(library.table(library.run(name))) == 3


# ---- threads and bounds ---------------------------------------------------------------


def test_threads_that_ask_for_the_same_wait_for_one_of_them():
    memory, made = Memory(10), []

    def slow():
        made.append(1)
        time.sleep(0.05)
        return object()

    found = together(THREADS, lambda: memory.get("key", slow))
    assert len(made) == 1
    assert len({id(f) for f in found}) == 1


def test_a_failure_is_told_to_all_who_wait_and_tried_again_later():
    memory, tries = Memory(10), []

    def failing():
        tries.append(1)
        time.sleep(0.05)
        raise RunError("torn")

    found = together(THREADS, lambda: memory.get("key", failing))
    assert all(isinstance(f, RunError) for f in found)
    assert len(tries) == 1
    assert memory.get("key", lambda: 7) == 7


def test_a_slow_one_does_not_hold_up_another():
    memory, go = Memory(10), threading.Event()
    waiting = threading.Thread(target=lambda: memory.get("slow", go.wait))
    waiting.start()
    assert memory.get("quick", lambda: 1) == 1
    go.set()
    waiting.join()


def test_what_was_asked_for_longest_ago_goes_first_and_the_last_stays():
    memory = Memory(100, lambda value: value)
    for key, weight in (("a", 60), ("b", 30), ("c", 5)):
        memory.get(key, lambda w=weight: w)
    memory.get("a", lambda: pytest.fail("it was kept"))
    memory.get("d", lambda: 20)  # 115 of 100: b goes
    assert memory.get("a", lambda: 0) == 60
    assert memory.get("b", lambda: 1) == 1
    memory.get("huge", lambda: 1000)
    assert len(memory) == 1
    assert memory.get("huge", lambda: 0) == 1000


def test_runs_are_kept_by_what_they_weigh_once_their_arrays_are_read(tmp_path, monkeypatch):
    runs = [made_run(tmp_path, f"run{k}", FRONT).name for k in range(4)]
    monkeypatch.setattr("optimizer.page.library.RUN_BYTES", 25_000_000)
    monkeypatch.setattr("optimizer.page.library.VARIABLE_BYTES", 1)
    library = Library(tmp_path)
    for name in runs:
        run = library.run(name)
        vars(run)["_arrays"] = {"c0.front.genes": np.zeros(10_000_000 // 8)}
    library.run(runs[0])
    assert len(library._runs) <= 3


def test_many_threads_read_one_library(library):
    def work():
        run = library.run(library.names()[0])
        return len(library.table(run)), library.stored(run, library.table(run)["design"][0]).id

    assert len(set(together(THREADS, work))) == 1


# ---- tables ---------------------------------------------------------------------------


def test_the_table_holds_every_design_once_with_its_place_and_results(library):
    run = library.run(library.names()[0])
    table = library.table(run)
    assert sorted(table["topology"]) == ["boost", "boost", "flyback"]
    assert set(table["place"]) == {"front"}
    assert list(table)[4:] == list(NAMES)
    for _, row in table.iterrows():
        stored = library.stored(run, row["design"])
        assert stored.id == row["design"] == design_id(stored.candidate.name, stored.genes)
        assert stored.columns.tolist() == row[list(NAMES)].tolist()


def test_a_design_is_found_by_a_unique_beginning_of_its_name(library):
    run = library.run(library.names()[0])
    name = library.table(run)["design"][0]
    assert library.stored(run, name[:6]).id == name
    with pytest.raises(RunError, match="3 designs"):
        library.stored(run, "")
    with pytest.raises(RunError, match="no design"):
        library.stored(run, "zz")


@pytest.mark.slow
def test_a_hundred_thousand_designs_are_listed_within_the_time_of_first_paint(large, capsys):
    library = Library(large)
    start = time.perf_counter()
    run: Run = library.run(library.names()[0])
    table = library.table(run)
    listed = time.perf_counter() - start
    assert len(table) >= 99_990  # short names of eight digits may meet once or twice
    assert set(table["place"]) == {"front", "behind"}
    name = table["design"].iloc[54_321]
    start = time.perf_counter()
    item = library.design(run, name)
    opened = time.perf_counter() - start
    assert item.label == name
    with capsys.disabled():
        load = os.getloadavg()[0]
        sys.stdout.write(
            f"\n100,000 designs: listed {listed:.2f} s, "
            f"one opened {opened:.2f} s, load {load:.1f}\n"
        )
    assert listed < 5.0
    assert opened < 2.0
    assert 20e6 < library.listing(run).weight < 100e6
