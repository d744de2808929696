"""Design variables, declared once where they belong.

A stage or part declares its variables as fields of a frozen dataclass::

    @dataclasses.dataclass(frozen=True)
    class Design:
        f: Array = real(40, 400, "kHz", "switching frequency", log=True)
        phases: int = structure(1, 2, 3, meaning="phases in parallel")
        choke: inductor.Design = part("boost choke", turns=(4, 60))

Bounds are written in the unit shown to people; the arrays hold SI values of shape
(design, 1, 1).  The dotted path with the unit as suffix (``boost.f_khz``) is the one
public name of a variable: in the optimiser, in pins, in files and on the page.
A ``structure`` is static: the circuit's equations or the array shapes change with it.
"""

from __future__ import annotations

import dataclasses
import itertools
import typing
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from models.axes import Array
from models.errors import ModelError

# Unit shown -> (SI value of one unit, suffix of the path).
UNITS: dict[str, tuple[float, str]] = {
    "": (1.0, ""),
    "Hz": (1.0, "hz"),
    "kHz": (1e3, "khz"),
    "V": (1.0, "v"),
    "A": (1.0, "a"),
    "W": (1.0, "w"),
    "mm": (1e-3, "mm"),
    "µm": (1e-6, "um"),
    "ns": (1e-9, "ns"),
    "µs": (1e-6, "us"),
    "µH": (1e-6, "uh"),
    "µF": (1e-6, "uf"),
    "nF": (1e-9, "nf"),
    "Ω": (1.0, "ohm"),
    "mΩ": (1e-3, "mohm"),
    "%": (1e-2, "pct"),
    "K": (1.0, "k"),
    "°C": (1.0, "c"),
}


@dataclasses.dataclass(frozen=True)
class Variable:
    """One design variable as the outside sees it.

    ``path`` is the public name (unit as suffix), ``field`` the same without the
    suffix.  ``lo`` and ``hi`` are SI; a variable of kind "row" or "choice" takes the
    whole numbers 0 … len(options) − 1 and ``options`` names them.
    """

    path: str
    field: str
    kind: str  # "real", "whole", "row", "choice"
    lo: float
    hi: float
    unit: str
    meaning: str
    log: bool = False
    options: tuple[str, ...] = ()

    @property
    def scale(self) -> float:
        """SI value of one unit shown."""
        return UNITS[self.unit][0]

    @property
    def discrete(self) -> bool:
        """True where the variable takes separate values only."""
        return self.kind != "real"

    def shown(self, value: float) -> float | str:
        """Return a value (SI, or row number) as people read it: in the unit, or by name."""
        if self.options:
            return self.options[round(value)]
        return round(value) if self.kind == "whole" else value / self.scale


def real(lo: float, hi: float, unit: str, meaning: str, *, log: bool = False) -> Any:
    """Declare a continuous variable between ``lo`` and ``hi``, given in ``unit``."""
    return _declare(kind="real", lo=lo, hi=hi, unit=unit, meaning=meaning, log=log)


def whole(lo: int, hi: int, meaning: str, *, log: bool = False) -> Any:
    """Declare a whole number from ``lo`` to ``hi``, both included."""
    return _declare(kind="whole", lo=lo, hi=hi, unit="", meaning=meaning, log=log)


def row(table: str, meaning: str) -> Any:
    """Declare a choice among the rows of a catalogue table."""
    return _declare(kind="row", table=table, unit="", meaning=meaning)


def choice(*options: str, meaning: str) -> Any:
    """Declare a choice among names, handled with ``where`` or a gather, not a branch."""
    return _declare(kind="choice", options=options, unit="", meaning=meaning)


def structure(*options: Any, meaning: str) -> Any:
    """Declare a static alternative: every option makes islands of its own."""
    return _declare(kind="structure", options=options, meaning=meaning)


def alternative(meaning: str, **options: type) -> Any:
    """Declare a static choice between nested design classes, by name.

    The classes share what they can; only the variables of the chosen one exist.
    """
    return _declare(kind="alternative", options=options, meaning=meaning)


def part(meaning: str, **bounds: tuple[float, float]) -> Any:
    """Declare a nested design; ``bounds`` narrow fields of it, in their unit shown."""
    return _declare(kind="part", meaning=meaning, bounds=bounds)


def _declare(**metadata: Any) -> Any:
    return dataclasses.field(metadata={"ripplefront": metadata})


