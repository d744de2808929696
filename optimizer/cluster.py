"""Ray on this machine, started and cleared away; or somebody's cluster, joined and left.

An embedded Ray listens on the loopback address alone, asks every caller for a token that
only its own processes know, keeps its files in a folder of its own under a short path, and
ends with this process however that ends.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

from models.errors import RunError
from optimizer import guard
from optimizer.guard import descendants, started
from optimizer.machine import claimed_folder

# Ray's store of results in transit: a few states of islands a worker, measured up to 10 MB.
STORE, STORE_EACH = 256 << 20, 64 << 20  # [bytes]
KNOCK = 5.0  # [s] to wait for an answer from an address
# The preface of HTTP/2 with an empty frame of settings, from RFC 9113, 3.4 and 6.5; a
# server answers with its settings: a frame whose fourth byte is 4.
PREFACE = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + bytes((0, 0, 0, 4, 0, 0, 0, 0, 0))
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
QUIET: dict[str, Any] = {"log_to_driver": False, "logging_level": "error"}


class Cluster(Protocol):
    """A Ray that actors may run on."""

    def broken(self) -> bool:
        """Return whether it died and has to be opened again."""

    def open(self) -> None:
        """Start or join it."""

    def environment(self) -> dict[str, str]:
        """Return variables that actors need and would not inherit."""

    def watch(self, pid: int) -> None:
        """See that a worker does not outlive the sweep."""

    def close(self) -> None:
        """End what was started, leave what was joined."""


class Embedded:
    """A Ray of our own, on this machine alone.

    Parameters
    ----------
    count : int
        Actors it has room for.
    """

    def __init__(self, count: int) -> None:
        self._count = count
        self._folder = Path()
        self._guard: subprocess.Popen[str] | None = None
        self._hearts: dict[int, int] = {}

    def open(self) -> None:
        """Start Ray and the process that clears up after it."""
        _private()
        import ray

        before = descendants(os.getpid())
        self._folder, self._lock = claimed_folder()
        # Isolated and without site packages: it starts in hundredths of a second.
        self._guard = subprocess.Popen(
            [sys.executable, "-I", "-S", str(guard.__file__), str(self._folder)],
            stdin=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        try:
            with _signals_kept():
                ray.init(
                    address="local",
                    num_cpus=self._count,
                    include_dashboard=False,
                    object_store_memory=STORE + self._count * STORE_EACH,
                    _temp_dir=str(self._folder),
                    **QUIET,
                )
        except BaseException as error:
            self.close()
            if not isinstance(error, Exception):
                raise
            raise RunError(
                f"Ray cannot be started: {' '.join(str(error).split())[:400]}\n"
                "  See that memory and disk are free; --workers 0 searches without it."
            ) from error
        own = {p: s for p, s in descendants(os.getpid()).items() if p not in before}
        self._hearts = {p: s for p, s in own.items() if _name(p) in ("raylet", "gcs_server")}
        self._tell({p: s for p, s in own.items() if p != self._guard.pid})

    def broken(self) -> bool:
        """Return whether one of the two processes died without which nothing goes on."""
        return any(started(pid) != start for pid, start in self._hearts.items())

    def environment(self) -> dict[str, str]:
        """Return nothing: actors inherit from this process."""
        return {}

    def watch(self, pid: int) -> None:
        """Name a worker to the guard: without its raylet it would live on for a minute."""
        self._tell({pid: started(pid)})

    def close(self) -> None:
        """End Ray and remove its folder."""
        import ray

        with _signals_kept():
            ray.shutdown()
        if self._guard and self._guard.stdin:
            with contextlib.suppress(OSError):
                self._guard.stdin.close()
            self._guard.wait()
        shutil.rmtree(self._folder, ignore_errors=True)
        os.close(self._lock)
        self._hearts, self._guard = {}, None

    def _tell(self, processes: dict[int, int]) -> None:
        if self._guard and self._guard.stdin:
            with contextlib.suppress(OSError):
                self._guard.stdin.write(json.dumps(processes) + "\n")
                self._guard.stdin.flush()


class Joined:
    """A cluster that others run; it is left as it was found.

    Parameters
    ----------
    address : str
        HOST:PORT of its head node, or "auto" for the one of this machine.
    """

    def __init__(self, address: str) -> None:
        self._address = address

    def open(self) -> None:
        """Join it.

        Raises
        ------
        RunError
            If nothing there answers, or not as a Ray that this process can speak to.
        """
        _knock(self._address)
        _silent()
        import ray

        try:
            with _signals_kept():
                ray.init(address=self._address, **QUIET)
        except (RuntimeError, ConnectionError, ValueError, OSError) as error:
            why = " ".join(str(error).split())
            remedy = "Start one with: ray start --head, and give its address as HOST:PORT."
            if "ersion mismatch" in why:
                remedy = "Install the versions of the cluster here, or these ones there."
            raise RunError(
                f"the Ray cluster at {self._address} cannot be joined: {why[:400]}\n  {remedy}"
            ) from None

    def broken(self) -> bool:
        """Return False: who runs the cluster keeps it running."""
        return False

    def environment(self) -> dict[str, str]:
        """Return the threads of linear algebra: they settle the last bits, as they do here."""
        return {name: os.environ.get(name, "1") for name in THREADS}

    def watch(self, pid: int) -> None:
        """Do nothing: the worker may live anywhere, and its node sees to it."""

    def close(self) -> None:
        """Leave it."""
        import ray

        with _signals_kept():
            ray.shutdown()


class Borrowed:
    """A Ray that whoever calls has opened, and will close."""

    def open(self) -> None:
        """Do nothing."""

    def broken(self) -> bool:
        """Return False: it is the caller's to see to."""
        return False

    def environment(self) -> dict[str, str]:
        """Return nothing."""
        return {}

    def watch(self, pid: int) -> None:
        """Do nothing."""

    def close(self) -> None:
        """Do nothing."""


