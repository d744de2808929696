"""Findings of the validator in the words of the trade: what is wrong and what to write."""

from __future__ import annotations

import difflib
import re
import reprlib
import types
import typing
from collections.abc import Iterator
from typing import Any

from pydantic.fields import FieldInfo

from models.spec import Section, Specification
from models.toml_positions import Path


def words(path: Path, error: Any) -> tuple[str, str]:
    """Return message and remedy for one finding of pydantic, given the path of its key."""
    name, kind, value = shown_path(path), error["type"], error["input"]
    field = _field(path)
    unit = _unit(field)
    if kind == "extra_forbidden":
        return _unknown(path, value)
    if kind == "missing":
        return f"{name} is missing", _wanted(path, field)
    if kind in ("float_type", "int_type"):
        whole = "a whole number" if kind == "int_type" else "a number"
        message = f"{name} must be {whole}{' in ' + unit if unit else ''}, but is {_shown(value)}"
        written = value if isinstance(value, str) else ""
        found = re.match(r"\s*([-+]?[0-9.]+(?:[eE][-+]?\d+)?)\s*\S*\s*$", written)
        quoted = f"write {found[1]}; " if found else "write a number; "
        return message, quoted + "the unit is part of the name" if unit else quoted[:-2]
    if kind == "finite_number":
        return f"{name} must be a finite number, but is {_shown(value)}", _range(field)
    if kind in ("greater_than_equal", "less_than_equal"):
        shown = f"{_shown(value)} {unit}".rstrip()
        return f"{name} = {shown} is outside the accepted range", _range(field)
    if kind == "literal_error":
        return f"{name} = {_shown(value)} is not a known choice", _choices(field, value)
    if kind == "tuple_type" and isinstance(value, dict):
        return f"{name} may stand several times", f"write [[{name}]] instead of [{name}]"
    simple = {
        "string_type": ("must be a text in quotes", f'write "{_shown(value)}"'),
        "bool_type": ("must be true or false", "write true or false without quotes"),
        "tuple_type": ("must be a list", "write it in square brackets, as in [ … ]"),
        "model_type": ("must be a section", f"write [{name}] on a line of its own"),
        "too_short": ("must not be empty", "give at least one"),
        "too_long": ("holds too many", "leave some out"),
        "string_too_long": ("is too long", _meaning(field)),
        "string_pattern_mismatch": ("has a character that is not allowed", _meaning(field)),
    }
    if kind in simple:
        return f"{name} {simple[kind][0]}, but is {_shown(value)}", simple[kind][1]
    return f"{name}: {error['msg'].removeprefix('Value error, ')}", _meaning(field)


def _unknown(path: Path, value: Any) -> tuple[str, str]:
    """Return message and remedy for a key that does not exist."""
    key = str(path[-1])
    section = _section(path[:-1])
    known = [*section.model_fields, *(["variant"] if len(path) == 1 else [])]
    table = isinstance(value, dict) or (isinstance(value, list) and value[:1] == [{}])
    what = f"section [{key}]" if len(path) == 1 and table else f"entry {shown_path(path)}"
    near = difflib.get_close_matches(key, known, 1, 0.6)
    if near:
        return f"unknown {what}", f"did you mean {near[0]}?"
    homes = [
        f"{name}.{other}"
        for name, field in Specification.model_fields.items()
        if (inner := _model(field.annotation)) is not None
        for other in difflib.get_close_matches(key, list(inner.model_fields), 1, 0.8)
    ]
    if homes:
        return f"unknown {what}", f"did you mean {homes[0]}, in another section?"
    return f"unknown {what}", "known here: " + ", ".join(known)


def _wanted(path: Path, field: FieldInfo | None) -> str:
    """Return how to add what is missing."""
    key = path[-1]
    if field is None or isinstance(key, int):
        return "give two numbers, as in [0.88, 1.10]"
    if len(path) == 1:
        several = typing.get_origin(field.annotation) is tuple
        return f"add a section {'[[' + key + ']]' if several else '[' + str(key) + ']'}"
    allowed = _range(field) or _choices(field, None)
    return f"add {key} = …: {field.description}" + (f"; {allowed}" if allowed else "")


def _steps(path: Path) -> Iterator[tuple[str, type[Section], FieldInfo | None]]:
    """Yield the sections on the way down a path, and the field in each."""
    section: type[Section] | None = Specification
    for key in path:
        if isinstance(key, str) and section is not None:
            field = section.model_fields.get(key)
            yield key, section, field
            section = _model(field.annotation) if field else None


def _field(path: Path) -> FieldInfo | None:
    """Return the last field of a path, or None if there is none."""
    steps = list(_steps(path))
    return steps[-1][2] if steps else None


def _section(path: Path) -> type[Section]:
    """Return the section that a path leads to."""
    field = _field(path)
    return (_model(field.annotation) if field else None) or Specification


def _model(annotation: Any) -> type[Section] | None:
    """Return the section class inside an annotation."""
    for each in (annotation, *typing.get_args(annotation)):
        if isinstance(each, type) and issubclass(each, Section):
            return each
    return None


def _unit(field: FieldInfo | None) -> str:
    extra = field.json_schema_extra if field else None
    unit = str(extra.get("unit", "")) if isinstance(extra, dict) else ""
    return "" if unit == "1" else unit


def _range(field: FieldInfo | None) -> str:
    """Return the accepted range of a number in words, or nothing."""
    ends = {
        end: getattr(part, end)
        for part in (field.metadata if field else ())
        for end in ("ge", "le")
        if hasattr(part, end)
    }
    if set(ends) != {"ge", "le"}:
        return ""
    return f"must be from {ends['ge']:g} to {ends['le']:g} {_unit(field)}".rstrip()


def _choices(field: FieldInfo | None, value: Any) -> str:
    """Return the choices of a field, the nearest first, or nothing."""
    annotation = field.annotation if field else None
    if isinstance(annotation, types.UnionType):
        annotation = typing.get_args(annotation)[0]
    if typing.get_origin(annotation) is not typing.Literal:
        return ""
    options = [str(option) for option in typing.get_args(annotation)]
    near = difflib.get_close_matches(value, options, 1, 0.5) if isinstance(value, str) else []
    return (f"did you mean {near[0]}? " if near else "") + "choices: " + ", ".join(options)


def _meaning(field: FieldInfo | None) -> str:
    return (field.description or "") if field else ""


def _shown(value: Any) -> str:
    """Return a value as it would stand in the file, cut to a readable length."""
    if isinstance(value, bool):
        return "true" if value else "false"
    # Lists and tables may be nested deeper than they can be written out.
    text = reprlib.repr(value) if isinstance(value, list | dict) else str(value)
    text = repr(value) if isinstance(value, str) else text
    return text if len(text) <= 60 else text[:57] + "…"


def shown_path(path: Path) -> str:
    """Return a path as people write it; lists count from 1."""
    steps = (f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in path)
    return "".join(steps).removeprefix(".")
