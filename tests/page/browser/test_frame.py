"""The frame in a real browser: marks, focus, theme, address, work, faults, paper, narrow windows.

The areas are made up, so that what the frame does is seen whatever the real areas do.
"""

import itertools
import threading
from types import SimpleNamespace

import pytest
from dash import ClientsideFunction, Input, Output, State, dcc, html

from models.errors import RipplefrontError
from optimizer.page import app as application
from optimizer.page import theme
from optimizer.page.areas import Area, address
from tests.optimizer.made_runs import made_run
from tests.page.browser.windows import PATIENCE, served, until

WORKED = threading.Event()  # until then the slow callback has no answer
WIDTHS = [(400, 800), (1366, 768), (2560, 1440)]
FIGURE = {
    "data": [
        {"type": "scatter", "x": [1, 2], "y": [1, 2], "line": {"color": "#003399"}},
        {
            "type": "bar",
            "x": [1],
            "y": [1],
            "marker": {"color": "#DD7700", "pattern": {"shape": "/", "bgcolor": "#DD7700"}},
        },
    ],
    "layout": {"title": {"text": "Made-up <b>curve</b>"}, "font": {"color": "#222222"}},
}


def first(library, query):
    return html.Div(
        [
            html.H1("First of them"),
            html.P(query.get("x", "nothing"), id="said"),
            html.Button("set", id="set"),
            html.Button("slow", id="slow"),
            html.Button("wrong", id="wrong"),
            html.Button("fault", id="fault"),
            html.Div(id="out"),
            dcc.Store(id="query"),
            dcc.Store(id="kept"),
            dcc.Link("to the second", href=address("/second", run="<i>one</i>")),
            html.Div(id="drawing"),
        ]
    )


def second(library, query):
    return html.Div([html.H1("Design"), html.P(query.get("run", "none"), id="said")])


def callbacks(app, library):
    @app.callback(Output("query", "data"), Input("set", "n_clicks"), prevent_initial_call=True)
    def put(clicks):
        return f"?x=set{clicks}"

    @app.callback(Output("out", "children"), Input("slow", "n_clicks"), prevent_initial_call=True)
    def slow(clicks):
        assert WORKED.wait(PATIENCE)
        return "done"

    @app.callback(
        Output("out", "children", allow_duplicate=True), Input("wrong", "n_clicks"),
        prevent_initial_call=True,
    )  # fmt: skip
    def wrong(clicks):
        raise RipplefrontError("this cannot be: <img src=x onerror=alert(1)>\n  Do otherwise.")

    @app.callback(
        Output("out", "children", allow_duplicate=True), Input("fault", "n_clicks"),
        prevent_initial_call=True,
    )  # fmt: skip
    def fault(clicks):
        raise ZeroDivisionError

    @app.callback(Output("drawing", "children"), Input("theme", "data"), State("said", "id"))
    def draw(chosen, _):
        return theme.graph("figure", FIGURE, chosen, 300)

    app.clientside_callback(
        ClientsideFunction("page", "keep_address"),
        Output("kept", "data"), Input("query", "data"), prevent_initial_call=True,
    )  # fmt: skip