def _fields(cls: type) -> Iterator[tuple[str, Any, dict[str, Any]]]:
    """Yield (name, type, declaration) of every field; nested designs may be undeclared."""
    types = typing.get_type_hints(cls)
    for field in dataclasses.fields(cls):
        declared = field.metadata.get("ripplefront")
        if declared is None:
            if not dataclasses.is_dataclass(types[field.name]):
                raise ModelError(f"{cls.__module__}.{field.name} is no declared variable")
            declared = {"kind": "part", "meaning": field.name, "bounds": {}}
        yield field.name, types[field.name], declared


def structures(cls: type, prefix: str = "") -> list[dict[str, Any]]:
    """Return every combination of the static fields of a design class, by dotted path."""
    axes: list[list[dict[str, Any]]] = []
    for name, kind, declared in _fields(cls):
        if declared["kind"] == "structure":
            axes.append([{prefix + name: option} for option in declared["options"]])
        elif declared["kind"] == "alternative":
            axes.append(
                [
                    {prefix + name: option, **inner}
                    for option, chosen in declared["options"].items()
                    for inner in structures(chosen, f"{prefix}{name}.")
                ]
            )
        elif declared["kind"] == "part":
            axes.append(structures(kind, f"{prefix}{name}."))
    merged = []
    for combination in itertools.product(*axes):
        whole_: dict[str, Any] = {}
        for piece in combination:
            whole_.update(piece)
        merged.append(whole_)
    return merged


def variables(
    cls: type,
    tables: Mapping[str, tuple[str, ...]],
    prefix: str = "",
    bounds: Mapping[str, tuple[float, float]] | None = None,
    *,
    static: Mapping[str, Any] | None = None,
) -> tuple[Variable, ...]:
    """Return every variable of a design class, depth first, in the order declared.

    Parameters
    ----------
    cls : type
        The design class.
    tables : Mapping
        Names of the rows of every catalogue table.
    prefix : str
        Path of the class inside its topology, ending in a dot.
    bounds : Mapping, optional
        Narrower bounds by field name, in the unit shown.
    static : Mapping, optional
        Static choices by dotted path; needed where alternatives exist.
    """
    found: list[Variable] = []
    for name, kind, declared in _fields(cls):
        path = prefix + name
        if declared["kind"] == "part":
            found += variables(kind, tables, path + ".", declared["bounds"], static=static)
        elif declared["kind"] == "alternative":
            chosen = declared["options"][(static or {})[path]]
            found += variables(chosen, tables, path + ".", static=static)
        elif declared["kind"] != "structure":
            narrow = (bounds or {}).get(name)
            found.append(_variable(path, declared, tables, narrow))
    return tuple(found)


def _variable(
    path: str,
    declared: Mapping[str, Any],
    tables: Mapping[str, tuple[str, ...]],
    narrow: tuple[float, float] | None,
) -> Variable:
    unit = declared["unit"]
    scale, suffix = UNITS[unit]
    options: tuple[str, ...] = ()
    if declared["kind"] in ("row", "choice"):
        options = declared.get("options") or tables[declared["table"]]
        lo, hi = 0.0, float(len(options) - 1)
    else:
        shown = narrow or (declared["lo"], declared["hi"])
        lo, hi = shown[0] * scale, shown[1] * scale
    return Variable(
        path=f"{path}_{suffix}" if suffix else path,
        field=path,
        kind=declared["kind"],
        lo=lo,
        hi=hi,
        unit=unit,
        meaning=declared["meaning"],
        log=declared.get("log", False),
        options=options,
    )


def build(
    cls: type, values: Mapping[str, Array], static: Mapping[str, Any], prefix: str = ""
) -> Any:
    """Return a design of ``cls`` from arrays by field path and static choices by path.

    Arrays have shape (design, 1, 1); rows and choices become whole indices.
    """
    made: dict[str, Any] = {}
    for name, kind, declared in _fields(cls):
        path = prefix + name
        if declared["kind"] == "part":
            made[name] = build(kind, values, static, path + ".")
        elif declared["kind"] == "alternative":
            made[name] = build(declared["options"][static[path]], values, static, path + ".")
        elif declared["kind"] == "structure":
            made[name] = static[path]
        elif declared["kind"] in ("row", "choice"):
            made[name] = np.asarray(values[path]).astype(np.int64)
        else:
            made[name] = values[path]
    return cls(**made)
