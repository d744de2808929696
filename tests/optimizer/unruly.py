"""A problem whose workers can be made slow, forgetful or mortal by files in a folder."""

import os
import time
from pathlib import Path

from optimizer import guard
from optimizer.budget import Settings
from tests.optimizer.stand_in import StandIn

SETTINGS = Settings(seed=5, evaluations=16_000, islands=2, round_evaluations=600)
PAUSE = 0.02  # [s] a generation of a slow problem takes longer


class Unruly(StandIn):
    """The stand-in; what stands in its folder says how it behaves, never what it answers."""

    def __init__(self, folder, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.folder = Path(folder)

    def evaluate(self, genes):
        if (self.folder / "slow").exists():
            time.sleep(PAUSE)
        if (self.folder / f"deadly {self.topology}").exists():
            os._exit(1)
        if (self.folder / "wrong").exists():
            raise ValueError("a fault of the program")
        try:
            (self.folder / "memory").unlink()
        except FileNotFoundError:
            return super().evaluate(genes)
        raise MemoryError


def problems(folder):
    """Return the three candidates of the stand-in."""
    return [
        Unruly(folder, "boost[boost.phases=1]"),
        Unruly(folder, "boost[boost.phases=2]", shift=3.0),
        Unruly(folder, "other", topology="other", shift=0.4),
    ]


def named(start, pid=None):
    """Return the processes below one (this one) whose names begin so."""
    found = []
    for below in guard.descendants(pid or os.getpid()):
        try:
            if (guard.PROC / str(below) / "comm").read_text().startswith(start):
                found.append(below)
        except OSError:
            continue
    return found
