"""The islands of a round cut into pieces, so that no worker idles at its end.

What is cut where steers nobody's search: an island goes the same way in one piece or ten.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

from optimizer.engine import Done, Job
from optimizer.problem import CHUNK
from optimizer.state import State

# [s] a piece should take: enough to make its way to a worker and back unimportant (some
# ten milliseconds), little enough that few are left over at the end and little is lost
# with a worker.
SHORTEST, LONGEST = 1.0, 5.0
CUTS = 4  # pieces a worker should still have before it when one is cut
FIRST = 2 * CHUNK  # evaluations of the first piece, from which the speed is known


@dataclasses.dataclass(frozen=True)
class Piece:
    """A part of an island's round."""

    island: int
    problem: int
    state: State
    target: int  # evaluations to reach with this piece
    end: int  # evaluations to reach in the round

    @property
    def left(self) -> int:
        """Evaluations to the end of the round."""
        return max(self.end - self.state.evaluations, 0)


class Pieces:
    """What is left of a round.

    Parameters
    ----------
    jobs : Sequence of Job
        Islands and the evaluations they have to reach.
    speed : dict
        Seconds that an evaluation of each problem takes; kept up to date here, and by the
        caller from round to round.
    """

    def __init__(self, jobs: Sequence[Job], speed: dict[int, float]) -> None:
        self._waiting = {
            job.island: Piece(job.island, job.problem, job.state, job.target, job.target)
            for job in jobs
        }
        self._deaths: dict[int, int] = {}
        self._speed = speed

    def __bool__(self) -> bool:
        """Return whether a piece waits to be taken."""
        return bool(self._waiting)

    def taken(self, workers: int) -> Piece:
        """Return a piece of the island that most is left of."""
        # Unknown ones first: they may turn out the longest.
        longest = max(self._waiting.values(), key=self._seconds)
        speed = self._speed.get(longest.problem)
        size = FIRST
        if speed:
            known = [p for p in self._waiting.values() if p.problem in self._speed]
            share = sum(self._seconds(p) for p in known) / (CUTS * workers)
            wanted = min(max(share, SHORTEST), LONGEST)
            # Equal pieces leave no crumb for the end.
            size = math.ceil(longest.left / max(round(longest.left * speed / wanted), 1))
        del self._waiting[longest.island]
        target = min(longest.state.evaluations + size, longest.end)
        return dataclasses.replace(longest, target=target)

    def returned(self, piece: Piece, done: Done) -> Done:
        """Take a piece back as far as its worker came; return it as a report on the round."""
        island, state, report = done
        self._deaths.pop(island, None)
        if report.evaluations:
            now = report.seconds / report.evaluations
            self._speed[piece.problem] = (self._speed.get(piece.problem, now) + now) / 2
        rest = dataclasses.replace(piece, state=state)
        if rest.left:
            self._waiting[island] = rest
        return island, state, dataclasses.replace(report, finished=not rest.left)

    def failed(self, piece: Piece) -> int:
        """Put a piece back whose worker died; return how many did so on it in a row."""
        self._waiting[piece.island] = piece
        self._deaths[piece.island] = self._deaths.get(piece.island, 0) + 1
        return self._deaths[piece.island]

    def _seconds(self, piece: Piece) -> float:
        speed = self._speed.get(piece.problem)
        return piece.left * speed if speed else math.inf
