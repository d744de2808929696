"""Where every section, key and list item of a TOML text stands.

The parser of the standard library returns values without places.  This one returns
places without values, for texts that the former has accepted.
"""

from __future__ import annotations

import re
from typing import TypeAlias

Path: TypeAlias = tuple[str | int, ...]
Place: TypeAlias = tuple[int, int]  # line and column, both from 1

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_PLAIN = re.compile(r"[^,\]}#\n]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"""(?!")', re.DOTALL),
    re.compile(r"'''.*?'''(?!')", re.DOTALL),
    re.compile(r'"(?:[^"\\]|\\.)*"'),
    re.compile(r"'[^']*'"),
)


def positions(text: str) -> dict[Path, Place]:
    """Return the place of everything in a valid TOML text, by its path.

    A path holds keys, and numbers from 0 for items of lists and of ``[[sections]]``.
    """
    return _Scanner(text).scan()


class _Scanner:
    """Walks the text once; ``at`` is where it stands."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.found: dict[Path, Place] = {}
        self.counts: dict[Path, int] = {}

    def scan(self) -> dict[Path, Place]:
        section: Path = ()
        self._skip()
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                section = self._header()
            else:
                self._pair(section)
            self._skip()
        return self.found

    def _skip(self) -> None:
        match = _BLANK.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def _note(self, path: Path, at: int) -> None:
        line = self.text.count("\n", 0, at) + 1
        self.found.setdefault(path, (line, at - self.text.rfind("\n", 0, at)))

    def _header(self) -> Path:
        start = self.at
        double = self.text.startswith("[[", self.at)
        self.at += 2 if double else 1
        keys = self._keys()
        self.at += 2 if double else 1
        path: Path = ()
        for i, key in enumerate(keys):
            path = (*path, key)
            if double and i == len(keys) - 1:
                self.counts[path] = self.counts.get(path, -1) + 1
            self._note(path, start)
            if path in self.counts:
                path = (*path, self.counts[path])
        self._note(path, start)
        return path

    def _keys(self) -> list[str]:
        keys = []
        while True:
            self._skip()
            if self.text[self.at] in "\"'":
                start = self.at
                self._string()
                keys.append(self.text[start + 1 : self.at - 1])
            elif match := _BARE.match(self.text, self.at):
                keys.append(match.group())
                self.at = match.end()
            self._skip()
            if self.text[self.at] != ".":
                return keys
            self.at += 1

    def _pair(self, section: Path) -> None:
        start = self.at
        path = section
        for key in self._keys():
            path = (*path, key)
            self._note(path, start)
        self.at += 1  # the equals sign
        self._value(path)

    def _value(self, path: Path) -> None:
        self._skip()
        first = self.text[self.at]
        if first in "\"'":
            self._string()
        elif first in "[{":
            self._nested(path, "]" if first == "[" else "}")
        elif match := _PLAIN.match(self.text, self.at):
            self.at = match.end()

    def _nested(self, path: Path, end: str) -> None:
        """Walk a list or an inline table."""
        self.at += 1
        count = 0
        self._skip()
        while self.text[self.at] != end:
            if end == "]":
                self._note((*path, count), self.at)
                self._value((*path, count))
                count += 1
            else:
                self._pair(path)
            self._skip()
            if self.text[self.at] == ",":
                self.at += 1
                self._skip()
        self.at += 1

    def _string(self) -> None:
        for pattern in _STRINGS:
            if match := pattern.match(self.text, self.at):
                self.at = match.end()
                return
