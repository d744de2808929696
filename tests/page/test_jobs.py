"""Searches that the page starts: how many, what they leave behind, stopping and going on."""

import contextlib
import os
import shutil
import time
from pathlib import Path

import pytest

from models.errors import PinError, RunError
from optimizer.files import Lock, writer
from optimizer.page import jobs
from optimizer.page.library import Library
from tests.page.made import many

PATIENCE = 120  # s, on a machine that does much else
PIN = "height_mm <= 90"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return many(tmp_path_factory.mktemp("made"), 400)


@pytest.fixture
def library(tmp_path, made):
    shutil.copytree(made, tmp_path / made.name)
    return Library(tmp_path)


@pytest.fixture
def parent(library):
    return library.names()[0]


@pytest.fixture(autouse=True)
def nothing_left(tmp_path):
    """End every search that a test leaves behind, by its own number."""
    yield
    for lock in tmp_path.glob("*/lock"):
        pid = writer(lock)
        if pid and pid != os.getpid() and Path(f"/proc/{pid}").exists():
            with contextlib.suppress(RunError):
                jobs.stop(Library(tmp_path), lock.parent.name, now=True)


def until(condition):
    end = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.1)


def status(library, name):
    return library.run(name).status


@contextlib.contextmanager
def held(*folders_and_pids):
    """Hold locks as searches of other processes do."""
    with contextlib.ExitStack() as stack:
        for folder, pid in folders_and_pids:
            folder.mkdir(exist_ok=True)
            (folder / "manifest.json").touch()
            stack.enter_context(contextlib.closing(Lock(folder / "lock"))).give(pid)
        yield


def test_no_more_than_most_are_searched_at_once_whoever_started_them(library, parent):
    others = [(library.root / f"other{k}", 900_000 + k) for k in range(jobs.MOST)]
    before = set(library.root.iterdir())
    with held(*others):
        with pytest.raises(RunError, match=f"{jobs.MOST} at once are allowed") as told:
            jobs.rerun(library, parent, [PIN])
        assert "stop one in Runs" in str(told.value)
        assert len(jobs.running(library)) == jobs.MOST
    assert set(library.root.iterdir()) - before == {folder for folder, _ in others}


def test_the_runs_of_one_sweep_count_once(library):
    same = [(library.root / f"variant{k}", 900_001) for k in range(jobs.MOST + 2)]
    with held(*same):
        jobs._room(library)
        assert len(jobs.running(library)) == jobs.MOST + 2


def test_pins_that_clash_are_refused_before_anything_is_written(library, parent):
    before = set(library.root.iterdir())
    with pytest.raises(PinError, match="contradict"):
        jobs.rerun(library, parent, [PIN, "height_mm >= 95"])
    assert set(library.root.iterdir()) == before
    assert jobs.running(library) == []


def test_a_pin_to_drop_that_is_not_there_is_refused(library, parent):
    with pytest.raises(PinError, match="has no pin"):
        jobs.rerun(library, parent, [], dropped=[PIN])


def test_a_run_that_is_not_there_cannot_be_searched_stopped_or_resumed(library):
    for act in (lambda n: jobs.rerun(library, n, [PIN]), lambda n: jobs.stop(library, n),
                lambda n: jobs.resume(library, n)):  # fmt: skip
        with pytest.raises(RunError, match="no run named"):
            act("../x")


def test_what_has_ended_is_not_resumed_and_what_nobody_holds_not_stopped(library, parent):
    with pytest.raises(RunError, match="has ended: all designs evaluated"):
        jobs.resume(library, parent)
    with pytest.raises(RunError, match="nobody works on"):
        jobs.stop(library, parent)


def test_a_rerun_finishes_under_its_pin_and_leaves_no_dead_process(library, parent):
    name = jobs.rerun(library, parent, [PIN], designs=1000)
    pid = writer(library.root / name / "lock")
    assert pid not in (None, os.getpid())
    assert os.getsid(pid) == pid  # it belongs to no terminal and to no page
    assert name in jobs.running(library)
    with pytest.raises(RunError, match="is running already"):
        jobs.resume(library, name)
    until(lambda: name not in jobs.running(library))
    child = library.run(name)
    assert child.status["state"] == "ended"
    assert child.pins == (PIN,)
    assert child.manifest["parent"]["run"] == parent
    until(lambda: not Path(f"/proc/{pid}").exists())


def test_a_search_is_stopped_resumed_and_stopped_at_once(library, parent):
    name = jobs.rerun(library, parent, [PIN], designs=300_000)
    until(lambda: status(library, name).get("designs", 0) > 0)
    pid = writer(library.root / name / "lock")
    jobs.stop(library, name)
    until(lambda: name not in jobs.running(library))
    stopped = status(library, name)
    assert (stopped["state"], stopped["reason"]) == ("ended", "stopped")
    jobs.resume(library, name)
    assert writer(library.root / name / "lock") not in (None, pid)
    until(lambda: status(library, name).get("designs", 0) > stopped["designs"])
    assert jobs.stop(library, name, now=True)
    assert status(library, name)["state"] in ("interrupted", "ended")
    jobs.resume(library, name)
    until(lambda: status(library, name)["state"] == "running")
    jobs.stop(library, name, now=True)


def test_a_second_click_on_stop_does_not_end_a_search_at_once(library, parent, monkeypatch):
    asked = []
    monkeypatch.setattr(jobs.stopping, "stopped", lambda run, **how: asked.append(how["now"]))
    with contextlib.closing(Lock(library.root / parent / "lock")):
        monkeypatch.setattr(jobs, "_asked", set())
        assert not jobs.stop(library, parent)
        with pytest.raises(RunError, match="was asked to stop already"):
            jobs.stop(library, parent)
        jobs.stop(library, parent, now=True)
    assert asked == [False, True]