MADE = (
    Area("/", "First", first, callbacks),
    Area("/second", "Second", second, lambda app, library: None),
)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The frame around areas that are made up."""
    root = tmp_path_factory.mktemp("runs")
    made_run(root, "one", {"boost": [(0.3, 96.0)]})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(application, "AREAS", MADE)
        with served(root) as at:
            yield SimpleNamespace(at=at)


@pytest.fixture
def opened(new_window, site):
    """Return a function that opens an address in a new window."""

    def open_(path="/", **settings):
        page = new_window(**settings)
        page.goto(site.at + path)
        page.wait_for_selector("main h1")
        return page

    return open_


def scheme(page):
    return page.evaluate("document.documentElement.dataset.theme")


def background(page, selector="body"):
    return page.eval_on_selector(selector, "e => getComputedStyle(e).backgroundColor")


def test_the_area_shown_is_marked_named_and_gets_the_focus(opened):
    page = opened()
    assert page.text_content("nav [aria-current=page]") == "First"
    until(page, "document.title === 'First of them · ripplefront'")
    page.click("text=to the second")
    until(page, "document.title === 'Second · Design · ripplefront'")
    assert page.text_content("#said") == "<i>one</i>"
    assert page.locator("nav [aria-current=page]").all_text_contents() == ["Second"]
    assert page.evaluate("document.activeElement.id") == "content"
    page.go_back()
    until(page, "document.title.startsWith('First of them')")
    assert page.text_content("nav [aria-current=page]") == "First"


def test_the_keyboard_alone_skips_to_the_content_and_walks_the_areas(opened):
    page = opened()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.locator(".skip").bounding_box()["x"] >= 0
    page.keyboard.press("Enter")
    until(page, "document.activeElement.id === 'content'")
    page = opened()
    for _ in range(3):
        page.keyboard.press("Tab")
    ring = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert (page.evaluate("document.activeElement.textContent"), ring) == ("Second", "solid")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:text('Design')")


def test_a_view_is_restored_by_its_address_and_by_the_navigation(opened):
    page = opened("/?x=given")
    assert page.text_content("#said") == "given"
    page.click("#set")
    until(page, "location.search === '?x=set1'")
    page.wait_for_timeout(300)
    assert page.text_content("#said") == "given"  # not drawn anew: the area did it itself
    page.click("text=to the second")
    page.wait_for_selector("h1:text('Design')")
    page.go_back()
    page.wait_for_selector("h1:text('First of them')")
    assert page.text_content("#said") == "set1"
    page.click("nav >> text=Second")
    page.wait_for_selector("h1:text('Design')")
    assert page.text_content("#said") == "<i>one</i>"  # the last view of that area
    page.reload()
    page.wait_for_selector("h1:text('Design')")
    assert page.text_content("#said") == "<i>one</i>"


def test_the_theme_is_the_systems_until_another_is_chosen(opened):
    page = opened(color_scheme="dark")
    assert scheme(page) == "dark"
    assert background(page) == "rgb(21, 25, 30)"
    page.emulate_media(color_scheme="light")
    until(page, "document.documentElement.dataset.theme === 'light'")
    page.click("#theme-switch")
    until(page, "document.documentElement.dataset.theme === 'dark'")
    page.reload()
    page.wait_for_selector("main h1")
    assert scheme(page) == "dark"
    assert page.text_content("#theme-switch") == "Light theme"
    page.click("#theme-switch")  # what the system has: it is followed again
    until(page, "document.documentElement.dataset.theme === 'light'")
    page.emulate_media(color_scheme="dark")
    until(page, "document.documentElement.dataset.theme === 'dark'")


def test_figures_follow_the_theme_can_be_reached_and_are_named(opened):
    page = opened(color_scheme="dark")
    page.wait_for_selector(".js-plotly-plot[aria-label='Made-up  curve '], .js-plotly-plot[role]")
    plot = page.locator(".js-plotly-plot")
    assert plot.get_attribute("tabindex") == "0"
    assert plot.get_attribute("role") == "figure"
    assert "curve" in plot.get_attribute("aria-label")
    line = page.locator(".js-plotly-plot .js-line").first
    assert "51, 221, 255" in line.evaluate("e => getComputedStyle(e).stroke")
    assert page.locator("[data-title*=hare], [data-title*=loud]").count() == 0


def test_paper_is_light_and_holds_no_controls_whatever_the_theme(opened):
    page = opened(color_scheme="dark")
    page.wait_for_selector(".js-plotly-plot .js-line")
    page.emulate_media(media="print")
    assert background(page) == "rgb(255, 255, 255)"
    line = page.locator(".js-plotly-plot .js-line").first
    assert line.evaluate("e => getComputedStyle(e).stroke") == "rgb(0, 51, 153)"
    title = page.locator(".js-plotly-plot .gtitle")
    assert title.evaluate("e => getComputedStyle(e).fill") == "rgb(34, 34, 34)"
    bar = page.locator(".js-plotly-plot pattern rect").first
    assert bar.evaluate("e => getComputedStyle(e).fill") == "rgb(221, 119, 0)"
    sheet = page.locator(".js-plotly-plot .main-svg").first
    assert sheet.evaluate("e => getComputedStyle(e).backgroundColor") == "rgba(0, 0, 0, 0)"
    for control in ("header", "#slow", ".skip"):
        assert not page.locator(control).first.is_visible()


def test_work_is_shown_when_it_takes_long_and_announced(opened):
    WORKED.clear()
    page = opened()
    assert not page.locator("#busy").is_visible()
    page.click("#slow")
    page.wait_for_selector("#busy", state="visible")
    until(page, "document.getElementById('status').textContent === 'working'")
    WORKED.set()
    page.wait_for_selector("#out:text('done')")
    page.wait_for_selector("#busy", state="hidden")
    until(page, "document.getElementById('status').textContent === 'ready'")


def test_errors_of_callbacks_are_told_once_and_go_away(opened):
    page = opened()
    page.click("#wrong")
    page.wait_for_selector("#notice [role=alert]")
    assert "<img src=x" in page.text_content("#notice")
    assert page.locator("#notice img").count() == 0
    page.keyboard.press("Escape")
    page.wait_for_selector(".notice", state="hidden")
    page.click("#fault")
    page.wait_for_selector("#notice:has-text('an error of the program')")
    page.click("#notice-close")
    page.wait_for_selector(".notice", state="hidden")
    page.click("#set")  # and the page lives on
    until(page, "location.search === '?x=set1'")


def apart(one, other):
    """Return whether two boxes do not overlap."""
    return any(
        first[at] + first[size] <= second[at] + 0.5
        for first, second in ((one, other), (other, one))
        for at, size in (("x", "width"), ("y", "height"))
    )


def test_nothing_of_the_frame_overlaps_or_leaves_the_window(opened):
    page = opened()
    page.wait_for_selector(".js-plotly-plot")
    for width, height in WIDTHS:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(600)  # a figure takes a moment to follow
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for selector in ("header > *", "header, .cautions, main, footer"):
            parts = page.locator(selector)
            boxes = [parts.nth(k).bounding_box() for k in range(parts.count())]
            assert len(boxes) > 2
            for one, other in itertools.combinations(boxes, 2):
                assert apart(one, other), (selector, width)


def test_a_page_whose_server_has_gone_says_so(chromium, site):
    page = chromium.new_context().new_page()
    page.goto(site.at)
    page.wait_for_selector(".js-plotly-plot")
    page.route("**/_dash-update-component*", lambda route: route.abort())
    page.click("#set")
    page.wait_for_selector("#notice:has-text('gets no answer')")
    page.unroute("**/_dash-update-component*")
    page.click("#set")
    page.wait_for_selector(".notice", state="hidden")
    page.context.close()
