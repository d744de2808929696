"""Large arrays stay in the process."""

import os
import sys

import numpy as np
import pytest

from optimizer import machine


def test_it_says_whether_it_could(monkeypatch):
    assert machine.keep_memory() in (True, False)
    monkeypatch.setattr(sys, "platform", "win32")
    assert machine.keep_memory() is False


def test_another_c_library_is_left_alone(monkeypatch):
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(machine.ctypes, "CDLL", lambda name: object())
    assert machine.keep_memory() is False


@pytest.mark.skipif(not machine.keep_memory(), reason="needs the GNU C library")
def test_a_large_array_is_not_paged_in_twice():
    resource = pytest.importorskip("resource")

    def faults():
        return resource.getrusage(resource.RUSAGE_SELF).ru_minflt

    for _ in range(3):
        np.ones(1 << 20)
    before = faults()
    for _ in range(20):
        np.ones(1 << 20)
    assert faults() - before < 20 * (8 << 20) // 4096 // 10


def test_folders_of_the_dead_are_removed_and_those_of_the_living_kept(monkeypatch, tmp_path):
    monkeypatch.setattr(machine.tempfile, "gettempdir", lambda: str(tmp_path))
    monkeypatch.setattr(machine, "SHORT", 1000)
    held, lock = machine.claimed_folder()
    dead, gone = machine.claimed_folder()
    os.close(gone)
    (tmp_path / "rf-remains").mkdir()  # made by a process that died later than its folder
    mine, more = machine.claimed_folder()
    assert held.exists()
    assert mine.exists()
    assert not dead.exists()
    assert not (tmp_path / "rf-remains").exists()
    os.close(lock)
    os.close(more)


def test_the_folder_leaves_room_for_sockets(monkeypatch):
    monkeypatch.setattr(machine.tempfile, "gettempdir", lambda: "/" + "long/" * 20)
    folder, lock = machine.claimed_folder()
    assert len(str(folder)) <= machine.SHORT
    folder.joinpath("lock").unlink()
    folder.rmdir()
    os.close(lock)
