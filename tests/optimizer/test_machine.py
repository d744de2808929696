"""Large arrays stay in the process."""

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
