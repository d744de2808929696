"""A morning with the page, from the list of runs to a file to take away, in a real browser.

Behind it is a small search as it is done every night; nothing is made up but a large run,
which shows how long things take.
"""

import contextlib
import io
import os
import shutil
import time
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import parse_qs, urlsplit

import pypdf
import pytest
from click.testing import CliRunner

from models.errors import RunError
from optimizer import named
from optimizer.cli import main
from optimizer.files import writer
from optimizer.page import jobs
from optimizer.page.library import Library
from optimizer.store import Store
from tests.page.browser.windows import served, until
from tests.page.made import DEMO, many
from tests.page.test_runs import going

DESIGNS = 6000
PINS = ("flyback.phases = 2", "flyback.clamp = short_pulse")
SEARCH = 240  # s for a search that takes ten on a machine that does nothing else
PLOT = "document.querySelector('#fronts-plane .js-plotly-plot')"
LINES = f"{PLOT}.data.filter(t => t.mode === 'lines+markers')"
WIDTH = "[id='design-field-box.width_mm']"
# From a press of the mouse to the first frame that shows a design.
WATCH = """() => {
    let pressed = 0;
    delete window.took;
    document.addEventListener("mousedown", () => { pressed = performance.now(); },
                              { capture: true, once: true });
    const seen = new MutationObserver(() => {
        if (!document.querySelector("#design-head h1")) { return; }
        seen.disconnect();
        requestAnimationFrame(() => setTimeout(() => {
            window.took = performance.now() - pressed;
        }));
    });
    seen.observe(document, { childList: true, subtree: true });
}"""
VERDICT = "document.querySelector('.design-verdict').textContent"


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A folder of runs that holds a small search of one structure."""
    home = tmp_path_factory.mktemp("morning")
    spec = home / "mine.toml"
    only = '\n[topologies]\ninclude = ["flyback_unfolder"]\n'
    spec.write_text(DEMO.read_text(encoding="utf-8") + only, encoding="utf-8")
    words = ["sweep", str(spec), "--runs", str(home / "runs"), "--designs", str(DESIGNS),
             "--workers", "0", "--foreground", "-q"]  # fmt: skip
    found = CliRunner().invoke(main, words + [w for pin in PINS for w in ("--pin", pin)])
    assert found.exit_code == 0, found.output
    return home / "runs"


@pytest.fixture(scope="module")
def site(swept):
    """The page over that search; what a test leaves searching is stopped at the end."""
    library = Library(swept)
    run = library.run(library.names()[0])
    front = [d.id for d in run.front_of("flyback_unfolder")]
    with served(swept) as at:
        yield SimpleNamespace(at=at, root=swept, run=run.name, designs=front)
    for name in library.names():
        if writer(swept / name / "lock") not in (None, os.getpid()):
            with contextlib.suppress(RunError):
                jobs.stop(library, name, now=True)


@pytest.fixture
def copied(site):
    """A copy of the search under another name, for a test that hurts it."""
    folder = site.root / "copied"
    shutil.copytree(site.root / site.run, folder)
    yield folder
    shutil.rmtree(folder)


def query(page):
    return {k: v[0] for k, v in parse_qs(urlsplit(page.url).query).items()}


def text(page, selector):
    """Return a text now, nothing where there is none; as an expression to wait for."""
    return f"(document.querySelector({selector!r}) || {{textContent: ''}}).textContent"


def fronts(page, site, run=None):
    page.goto(f"{site.at}/fronts?runs={run or site.run}")
    drawn(page)


def drawn(page, count=1):
    until(page, f"{PLOT} && {PLOT}.data && {LINES}.length === {count}", SEARCH)
    page.wait_for_selector("#fronts-table tbody tr")


def opened(page, site, design, more=""):
    page.goto(f"{site.at}/design?run={site.run}&id={design}{more}")
    ready(page)


def ready(page):
    page.wait_for_selector("#design-undo")
    page.wait_for_selector("#design-waves .main-svg >> nth=0", state="attached")
    page.evaluate("document.querySelectorAll('#design-vary details').forEach(d => d.open = true)")


def vary(page, value):
    """Change the width of the box by hand; return how long the answer took [ms]."""
    place = "document.getElementById('design-vary').dataset"
    before = int(page.evaluate(f"{place}.n || 0"))
    page.fill(WIDTH, value)
    page.press(WIDTH, "Enter")
    until(page, f"Number({place}.n || 0) > {before}")
    return int(page.evaluate(f"{place}.took"))


def place_of(page, point):
    """Return where a point of the first front stands in the window [px]."""
    page.locator("#fronts-plane").scroll_into_view_if_needed()
    return page.evaluate(
        f"""(() => {{
        const plot = {PLOT}, layout = plot._fullLayout, box = plot.getBoundingClientRect();
        const trace = {LINES}[0];
        return [box.left + layout._size.l + layout.xaxis.d2p(trace.x[{point}]),
                box.top + layout._size.t + layout.yaxis.d2p(trace.y[{point}])]; }})()"""
    )


def click_point(page, point):
    """Open the design of a point of the first front; return how long it took [ms]."""
    x, y = place_of(page, point)
    page.mouse.move(x - 30, y - 30)
    page.mouse.move(x, y)
    until(page, "document.querySelector('#fronts-plane .hovertext') !== null")
    page.evaluate(WATCH)
    page.mouse.click(x, y)
    page.wait_for_selector("#design-head h1")
    until(page, "window.took !== undefined")
    return round(page.evaluate("window.took"))


def tab_to(page, condition):
    """Press Tab until an expression about the focused element ``e`` holds."""
    for _ in range(300):
        page.keyboard.press("Tab")
        if page.evaluate(f"(e => {condition})(document.activeElement)"):
            return
    pytest.fail(f"no Tab leads to {condition}")


def taken(page, selector):
    """Return name and content of the file that a link gives."""
    with page.expect_download() as waiting:
        page.click(selector)
    return waiting.value.suggested_filename, Path(waiting.value.path()).read_bytes()


def test_from_the_list_over_a_pin_to_its_price(window, site):
    window.goto(site.at)
    window.click(f"#runs-list >> text={site.run}")
    window.click("text=Its fronts")
    drawn(window)
    everything = window.evaluate(text(window, "#fronts-count"))
    window.fill("[aria-label='cost [€] to']", "1e6")
    window.press("[aria-label='cost [€] to']", "Enter")
    until(window, "document.querySelector('.fronts-field.held') !== null")
    points = window.evaluate(f"{LINES}[0].x.length")
    costs = window.evaluate(f"{LINES}[0].x")
    middle = 0.5 * (min(costs) + max(costs))
    field = "[aria-label^='power density'][aria-label$=from]"
    window.fill(field, f"{middle:.3f}")
    window.press(field, "Enter")
    until(window, f"{LINES}[0].x.length < {points}")
    assert window.evaluate(text(window, "#fronts-count")) != everything

    click_point(window, 0)
    assert query(window)["run"] == site.run
    assert query(window)["id"] in site.designs
    ready(window)
    window.click("[aria-label='pin height_mm']")
    window.click("#design-offer button[title^='height_mm <= ']")
    until(window, f"{text(window, '#pins-panel')}.includes('height_mm <= ')")
    until(window, f"{text(window, '#pins-panel')}.includes('stored designs are left')")

    window.click("text=Re-run with these pins")
    window.click("text=its front beside the old one", timeout=1000 * SEARCH)
    drawn(window, 2)
    until(window, f"{text(window, '#fronts-standing')} === ''", SEARCH)
    drawn(window, 2)
    dashes = window.evaluate(f"{LINES}.map(t => [t.customdata[0][0], t.line.dash])")
    child = query(window)["runs"].split(",")[1]
    assert sorted(dashes) == sorted([[site.run, "dot"], [child, "solid"]])

    window.click("nav >> text=Runs")
    window.click(f"#runs-list >> text={child}")
    window.click("text=The price of its pins")
    window.wait_for_selector("#compare-price-0 .main-svg >> nth=0")
    told = window.inner_text("#compare-runs")
    assert "Pins added: height_mm <= " in told
    assert "Loss of power density at equal weighted efficiency" in told
    assert "hypervolume" in told


def test_a_value_varied_by_hand_is_kept_compared_and_taken_away(window, site):
    design = site.designs[len(site.designs) // 2]
    opened(window, site, design)
    before = window.evaluate(VERDICT)
    assert "It stands on the front" in before
    width = float(window.input_value(WIDTH))
    vary(window, f"{width + (8 if width < 200 else -8):.0f}")
    until(window, f"{VERDICT} !== {before!r}")
    assert " front" in window.evaluate(VERDICT)
    assert "changed by hand: 1 value" in window.inner_text("#design-head")
    assert "kW/l" in window.inner_text("#design-changes")
    window.click("summary:has-text('Keep under a name')")
    window.fill("#design-name", "wider")
    window.click("#design-keep")
    until(window, f"{text(window, '#design-kept')}.startsWith('Kept')")
    assert named.read(site.root, "wider").design == design

    name, paper = taken(window, ".design-exports a:text-is('PDF')")
    assert name == f"sheet-{design}-edited.pdf"
    words = "".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(paper)).pages)
    assert "box.width_mm" in words
    assert "lethal" in words.lower()
    name, table = taken(window, ".design-exports a:text-is('CSV')")
    assert name == f"sheet-{design}-edited.csv"
    assert b"box.width_mm" in table

    window.click("text=Compare with the original and others")
    window.wait_for_selector("#compare-cost .main-svg >> nth=0")
    heads = window.locator("[aria-label='headline figures'] thead th").all_inner_texts()
    assert len(heads) == 3
    assert "box.width_mm" in window.inner_text("[aria-label='Variables that differ']")


def test_a_run_is_taken_away_as_tables_and_as_a_report(window, site):
    window.goto(f"{site.at}/?run={site.run}")
    for form, mark in (
        ("CSV", b"power_density_kw_l"),
        ("JSON", b'"format"'),
        ("Parquet", b"PAR1"),
    ):
        name, content = taken(window, f"#runs-head a:text-is('{form}')")
        assert name == f"{site.run}-front.{form.lower()}"
        assert mark in content
    name, content = taken(window, "#runs-head a:text-is('Report')")
    assert name == f"report-{site.run}.html"
    assert site.run in content.decode()
    assert "lethal" in content.decode().lower()


def test_the_keyboard_alone_does_a_morning(window, site):
    window.goto(site.at)
    window.wait_for_selector(f"#runs-list >> text={site.run}")
    tab_to(window, f"e.textContent === '{site.run}'")
    window.keyboard.press("Enter")
    window.wait_for_selector("#runs-head")
    tab_to(window, "e.textContent === 'Its fronts'")
    window.keyboard.press("Enter")
    drawn(window)
    tab_to(window, "e.matches('#fronts-table tbody tr')")
    window.keyboard.press("ArrowDown")
    window.keyboard.press("Enter")
    ready(window)
    assert query(window)["id"] in site.designs
    tab_to(window, "e.dataset.pin === 'height_mm'")
    window.keyboard.press("Enter")
    until(window, "document.activeElement.textContent.startsWith('= ')")
    window.keyboard.press("Tab")
    window.keyboard.press("Enter")
    until(window, f"{text(window, '#pins-panel')}.includes('height_mm <= ')")
    tab_to(window, "e.id === 'design-field-box.width_mm'")
    window.keyboard.press("ArrowUp")
    until(window, f"{text(window, '#design-head')}.includes('changed by hand: 1 value')")
    tab_to(window, "e.matches('summary') && e.textContent === 'Keep under a name'")
    window.keyboard.press("Enter")
    tab_to(window, "e.id === 'design-name'")
    window.keyboard.type("typed")
    tab_to(window, "e.id === 'design-keep'")
    window.keyboard.press("Enter")
    until(window, f"{text(window, '#design-kept')}.startsWith('Kept')")
    assert list(named.read(site.root, "typed").changes) == ["box.width_mm"]


def test_a_run_still_being_written_is_used_like_any_other(window, site, copied):
    with Store(copied) as store:
        store.status(going(300))
        window.goto(site.at)
        window.wait_for_selector(".runs-card >> text=300 of 1,000 designs")
        fronts(window, site, "copied")
        until(window, f"{text(window, '#fronts-standing')}.includes('300 of 1,000')")
        click_point(window, 0)
        ready(window)
        vary(window, "150")
        until(window, f"{text(window, '#design-head')}.includes('changed by hand')")
        window.go_back()
        drawn(window)
        store.status(going(1000, state="ended", reason="done"))
    until(window, f"{text(window, '#fronts-standing')} === ''")


def test_a_broken_run_hurts_no_other(window, site, copied):
    (copied / "archive.npz").write_bytes((copied / "archive.npz").read_bytes()[:1000])
    for path in (
        "/?run=copied", "/fronts?runs=copied", f"/design?run=copied&id={site.designs[0]}",
        f"/compare?runs={site.run},copied",
    ):  # fmt: skip
        window.goto(site.at + path)
        window.wait_for_selector("main [role=alert], main .mistake")
        assert "copied/archive.npz" in window.inner_text("main"), path
        assert "Traceback" not in window.inner_text("main")
    window.goto(site.at)
    window.click(f"#runs-list >> text={site.run}")
    window.click("text=Its fronts")
    drawn(window)


def test_two_windows_do_not_disturb_each_other(new_window, site):
    one = new_window()
    other = one.context.new_page()
    for page, design in ((one, site.designs[0]), (other, site.designs[-1])):
        opened(page, site, design)
    other.click("[aria-label='pin height_mm']")
    other.click("#design-offer button[title^='height_mm <= ']")
    until(other, f"{text(other, '#pins-panel')}.includes('height_mm <= ')")
    vary(one, "151")
    vary(other, "152")
    vary(one, "153")
    for page, design, value in ((one, site.designs[0], "153"), (other, site.designs[-1], "152")):
        assert page.input_value(WIDTH) == value
        assert query(page)["id"] == design
        until(page, f"location.search.includes('{value}')")
    assert "height_mm <= " not in one.inner_text("#pins-panel")
    other.click("#theme-switch")
    until(other, "document.documentElement.dataset.theme === 'dark'")
    until(one, "document.querySelector('#design-loss .main-svg') !== null")


def test_how_long_a_hundred_thousand_designs_take(window, site, capsys):
    large = many(site.root, 100_000)
    try:
        start = time.monotonic()
        window.goto(f"{site.at}/fronts?runs={large.name}")
        until(window, f"{PLOT} && {PLOT}.data && {LINES}.length > 0")
        paint = time.monotonic() - start
        clicks = []
        for point in (10, 20, 30):
            clicks.append(click_point(window, point))
            window.go_back()
            until(window, f"{PLOT} && {PLOT}.data && {LINES}.length > 0")
        click_point(window, 10)
        ready(window)
        nudges = [vary(window, str(140 + k)) for k in range(5)]
    finally:
        shutil.rmtree(large)
    with capsys.disabled():
        print(  # noqa: T201
            f"\n100,000 designs: drawn after {paint:.1f} s, click to design "
            f"{sorted(clicks)[1]} ms, varied by hand {sorted(nudges)[2]} ms "
            f"(load {os.getloadavg()[0]:.1f})"
        )
