"""A re-run: a child run with the specification of its parent, other pins, and seeds."""

from __future__ import annotations

import dataclasses
import difflib
import hashlib
from collections.abc import Sequence
from pathlib import Path

from models.errors import PinError
from optimizer.archive import Run
from optimizer.launch import new_store, prepared_again
from optimizer.pins import Pin, parse
from optimizer.warm import Start, start_from


@dataclasses.dataclass(frozen=True)
class Child:
    """A re-run whose folder stands ready for the search."""

    folder: Path
    designs: int
    pins: tuple[str, ...]
    start: Start
    lost: tuple[str, ...]  # candidates of the parent that the pins exclude
    unseeded: tuple[str, ...]  # candidates of the child that start from nothing


def child_pins(run: Run, added: Sequence[str], dropped: Sequence[str]) -> list[Pin]:
    """Return the pins of a child: its parent's without those dropped, then the new ones.

    Raises
    ------
    PinError
        If a pin cannot be read, or one to drop is none of the parent's.
    """
    held = [parse(text, f"of {run.name}") for text in run.pins]
    for text in dropped:
        gone = parse(text)
        if gone not in held:
            raise PinError(_not_held(gone, held, run.name))
        held = [pin for pin in held if pin != gone]
    return list(dict.fromkeys([*held, *map(parse, added)]))


def _not_held(gone: Pin, held: Sequence[Pin], name: str) -> str:
    said = f"the run {name} has no pin '{gone}' to drop.\n"
    if not held:
        return f"{said}  It has no pins at all."
    names = [str(pin) for pin in held]
    near = difflib.get_close_matches(str(gone), names, 1, 0.5)
    if near:
        return f"{said}  Did you mean --drop-pin '{near[0]}'?"
    return f"{said}  Its pins: " + ", ".join(f"'{text}'" for text in names)


def new_child(
    run: Run,
    root: Path,
    *,
    added: Sequence[str] = (),
    dropped: Sequence[str] = (),
    designs: int | None = None,
    hours: float | None = None,
    seed: int | None = None,
) -> Child:
    """Return a re-run of ``run`` with its folder written, seeds and all; nothing is searched.

    Parameters
    ----------
    run : Run
        The parent; only its folder is read.
    root : Path
        The folder of all runs.
    added, dropped : Sequence of str
        Pins to add, and pins of the parent to leave out.
    designs : int, optional
        Designs to evaluate; as many as the parent if left out, as are the next two.
    hours : float, optional
        Time limit [h].
    seed : int, optional
        Seed of the child.

    Raises
    ------
    PinError
        For mistakes in the pins.
    RunError
        If a folder cannot be read or written.
    """
    ready = prepared_again(run, child_pins(run, added, dropped))
    settings = run.settings
    settings = dataclasses.replace(
        settings,
        seed=settings.seed if seed is None else seed,
        evaluations=designs or settings.evaluations,
        time_limit=settings.time_limit if hours is None else 3600.0 * hours,
    )
    start = start_from(run, ready.problems, settings.seed)
    names = [p.name for p in ready.problems]
    parent = {
        "run": run.name,
        "pins_added": [str(parse(text)) for text in added],
        "pins_dropped": [str(parse(text)) for text in dropped],
        "archive_sha256": _digest(run.folder / "archive.npz"),
        "seeds": start.record(),
    }
    with new_store(ready, settings, root, {"parent": parent}, seeds=start.seeds) as store:
        folder = store.folder
    return Child(
        folder,
        settings.evaluations,
        ready.pins,
        start,
        tuple(c.name for c in run.candidates if c.name not in names),
        tuple(name for name in names if name not in start.seeds),
    )


def _digest(path: Path) -> str:
    """Return the checksum of what the parent knew; it may still be running."""
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.exists() else ""