def cluster_for(count: int, address: str | None) -> Cluster:
    """Return the cluster at an address, one that is open already, or one of our own."""
    if address:
        return Joined(address)
    # Not loaded here: a Ray of our own must be told some things before.
    ray: Any = sys.modules.get("ray")
    return Borrowed() if ray and ray.is_initialized() else Embedded(count)


def _private() -> None:
    """Have Ray keep to itself; heeded where Ray has not been loaded yet."""
    _silent()
    _loopback()
    if not any(k in os.environ for k in ("RAY_AUTH_TOKEN", "RAY_AUTH_TOKEN_PATH")):
        # Otherwise Ray writes a token into the user's home folder.
        os.environ["RAY_AUTH_TOKEN"] = secrets.token_hex(32)


def _silent() -> None:
    """Have Ray report to nobody, and print nothing between the lines of the sweep.

    Pages about every lost worker would go to the standard output otherwise.
    """
    os.environ.setdefault("RAY_USAGE_STATS_ENABLED", "0")
    os.environ.setdefault("RAY_DEDUP_LOGS_SKIP_REGEX", ".*")


def _loopback() -> None:
    """Have Ray take the loopback address for this machine's own.

    Its processes listen on all interfaces otherwise, whatever address they are given.
    """
    os.environ.setdefault("RAY_ENABLE_WINDOWS_OR_OSX_CLUSTER", "0")


def _name(pid: int) -> str:
    try:
        return (guard.PROC / str(pid) / "comm").read_text(encoding="utf-8").strip()
    except OSError:
        return ""


def _knock(address: str) -> None:
    """See that something answers at an address: Ray itself would wait for minutes."""
    if address == "auto":
        return
    host, colon, port = address.rpartition(":")
    host = host.strip("[]")
    if not colon or not port.isdigit() or "/" in host:
        raise RunError(
            f"{address!r} is no address of a Ray cluster.\n"
            "  Write HOST:PORT of its head node, as printed by: ray start --head"
        )
    if host in ("localhost", "::1") or host.startswith("127."):
        _loopback()
    try:
        with socket.create_connection((host, int(port)), timeout=KNOCK) as line:
            if os.environ.get("RAY_USE_TLS", "0") in ("", "0"):
                line.settimeout(KNOCK)
                line.sendall(PREFACE)
                if line.recv(4)[3:] != b"\4":
                    raise ConnectionError("what answers is not Ray")
    except (OSError, OverflowError) as error:
        raise RunError(
            f"no Ray cluster answers at {address}: {error}.\n"
            "  See that its head node runs (ray start --head prints the address) and that no "
            "firewall stands between."
        ) from None


@contextlib.contextmanager
def _signals_kept() -> Iterator[None]:
    """Leave the handling of signals as it was: Ray takes SIGTERM for itself."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {n: signal.getsignal(n) for n in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
