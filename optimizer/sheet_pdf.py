"""The design sheet as a PDF of A4 pages: the HTML sheet's content, set for paper."""

from __future__ import annotations

import hashlib
import io
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_pdf import PdfPages

from optimizer.quantities import quantity
from optimizer.sheet import HEADS, sheet_json
from optimizer.sheet_blocks import Block, Grid, Origin, Pictures, Section, Words, sections
from optimizer.sheet_pdf_figures import set_pictures
from optimizer.sheet_pdf_paper import (
    INK,
    LEFT,
    RIGHT,
    SOFT,
    WARN,
    Paper,
    folded,
    printable,
    width,
)
from optimizer.sheet_pdf_tables import set_table
from optimizer.version import VERSION

# Text stays text (TrueType, not outlines), and nothing in a name is taken for a formula.
SETTINGS: dict[Any, Any] = {
    "pdf.fonttype": 42, "font.family": "DejaVu Sans", "axes.unicode_minus": True,
    "hatch.linewidth": 0.5, "text.usetex": False, "text.parse_math": False,
    "figure.max_open_warning": 0,
}  # fmt: skip
FOOT = 6.5  # [pt]
WITH_PICTURE = 100.0  # [mm] for a heading and the figures under it
HASH = 16  # hex digits of the hash in the footer

Document = dict[str, Any]


def sheet_pdf(data: Document, origin: Origin) -> bytes:
    """Return the sheet as the bytes of a PDF; the same sheet gives the same bytes.

    Parameters
    ----------
    data : dict
        The document that ``sheet_data`` makes.
    origin : Origin
        What the footer names.
    """
    with mpl.rc_context(SETTINGS):
        paper = Paper()
        _head(paper, data, origin)
        for section in sections(data):
            _section(paper, section, data)
        _feet(paper, data, origin)
        return _bound(paper, data)


def _head(paper: Paper, data: Document, origin: Origin) -> None:
    structure = ", ".join(f"{k} = {v}" for k, v in data["structure"].items())
    kind = ["isolated" if data["isolated"] else "not isolated",
            f"decoupling: {data['decoupling']}", f"common mode: {data['common_mode']}",
            structure]  # fmt: skip
    paper.words(f"ripplefront design sheet · {data['label']} · {origin.text}", 8, colour=SOFT)
    paper.words(data["title"], 15, face="bold")
    paper.words(" · ".join(filter(None, kind)), 8.5)
    _cautions(paper, data["cautions"])
    for remark in data["remarks"]:
        paper.words(remark, 8.5, face="bold", colour=WARN)
    if origin.changes:
        changed = "; ".join(f"{path} = {text}" for path, text in origin.changes.items())
        paper.words(f"Changed by hand: {changed}.", 8.5, face="bold")
    _headline(paper, data)
    _diagram(paper, data["diagram"])


def _cautions(paper: Paper, cautions: list[str]) -> None:
    """Set the cautions between two heavy rules."""
    paper.down(1.5)
    paper.page.rule(paper.y, WARN, 1.4)
    paper.words("Read first", 9, face="bold", colour=WARN)
    for text in cautions:
        paper.words(text, 8)
    paper.page.rule(paper.y, WARN, 1.4)
    paper.down(3.0)


def _headline(paper: Paper, data: Document) -> None:
    """Set the headline figures, four in a row."""
    results = {r["name"]: r["value"] for r in data["results"]}
    shown = [(name, quantity(results[key], unit)) for key, name, unit in HEADS if key in results]
    share = (RIGHT - LEFT) / 4
    for start in range(0, len(shown), 4):
        paper.need(14.0)
        for k, (name, value) in enumerate(shown[start : start + 4]):
            paper.page.put(LEFT + k * share, paper.y - 4.0, name, 7.5, colour=SOFT)
            paper.page.put(LEFT + k * share, paper.y - 10.0, value, 13, face="bold")
        paper.y -= 14.0


def _diagram(paper: Paper, diagram: str) -> None:
    """Set the block diagram as it is, in type small enough for its longest line."""
    lines = [printable(line, "mono") for line in diagram.strip("\n").splitlines()]
    widest = max((width(line, 1.0, "mono") for line in lines), default=1.0)
    size = min(8.0, (RIGHT - LEFT) / max(widest, 1e-3))
    paper.need(len(lines) * size * 0.42 + 4.0)
    for line in lines:
        paper.y -= size * 0.42
        paper.page.put(LEFT, paper.y, line, size, face="mono")
    paper.down(3.0)


def _section(paper: Paper, section: Section, data: Document) -> None:
    paper.down(4.0)
    paper.need(WITH_PICTURE if isinstance(section.blocks[0], Pictures) else 40.0)
    paper.words(section.title, 13, face="bold")
    paper.page.rule(paper.y, INK, 1.0)
    paper.down(1.0)
    for block in section.blocks:
        _block(paper, block, data)


def _block(paper: Paper, block: Block, data: Document) -> None:
    if isinstance(block, Grid):
        set_table(paper, block)
    elif isinstance(block, Pictures):
        set_pictures(paper, block.names, data)
    else:
        _words(paper, block)


def _words(paper: Paper, block: Words) -> None:
    if block.kind == "head":
        paper.down(2.0)
        paper.need(16.0)
        paper.words(block.text, 9, face="bold")
    elif block.kind == "item":
        paper.words(block.text, 8, indent=3.5, mark="•")
    else:
        colour = {"bad": WARN, "soft": SOFT}.get(block.kind, INK)
        paper.words(block.text, 8, colour=colour)


def _feet(paper: Paper, data: Document, origin: Origin) -> None:
    """Set the footer of every page, now that their number is known."""
    count = len(paper.pages)
    digest = hashlib.sha256(sheet_json(data).encode()).hexdigest()[:HASH]
    named = printable(f"{origin.text} · design {data['label']}")
    warning = (
        "analytic estimates for early design · lethal voltages · verification and certification "
        "belong to qualified people"
    )
    for number, page in enumerate(paper.pages, 1):
        right = f"page {number} of {count}"
        page.rule(15.0)
        room = RIGHT - LEFT - width(right, FOOT) - 6.0
        page.put(LEFT, 11.5, folded(named, room, FOOT)[0], FOOT, colour=SOFT)
        page.put(RIGHT, 11.5, right, FOOT, colour=SOFT, right=True)
        page.put(LEFT, 8.3, f"version {VERSION} · sheet {digest} · {warning}", FOOT, colour=SOFT)


def _bound(paper: Paper, data: Document) -> bytes:
    """Return the pages as one file; a date in it would make every copy differ."""
    out = io.BytesIO()
    about = {
        "Title": printable(f"Design sheet {data['label']}: {data['title']}"),
        "Subject": "Analytic estimates for early design; lethal voltages.",
        "Creator": f"ripplefront {VERSION}", "Producer": None, "CreationDate": None,
    }  # fmt: skip
    with PdfPages(out, metadata=about) as pages:
        for page in paper.pages:
            pages.savefig(page.figure)
    return out.getvalue()
