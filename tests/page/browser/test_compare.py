"""The compare area in a real browser: designs, runs, folded rows, hostile names, keyboard."""

from types import SimpleNamespace

import pytest

from optimizer import named
from optimizer.page.library import Library
from tests.optimizer.made_runs import made_run
from tests.page.browser.windows import served, until
from tests.page.made import many

HOSTILE = "<img src=x onerror=alert(1)>"
BEFORE = {"boost": [(0.30, 96.0), (0.40, 95.5), (0.50, 95.0)], HOSTILE: [(0.2, 94.0)]}
AFTER = {"boost": [(0.30, 95.8), (0.40, 95.2)], HOSTILE: [(0.2, 93.9)]}
SHOWN = "tbody tr:not(.alike)"


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The page over a run of 600 designs, one of them kept by name, and two runs made up."""
    root = tmp_path_factory.mktemp("runs")
    before = made_run(root, "before", BEFORE, pins=[f"note = {HOSTILE}"])
    after = made_run(
        root, "after", AFTER, pins=[f"note = {HOSTILE}", "box.height_mm <= 30"], parent=before.name
    )
    run = Library(root).run(many(root, 600).name)
    filled = dict.fromkeys(c.topology for c in run.candidates if run.fronts[c.number].size)
    designs = [run.front_of(t)[0].id for t in list(filled)[:2]]
    named.save(root, named.Named("high", run.name, designs[0], {"box.height_mm": "55"}, HOSTILE))
    with served(root) as at:
        yield SimpleNamespace(
            at=at, run=run.name, entries=[f"{run.name}/{d}" for d in designs],
            before=before, after=after,
        )  # fmt: skip


def designs(page, site, *entries, more=""):
    page.goto(f"{site.at}/compare?designs={','.join(entries)}{more}")
    page.wait_for_selector("[aria-label='headline figures'] td >> nth=0")


def runs(page, site, more=""):
    page.goto(f"{site.at}/compare?runs={site.before.name},{site.after.name}{more}")
    page.wait_for_selector("#compare-price-0 .main-svg >> nth=0")


def test_two_designs_stand_side_by_side_with_differences(window, site):
    designs(window, site, *site.entries)
    heads = window.locator("[aria-label='headline figures'] thead th").all_inner_texts()
    assert len(heads) == 3
    assert "differences to A" in heads[2]
    assert "points" in window.inner_text("[aria-label='headline figures'] tbody tr >> nth=0")
    window.wait_for_selector("#compare-cost .main-svg >> nth=0")
    assert window.locator(".compare-chart .js-plotly-plot").count() == 4
    assert window.locator("#compare-curves .scatterlayer .trace").count() == 2


def test_rows_that_are_alike_are_folded_until_asked_for(window, site):
    designs(window, site, site.entries[0], "named/high")
    table = window.locator("[aria-label='Variables that differ']")
    shown = table.locator(SHOWN)
    assert [r.split("\t")[0].split("\n")[0] for r in shown.all_inner_texts()] == ["box.height_mm"]
    assert not table.locator("tr.alike").first.is_visible()
    assert "alike and folded away" in table.inner_text()
    window.check("#compare-rows input")
    until(window, "location.search.includes('rows=all')")
    assert table.locator("tr.alike").first.is_visible()
    assert "folded away" not in table.inner_text()
    window.reload()
    window.wait_for_selector("[aria-label='Variables that differ'] tr.alike >> nth=0")
    assert table.locator("tr.alike").first.is_visible()


def test_a_design_is_added_put_first_and_removed_by_keyboard(window, site):
    designs(window, site, *site.entries)
    window.focus("#compare-design")
    before = window.input_value("#compare-design")
    assert before == ""
    window.keyboard.type("ffffffff")
    window.keyboard.press("Enter")
    window.wait_for_selector("#compare-designs-said .mistake")
    options = window.eval_on_selector_all("#compare-offered option", "o => o.map(x => x.value)")
    third = next(o for o in options if not any(e.endswith(o) for e in site.entries))
    window.fill("#compare-design", third)
    window.keyboard.press("Enter")
    until(window, f"location.search.includes('{third}')")
    until(window, "document.querySelectorAll('[aria-label=\"headline figures\"] thead th')"
                  ".length === 4")  # fmt: skip
    assert third in window.inner_text("#status")
    assert window.input_value("#compare-design") == ""
    assert window.evaluate("document.activeElement.id") == "compare-design"
    button = window.locator(f"[aria-label='compare with {site.run}/{third}']")
    button.focus()
    window.keyboard.press("Enter")
    until(window, "document.querySelector('#compare-designs-chips li').textContent"
                  f".includes('{third}')")  # fmt: skip
    for count in (2, 1, 0):
        window.locator("#compare-designs-chips [aria-label^=remove]").last.focus()
        window.keyboard.press("Enter")
        until(window, "document.querySelectorAll('#compare-designs-chips li').length"
                      f" === {count}")  # fmt: skip
    until(window, "document.activeElement.id === 'compare-designs-chips'")
    window.wait_for_selector("text=Add two or more to set designs side by side")


def test_the_price_of_a_pin_stands_between_a_run_and_its_re_run(window, site):
    runs(window, site)
    text = window.inner_text("#compare-runs")
    assert f"From {site.before.name} to {site.after.name}" in text
    assert "Pins added: box.height_mm <= 30" in text
    assert "Loss of power density at equal weighted efficiency" in text
    dashes = window.evaluate("document.querySelector('#compare-fronts .js-plotly-plot')"
                             ".data.map(t => t.line.dash)")  # fmt: skip
    assert dashes == ["dot", "dot", "solid", "solid"]
    assert window.locator("a:text('both')").count() > 0
    with window.expect_download() as waiting:
        window.click("a:text('picture as SVG')")
    assert waiting.value.suggested_filename == "comparison.svg"


def test_a_hostile_name_is_text_everywhere(window, site):
    runs(window, site)
    assert HOSTILE in window.inner_text("#compare-runs")
    assert window.locator("main img").count() == 0
    window.goto(f"{site.at}/compare?designs={HOSTILE},{site.run}/{HOSTILE}&runs={HOSTILE}")
    window.wait_for_selector("#compare-designs .mistake >> nth=1")
    assert window.locator("main img").count() == 0
    assert HOSTILE in window.inner_text("#compare-designs-chips")


def test_a_run_is_added_and_the_parent_is_offered_first(window, site):
    window.goto(f"{site.at}/compare?runs={site.after.name}")
    window.wait_for_selector("#compare-runs:has-text('Add another run')")
    assert site.before.name in window.inner_text("#compare-run")
    window.locator("section[aria-label='runs side by side'] button.main").click()
    until(window, f"location.search.includes('{site.before.name}')")
    window.wait_for_selector("#compare-price-0 .main-svg >> nth=0")


def test_a_run_that_ends_meanwhile_is_drawn_again(window, site):
    status = site.after.folder / "status.json"
    ended = status.read_text()
    status.write_text(ended.replace('"ended"', '"running"'))  # nobody works on it
    try:
        runs(window, site)
        window.wait_for_selector("#compare-states:has-text('interrupted')")
        status.write_text(ended)
        until(window, "!document.querySelector('#compare-states').textContent"
                      ".includes('interrupted')")  # fmt: skip
        until(window, "!document.querySelector('[aria-label=\"the runs side by side\"]')"
                      ".textContent.includes('interrupted')")  # fmt: skip
    finally:
        status.write_text(ended)


def test_the_theme_is_followed_and_paper_is_light_without_controls(window, site):
    designs(window, site, *site.entries)
    window.wait_for_selector("#compare-curves .main-svg >> nth=0")
    window.click("#theme-switch")
    until(window, "document.querySelector('#compare-curves .js-plotly-plot').layout"
                  ".paper_bgcolor === '#15191e'")  # fmt: skip
    window.emulate_media(media="print")
    colour = window.eval_on_selector("body", "e => getComputedStyle(e).backgroundColor")
    assert colour == "rgb(255, 255, 255)"
    assert not window.locator(".compare-chooser").first.is_visible()


def test_no_figure_is_cut_off_on_paper(window, site):
    window.set_viewport_size({"width": 1900, "height": 900})
    runs(window, site)
    wide = "document.querySelector('#compare-fronts .main-svg').getBoundingClientRect().width"
    until(window, f"{wide} > 1000")
    window.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    until(window, f"{wide} < 700")
    window.evaluate("window.dispatchEvent(new Event('afterprint'))")
    until(window, f"{wide} > 1000")


@pytest.mark.parametrize("width", [400, 1366, 2560])
def test_no_width_makes_the_page_scroll_sideways(window, site, width):
    window.set_viewport_size({"width": width, "height": 800})
    more = f"&runs={site.before.name},{site.after.name}"
    designs(window, site, *site.entries, "named/high", more=more)
    window.wait_for_selector("#compare-price-0 .main-svg >> nth=0")
    window.wait_for_timeout(500)
    assert window.evaluate("document.documentElement.scrollWidth") <= width
