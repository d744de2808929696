"""The text of one variant: the file with its values replaced, comments kept."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from models.spec_variant import leaves, replaced
from models.spec_variants import Combination


def text_of(text: str, made: Combination, file: str) -> str:
    """Return a file's text as the specification of one variant alone, comments kept.

    Parameters
    ----------
    text : str
        The whole file, good TOML.
    made : Combination
        The variant; without entries the text stays as it is.
    file : str
        Name of the file, for the heading.
    """
    if not made.entries:
        return text
    paths = sorted({".".join(path) for entry in made.entries for path in leaves(entry.changes)})
    source = file if file.isprintable() else "a file"
    head = [f"# Variant: {made.name}", f"# Made from {source} by changing {', '.join(paths)}.", ""]
    try:
        body = _rewritten(text, made)
        whole = tomllib.loads(body) == made.values
    except (TOMLKitError, ValueError, LookupError, TypeError, AttributeError):
        body, whole = "", False
    return "\n".join(head) + (body if whole else _anew(text, made))


def _rewritten(text: str, made: Combination) -> str:
    document = tomlkit.parse(text)
    document.pop("variant", None)
    for entry in made.entries:
        _overlay(document, entry.changes, "")
    return tomlkit.dumps(document)


def _anew(text: str, made: Combination) -> str:
    """Return the values alone, and the file behind them as comments.

    For what the editor of texts cannot change in place or would lose: sections written as
    dotted keys at the head of the file, out of which every key is replaced.
    """
    was = [f"# {line}" for line in text.split("\n")]
    return "\n".join([tomlkit.dumps(made.values), "# The file as it was:", *was, ""])


def _overlay(table: Any, changes: Mapping[str, Any], section: str) -> None:
    """Replace values of a parsed text in place."""
    for key in replaced(changes, section):
        table.pop(key, None)
    for key, value in changes.items():
        if isinstance(value, dict) and key in table:
            _overlay(table[key], value, key)
        else:
            table[key] = _item(value)


def _item(value: Any) -> Any:
    """Return a value as it should stand in a text: a list of tables as [[tables]]."""
    if isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        tables: list[Table] = []
        for row in value:
            made = tomlkit.table()
            for key, inner in row.items():
                made.add(key, inner)
            tables.append(made)
        return AoT(tables)
    return tomlkit.item(value)
