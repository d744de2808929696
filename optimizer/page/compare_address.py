"""What is compared, as the address says it: designs, runs, and whether all rows are shown."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence

from models.errors import RipplefrontError
from optimizer.page.areas import address
from optimizer.page.design_address import changes_in, written

MOST = 6  # designs, or runs, side by side
NAMED = "named"  # in place of a run: a design that was kept under a name
LONGEST = 4000  # characters of an entry
_DESIGN = re.compile(r"([A-Za-z0-9._-]{1,80})[/:]([A-Za-z0-9._-]{1,80})(?:;(.*))?")


class CompareError(RipplefrontError):
    """Something to be compared that is no design and no run."""


@dataclasses.dataclass(frozen=True)
class Asked:
    """What is compared; ``everything`` also shows the rows that are alike.

    Entries are as written, so that one that cannot be read can be shown and removed.
    """

    designs: tuple[str, ...] = ()
    runs: tuple[str, ...] = ()
    everything: bool = False

    @property
    def query(self) -> str:
        """The query of the address that restores it."""
        shown = "all" if self.everything else ""
        return address(
            "", designs=",".join(self.designs), runs=",".join(self.runs), rows=shown
        )  # fmt: skip


def asked(query: Mapping[str, str]) -> Asked:
    """Return what an address asks for; repeated entries count once.

    Examples
    --------
    >>> asked({"designs": "one:ab12,one/ab12, two/cd34"}).designs
    ('one/ab12', 'two/cd34')
    """
    return Asked(
        _entries(query.get("designs", "")),
        _entries(query.get("runs", "")),
        query.get("rows") == "all",
    )


def _entries(text: str) -> tuple[str, ...]:
    pieces = [p.strip()[:LONGEST] for p in text.split(",")[: 10 * MOST]]
    return tuple(dict.fromkeys(_tidy(p) for p in pieces if p))


def _tidy(text: str) -> str:
    found = _DESIGN.fullmatch(text)
    return entry(found[1], found[2], changes_in(found[3])) if found else text


def entry(run: str, design: str, changes: Mapping[str, str]) -> str:
    """Return the entry of a design, with what was changed by hand.

    Examples
    --------
    >>> entry("one", "ab12", {"box.height_mm": "30"})
    'one/ab12;box.height_mm=30'
    """
    made = written(changes).replace(",", "%2C")  # commas part the entries
    return f"{run}/{design}" + (f";{made}" if made else "")


def key(text: str) -> tuple[str, str, dict[str, str]]:
    """Return run, design and changes of an entry; of a named one ``NAMED`` and its name.

    Raises
    ------
    CompareError
        If it is neither.
    """
    found = _DESIGN.fullmatch(text)
    if not found:
        raise CompareError(
            f"{text[:80]!r} names no design.\n"
            "  Write RUN/DESIGN, or named/NAME for one that was kept under a name."
        )
    return found[1], found[2], changes_in(found[3])


def added(entries: Sequence[str], text: str, what: str) -> list[str]:
    """Return entries with one more.

    Raises
    ------
    CompareError
        If it is there already, or there are as many as fit side by side.
    """
    if text in entries:
        raise CompareError(f"{text} is compared already.\n  Choose another.")
    if len(entries) >= MOST:
        raise CompareError(
            f"{MOST} {what} fit side by side, and {len(entries)} are there.\n  Remove one first."
        )
    return [*entries, text]


def first(entries: Sequence[str], text: str) -> list[str]:
    """Return entries with one of them put first."""
    return [text, *(e for e in entries if e != text)] if text in entries else list(entries)
