"""The fronts in a real browser: drawn, brushed, zoomed, opened, compared, by keyboard alone."""

import os
import time
from types import SimpleNamespace
from urllib.parse import parse_qs, urlsplit

import pytest

from optimizer.store import Store, unpacked
from tests.optimizer.made_runs import made_run
from tests.page.browser.windows import served, until
from tests.page.made import many

HOSTILE = "<img src=x onerror=alert(1)>"
PLOT = "document.querySelector('#fronts-plane .js-plotly-plot')"
FRONTS = f"{PLOT} && {PLOT}.data && {PLOT}.data.filter(t => t.mode === 'lines+markers').length"


def curve(best, count=12):
    return [(0.2 + 0.05 * k, best - 0.1 * k) for k in range(count)]


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The page over a large run, a parent with its child, and a run with a hostile name in it."""
    root = tmp_path_factory.mktemp("runs")
    large = many(root, 100_000).name
    parent = made_run(root, "parent", {"flyback_unfolder": curve(97.0)}).name
    child = made_run(root, "child", {"flyback_unfolder": curve(96.0)}, parent=parent).name
    hostile = made_run(root, "hostile", {HOSTILE: curve(96.0)}).name
    with served(root) as at:
        yield SimpleNamespace(
            root=root, at=at, large=large, parent=parent, child=child, hostile=hostile
        )


@pytest.fixture
def window(new_window):
    """A new window, high enough for the whole plane."""
    return new_window(height=900)


def opened(page, site, runs, more=""):
    """Open the area; return how long it took until the fronts were drawn [s]."""
    start = time.monotonic()
    page.goto(f"{site.at}/fronts?runs={runs}{more}")
    until(page, FRONTS)
    took = time.monotonic() - start
    until(page, "document.querySelectorAll('#fronts-table tbody tr').length > 0")
    return took


def query(page):
    return {k: v[0] for k, v in parse_qs(urlsplit(page.url).query).items()}


def place_of(page, trace, point):
    """Return where a point of a trace stands in the window [px]."""
    return page.evaluate(
        f"""(() => {{
        const plot = {PLOT}, layout = plot._fullLayout, box = plot.getBoundingClientRect();
        const trace = plot.data.filter(t => t.mode === 'lines+markers')[{trace}];
        return [box.left + layout._size.l + layout.xaxis.d2p(trace.x[{point}]),
                box.top + layout._size.t + layout.yaxis.d2p(trace.y[{point}])]; }})()"""
    )


def brush(page, row, start, end):
    """Drag across a histogram from a share of its width to another."""
    page.locator("#fronts-bars").scroll_into_view_if_needed()
    box = page.evaluate(
        f"""(() => {{ const plot = document.querySelector('#fronts-bars .js-plotly-plot');
        const size = plot._fullLayout._size, box = plot.getBoundingClientRect();
        const n = '{row or ""}' === '' ? '' : String({row} + 1);
        const y = plot._fullLayout['yaxis' + n];
        return [box.left + size.l, size.w, box.top + y._offset + y._length / 2]; }})()"""
    )
    page.mouse.move(box[0] + start * box[1], box[2])
    page.mouse.down()
    page.mouse.move(box[0] + 0.5 * (start + end) * box[1], box[2], steps=3)
    page.mouse.move(box[0] + end * box[1], box[2], steps=3)
    page.mouse.up()


def test_the_fronts_stand_over_a_picture_of_all_designs(window, site):
    opened(window, site, site.large)
    kinds = window.evaluate(f"{PLOT}.data.map(t => t.type)")
    assert kinds[0] == "heatmap"
    assert window.evaluate(FRONTS) >= 2
    points = window.evaluate(f"{PLOT}.data.reduce((n, t) => n + (t.x ? t.x.length : 0), 0)")
    assert points < 3_000
    assert "stored designs" in window.inner_text("#fronts-count")
    assert window.locator("canvas").count() == 0  # no WebGL
    until(window, f"{PLOT}.getAttribute('role') === 'figure'")


def test_a_brush_narrows_count_figure_table_and_address_alike(window, site):
    opened(window, site, site.large)
    whole, rows = window.inner_text("#fronts-count"), window.locator("#fronts-table tr").count()
    brush(window, 0, 0.3, 0.6)
    until(window, f"document.getElementById('fronts-count').textContent !== '{whole}'")
    until(window, "location.search.includes('brushes')")
    name, lo, hi = query(window)["brushes"].split(":")
    assert name == "power_density_kw_l"
    until(window, f"document.querySelectorAll('#fronts-table tr').length < {rows}")
    cells = window.locator("#fronts-table tbody tr td.n:nth-child(4)").all_text_contents()
    assert all(float(lo) - 1e-3 <= float(c) <= float(hi) + 1e-3 for c in cells)
    drawn = window.evaluate(f"{PLOT}.data.filter(t => t.mode === 'lines+markers')[0].x")
    assert float(lo) <= min(drawn)
    assert max(drawn) <= float(hi)
    assert window.locator("#fronts-pins button").count() == 2
    window.locator("#fronts-pins button").first.click()
    until(window, "document.getElementById('pins-panel').textContent.includes('power_density')")
    count = window.inner_text("#fronts-count")
    window.reload()
    until(window, FRONTS)
    assert window.inner_text("#fronts-count") == count
    window.click(".fronts-field.held button")
    until(window, f"document.getElementById('fronts-count').textContent === '{whole}'")
    until(window, "!location.search.includes('brushes')")


def test_typed_ends_brush_too_and_nonsense_is_refused(window, site):
    opened(window, site, site.large)
    field = window.locator("[aria-label='cost [€] to']")
    field.fill("wide")
    field.press("Enter")
    until(window, "document.querySelector('[aria-label=\"cost [€] to\"]').ariaInvalid === 'true'")
    field.fill("120")
    field.press("Enter")
    until(window, "location.search.includes('brushes=cost')")
    assert query(window)["brushes"] == "cost::120"
    until(window, "document.querySelector('.fronts-field.held') !== null")
    assert window.evaluate("document.activeElement.ariaLabel") == "cost [€] to"


def test_a_click_on_a_point_opens_that_design(window, site):
    opened(window, site, site.large)
    wanted = window.evaluate(
        f"{PLOT}.data.filter(t => t.mode === 'lines+markers')[0].customdata[10]"
    )
    x, y = place_of(window, 0, 10)
    window.mouse.move(x, y)
    until(window, "document.querySelector('#fronts-plane .hovertext') !== null")
    told = window.text_content("#fronts-plane .hovertext")
    window.mouse.click(x, y)
    window.wait_for_selector("#design-head")
    assert query(window)["run"] == site.large
    assert query(window)["id"] in told
    assert len(query(window)["id"]) == len(wanted[1])
    window.go_back()
    until(window, FRONTS)


def test_other_axes_colours_and_guides_are_drawn_and_kept_in_the_address(window, site):
    opened(window, site, site.large)
    window.select_option("[data-view=x]", "cost")
    until(window, f"{PLOT}.layout.xaxis.title.text.startsWith('cost')")
    window.select_option("[data-view=colour]", "life_years")
    until(window, f"{PLOT}.layout.coloraxis !== undefined")
    window.select_option("[data-view=x]", "power_density_kw_l")
    window.click("[data-value=cost]")
    until(window, f"{PLOT}.data.some(t => (t.name || '').startsWith('at most'))")
    window.select_option("[data-view=cloud]", "thinned")
    until(window, f"{PLOT}.data[0].mode === 'markers'")
    until(window, "location.search.includes('thinned')")
    assert query(window)["colour"] == "life_years"
    assert query(window)["guides"] == "loss,cost"
    window.reload()
    until(window, FRONTS)
    assert window.input_value("[data-view=colour]") == "life_years"
    assert window.get_attribute("[data-value=cost]", "aria-pressed") == "true"


def test_zooming_offers_the_ends_as_pins_and_draws_the_picture_finer(window, site):
    opened(window, site, site.large)
    whole = window.evaluate(f"{PLOT}.data[0].dx")
    x0, y0 = place_of(window, 0, 5)
    x1, y1 = place_of(window, 0, 30)
    window.mouse.move(x0, y0 - 20)
    window.mouse.down()
    window.mouse.move(x1, y1 + 60, steps=5)
    window.mouse.up()
    until(window, "location.search.includes('window')")
    until(window, "document.querySelectorAll('#fronts-pins button').length === 4")
    until(window, f"{PLOT}.data[0].dx < {whole}")
    window.click("#fronts-whole")
    until(window, "!location.search.includes('window')")
    until(window, f"{PLOT}.data[0].dx === {whole}")
    frame = f"[...{PLOT}.layout.xaxis.range, ...{PLOT}.layout.yaxis.range].join()"
    assert window.evaluate(f"{frame} === {PLOT}.layout.meta.join()")
    window.mouse.dblclick(x0 + 40, y0 + 120)  # nothing to go back to: the frame stays
    window.wait_for_timeout(1000)
    assert window.evaluate(f"{frame} === {PLOT}.layout.meta.join()")
    assert "window" not in query(window)


def test_everything_is_done_by_keyboard(window, site):
    opened(window, site, site.large)
    window.focus("#fronts-table tbody tr")
    window.keyboard.press("ArrowDown")
    window.keyboard.press("Space")
    until(window, "document.querySelectorAll('#fronts-table tr.picked').length === 1")
    for _ in range(3):
        window.keyboard.press("ArrowDown")
    window.keyboard.press("Space")
    until(window, "document.querySelectorAll('#fronts-table tr.picked').length === 2")
    until(window, "document.getElementById('fronts-compare').hasAttribute('href')")
    href = urlsplit(window.get_attribute("#fronts-compare", "href"))
    picks = parse_qs(href.query)["designs"][0].split(",")
    assert href.path == "/compare"
    assert [p.split("/")[0] for p in picks] == [site.large] * 2
    window.focus("[data-sort=cost]")
    window.keyboard.press("Enter")
    until(window, "document.querySelector('[aria-sort=ascending]') !== null")
    assert window.evaluate("document.activeElement.dataset.sort") == "cost"
    until(window, f"{PLOT}.tabIndex === 0")  # the page makes figures reachable in its own time
    window.focus("#fronts-plane .js-plotly-plot")
    window.keyboard.press("End")
    until(window, "document.getElementById('status').textContent.includes('power density')")
    window.keyboard.press("Home")
    until(window, "document.querySelector('#fronts-plane .hovertext') !== null")
    first = window.evaluate(
        f"{PLOT}.data.filter(t => t.mode === 'lines+markers')[0].customdata[0][1]"
    )
    window.keyboard.press("Enter")
    window.wait_for_selector("#design-head")
    assert query(window)["id"] == first


def test_enter_on_a_row_opens_its_design(window, site):
    opened(window, site, site.large)
    window.focus("#fronts-table tbody tr")
    window.keyboard.press("End")
    name = window.evaluate("document.activeElement.dataset.key").split("/")[1]
    window.keyboard.press("Enter")
    window.wait_for_selector("#design-head")
    assert query(window)["id"] == name


def test_a_parent_is_laid_over_dotted_and_runs_can_be_taken_away(window, site):
    opened(window, site, site.child)
    window.click(".fronts-choose summary")
    window.click(f"[aria-label='lay over: {site.parent}']")
    until(window, f"{FRONTS} === 2")
    dashes = dict(
        window.evaluate(
            f"{PLOT}.data.filter(t => t.mode === 'lines+markers').map(t => "
            "[t.customdata[0][0], t.line.dash])"
        )
    )
    assert dashes == {site.child: "solid", site.parent: "dot"}
    window.click(".fronts-choose summary")
    window.click(f"[aria-label='take away: {site.parent}']")
    until(window, f"{FRONTS} === 1")


def test_a_hostile_name_is_text_everywhere(window, site):
    opened(window, site, site.hostile, more="&short=5")
    assert HOSTILE in window.text_content("#fronts-table")
    assert HOSTILE in window.text_content("#fronts-plane .legend")
    x, y = place_of(window, 0, 3)
    window.mouse.move(x, y)
    until(window, "document.querySelector('#fronts-plane .hovertext') !== null")
    assert HOSTILE in window.text_content("#fronts-plane .hovertext")
    assert window.locator(".fronts img").count() == 0


def test_a_run_being_written_is_followed(window, site):
    name = made_run(site.root, "going", {"flyback_unfolder": curve(96.0)}).name
    with Store(site.root / name) as store:
        store.status({"state": "running", "designs": 3, "planned": 9})
        opened(window, site, name)
        until(window, "document.getElementById('fronts-standing').textContent.includes('3 of 9')")
        drawn = f"{PLOT}.data.filter(t => t.mode === 'lines+markers')[0].x.length"
        assert window.evaluate(drawn) == 12
        arrays = unpacked((site.root / name / "archive.npz").read_bytes())
        half = {k: v[:6] if k.startswith("c0.front") else v for k, v in arrays.items()}
        store.archive(half, [])
        until(window, f"{drawn} === 6")
        store.status({"state": "ended", "reason": "done", "designs": 9, "planned": 9})
    until(window, "document.getElementById('fronts-standing').textContent === ''")


def test_nothing_runs_over_at_any_width(window, site):
    for width in (400, 1366, 2560):
        window.set_viewport_size({"width": width, "height": 900})
        for runs in (f"{site.child},{site.parent}", site.large):  # one topology, and all there are
            opened(window, site, runs)
            until(window, f"document.documentElement.scrollWidth <= {width}")


def test_how_long_it_takes(window, site, capsys):
    first = opened(window, site, site.large)
    again = opened(window, site, site.large)
    brushes = []
    for k in range(5):
        window.evaluate("delete document.getElementById('fronts-count').dataset.took")
        brush(window, 0, 0.2 + 0.05 * k, 0.7)
        until(window, "document.getElementById('fronts-count').dataset.took !== undefined")
        brushes.append(
            int(window.evaluate("document.getElementById('fronts-count').dataset.took"))
        )
        window.wait_for_timeout(300)
    axes = []
    titles = {"cost": "cost", "life_years": "life", "power_density_kw_l": "power density"}
    for name, title in titles.items():
        start = time.monotonic()
        window.select_option("[data-view=x]", name)
        until(window, f"{PLOT}.layout.xaxis.title.text.startsWith('{title}')")
        axes.append(round(1e3 * (time.monotonic() - start)))
    load = os.getloadavg()[0]
    with capsys.disabled():
        print(  # noqa: T201
            f"\n100,000 designs: fronts drawn after {first:.1f} s, anew after {again:.1f} s; "
            f"brush to count {sorted(brushes)[2]} ms; other axis {max(axes)} ms (load {load:.1f})"
        )
    assert brushes
