"""The guard clears up after a search that cannot do so any more, and touches nothing else."""

import json
import os
import subprocess
import sys
import time

import pytest

from optimizer import guard

pytestmark = pytest.mark.skipif(not guard.started(os.getpid()), reason="needs /proc")


@pytest.fixture
def sleeper():
    running = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
    yield running
    running.kill()
    running.wait()


def test_a_process_is_known_by_its_start(sleeper):
    start = guard.started(sleeper.pid)
    assert start > guard.started(os.getpid()) > 0
    assert guard.descendants(os.getpid())[sleeper.pid] == start
    sleeper.kill()
    time.sleep(0.1)
    assert guard.started(sleeper.pid) == 0  # dead, though nobody has waited for it
    assert sleeper.pid not in guard.descendants(os.getpid())


def test_what_is_left_is_killed_and_the_folder_removed(sleeper, tmp_path):
    folder = tmp_path / "session"
    folder.mkdir()
    (folder / "file").touch()
    watch = subprocess.Popen(
        [sys.executable, "-I", "-S", guard.__file__, str(folder)], stdin=subprocess.PIPE, text=True
    )
    watch.stdin.write(json.dumps({sleeper.pid: guard.started(sleeper.pid)}) + "\n")
    watch.stdin.flush()
    time.sleep(0.3)
    assert sleeper.poll() is None
    assert folder.exists()
    watch.stdin.close()
    assert watch.wait(20.0) == 0
    assert sleeper.wait(5.0) == -9
    assert not folder.exists()


def test_a_later_process_of_the_same_number_is_spared(sleeper, tmp_path):
    guard.clear({sleeper.pid: guard.started(sleeper.pid) - 1}, tmp_path / "none", grace=0.0)
    time.sleep(0.1)
    assert sleeper.poll() is None
