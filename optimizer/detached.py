"""Starting a search as a process of its own, and following it from a terminal.

The search belongs to no terminal: closing the window, a broken ssh connection or logging
out do not end it (where the system ends all processes of a user at logout, allow them to
linger).  Who follows only reads ``status.json``.
"""

from __future__ import annotations

import contextlib
import datetime
import faulthandler
import io
import os
import signal
import subprocess
import sys
import time
import traceback
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TextIO, cast

from models.errors import RipplefrontError, RunError
from optimizer.archive import Run, open_run
from optimizer.files import Lock, RunInUseError, read_json, write_error
from optimizer.progress import PlainReporter, Progress, progress_from, reporter
from optimizer.standing import exit_code, why
from optimizer.terminal import EXIT_FAULT, EXIT_IN_USE, say
from optimizer.version import VERSION
from optimizer.work import code_of, placed, reason_of, work

LOG_MOST = 1 << 20  # [byte]; a night writes a tenth of that
CUT = b"\n... cut out ...\n"
LOOK_EVERY = 0.5  # [s]
LEFT = 130  # exit code of a follower that was interrupted while the run goes on
COMMAND = "from optimizer.cli import main; main()"


def launched(
    folders: Sequence[Path],
    *,
    workers: int | None,
    address: str | None,
    foreground: bool,
    quiet: bool,
) -> int:
    """Search the unfinished of some run folders to their end; return the exit code.

    Parameters
    ----------
    folders : Sequence of Path
        The runs of one sweep; nobody may hold their locks.
    workers : int, optional
        Processes; 0 searches without Ray; None takes what the specification says.
    address : str, optional
        A Ray cluster to join.
    foreground : bool
        Search in this process.  Otherwise a process of its own does, and this one follows
        it; 130 where it was interrupted while the run goes on.
    quiet : bool
        No progress.
    """
    if foreground:
        with reporter(sys.stderr, quiet=quiet) as told:
            work(folders, workers=workers, address=address, told=told)
        return _verdict(folders, None)
    process = begun(folders, workers=workers, address=address)
    return followed(folders, quiet=quiet, process=process)


def log_of(folders: Sequence[Path]) -> Path:
    """Return the file that takes what a detached search prints."""
    return folders[0] / "log.txt"


def begun(
    folders: Sequence[Path], *, workers: int | None = None, address: str | None = None
) -> subprocess.Popen[bytes]:
    """Start a search in its own session, its output in the log, and follow nothing.

    The locks go over to it without a moment in which nobody holds them.  Parameters as in
    ``launched``.
    """
    options = [] if workers is None else ["--workers", str(workers)]
    options += ["--address", address] if address else []
    with contextlib.ExitStack() as stack:
        locks = [
            stack.enter_context(contextlib.closing(Lock(folder / "lock"))) for folder in folders
        ]
        handles = [lock.fileno() for lock in locks]
        log = stack.enter_context(_log(folders, options))
        held = [word for handle in handles for word in ("--held", str(handle))]
        try:
            process = subprocess.Popen(
                [sys.executable, "-P", "-c", COMMAND, "work", *options, *held,
                 *(str(folder.absolute()) for folder in folders)],
                stdin=subprocess.DEVNULL, stdout=log, stderr=log, pass_fds=handles,
                start_new_session=True,
            )  # fmt: skip
        except OSError as error:
            raise RunError(
                f"the search cannot be started as a process of its own: {error.strerror}.\n"
                "  Start it here with --foreground."
            ) from error
        for lock in locks:
            lock.give(process.pid)
    return process


@contextlib.contextmanager
def _log(folders: Sequence[Path], options: Sequence[str]) -> Iterator[int]:
    """Yield the open log, in which command and version stand already."""
    path = log_of(folders)
    stamp = datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    names = " ".join(folder.name for folder in folders)
    head = f"{stamp} ripplefront {VERSION}: work {' '.join([names, *options])}\n"
    try:
        # Appending, so that the search may cut the file while others write to it.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    except OSError as error:
        raise write_error(path, error) from error
    try:
        with contextlib.suppress(OSError):  # a full disk is told by the search itself
            os.write(handle, head.encode())
        yield handle
    finally:
        os.close(handle)


def worked(
    folders: Sequence[Path],
    *,
    workers: int | None,
    address: str | None,
    held: Sequence[int] = (),
) -> int:
    """Search as the detached process; return its exit code.  Everything goes to the log.

    Parameters
    ----------
    folders : Sequence of Path
        The runs of one sweep.
    workers, address : optional
        As in ``launched``.
    held : Sequence of int
        Open files by which this process inherited the locks of the folders.
    """
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    faulthandler.enable()
    with contextlib.redirect_stderr(cast(TextIO, _Log(sys.stderr))):
        return _worked(folders, workers, address, held)


