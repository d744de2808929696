"""Paper: A4 pages that text and rules are set on from top to bottom, measured in mm."""

from __future__ import annotations

import dataclasses
import functools
import unicodedata
from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.ft2font import FT2Font
from matplotlib.lines import Line2D

WIDTH, HEIGHT = 210.0, 297.0  # A4 [mm]
LEFT, RIGHT, TOP, BOTTOM = 16.0, 194.0, 283.0, 20.0  # [mm]
POINT = 25.4 / 72  # [mm]
LEADING = 1.32  # line to line, in sizes of the type
INK, SOFT, WARN, LINE = "#222222", "#666666", "#990000", "#cccccc"
TIED = "\u00a0"  # a space at which no line ends
_FOLDER = Path(mpl.get_data_path()) / "fonts" / "ttf"
# Fonts that come with the drawing library: the same paper on every machine.
FACES = {
    name: _FOLDER / f"{file}.ttf"
    for name, file in (
        ("plain", "DejaVuSans"), ("bold", "DejaVuSans-Bold"), ("mono", "DejaVuSansMono")
    )
}  # fmt: skip


@functools.cache
def _font(face: str) -> FT2Font:
    font = FT2Font(str(FACES[face]))
    font.set_size(100.0, 72.0)
    return font


@functools.cache
def _advance(letter: str, face: str) -> float:
    """Return how far a letter moves the pen, in sizes of the type."""
    glyph = _font(face).load_char(ord(letter))
    return float(glyph.linearHoriAdvance) / 65536.0 / 100.0


@functools.cache
def _known(letter: str, face: str) -> bool:
    return bool(_font(face).get_char_index(ord(letter)))


def printable(text: str, face: str = "plain") -> str:
    """Return a text with only what the font can set; what it cannot becomes "?".

    Names come from files: they may hold letters of any script, controls, or marks that
    turn the direction of writing.
    """
    found = []
    for letter in text:
        if letter.isspace():
            found.append(letter if letter == TIED else " ")
        elif unicodedata.category(letter).startswith("C") or not _known(letter, face):
            found.append("?")
        else:
            found.append(letter)
    return "".join(found)


def width(text: str, size: float, face: str = "plain") -> float:
    """Return how wide a line is [mm] at a size of type [pt]; kerning left aside."""
    return size * POINT * sum(_advance(letter, face) for letter in text)


def folded(text: str, room: float, size: float, face: str = "plain") -> list[str]:
    """Return a text as lines no wider than ``room`` [mm]; a longer word is broken."""
    lines, line = [], ""
    for word in filter(None, text.split(" ")):
        for piece in _broken(word, room, size, face):
            longer = f"{line} {piece}".strip()
            if line and width(longer, size, face) > room:
                lines.append(line)
                line = piece
            else:
                line = longer
    return [*lines, line]


def _broken(word: str, room: float, size: float, face: str) -> list[str]:
    """Return a word in pieces that fit; after a dot where there is one."""
    pieces = []
    while width(word, size, face) > room and len(word) > 1:
        fits = max(
            next(n for n in range(len(word), 0, -1)
                 if n == 1 or width(word[:n], size, face) <= room), 1
        )  # fmt: skip
        dot = max(word.rfind(mark, 1, fits) for mark in "._-/") + 1
        cut = dot if dot > fits // 2 else fits
        pieces.append(word[:cut])
        word = word[cut:]
    return [*pieces, word]


@dataclasses.dataclass(frozen=True)
class Line:
    """One line of text: its base begins at (x, y) [mm] from the lower left of the page."""

    x: float
    y: float
    text: str
    size: float  # [pt]
    face: str
    colour: str


class _Type(Artist):
    """All lines of a page, handed to the file one by one.

    They need no layout by the drawing library, which takes twice as long as writing them.
    """

    def __init__(self, lines: Sequence[Line]) -> None:
        super().__init__()
        self._lines = lines

    def draw(self, renderer: RendererBase) -> None:
        """Set the lines."""
        figure = self.get_figure(root=True)
        scale = figure.dpi / 25.4 if figure else 1.0
        for line in self._lines:
            gc = renderer.new_gc()
            gc.set_foreground(line.colour)
            font = _properties(line.face, line.size)
            renderer.draw_text(gc, line.x * scale, line.y * scale, line.text, font, 0.0)
            gc.restore()


@functools.cache
def _properties(face: str, size: float) -> FontProperties:
    return FontProperties(fname=str(FACES[face]), size=size)


class Page:
    """One page: lines of text, rules, and axes."""

    def __init__(self) -> None:
        self.figure = Figure(figsize=(WIDTH / 25.4, HEIGHT / 25.4))
        self.lines: list[Line] = []
        self.figure.add_artist(_Type(self.lines))

    def put(
        self, x: float, y: float, text: str, size: float, *,
        face: str = "plain", colour: str = INK, right: bool = False,
    ) -> None:  # fmt: skip
        """Set one line with its base at ``y`` [mm], from ``x`` on or up to it."""
        if text:
            begin = x - width(text, size, face) if right else x
            self.lines.append(Line(begin, y, text, size, face, colour))

    def rule(self, y: float, colour: str = LINE, thick: float = 0.4) -> None:
        """Draw a level line across the page at ``y`` [mm]."""
        ends, height = [LEFT / WIDTH, RIGHT / WIDTH], [y / HEIGHT] * 2
        self.figure.add_artist(Line2D(ends, height, color=colour, linewidth=thick))


class Paper:
    """Pages, and the place where the next line goes."""

    def __init__(self) -> None:
        self.pages: list[Page] = []
        self.y = 0.0  # [mm] above the lower edge
        self.turn()

    @property
    def page(self) -> Page:
        """The page that is being set."""
        return self.pages[-1]

    def turn(self) -> None:
        """Begin a new page."""
        self.pages.append(Page())
        self.y = TOP

    def need(self, height: float) -> None:
        """Begin a new page where less than ``height`` [mm] is left of this one."""
        if self.y - height < BOTTOM and self.y < TOP:
            self.turn()

    def down(self, height: float) -> None:
        """Leave ``height`` [mm] free, but not at the head of a page."""
        if self.y < TOP:
            self.y -= height

    def words(
        self, text: str, size: float = 8.5, *,
        face: str = "plain", colour: str = INK, indent: float = 0.0, mark: str = "",
    ) -> None:  # fmt: skip
        """Set a paragraph, over pages where it must be."""
        step = size * POINT * LEADING
        lines = folded(printable(text, face), RIGHT - LEFT - indent, size, face)
        for k, line in enumerate(lines):
            self.need(step if k else min(2, len(lines)) * step)
            self.y -= step
            if mark and k == 0:
                self.page.put(LEFT, self.y, mark, size, colour=colour)
            self.page.put(LEFT + indent, self.y, line, size, face=face, colour=colour)
        self.down(1.2)

    def axes(self, places: Sequence[tuple[float, float]], height: float) -> list[Axes]:
        """Return axes side by side, each from and to a place [mm], and move below them."""
        self.need(height)
        self.y -= height
        return [
            self.page.figure.add_axes(
                (x / WIDTH, self.y / HEIGHT, (end - x) / WIDTH, height / HEIGHT)
            )
            for x, end in places
        ]
