"""A comparison of runs as a picture and as one self-contained page."""

from __future__ import annotations

import textwrap
from pathlib import Path

import jinja2

from optimizer import figures
from optimizer.cautions import CAUTIONS
from optimizer.compare import Comparison
from optimizer.compare_data import READING
from optimizer.comparison_figures import price_figure
from optimizer.comparison_picture import draw_prices
from optimizer.figures_data import check_outputs, unwritable
from optimizer.version import VERSION

NOTE = (
    "Staircases: only designs found count, nothing interpolated. Strokes: what the later run "
    "gives up at equal level; dotted: within what the fronts themselves still moved. "
    "Analytic estimates for early design, losses ±15–20 %, invented prices and catalogue parts; "
    "lethal voltages; verification and certification belong to qualified people under local codes."
)


def write_comparison_picture(comparison: Comparison, path: Path) -> None:
    """Write the price between runs as PNG or SVG.

    Raises
    ------
    RipplefrontError
        If the file has another suffix or cannot be written.
    """
    check_outputs(path, None)
    remarks = list(dict.fromkeys(r for pair in comparison.pairs for r in pair.remarks))
    lines = [f"ripplefront {VERSION} · {NOTE}", *remarks]
    note = "\n".join(line for text in lines for line in textwrap.wrap(text, 150))
    try:
        draw_prices(comparison, note, path)
    except OSError as error:
        raise unwritable(path, error) from None


def write_comparison_page(comparison: Comparison, path: Path) -> None:
    """Write runs side by side as one self-contained interactive page.

    Raises
    ------
    RipplefrontError
        If the file has another suffix or cannot be written.
    """
    check_outputs(None, path)
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("optimizer", "templates"), autoescape=True
    )
    drawn = [
        figures.html(price_figure(comparison, pair), library=i == 0)
        for i, pair in enumerate(comparison.pairs)
    ]
    text = environment.get_template("compare.html").render(
        found=comparison,
        figures=drawn,
        version=VERSION,
        cautions=CAUTIONS,
        reading=READING,
    )
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise unwritable(path, error) from None