def _worked(
    folders: Sequence[Path], workers: int | None, address: str | None, held: Sequence[int]
) -> int:
    with PlainReporter(sys.stderr) as report:

        def told(progress: Progress) -> None:
            report(progress)
            cut(sys.stderr.fileno(), log_of(folders))

        for handle in held:
            os.close(handle)  # taken anew at once
        try:
            work(folders, workers=workers, address=address, told=told)
        except RipplefrontError as error:
            say(f"error: {error}")
            return error.exit_code
        except KeyboardInterrupt as error:
            say(reason_of(error))
            return code_of(error)
        except MemoryError as error:
            say(f"error: {reason_of(error)}")
            return code_of(error)
        except Exception:  # noqa: BLE001 - the last line of defence: the log takes it
            traceback.print_exc()
            return EXIT_FAULT
    code = exit_code(folders)
    say(f"ended with code {code}")
    return code


class _Log(io.TextIOBase):
    """The log as a stream: what a full disk does not take is lost and ends no search."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def fileno(self) -> int:
        """Return the file behind it."""
        return self._stream.fileno()

    def write(self, text: str) -> int:
        """Write what there is room for."""
        with contextlib.suppress(OSError):
            self._stream.write(text)
            self._stream.flush()
        return len(text)


def cut(handle: int, log: Path, most: int = LOG_MOST) -> None:
    """Cut the middle out of a log that has grown beyond a size; its beginning and end stay."""
    with contextlib.suppress(OSError):
        if os.fstat(handle).st_size <= most or not os.path.samestat(os.fstat(handle), log.stat()):
            return
        # In place: others append to the same file.
        with log.open("r+b") as file:
            head = file.read(most // 8)
            file.seek(-(most // 4), os.SEEK_END)
            tail = file.read()
            file.seek(0)
            file.write(head + CUT + tail)
            file.truncate()


def followed(
    folders: Sequence[Path], *, quiet: bool, process: subprocess.Popen[bytes] | None = None
) -> int:
    """Show progress until nobody works on the runs any more; return their exit code.

    Parameters
    ----------
    folders : Sequence of Path
        The runs of one sweep.
    quiet : bool
        No progress.
    process : Popen, optional
        The process that works, where it was started here.
    """
    runs = [open_run(folder) for folder in folders]
    first = runs[0].name
    if not quiet:
        say(f"following {first}; Ctrl-C leaves it running")
    try:
        with reporter(sys.stderr, quiet=quiet) as told:
            while True:
                # Asked before the last look, so that nothing written meanwhile is missed.
                alive = process.poll() is None if process else any(r.pid is not None for r in runs)
                found = _shown(runs)
                if found:
                    told(found)
                if not alive:
                    break
                time.sleep(LOOK_EVERY)
    except KeyboardInterrupt:
        say(
            f"{first} goes on without this terminal.\n"
            f"  Follow it: ripplefront follow {first}\n"
            f"  Stop it:   ripplefront stop {first}"
        )
        return LEFT
    return _verdict(folders, process)


def _shown(runs: Sequence[Run]) -> Progress | None:
    """Return where the run stands that is worked on, or was last."""
    found = None
    for k, run in enumerate(runs):
        status = read_json(run.folder / "status.json")
        progress = progress_from(status)
        if progress and (found is None or status.get("state") != "waiting"):
            found = placed(progress, k, runs)
    return found


def _verdict(folders: Sequence[Path], process: subprocess.Popen[bytes] | None) -> int:
    """Return the exit code of a sweep that is over, after saying what cut it short."""
    code = exit_code(folders)
    if process and process.returncode == EXIT_IN_USE:
        raise RunInUseError(
            f"another process took the run {folders[0].name} first.\n"
            f"  Watch it with: ripplefront follow {folders[0].name}"
        )
    for run in map(open_run, folders):
        status = run.status
        if status["state"] == "interrupted":
            reason = why(run, status)
            log = log_of(folders)
            say(f"{run.name} was interrupted: {reason}")
            if code == EXIT_FAULT and log.exists():
                say(f"  The details are in {log}.")
            say(f"  Go on with: ripplefront resume {run.name}")
            return code
    # A fault after the last run had ended still is one.
    return process.returncode if process and not code and process.returncode > 0 else code
