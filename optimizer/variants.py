"""What a sweep over several variants shares: names of folders, and the time."""

from __future__ import annotations

import dataclasses
import re
import time
import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from optimizer.budget import Settings
from optimizer.problem import CHUNK, STEP, Problem

if TYPE_CHECKING:
    from optimizer.launch import Prepared

DESIGNS = 200_000  # of a variant, where neither designs nor a time are given
LEAST = 1000
NAME_LETTERS, VARIANT_LETTERS = 48, 30  # of a folder's name, without the time
# Share of the rate of random designs that a search reaches with its own work: 0.74 to 0.84,
# measured on the demonstration and on its flyback, 60,000 to 80,000 designs, one core.
SEARCHING = 0.75
LOOKS = 24  # most problems that the rate is measured on


def folder_name(project: str, variant: str) -> str:
    """Return the beginning of a run folder's name: plain letters, whatever the variant's name.

    Two variants may get the same; the store tells their folders apart, and the manifest
    holds the full name.
    """
    first = "-".join(project.split())
    if not variant:
        return first
    # Accents go, other scripts leave nothing; "ß" and its like become letters.
    plain = unicodedata.normalize("NFKD", variant.casefold()).encode("ascii", "ignore").decode()
    second = re.sub(r"[^a-z0-9.]+", "-", plain)[:VARIANT_LETTERS].strip("-.")
    return f"{first[:NAME_LETTERS].rstrip('-._')}-{second or 'variant'}"


def settings_for(
    ready: Sequence[Prepared],
    seed: int | None = None,
    designs: int | None = None,
    hours: float | None = None,
    workers: int = 0,
) -> list[Settings]:
    """Return the settings of the run of each variant: an equal share of the whole budget.

    Where only a time is given, the number of designs is measured on this machine and
    noted, so that the course of the search is planned for it; the limit that is reached
    first ends the run.

    Parameters
    ----------
    ready : Sequence of Prepared
        The variants.
    seed, designs, hours : optional
        Of the sweep as a whole; what is left out comes from the specification.
    workers : int
        Processes that will search; 0 is this one.
    """
    return list(outlook(ready, seed, designs, hours, workers, look=False).settings)


@dataclasses.dataclass(frozen=True)
class Outlook:
    """What a sweep will be, as far as it can be told before."""

    settings: tuple[Settings, ...]
    rates: tuple[float, ...]  # designs a second of each variant; nothing where not looked for

    @property
    def seconds(self) -> float:
        """How long it takes, if nothing converges sooner."""
        times = [s.evaluations / r for s, r in zip(self.settings, self.rates, strict=True)]
        limits = [s.time_limit for s in self.settings]
        return sum(t if m is None else min(t, m) for t, m in zip(times, limits, strict=True))


def outlook(
    ready: Sequence[Prepared],
    seed: int | None = None,
    designs: int | None = None,
    hours: float | None = None,
    workers: int = 0,
    *,
    look: bool = True,
) -> Outlook:
    """Return settings, as ``settings_for`` does, with the rates that this machine reaches.

    Rates are measured where they decide on settings, or to ``look`` at them.
    """
    asked = ready[0].spec.sweep
    limit = hours if hours is not None else asked.time_limit_h
    seconds = None if limit is None else 3600.0 * limit / len(ready)
    wanted = designs or asked.designs
    timed = wanted is None and seconds is not None
    rates = _rates(ready, workers) if timed or look else ()
    if timed:
        shares = [affordable(r, seconds or 0.0) for r in rates]
    else:
        shares = [wanted // len(ready) if wanted else DESIGNS] * len(ready)
    first = asked.seed if seed is None else seed
    settings = [Settings(seed=first, evaluations=n, time_limit=seconds) for n in shares]
    return Outlook(tuple(settings), rates)


def _rates(ready: Sequence[Prepared], workers: int) -> tuple[float, ...]:
    """Return designs a second that a search of each variant evaluates on this machine.

    Measured on the first; the time of a design goes with its operating points (within
    8 % from 20 to 33).
    """
    pace = rate(ready[0].problems) * ready[0].case.points.count * max(workers, 1)
    return tuple(pace / r.case.points.count for r in ready)


def rate(problems: Sequence[Problem]) -> float:
    """Return designs a second that one core searches, measured on random designs.

    In seconds of the processor, so that other work on the machine does not count.
    """
    rng = np.random.default_rng(0)
    some = problems[:: max(1, -(-len(problems) // LOOKS))]
    spent = 0.0
    for problem in some:
        # What a problem does once is no part of its rate.
        problem.evaluate(problem.space.snapped(rng.random((STEP, problem.space.size))))
        genes = problem.space.snapped(rng.random((CHUNK, problem.space.size)))
        before = time.process_time()
        problem.evaluate(genes)
        spent += time.process_time() - before
    return SEARCHING * CHUNK * len(some) / max(spent, 1e-6)


def affordable(designs_per_second: float, seconds: float) -> int:
    """Return how many designs fit into a time, to two digits.

    The answer depends on the machine; a run notes the number that it was started with,
    and from that number on goes the same way everywhere.
    """
    return max(LEAST, int(float(f"{designs_per_second * seconds:.2g}")))
