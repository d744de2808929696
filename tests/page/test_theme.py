"""Figures and texts in both themes: nothing lost, nothing illegible."""

import re
from pathlib import Path

import plotly.graph_objects as go
import pytest

from optimizer.figures import COLOURS
from optimizer.page.theme import DARK_COLOURS, GRID, GROUND, INK, SWAPS, THEMES, graph, themed

ROOT = Path(__file__).parent.parent.parent
CSS = (ROOT / "optimizer/page/assets/page.css").read_text()
DRAWN = [
    *ROOT.glob("optimizer/*figures*.py"),
    *ROOT.glob("optimizer/page/*.py"),
]


def luminance(colour):
    """Return the relative luminance of a colour as WCAG 2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


def variables(theme):
    """Return the colours that the stylesheet gives a theme."""
    blocks = dict(re.findall(r"^(:root(?:\[data-theme=\"dark\"\])?) \{([^}]*)\}", CSS, re.M))
    chosen = blocks[":root"] if theme == "light" else blocks[':root[data-theme="dark"]']
    return dict(re.findall(r"--([a-z]+): (#[0-9a-fA-F]{6});", chosen))


def scatter():
    figure = go.Figure(go.Scatter(x=[1, 2], y=[1, 2], name="white", text=["#222222", "<b>"]))
    figure.update_traces(line={"color": COLOURS[0]}, marker={"color": [COLOURS[1], "white"]})
    figure.update_traces(customdata=["a1", "white"])
    return figure.update_layout(template="simple_white", font={"color": "#222"})


def test_contrast_of_black_on_white_is_twenty_one():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("text", ["ink", "soft", "accent", "bad", "good"])
@pytest.mark.parametrize("ground", ["ground", "band"])
def test_text_of_every_kind_is_legible_on_every_ground(theme, text, ground):
    found = variables(theme)
    assert contrast(found[text], found[ground]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
def test_edges_of_fields_and_the_focus_ring_are_told_from_the_ground(theme):
    found = variables(theme)
    for edge in ("edge", "accent"):
        for ground in ("ground", "band"):
            assert contrast(found[edge], found[ground]) >= 3.0
    assert contrast(found["onaccent"], found["accent"]) >= 4.5


@pytest.mark.parametrize(("light", "dark"), list(zip(COLOURS, DARK_COLOURS, strict=True)))
def test_colours_of_curves_are_told_from_both_grounds(light, dark):
    assert contrast(light, "#ffffff") >= 3.0
    assert contrast(dark, GROUND) >= 3.0


@pytest.mark.parametrize("grey", ["#222222", "#444444", "#555555", "#888888", "#999999"])
def test_greys_of_figures_keep_their_distance_from_the_ground(grey):
    assert contrast(SWAPS[grey], GROUND) >= min(contrast(grey, "#ffffff"), 5.0)


def test_a_figure_in_the_light_theme_is_left_as_it_is():
    assert themed(scatter(), "light")["data"][0]["line"]["color"] == COLOURS[0]
    assert "paper_bgcolor" not in themed(scatter(), None)["layout"]


def test_a_figure_in_the_dark_theme_changes_its_colours_and_no_text():
    figure = themed(scatter(), "dark")
    (trace,) = figure["data"]
    assert trace["line"]["color"] == DARK_COLOURS[0]
    assert trace["marker"]["color"] == [DARK_COLOURS[1], GROUND]
    assert (trace["name"], trace["text"]) == ("white", ["#222222", "<b>"])
    assert trace["customdata"] == ["a1", "white"]
    layout = figure["layout"]
    assert layout["paper_bgcolor"] == layout["plot_bgcolor"] == GROUND
    assert layout["font"]["color"] == INK
    assert layout["xaxis"]["linecolor"] == INK
    assert layout["yaxis"]["gridcolor"] == GRID


def test_the_title_of_a_colour_bar_is_no_colour():
    bar = {"title": {"text": "white"}, "outlinecolor": "white"}
    scale = [[0, "#ffffff"], [1, COLOURS[3]]]
    plain = {"data": [{"marker": {"colorbar": bar, "colorscale": scale}}]}
    bar = themed(plain, "dark")["data"][0]["marker"]
    assert bar["colorbar"]["title"]["text"] == "white"
    assert bar["colorbar"]["outlinecolor"] == GROUND
    assert bar["colorscale"] == [[0, GROUND], [1, DARK_COLOURS[3]]]


def test_plain_data_that_others_keep_are_not_changed():
    plain = {"data": [{"line": {"color": COLOURS[0]}}], "layout": {"xaxis": {"linecolor": "#222"}}}
    themed(plain, "dark")
    graph("any", plain, "dark", 200)
    assert plain["data"][0]["line"]["color"] == COLOURS[0]
    assert plain["layout"] == {"xaxis": {"linecolor": "#222"}}


def test_no_graph_offers_to_share_anything():
    made = graph("any", scatter(), "dark", 300)
    assert made.config["showSendToCloud"] is False
    assert made.config["plotlyServerURL"] == ""
    assert made.config["displaylogo"] is False
    assert made.style == {"height": "300px"}
    assert made.figure["layout"]["height"] == 300


@pytest.mark.parametrize("path", DRAWN, ids=lambda p: p.name)
def test_every_colour_of_a_figure_has_a_twin_on_dark_ground(path):
    if path.name == "theme.py":
        return
    for colour in re.findall(r"\"(#(?:[0-9a-fA-F]{3}){1,2})\"", path.read_text()):
        whole = colour if len(colour) == 7 else "#" + "".join(2 * c for c in colour[1:])
        assert whole.lower() in SWAPS, f"{path.name}: {colour} has no twin in theme.SWAPS"


def test_print_gives_every_dark_colour_of_a_figure_its_light_twin_back():
    for light, dark in SWAPS.items():
        if light == dark:
            continue
        told = ", ".join(str(int(dark[i : i + 2], 16)) for i in (1, 3, 5))
        for what in ("fill", "stroke"):
            drawn = f':is([style*="{what}: rgb({told})"], [{what}="rgb({told})"])'  # or patterned
            rule = f"{drawn} {{ {what}: {light} !important; }}"
            assert rule in CSS, rule
