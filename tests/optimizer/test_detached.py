"""Searches as processes of their own: followed, left, killed, stopped, resumed."""

import json
import os
import pty
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from models.errors import RunError
from optimizer.archive import open_run
from optimizer.budget import Settings
from optimizer.cli import main
from optimizer.detached import COMMAND, begun, cut, log_of
from optimizer.files import Lock, RunInUseError
from optimizer.launch import new_stores, prepared_variants
from optimizer.stopping import holder, stopped

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
ONE = ("topology in [flyback_unfolder]", "flyback.phases = 1", "flyback.clamp = short_pulse")
PINS = [word for pin in ONE for word in ("--pin", pin)]
SMALL, ENDLESS = 1000, 5_000_000  # designs
PATIENCE = 60.0  # [s]


def start(*words, **more):
    """Start a command as a process in its own session, as a terminal would."""
    more = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True} | more
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND, *map(str, words)], start_new_session=True, **more
    )


def end(process, code):
    """Wait for a command and return what it printed; its exit code is checked."""
    text = process.communicate(timeout=PATIENCE)[0]
    assert process.returncode == code, text
    assert "Traceback" not in text
    return text


def run(*words, code=0):
    """Run a command in this process and return what it printed."""
    found = CliRunner().invoke(main, [str(word) for word in words])
    assert found.exit_code == code, found.output
    assert "Traceback" not in found.output
    return found.output


def wait(condition):
    """Wait until something holds, and return it."""
    begun = time.monotonic()
    while not (found := condition()):
        assert time.monotonic() - begun < PATIENCE
        time.sleep(0.05)
    return found


def bits(folder):
    """Return the bytes of what was found, for comparison."""
    run = open_run(folder)
    return [
        part.genes.tobytes() + part.objectives.tobytes() for part in (*run.fronts, *run.clouds)
    ] + [run._arrays[f"c{c.number}.nearest.genes"].tobytes() for c in run.candidates
         if f"c{c.number}.nearest.genes" in run._arrays]  # fmt: skip


@pytest.fixture(scope="module")
def ready():
    """What a sweep over one structure needs."""
    return prepared_variants(DEMO, ONE)


def made(ready, root, designs):
    """Return a new run that reports often."""
    settings = Settings(seed=3, evaluations=designs, round_evaluations=300)
    (store,) = new_stores(ready, [settings], root)
    store.close()
    return open_run(store.folder)


def searched(found):
    """Return whether a process works on a run and has said how far it is."""
    return found.pid is not None and found.status.get("designs")


@pytest.fixture
def endless(ready, tmp_path):
    """A run that does not end by itself; whoever works on it at the end is killed."""
    found = made(ready, tmp_path, ENDLESS)
    yield found
    if found.pid is not None:
        os.kill(holder(found), signal.SIGKILL)
        wait(lambda: found.pid is None)


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """Folder of one sweep in the foreground, and what the command printed."""
    root = tmp_path_factory.mktemp("undisturbed")
    text = run("sweep", DEMO, "--runs", root, "--designs", SMALL, "--workers", 0, *PINS,
               "--foreground", "-q", code=3)  # fmt: skip
    return next(root.glob("demo-*")), text


def test_following_ends_with_the_code_and_words_of_the_foreground(undisturbed, tmp_path):
    here, in_foreground = undisturbed
    text = run(
        "sweep", DEMO, "--runs", tmp_path, "--designs", SMALL, "--workers", 0, *PINS, code=3
    )
    (there,) = tmp_path.glob("demo-*")
    assert bits(here) == bits(there)
    assert bits(here)
    for words in ("no feasible design; the nearest breaks", "no feasible design: relax"):
        assert words in text
        assert words in in_foreground
    log = log_of([there]).read_text()
    assert log.splitlines()[0].split(maxsplit=1)[1].startswith("ripplefront ")
    assert f"work {there.name} --workers 0" in log.splitlines()[0]
    assert str(tmp_path) not in log
    assert not log_of([here]).exists()


def test_a_run_outlives_its_terminals_and_is_refused_to_others(endless, tmp_path):
    outer, inner = pty.openpty()
    first = start(
        "resume", endless.name, "--runs", tmp_path, "--workers", 0,
        stdin=inner, stdout=inner, stderr=inner,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "150"},
    )  # fmt: skip
    os.close(inner)
    wait(lambda: b"flyback_unfolder" in os.read(outer, 100_000))  # a table of the topologies
    pid = endless.pid
    assert os.getsid(pid) == pid  # no terminal's session: Ctrl-C in one cannot reach it
    os.close(outer)
    os.killpg(first.pid, signal.SIGHUP)  # what closing a terminal sends to its processes
    first.wait(timeout=PATIENCE)
    os.kill(pid, signal.SIGHUP)  # nor does it end the run itself
    second, third = (start("follow", endless.name, "--runs", tmp_path) for _ in range(2))
    for follower in (second, third):
        assert "following" in follower.stdout.readline()
    os.killpg(second.pid, signal.SIGKILL)
    second.communicate(timeout=PATIENCE)
    third.send_signal(signal.SIGINT)
    text = end(third, 130)
    assert "goes on without this terminal" in text
    assert f"ripplefront stop {endless.name}" in text
    before = endless.status["designs"]
    wait(lambda: endless.status["designs"] > before)
    assert endless.pid == pid
    assert "running" in run("runs", "--runs", tmp_path)
    assert "follow it with" in run("status", "--runs", tmp_path)
    assert "being written by process" in run("resume", "latest", "--runs", tmp_path, code=5)
    assert "has stopped" in run("stop", "--runs", tmp_path)
    status = endless.status
    assert (status["state"], status["reason"], status["exit_code"]) == ("ended", "stopped", 4)
    assert "ended (stopped)" in run("runs", "--runs", tmp_path)
    assert "stopped at your request" in run("follow", "--runs", tmp_path, code=4)
    text = run("status", "--runs", tmp_path)
    assert "stopped at your request; it can be resumed" in text
    assert "flyback_unfolder" in text
    assert "nobody works on" in run("stop", "--runs", tmp_path, code=2)


