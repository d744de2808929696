"""Tables on paper: columns as wide as they need, cells folded, heads again on every page."""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.sheet_blocks import Grid
from optimizer.sheet_pdf_paper import (
    INK,
    LEADING,
    LEFT,
    POINT,
    RIGHT,
    WARN,
    Paper,
    folded,
    printable,
    width,
)

SIZE, HEAD = 7.0, 9.0  # type [pt]
GAP, PAD = 2.4, 0.7  # between columns, and above and below a row [mm]
STEP = SIZE * POINT * LEADING
LEAST = 12.0  # [mm] that a column of words keeps
TIGHTEST = 5.0  # [pt] type of a table whose numbers are too many for the page


def set_table(paper: Paper, grid: Grid) -> None:
    """Set a table; a row is never divided, and a title never stands alone at the foot."""
    size, widths = _fitted(grid)
    heads = _cells(grid.heads, widths, size, "bold")
    rows = [_cells(row, widths, size, "plain") for row in grid.rows]
    title = HEAD * POINT * LEADING + 1.0 if grid.title else 0.0
    paper.down(2.0)
    paper.need(title + _height(heads, size) + sum(_height(r, size) for r in rows[:3]))
    if grid.title:
        paper.words(grid.title, HEAD, face="bold")
    _head(paper, grid, heads, widths, size)
    page = len(paper.pages)
    for row in rows:
        paper.need(_height(row, size))
        if len(paper.pages) != page:
            page = len(paper.pages)
            _head(paper, grid, heads, widths, size)
        _row(paper, grid, row, widths, size, "plain")
        paper.page.rule(paper.y)
    paper.down(1.5)


Cells = Sequence[Sequence[str]]


def _cells(row: Sequence[str], widths: Sequence[float], size: float, face: str) -> Cells:
    return [
        folded(printable(cell, face), room, size, face)
        for cell, room in zip(row, widths, strict=True)
    ]


def _height(row: Cells, size: float) -> float:
    return max(map(len, row)) * size * POINT * LEADING + 2 * PAD


def _head(paper: Paper, grid: Grid, heads: Cells, widths: Sequence[float], size: float) -> None:
    _row(paper, grid, heads, widths, size, "bold")
    paper.page.rule(paper.y, INK, 0.7)


def _row(
    paper: Paper, grid: Grid, row: Cells, widths: Sequence[float], size: float, face: str
) -> None:
    step, x = size * POINT * LEADING, LEFT
    colour = WARN if any(line.endswith(" not met") for cell in row for line in cell) else INK
    for k, (lines, room) in enumerate(zip(row, widths, strict=True)):
        right = k in grid.numbers
        for n, line in enumerate(lines, 1):
            paper.page.put(
                x + room if right else x, paper.y - PAD - n * step + 0.25 * step, line, size,
                face=face, colour=colour, right=right,
            )  # fmt: skip
        x += room + GAP
    paper.y -= _height(row, size)


def _fitted(grid: Grid) -> tuple[float, list[float]]:
    """Return the size of type [pt] and the width of every column [mm].

    Columns of numbers are as wide as their longest cell; what is left is shared by the
    columns of words, each with what it needs if that is less than its share.
    """
    room = RIGHT - LEFT - GAP * (len(grid.heads) - 1)
    if grid.shares:
        return SIZE, [share * room for share in grid.shares]
    size = SIZE
    while True:
        wanted = [_wanted(grid, k, size) for k in range(len(grid.heads))]
        least = [w if k in grid.numbers else min(w, LEAST) for k, w in enumerate(wanted)]
        if sum(least) <= room or size <= TIGHTEST:
            break
        size -= 0.5
    if sum(least) > room:  # the longest numbers fold then
        return size, [w * room / sum(least) for w in least]
    return size, _shared(wanted, least, set(grid.numbers), room)


def _wanted(grid: Grid, column: int, size: float) -> float:
    cells = [width(printable(row[column]), size) for row in grid.rows]
    words = [grid.heads[column]]
    if column in grid.numbers:
        words = grid.heads[column].split(" ")
    return max([*cells, *(width(printable(w, "bold"), size, "bold") for w in words)]) + 0.3


def _shared(
    wanted: Sequence[float], least: Sequence[float], numbers: set[int], room: float
) -> list[float]:
    """Return widths that fill the page at most, large wishes cut down to equal shares."""
    left = room - sum(wanted[k] for k in numbers)
    words = sorted((k for k in range(len(wanted)) if k not in numbers), key=lambda k: wanted[k])
    found = list(wanted)
    for n, k in enumerate(words):
        share = left / (len(words) - n)
        found[k] = max(min(wanted[k], share), min(least[k], left))
        left -= found[k]
    if words:
        found[words[-1]] += max(left, 0.0)  # the page is filled to its margin
    return found
