"""The signals that a search answers while the engine itself does not listen."""

from __future__ import annotations

import signal
import threading
from types import FrameType
from typing import Any, Self


class Asked:
    """Listens for signals between runs and while Ray starts; the engine does so in a run.

    The first asks to stop, the second stops at once.  A terminal that closes counts as
    asking, unless the process was told to ignore that.
    """

    def __init__(self) -> None:
        self.number = 0
        self._before: dict[int, Any] = {}
        self._forwarded = False
        self._main = threading.current_thread() is threading.main_thread()

    def __enter__(self) -> Self:
        """Start to listen."""
        if self._main:
            self._before = {n: signal.getsignal(n) for n in (signal.SIGINT, signal.SIGTERM)}
            self.listen()
            if signal.getsignal(signal.SIGHUP) is signal.SIG_DFL:
                self._before[signal.SIGHUP] = signal.SIG_DFL
                signal.signal(signal.SIGHUP, lambda *_: signal.raise_signal(signal.SIGTERM))
        return self

    def __exit__(self, *exc: object) -> None:
        """Leave the signals as they were."""
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def listen(self) -> None:
        """Listen again, after Ray took the signals."""
        if self._main:
            signal.signal(signal.SIGINT, self._ask)
            signal.signal(signal.SIGTERM, self._ask)

    def forward(self) -> None:
        """Pass a signal on to the engine that came before it listened."""
        listens = signal.getsignal(signal.SIGTERM) != self._ask
        if self.number and not self._forwarded and listens:
            self._forwarded = True
            signal.raise_signal(self.number)

    def _ask(self, number: int, frame: FrameType | None) -> None:
        if self.number:
            raise KeyboardInterrupt(number)
        self.number = number
