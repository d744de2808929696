"""What can go wrong, by who has to act.

A user's mistake says the verdict, the reason with its values and the way out; it is
printed without a traceback and ends with exit code 2.  ``ModelError`` is our own
fault and keeps its traceback.
"""

from __future__ import annotations

import dataclasses


class RipplefrontError(Exception):
    """Base of every error that a user may see."""

    exit_code = 2


@dataclasses.dataclass(frozen=True)
class Mistake:
    """One mistake in a file: where it stands, what it is, and what to do about it."""

    file: str
    line: int
    column: int
    message: str
    remedy: str = ""
    text: str = ""

    def __str__(self) -> str:
        """Return the mistake as editors can jump to it: file:line:column first."""
        head = f"{self.file}:{self.line}:{self.column}: {self.message}"
        if not self.text:
            return head + (f"\n  {self.remedy}" if self.remedy else "")
        caret = " " * max(self.column - 1, 0) + "^" + (f" {self.remedy}" if self.remedy else "")
        return f"{head}\n  {self.line:>4} | {self.text}\n       | {caret}"


class MistakesError(RipplefrontError):
    """Every mistake found in one file, at once."""

    def __init__(self, mistakes: list[Mistake], closing: str = "") -> None:
        self.mistakes = mistakes
        lines = [str(mistake) for mistake in mistakes]
        super().__init__("\n".join([*lines, closing] if closing else lines))


class SpecError(MistakesError):
    """The specification cannot be used as it stands."""


class CatalogueError(MistakesError):
    """A catalogue, climate or weather file cannot be used as it stands."""


class PinError(RipplefrontError):
    """A pin cannot be read, names nothing, or contradicts another."""


class RunError(RipplefrontError):
    """A run folder cannot be read, written or resumed."""


class NoCandidateError(RipplefrontError):
    """No topology can serve the specification; says why for each."""


class ModelError(Exception):
    """A fault of the program itself: a shape, a duplicate booking, a value not finite."""
