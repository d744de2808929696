"""Runs that belong together: those of one sweep, and their re-runs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from optimizer.page.runs_facts import Entry


def families(entries: Sequence[Entry]) -> list[list[tuple[int, Entry]]]:
    """Return runs that belong together with their depth, the newest family first.

    The runs of one sweep, in their order, and all re-runs of them are a family; a re-run
    stands below its parent, one level deeper.
    """
    known = {e.name: e for e in entries}
    groups: dict[str, list[Entry]] = {}
    for entry in entries:
        first = _ancestor(entry, known)
        groups.setdefault(first.sweep or first.name, []).append(entry)
    ordered = sorted(groups.values(), key=lambda g: -max(e.created for e in g))
    return [list(_tree(group)) for group in ordered]


def _ancestor(entry: Entry, known: Mapping[str, Entry]) -> Entry:
    """Return the first of a line of re-runs; folders from elsewhere may name each other."""
    seen = {entry.name}
    while entry.parent in known and entry.parent not in seen:
        seen.add(entry.parent)
        entry = known[entry.parent]
    return entry


def _tree(group: Sequence[Entry]) -> Iterator[tuple[int, Entry]]:
    names = {e.name for e in group}
    children: dict[str, list[Entry]] = {}
    for entry in group:
        children.setdefault(entry.parent if entry.parent in names else "", []).append(entry)
    first = reversed(children.pop("", []))
    waiting = [(0, e) for e in sorted(first, key=lambda e: e.created)]
    left = dict.fromkeys(e.name for e in group)
    while waiting or left:
        if not waiting:  # only runs that name each other as parents are left
            waiting = [(0, next(e for e in group if e.name in left))]
        depth, entry = waiting.pop(0)
        if entry.name not in left:
            continue
        del left[entry.name]
        yield depth, entry
        waiting[:0] = [(depth + 1, e) for e in children.get(entry.name, [])]