def test_stopping_at_once_leaves_the_folder_whole(endless, tmp_path):
    follower = start("resume", endless.name, "--runs", tmp_path, "--workers", 0, "-q")
    wait(lambda: searched(endless))
    pid = endless.pid
    run("stop", "latest", "--now", "--runs", tmp_path)
    text = end(follower, 143)
    assert "stopped at once at your request" in text
    assert "ripplefront resume" in text
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    assert endless.status["state"] == "interrupted"
    events, damaged = endless.events()
    assert (events[-1]["event"], events[-1]["exit_code"], damaged) == ("interrupted", 143, 0)


def test_a_killed_search_is_told_and_goes_on_to_the_bits_of_an_undisturbed_one(ready, tmp_path):
    quiet, killed = (made(ready, tmp_path / name, 3000) for name in ("quiet", "killed"))
    run("resume", quiet.folder, "--workers", 0, "--foreground", "-q", code=3)
    follower = start("resume", killed.folder, "--workers", 0, "-q")
    wait(lambda: searched(killed))
    os.kill(holder(killed), signal.SIGKILL)
    text = end(follower, 1)
    assert "ended without a word" in text
    assert "log.txt" in text
    assert "interrupted" in run("status", killed.folder)
    run("resume", killed.folder, "--workers", 0, "-q", code=3)
    assert bits(killed.folder) == bits(quiet.folder)


def test_two_sweeps_into_one_folder_of_runs_keep_apart(undisturbed, tmp_path):
    here, _ = undisturbed
    words = ("sweep", DEMO, "--runs", tmp_path, "--designs", SMALL, "--workers", 0, *PINS, "-q")
    other = start(*words)
    run(*words, code=3)
    end(other, 3)
    first, second = tmp_path.glob("demo-*")
    assert bits(first) == bits(second) == bits(here)


def test_a_run_is_held_from_the_start_by_the_process_that_will_search_it(endless, tmp_path):
    process = begun([endless.folder], workers=0)
    try:
        assert holder(endless) == process.pid  # while it still loads
        assert endless.status["state"] == "running"
        assert "being written" in run("resume", "latest", "--runs", tmp_path, code=5)
        wait(lambda: searched(endless))
        assert holder(endless) == process.pid
    finally:
        process.kill()
        process.wait()


def test_a_fault_is_written_down_and_its_traceback_stays_in_the_log(undisturbed, tmp_path):
    here, _ = undisturbed
    broken = tmp_path / here.name
    shutil.copytree(here, broken)
    for name, change in (
        ("status.json", {"state": "running"}),
        ("manifest.json", {"settings": {"islands": "three"}}),  # what no version writes
    ):
        content = json.loads((broken / name).read_text())
        (broken / name).write_text(json.dumps({**content, **change}))
    text = run("resume", "latest", "--runs", tmp_path, "--workers", 0, code=1)
    assert "internal fault" in text
    assert "log.txt" in text
    assert "Traceback" in log_of([broken]).read_text()
    assert "internal fault" in run("status", "--runs", tmp_path)
    assert open_run(broken).events()[0][-1]["exit_code"] == 1


def test_a_second_writer_is_refused_and_a_foreign_process_is_not_signalled(undisturbed):
    folder, _ = undisturbed
    found = open_run(folder)
    with pytest.raises(RunError, match="nobody works on"):
        stopped(found, now=False)
    lock = Lock(folder / "lock")
    try:
        with pytest.raises(RunInUseError):
            Lock(folder / "lock")
        assert holder(found) == os.getpid()
        # The same number with another start is a process of another machine or time.
        (folder / "lock").write_text(f"{os.getpid()} 12345\n")
        with pytest.raises(RunError, match="not on this machine"):
            stopped(found, now=True)
    finally:
        lock.close()


def test_a_log_is_cut_in_the_middle(tmp_path):
    log = tmp_path / "log.txt"
    handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    try:
        os.write(handle, b"first\n" + b"x" * 3000 + b"\nlast\n")
        cut(handle, log, 4000)
        assert log.stat().st_size > 3000
        cut(handle, log, 2000)
        os.write(handle, b"more\n")
    finally:
        os.close(handle)
    text = log.read_text()
    assert text.startswith("first\n")
    assert text.endswith("\nlast\nmore\n")
    assert "cut out" in text
    assert len(text) < 1000
