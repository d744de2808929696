"""No room on the disk, no memory, no reliable clock: reported, nothing torn, resumable."""

import os
import shutil
import subprocess

import pytest

from optimizer.archive import open_run
from tests.faults import hurt
from tests.faults.hurt import Harm, bits, ended, finished, started, whole


@pytest.mark.parametrize("most", [600, 20_000, 200_000])
def test_a_file_that_may_grow_no_further_stops_the_search_and_nothing_is_torn(
    wanted, tmp_path, most
):
    folder = hurt.folder_in(tmp_path)
    assert ended(started(folder, Harm(file=most, every=0.0))) == 2, hurt.said(folder)
    whole(folder)
    assert open_run(folder).status["state"] == "interrupted"
    assert not list(folder.rglob(".*.new"))
    assert finished(folder) == wanted


@pytest.fixture
def small_disk(tmp_path):
    """A folder on a file system of its own that is soon full."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("only root may mount a small file system")
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(disk)], capture_output=True
    )
    if made.returncode:
        pytest.skip(f"no small file system: {made.stderr.decode().strip()}")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


@pytest.mark.parametrize("room", [0, 50_000, 700_000])
def test_a_full_disk_is_reported_and_the_run_goes_on_when_there_is_room(wanted, small_disk, room):
    (small_disk / "runs").mkdir()
    folder = hurt.folder_in(small_disk / "runs")
    free = shutil.disk_usage(small_disk).free
    (small_disk / "ballast").write_bytes(bytes(max(free - room, 0)))
    assert ended(started(folder, Harm(every=0.0))) == 2, hurt.said(folder)
    if room:
        assert "disk is full" in hurt.said(folder)
    assert not list(folder.rglob(".*.new"))
    whole(folder)
    (small_disk / "ballast").unlink()
    assert finished(folder) == wanted


@pytest.mark.parametrize("after", [3, 15])
def test_out_of_memory_is_reported_and_the_run_can_go_on(wanted, tmp_path, after):
    folder = hurt.folder_in(tmp_path)
    code = ended(started(folder, Harm(memory=8 << 20, after=after)))
    assert code == 1, hurt.said(folder)
    whole(folder)
    status = open_run(folder).status
    assert status["state"] == "interrupted"
    assert "memory" in status["reason"]
    assert finished(folder) == wanted


def test_a_clock_that_jumps_changes_nothing(wanted, tmp_path):
    folder = hurt.folder_in(tmp_path)
    assert ended(started(folder, Harm(jumps=True))) == 0, hurt.said(folder)
    whole(folder)
    assert bits(folder) == wanted
    years = {event["at"][:4] for event in open_run(folder).events()[0]}
    assert len(years) > 2
