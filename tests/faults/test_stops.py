"""Signals in the foreground and in the background: finished, written, resumable."""

import os
import signal
import time

import pytest

from optimizer.archive import open_run
from tests.faults import hurt
from tests.faults.hurt import Harm, awaited, ended, finished, started, whole


def working(folder):
    """Return whether a search is under way."""
    return open_run(folder).status.get("designs", 0) > 0


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_first_signal_ends_in_good_order_and_can_be_resumed(wanted, tmp_path, number):
    folder = hurt.folder_in(tmp_path)
    process = started(folder, Harm(pause=5e-3, every=30.0))
    awaited(lambda: working(folder))
    os.kill(process.pid, number)
    assert ended(process) == 4, hurt.said(folder)
    whole(folder)
    status = open_run(folder).status
    assert (status["state"], status["reason"], status["exit_code"]) == ("ended", "stopped", 4)
    assert finished(folder) == wanted


@pytest.mark.parametrize(
    ("number", "codes"), [(signal.SIGINT, (130,)), (signal.SIGTERM, (130, 143))]
)
def test_a_second_signal_ends_at_once_and_can_be_resumed(wanted, tmp_path, number, codes):
    folder = hurt.folder_in(tmp_path)
    process = started(folder, Harm(pause=0.8))
    awaited(lambda: working(folder))
    time.sleep(0.2)  # the status is written between two batches, where a stop waits for nothing
    os.kill(process.pid, number)
    # Two that come together arrive as one: the second is sent until it takes.
    while process.exitcode is None:
        process.join(0.05)
        if process.exitcode is None:
            os.kill(process.pid, number)
    assert ended(process) in codes, hurt.said(folder)
    whole(folder)
    assert open_run(folder).status["state"] == "interrupted"
    assert finished(folder) == wanted
