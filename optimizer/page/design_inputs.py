"""The variables of a design as fields to vary by hand, described for the browser."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from models.case import Case
from models.parts.catalogue import Table
from models.variables import Variable
from optimizer.opened import EditError, Opened, read_value
from optimizer.quantities import quantity, significant

DIGITS = 6  # significant figures of a value as first shown
STEPS = 100  # of a slider from end to end, about

# Key figures of a catalogue row: column, SI unit, in front of it.  Areas in mm².
KEY_FIGURES: dict[str, tuple[tuple[str, str, str], ...]] = {
    "switches": (("v_max", "V", ""), ("r_min", "Ω", "from ")),
    "diodes": (("v_max", "V", ""), ("i_rated", "A", "")),
    "cores": (("a_e", "mm²", "A_e "), ("a_w", "mm²", "window "), ("mass", "g", "")),
    "ferrites": (("b_max", "T", "B ≤ "), ("f_max", "Hz", "to ")),
    "powders": (("mu_i", "", "µ "),),
    "film": (("c", "F", ""), ("v_rated", "V", ""), ("height", "m", "high "), ("cost", "€", "")),
    "electrolytic": (("c", "F", ""), ("v_rated", "V", ""), ("life", "kh", ""), ("cost", "€", "")),
    "ceramic": (("c", "F", ""), ("v_rated", "V", ""), ("cost", "€", "")),
    "emi_chokes": (("l", "H", ""), ("i_rated", "A", ""), ("r", "Ω", "")),
}
SCALES = {"mm²": 1e6, "g": 1e3, "kh": 1e-3}


def field_text(variable: Variable, value: float) -> str:
    """Return a value (SI, or row number) as its field shows it."""
    shown = variable.shown(value)
    return shown if isinstance(shown, str) else significant(float(shown), DIGITS)


def described(base: Opened, changes: Mapping[str, str]) -> dict[str, Any]:
    """Return every variable as plain data: what a field needs to be drawn and stepped.

    Options of rows and choices stand once under ``tables``, since parts share them.

    Parameters
    ----------
    base : Opened
        The design as stored.
    changes : Mapping
        What the address changes of it, by public path.
    """
    tables: dict[str, list[list[str]]] = {}
    names = {rows: name for name, rows in base.case.catalogue.names().items()}
    fields = []
    for variable in base.variables:
        original = field_text(variable, base.values[variable.field])
        one: dict[str, Any] = {
            "path": variable.path,
            "kind": variable.kind,
            "unit": variable.unit,
            "meaning": variable.meaning,
            "original": original,
            "value": changes.get(variable.path, original),
        }
        if variable.options:
            key = names.get(variable.options) or "/".join(variable.options)
            if key not in tables:
                tables[key] = options(variable, base.case)
            one["table"] = key
        else:
            lo, hi = float(variable.shown(variable.lo)), float(variable.shown(variable.hi))
            one |= {"lo": lo, "hi": hi, "log": variable.log, "step": step(variable, lo, hi)}
        fields.append(one)
    return {"fields": fields, "tables": tables}


def step(variable: Variable, lo: float, hi: float) -> float:
    """Return a step of 1, 2 or 5 times a power of ten that suits the kind of variable."""
    if variable.kind == "whole":
        return 1.0
    rough = (lo if variable.log else hi - lo) / (STEPS / (2 if variable.log else 1))
    power = 10.0 ** math.floor(math.log10(max(rough, 1e-12)))
    return float(
        significant(next(m for m in (1, 2, 5, 10) if m * power >= rough * 0.999) * power, 2)
    )


def options(variable: Variable, case: Case) -> list[list[str]]:
    """Return the choices of a variable: name, and name with the key figures of its row."""
    names = {rows: name for name, rows in case.catalogue.names().items()}
    name = names.get(variable.options)
    if name is None:
        return [[o, o] for o in variable.options]
    table = case.catalogue[name]
    return [[o, f"{o} · {figures}" if (figures := key_figures(table, i)) else o]
            for i, o in enumerate(variable.options)]  # fmt: skip


def key_figures(table: Table, row: int) -> str:
    """Return what tells the rows of a table apart at a glance."""
    told = []
    for column, unit, front in KEY_FIGURES.get(table.name, ()):
        value = float(table.columns[column][row]) * SCALES.get(unit, 1.0)
        told.append(front + (f"{value:.2f} €" if unit == "€" else quantity(value, unit)))
    return ", ".join(told)


def sorted_changes(
    base: Opened, asked: Mapping[str, str]
) -> tuple[dict[str, str], dict[str, str]]:
    """Return the changes that can be made, and why each of the others cannot, by path.

    A field that says what the design has anyway is no change.
    """
    by_path = {v.path: v for v in base.variables}
    good, bad = {}, {}
    for path, text in asked.items():
        variable = by_path.get(path)
        if variable is None:
            bad[path] = f"this design has no variable {path!r}"
            continue
        if text.strip() == field_text(variable, base.values[variable.field]):
            continue
        try:
            read_value(variable, text)
        except EditError as error:
            bad[path] = str(error).splitlines()[0]
        else:
            good[path] = text.strip()
    return good, bad
