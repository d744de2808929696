"""What a sweep leaves behind however it ends: nothing; and what it shows meanwhile: little."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from optimizer import guard
from tests.optimizer import unruly

ROOT = Path(__file__).parent.parent.parent
SCRIPT = """
import sys
from optimizer import engine
from optimizer.budget import Settings
from optimizer.workers import RayWorkers
from tests.optimizer import unruly

problems = unruly.problems(sys.argv[1])
told = lambda progress: print(progress.designs, flush=True)
with RayWorkers(problems, 2) as hands:
    engine.sweep(problems, Settings(evaluations=10_000_000), progress=told, workers=hands)
"""

pytestmark = [pytest.mark.ray, pytest.mark.slow]


class Sweep:
    """A sweep with workers in a process, home and temporary folder of its own."""

    def __init__(self, home):
        (home / "slow").touch()
        self.home, self.temporary = home, Path(f"/tmp/rf{os.getpid()}")
        self.temporary.mkdir(exist_ok=True)
        plain = {k: v for k, v in os.environ.items() if not k.startswith("RAY_")}
        self.process = subprocess.Popen(
            [sys.executable, "-c", SCRIPT, str(home)],
            cwd=ROOT,
            env=plain | {"HOME": str(home), "TMPDIR": str(self.temporary)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.process.stdout.readline()
        self.processes = guard.descendants(self.process.pid)

    def left(self, within):
        """Return the processes that still live after so many seconds."""
        end = time.monotonic() + within
        while True:
            alive = [p for p, start in self.processes.items() if guard.started(p) == start]
            if not alive or time.monotonic() > end:
                return alive
            time.sleep(0.1)


@pytest.fixture
def sweep(tmp_path):
    running = Sweep(tmp_path)
    yield running
    running.process.kill()
    running.process.communicate()
    assert not running.left(20.0)
    running.temporary.rmdir()


def test_a_driver_killed_leaves_no_process_and_no_file(sweep):
    assert len(sweep.processes) > 6
    assert [p.name for p in sweep.home.iterdir()] == ["slow"]  # no token in the home folder
    sweep.process.send_signal(signal.SIGKILL)
    assert not sweep.left(20.0)
    assert not list(sweep.temporary.iterdir())


def test_two_interrupts_end_a_sweep_at_once_and_leave_nothing(sweep):
    os.kill(unruly.named("ray::_Actor", sweep.process.pid)[0], signal.SIGKILL)
    # Ray has nothing to say about it on the standard output.
    assert all(sweep.process.stdout.readline().strip().isdigit() for _ in range(3))
    sweep.process.send_signal(signal.SIGINT)
    time.sleep(0.05)
    sweep.process.send_signal(signal.SIGINT)
    sweep.process.wait(30.0)
    assert not sweep.left(5.0)
    assert not list(sweep.temporary.iterdir())


def listening(processes):
    """Return the local addresses, in hexadecimal, at which processes listen for TCP."""
    sockets = set()
    for pid in processes:
        for handle in (guard.PROC / str(pid) / "fd").iterdir():
            try:
                sockets.add(os.readlink(handle))
            except OSError:
                continue
    found = set()
    for table in ("tcp", "tcp6"):
        for line in (guard.PROC / "net" / table).read_text().splitlines()[1:]:
            fields = line.split()
            if fields[3] == "0A" and f"socket:[{fields[9]}]" in sockets:
                found.add(fields[1].split(":")[0])
    return found


def test_everything_listens_on_this_machine_alone(sweep):
    found = listening([sweep.process.pid, *sweep.processes])
    assert found
    # 127.0.0.1 in network order, plain and as an address of the newer kind.
    assert all(address.endswith("0100007F") for address in found)
