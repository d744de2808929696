"""Pictures of fronts: with and without a browser."""

from pathlib import Path

import pytest

from models.results import NAMES
from optimizer.figures import COLOURS, CONFIG, fronts_figure, html
from optimizer.fronts import FrontPoint, corners
from optimizer.picture import draw


def point(density, efficiency, label="a"):
    results = dict.fromkeys(NAMES, 1.0)
    results |= {"power_density_kw_l": density, "weighted_efficiency_pct": efficiency}
    return FrontPoint(label, "t", results)


FRONT = [point(0.2, 96.5, "left"), point(0.35, 96.3, "bend"), point(0.4, 94.0, "right")]


def test_corners_are_the_ends_and_the_bend():
    assert [(name, p.label) for name, p in corners(FRONT)] == [
        ("most efficient", "left"),
        ("knee", "bend"),
        ("smallest", "right"),
    ]
    assert corners([]) == []


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_a_picture_needs_no_browser(tmp_path, suffix):
    path = tmp_path / f"fronts{suffix}"
    draw({"t": FRONT, "empty": []}, {"t": "Title"}, "a note of caution", path)
    data = Path(path).read_bytes()
    assert data[:4] == b"\x89PNG" if suffix == ".png" else b"a note of caution" in data


def test_the_interactive_figure_shares_nothing():
    text = html(fronts_figure({"t": FRONT}, {"t": "Title"}), library=False)
    assert CONFIG["showSendToCloud"] is False
    assert "Title" in text
    assert "left" in text
    assert fronts_figure({}, {}).data == ()


def contrast(colour):
    """Contrast of a colour against white, WCAG 2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 1.05 / (0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] + 0.05)


@pytest.mark.published("WCAG 2.1, success criterion 1.4.11 (formula from memory)")
def test_colours_stand_out_from_white():
    assert min(contrast(c) for c in COLOURS) >= 3.0


def test_drawing_a_figure_leaves_the_house_settings_whole():
    html(fronts_figure({"t": FRONT}, {}), library=False)
    assert CONFIG["plotlyServerURL"] == ""
    assert CONFIG["showSendToCloud"] is False
