"""One variant of a specification: what it changes, and what may be wrong with it alone."""

from __future__ import annotations

import dataclasses
import unicodedata
from collections.abc import Iterator, Mapping
from typing import Any

from models.spec import ComplaintError
from models.toml_positions import Path

LONGEST = 200  # letters of a name
SHARED = ("project", "sweep")  # sections that hold for a sweep as a whole
# Keys of which one replaces the others.
ALTERNATIVES = {"climate": ("profile", "csv", "tmy")}


@dataclasses.dataclass(frozen=True)
class Entry:
    """One ``[[variant]]`` as written; ``number`` counts from 0."""

    number: int
    name: str
    group: str
    changes: Mapping[str, Any]

    def holds(self, path: Path) -> bool:
        """Return whether what stands at a path of the specification comes from here."""
        at: Any = self.changes
        for step in path:
            if not isinstance(at, dict):
                return True
            if step not in at:
                return False
            at = at[step]
        return True


def leaves(changes: Mapping[str, Any]) -> Iterator[tuple[str, ...]]:
    """Yield the path of everything that is replaced: a section's keys, or a list as a whole."""
    for key, value in changes.items():
        if isinstance(value, dict):
            yield from ((key, inner) for inner in value)
        else:
            yield (key,)


def merged(base: Mapping[str, Any], changes: Mapping[str, Any], at: str = "") -> dict[str, Any]:
    """Return a specification's values with some replaced: tables key by key, lists whole."""
    out = dict(base)
    for key in replaced(changes, at):
        out.pop(key, None)
    for key, value in changes.items():
        old = out.get(key)
        if isinstance(value, dict) and isinstance(old, dict):
            value = merged(old, value, key)
        out[key] = value
    return out


def replaced(changes: Mapping[str, Any], section: str) -> tuple[str, ...]:
    """Return the keys that must go where one of their alternatives comes."""
    keys = ALTERNATIVES.get(section, ())
    return keys if any(key in changes for key in keys) else ()


def entries_in(given: Any) -> tuple[list[Entry], list[ComplaintError]]:
    """Return the variants that can be used, and what is wrong with them and with others."""
    if not given or not isinstance(given, list) or not all(isinstance(v, dict) for v in given):
        remedy = "write [[variant]] on a line of its own, then name = … and what differs"
        return [], [ComplaintError("variant", "variants must be tables", remedy)]
    found, wrong = [], []
    for number, table in enumerate(given):
        at = f"variant.{number}"
        name, group = table.get("name"), table.get("group", "")
        refused = [*_name(f"{at}.name", name), *_group(f"{at}.group", group)]
        wrong += refused
        title = f"number {number + 1}" if refused else _plain(name)
        changes = {k: v for k, v in table.items() if k not in ("name", "group") and v != {}}
        for key in (*SHARED, "variant"):
            if key in changes:
                del changes[key]
                wrong.append(
                    ComplaintError(
                        f"{at}.{key}",
                        f"variant {title!r} cannot change {key}: it holds for all variants",
                        f"move it to [{key}] of the file" if key in SHARED else "remove it",
                    )
                )
        if not changes and not any(key in table for key in SHARED):
            wrong.append(
                ComplaintError(
                    at,
                    f"variant {title!r} changes nothing",
                    "add what differs, as in output.rated_power_w = 350, or remove it",
                )
            )
        found.append(Entry(number, title, group if isinstance(group, str) else "", changes))
    return found, [*wrong, *_twice(found), *_ungrouped(found)]


def _name(at: str, name: Any) -> Iterator[ComplaintError]:
    if name is None:
        yield ComplaintError(
            at, "a variant needs a name", 'add name = "…", as in name = "230 V, 350 W"'
        )
    elif not isinstance(name, str) or not name.strip():
        yield ComplaintError(
            at, f"the name of a variant must be a text, but is {_brief(name)}",
            'write it in quotes, as in name = "230 V, 350 W"',
        )  # fmt: skip
    elif len(name) > LONGEST or not _plain(name).isprintable():
        yield ComplaintError(
            at,
            f"the name of a variant is too long or has letters that cannot be printed: "
            f"{name[:40]!r}",
            f"use up to {LONGEST} letters on one line",
        )


def _plain(name: str) -> str:
    """Return a name with single spaces, and each letter written in one way."""
    return unicodedata.normalize("NFC", " ".join(name.split()))


def _brief(value: Any) -> str:
    """Return what is no text, without what a list or table holds."""
    if isinstance(value, list | dict):
        return "a list" if isinstance(value, list) else "a table"
    return repr(value)[:60]


def _group(at: str, group: Any) -> Iterator[ComplaintError]:
    if not isinstance(group, str):
        yield ComplaintError(
            at, f"the group of a variant must be a text, but is {_brief(group)}",
            'write it in quotes, as in group = "grid"',
        )  # fmt: skip


def _twice(entries: list[Entry]) -> Iterator[ComplaintError]:
    """Yield names that stand twice; case and spaces make no difference."""
    seen: dict[str, Entry] = {}
    for entry in entries:
        first = seen.setdefault(entry.name.casefold(), entry)
        if first is not entry:
            yield ComplaintError(
                f"variant.{entry.number}.name",
                f"variant {entry.number + 1} has the name {entry.name!r} of variant "
                f"{first.number + 1}",
                "give it another name",
            )


def _ungrouped(entries: list[Entry]) -> Iterator[ComplaintError]:
    if any(e.group for e in entries):
        for entry in entries:
            if not entry.group:
                yield ComplaintError(
                    f"variant.{entry.number}",
                    f"variant {entry.name!r} has no group, but others have",
                    'add group = "…": one variant of each group is combined with one of '
                    "every other",
                )


def clashes(entries: list[Entry]) -> Iterator[ComplaintError]:
    """Yield values that variants of two groups would both decide."""
    for entry in entries:
        for path in leaves(entry.changes):
            rivals = [
                e for e in entries[: entry.number]
                if e.group != entry.group and (e.holds(path) or _reaches(e, path))
            ]  # fmt: skip
            if rivals:
                yield ComplaintError(
                    ".".join(("variant", str(entry.number), *path)),
                    f"{'.'.join(path)} is changed by variant {rivals[0].name!r} of group "
                    f"{rivals[0].group!r} and by {entry.name!r} of group {entry.group!r}",
                    "let one group alone decide it",
                )


def _reaches(entry: Entry, path: tuple[str, ...]) -> bool:
    """Return whether an entry changes an alternative of a key."""
    rivals = ALTERNATIVES.get(path[0], ()) if len(path) == 2 else ()
    return path[-1] in rivals and any(entry.holds((path[0], key)) for key in rivals)
