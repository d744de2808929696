"""A pin as it is written: ``PATH OP VALUE``."""

from __future__ import annotations

import dataclasses
import re

from models.errors import PinError

_FORM = re.compile(r"\s*([A-Za-z][\w.]*)\s*(<=|>=|=|\bnot\s+in\b|\bin\b)\s*([^<>=\s].*?)\s*")
_REMEDY = (
    "  Write PATH OP VALUE, for example:  box.height_mm <= 25   electrolytics = none\n"
    "  topology not in [flyback]   cost <= 60   (OP is one of <= >= = in not in)"
)


@dataclasses.dataclass(frozen=True)
class Pin:
    """One decision; ``values`` has one entry unless the operator takes a list.

    ``origin`` says where it was made, as in "in the specification", for messages only.
    """

    path: str
    operator: str
    values: tuple[str, ...]
    origin: str = dataclasses.field(default="", compare=False)

    def __str__(self) -> str:
        """Return the written form."""
        value = f"[{', '.join(self.values)}]" if "in" in self.operator else self.values[0]
        return f"{self.path} {self.operator} {value}"

    @property
    def named(self) -> str:
        """The written form in quotes, with where it was made."""
        return f"'{self}' {self.origin}".rstrip()

    def number(self, index: int = 0) -> float:
        """Return a value as a number; ``none`` counts none.

        Raises
        ------
        PinError
            If it is no number.
        """
        text = self.values[index]
        if text.lower() == "none":
            return 0.0
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not -1e300 < value < 1e300:
            raise PinError(
                f"the pin {self.named} compares {self.path} with {text!r}, which is no number.\n"
                "  Write a plain number in the unit that the name ends with."
            )
        return value


def parse(text: str, origin: str = "") -> Pin:
    """Return the pin that ``text`` writes; ``origin`` says where it was made.

    Raises
    ------
    PinError
        If it does not have the form, or a list where none belongs.
    """
    match = _FORM.fullmatch(text)
    if not match:
        raise PinError(f"the pin {text!r} cannot be read.\n{_REMEDY}")
    path, operator, value = match[1], " ".join(match[2].split()), match[3]
    listed = value.startswith("[") and value.endswith("]")
    if listed != ("in" in operator):
        wanted = "takes a list in [ ]" if "in" in operator else "takes one value, not a list"
        raise PinError(f"the pin {text!r}: {operator} {wanted}.\n{_REMEDY}")
    names = [part.strip() for part in value[1:-1].split(",")] if listed else [value]
    if not all(names):
        raise PinError(f"the pin {text!r} has an empty value in its list.\n{_REMEDY}")
    return Pin(path, operator, tuple(names), origin)
