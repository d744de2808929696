"""Variants: one file, several specifications that differ in a few values.

A ``[[variant]]`` has a name and a part of a specification: its keys replace those of the
file one by one, its lists (``module``, ``grid``, names) as a whole.  Variants of one
``group`` are alternatives; one of each group is combined with one of every other.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Container, Iterator, Sequence
from typing import Any

from models.spec import ComplaintError, Specification
from models.spec_variant import Entry, clashes, entries_in, merged
from models.toml_positions import Path

MOST = 64  # variants in one sweep; a night divides into no more


@dataclasses.dataclass(frozen=True)
class Combination:
    """One specification of the file: its name, what made it, its values."""

    name: str
    entries: tuple[Entry, ...]
    values: dict[str, Any]

    def owner(self, path: Path) -> Entry | None:
        """Return the entry that a value comes from; None where it is the file's own."""
        return next((e for e in self.entries if e.holds(path)), None)

    def nearest(self, path: Path) -> Entry:
        """Return the entry that changes most of what lies around a path."""

        def depth(entry: Entry) -> int:
            return sum(entry.holds(path[:k]) for k in range(1, len(path)))

        return max(self.entries, key=depth)


def combinations(values: dict[str, Any]) -> tuple[list[Combination], list[ComplaintError]]:
    """Return every specification in the values of a file, and what is wrong with its variants.

    A file without variants holds one, without a name.
    """
    base = {key: value for key, value in values.items() if key != "variant"}
    if "variant" not in values:
        return [Combination("", (), base)], []
    entries, wrong = entries_in(values["variant"])
    groups: dict[str, list[Entry]] = {}
    for entry in entries:
        groups.setdefault(entry.group, []).append(entry)
    count = 1
    for members in groups.values():
        count *= len(members)
    if count > MOST:
        wrong.append(
            ComplaintError(
                "variant",
                f"{' x '.join(str(len(g)) for g in groups.values())} = {count} variants are "
                f"more than {MOST}",
                "divide them over several files",
            )
        )
        return [], wrong
    wrong += clashes(entries)
    made = [_combined(base, chosen) for chosen in itertools.product(*groups.values()) if chosen]
    return made, wrong


def _combined(base: dict[str, Any], chosen: tuple[Entry, ...]) -> Combination:
    values = base
    for entry in chosen:
        values = merged(values, entry.changes)
    return Combination(", ".join(e.name for e in chosen), chosen, values)


@dataclasses.dataclass(frozen=True)
class Finding:
    """What is wrong with a value of one specification, by the path of that value.

    ``between`` values of a section, any of which may be to blame, or with that value alone.
    """

    path: Path
    message: str
    remedy: str
    between: bool = False


def blame(
    made: Sequence[Combination], findings: Sequence[Sequence[Finding]], stands: Container[Path]
) -> Iterator[Finding]:
    """Yield findings by paths of the file, with the name of the variant that must mend it.

    Parameters
    ----------
    made, findings : Sequence
        The specifications, and what is wrong with each.
    stands : Container
        Paths that stand in the file.
    """
    for combination, own in zip(made, findings, strict=True):
        for f in own:
            owner = combination.owner(f.path)
            without = [c for c, other in zip(made, findings, strict=True) if f not in other]
            # The file is to blame for what only those variants escape that bring their own.
            escaped = f.path in stands and all(c.owner(f.path) for c in without)
            touched = f.between and any(f.path[0] in e.changes for e in combination.entries)
            if owner is None and not touched and (not without or escaped):
                yield f
                continue
            name = owner.name if owner else combination.name
            entry = owner or combination.nearest(f.path)
            key = f.path[0]
            yield Finding(
                ("variant", entry.number, *f.path),
                f"variant {name!r}: {f.message}",
                f.remedy.replace(f"[{key}]", f"[variant.{key}]"),
            )


def same(made: Sequence[Combination], specs: Sequence[Specification]) -> Iterator[ComplaintError]:
    """Yield variants that ask for nothing else than an earlier one, or share its name."""
    for i, spec in enumerate(specs):
        twin = next((m for m, s in zip(made[:i], specs, strict=False)
                     if s == spec or m.name == made[i].name), None)  # fmt: skip
        if twin:
            yield ComplaintError(
                f"variant.{made[i].entries[-1].number}",
                f"variant {made[i].name!r} asks for the same as {twin.name!r}",
                "change a value, or remove it",
            )
