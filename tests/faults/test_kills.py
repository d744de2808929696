"""Processes killed without warning: nothing is torn, and the end is the same to the bit."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from optimizer.archive import open_run
from optimizer.store import checkpoints
from tests.faults import hurt
from tests.faults.hurt import Harm, awaited, bits, ended, finished, started, whole


def test_killed_at_many_random_moments_it_ends_with_the_same_bits(wanted, tmp_path):
    folder = hurt.folder_in(tmp_path)
    moments = np.random.default_rng(12)
    died = 0
    for _ in range(12):
        process = started(folder, Harm(pause=4e-2, every=0.05))
        process.join(moments.uniform(0.02, 0.5))
        process.kill()
        died += ended(process) == -signal.SIGKILL
        whole(folder)
    assert died >= 8
    assert finished(folder) == wanted
    kinds = [event["event"] for event in open_run(folder).events()[0]]
    assert kinds.count("resumed") >= 3
    assert not list(folder.rglob(".*.new"))


@pytest.mark.parametrize("moment", ["checkpoint", "archive", "status"])
def test_killed_in_the_middle_of_a_file_it_goes_on_from_the_one_before(wanted, tmp_path, moment):
    folder = hurt.folder_in(tmp_path)
    place = folder / "checkpoints" if moment == "checkpoint" else folder
    pattern = {"checkpoint": ".*.new", "archive": ".archive*.new", "status": ".status*.new"}
    process = started(folder, Harm(pause=1e-3, every=0.0))
    deadline = time.monotonic() + 20.0
    while not list(place.glob(pattern[moment])) and time.monotonic() < deadline:
        if process.exitcode is not None:
            break
    process.kill()
    ended(process)
    whole(folder)
    assert finished(folder) == wanted


@pytest.mark.slow
@pytest.mark.ray
def test_workers_and_driver_killed_together_leave_a_run_that_goes_on(wanted, tmp_path):
    folder = hurt.folder_in(tmp_path)
    process = started(folder, Harm(workers=2, pause=2e-3))
    awaited(lambda: checkpoints(folder))
    group = descendants(process.pid)
    assert len(group) > 3
    for pid in [process.pid, *group]:
        kill(pid)
    assert ended(process) == -signal.SIGKILL
    awaited(lambda: not any(alive(pid) for pid in group))
    whole(folder)
    assert ended(started(folder, Harm(workers=2))) == 0, hurt.said(folder)
    whole(folder)
    assert bits(folder) == wanted


def kill(pid: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)


def alive(pid: int) -> bool:
    """Return whether a process still runs; one that only waits to be reaped does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def descendants(pid: int) -> list[int]:
    """Return all processes that a process started, and theirs."""
    found, queue = [], [pid]
    while queue:
        parent = queue.pop()
        children = []
        with contextlib.suppress(OSError):
            for task in Path(f"/proc/{parent}/task").iterdir():
                children += [int(child) for child in (task / "children").read_text().split()]
        found += children
        queue += children
    return found


DEMO = hurt.ROOT / "runs" / "demo.toml"
SMALL = ("--designs", "3000", "-q", "--pin", "topology in [flyback_unfolder]", "--pin",
         "flyback.phases = 1", "--pin", "flyback.clamp = short_pulse")  # fmt: skip


def command(*words, **more):
    """Start a command as a user would, in a session of its own."""
    return subprocess.Popen(
        [sys.executable, "-c", "from optimizer.cli import main; main()", *map(str, words)],
        cwd=hurt.ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        start_new_session=True, **more,
    )  # fmt: skip


@pytest.mark.slow
def test_a_real_sweep_killed_with_its_terminal_resumes_to_the_same_front(tmp_path):
    whole_root, hurt_root = tmp_path / "whole", tmp_path / "hurt"
    calm = command("sweep", DEMO, "--runs", whole_root, "--foreground", "--workers", "0", *SMALL)
    out, err = calm.communicate(timeout=hurt.PATIENCE)
    assert calm.returncode in (0, 3), out + err
    follower = command("sweep", DEMO, "--runs", hurt_root, "--workers", "0", *SMALL)
    awaited(lambda: list(hurt_root.glob("*/manifest.json")))
    (folder,) = (p.parent for p in hurt_root.glob("*/manifest.json"))
    awaited(lambda: open_run(folder).status.get("designs", 0) > 0 or follower.poll() is not None)
    searching = open_run(folder).pid
    assert searching not in (None, follower.pid)
    kill(searching)
    os.killpg(follower.pid, signal.SIGKILL)
    follower.communicate()
    awaited(lambda: not alive(searching))
    # The first of its threads may be gone before the last lets go of the lock.
    awaited(lambda: open_run(folder).pid is None)
    assert open_run(folder).status["state"] == "interrupted"
    again = command("resume", "latest", "--runs", hurt_root, "--foreground", "-q")
    out, err = again.communicate(timeout=hurt.PATIENCE)
    assert again.returncode == calm.returncode, out + err
    (first,) = (p.parent for p in whole_root.glob("*/manifest.json"))
    assert bits(folder) == bits(first)
    assert (folder / "front.csv").read_bytes() == (first / "front.csv").read_bytes()
    for path in folder.rglob("*"):
        if path.is_file():
            assert str(tmp_path).encode() not in path.read_bytes(), path.name
