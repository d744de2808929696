"""What was asked for last, kept within a bound of bytes; each thing made by one thread only."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from typing import Any


class Memory:
    """The results asked for last, as many as fit.

    Parameters
    ----------
    limit : int
        What all of them together may weigh; the one asked for last is kept in any case.
    weight : Callable, optional
        What one of them weighs now; by default each weighs one.
    """

    def __init__(self, limit: int, weight: Callable[[Any], int] | None = None) -> None:
        self._limit, self._weight = limit, weight or (lambda value: 1)
        self._held = OrderedDict[Hashable, Future[Any]]()
        self._lock = threading.Lock()

    def get(self, key: Hashable, made: Callable[[], Any]) -> Any:
        """Return what was kept under a key, or make it.

        Whoever asks for the same thing meanwhile waits for it instead of making it again;
        a failure is told to all of them and not kept.
        """
        with self._lock:
            future = self._held.get(key)
            mine = future is None
            if future is None:
                future = self._held[key] = Future()
            self._held.move_to_end(key)
        if mine:
            self._make(key, future, made)
        return future.result()

    def _make(self, key: Hashable, future: Future[Any], made: Callable[[], Any]) -> None:
        try:
            value = made()  # outside the lock: a slow one must not hold up the others
        except BaseException as error:  # noqa: BLE001 - those who wait must not wait for ever
            with self._lock:
                self._held.pop(key, None)
            future.set_exception(error)
            return
        future.set_result(value)
        self.trim()

    def trim(self) -> None:
        """Let go of what was asked for longest ago until the rest fits."""
        with self._lock:
            ready = [(k, f) for k, f in self._held.items() if f.done() and not f.exception()]
            weights = {k: self._weight(f.result()) for k, f in ready}
            total = sum(weights.values())
            for key, _ in ready[:-1]:
                if total <= self._limit:
                    return
                total -= weights[key]
                del self._held[key]

    def __len__(self) -> int:
        """Return how many are kept."""
        return len(self._held)
