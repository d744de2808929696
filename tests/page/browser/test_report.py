"""The report in a real browser, opened from the disk: nothing asked for, nothing wrong."""

from types import SimpleNamespace

import pytest

from optimizer import report_data
from optimizer.archive import open_run
from optimizer.report import material, report
from optimizer.report_data import Wishes
from tests.optimizer.test_report import hostile_sheet
from tests.page.browser.windows import until
from tests.page.real import real

GROUND = "getComputedStyle(document.documentElement).backgroundColor"
SHEETS = ".drawing > .plot-container .main-svg"
LIGHT = "getComputedStyle(e).backgroundColor !== 'rgb(21, 25, 30)'"
WIDTHS = [(400, 800), (1366, 768), (2560, 1440)]


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """Reports whose every sheet has hostile names: packed, and plain."""
    root = tmp_path_factory.mktemp("runs")
    found = material(open_run(real(root)))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(report_data, "sheet_data", hostile_sheet(report_data.sheet_data))
        for name, packed in (("packed", True), ("plain", False)):
            path = root / f"{name}.html"
            path.write_text(report(found, Wishes(5, packed=packed)), encoding="utf-8")
    return SimpleNamespace(at=root.as_uri())


@pytest.fixture
def opened(new_window, site):
    """Return a function that opens a report in a new window."""

    def open_(name="packed", place="", **settings):
        page = new_window(**settings)
        page.goto(f"{site.at}/{name}.html{place}")
        until(page, "document.documentElement.dataset.ready === '1'")
        return page

    return open_


def drawn(page, k):
    until(page, f"document.querySelectorAll('details.sheet')[{k}].dataset.state === 'drawn'")
    return page.locator("details.sheet").nth(k)


@pytest.mark.parametrize("name", ["packed", "plain"])
def test_several_sheets_open_and_are_drawn(opened, name):
    page = opened(name)
    assert page.locator(".drawing[data-figure=fronts] .js-line").count() > 0
    for k in (0, 2, 3):
        page.locator("details.sheet summary").nth(k).click()
        sheet = drawn(page, k)
        assert sheet.locator(".drawing .main-svg").count() >= 8
        assert sheet.locator("table").count() > 10
        assert "onerror" in sheet.text_content()
    assert page.locator("img").count() == 0
    assert page.locator("[data-title*=hare], [data-title*=loud]").count() == 0


def test_the_table_sorts_and_leads_to_sheets_by_the_keyboard(opened):
    page = opened()
    table = page.locator(".tall table").first
    head = table.locator("th").nth(1)
    head.locator("button").focus()
    page.keyboard.press("Enter")
    values = [float(v) for v in table.locator("tbody td:nth-child(2)").all_text_contents()]
    assert values == sorted(values)
    assert head.get_attribute("aria-sort") == "ascending"
    page.keyboard.press("Enter")
    values = [float(v) for v in table.locator("tbody td:nth-child(2)").all_text_contents()]
    assert values == sorted(values, reverse=True)
    link = table.locator("tbody a").first
    name = link.text_content()
    link.focus()
    page.keyboard.press("Enter")
    until(page, f"document.getElementById('sheet-{name}').dataset.state === 'drawn'")
    assert page.evaluate("document.activeElement.tagName") == "SUMMARY"


def test_an_address_with_a_design_opens_it(opened):
    page = opened()
    name = page.locator("details.sheet").nth(1).get_attribute("data-design")
    page = opened(place=f"#sheet-{name}")
    drawn(page, 1)


def test_a_click_on_a_ringed_design_opens_its_sheet(opened):
    page = opened(height=1400)
    page.locator(".drawing[data-figure=fronts]").scroll_into_view_if_needed()
    at = page.evaluate(
        """() => {
          const plot = document.querySelector(".drawing[data-figure=fronts]");
          const trace = plot.data.find((t) => t.customdata);
          const k = trace.customdata.findIndex((n) => document.getElementById("sheet-" + n));
          const box = plot.getBoundingClientRect(), size = plot._fullLayout;
          return {name: trace.customdata[k],
                  x: box.x + size.xaxis._offset + size.xaxis.d2p(trace.x[k]),
                  y: box.y + size.yaxis._offset + size.yaxis.d2p(trace.y[k])};
        }"""
    )
    page.mouse.move(at["x"] - 2, at["y"] - 2)
    page.mouse.move(at["x"], at["y"], steps=4)
    page.wait_for_selector(".hovertext")
    page.mouse.click(at["x"], at["y"])
    until(page, f"document.getElementById('sheet-{at['name']}').dataset.state === 'drawn'")


def test_dark_and_light_follow_the_system_and_the_button(opened):
    page = opened(color_scheme="dark")
    line = "getComputedStyle(document.querySelector('.drawing .js-line')).stroke"
    assert page.evaluate(GROUND) == "rgb(21, 25, 30)"
    page.locator("details.sheet summary").first.click()
    sheet = drawn(page, 0)
    bar = sheet.locator(".drawing .main-svg").first
    assert bar.evaluate("e => getComputedStyle(e).backgroundColor") == "rgb(21, 25, 30)"
    page.click("#theme")
    assert page.evaluate(GROUND) == "rgb(255, 255, 255)"
    until(page, f"!{line}.includes('107, 114, 122')")  # the grey of guides on dark ground
    page.emulate_media(color_scheme="light")
    page.emulate_media(color_scheme="dark")
    until(page, f"{GROUND} === 'rgb(21, 25, 30)'")


def test_paper_is_light_and_shows_whole_tables(opened, tmp_path):
    page = opened(color_scheme="dark")
    page.locator("details.sheet summary").first.click()
    drawn(page, 0)
    page.emulate_media(media="print")
    assert page.evaluate(GROUND) == "rgb(255, 255, 255)"
    assert not page.locator("#theme").is_visible()
    assert page.locator(".tall").first.evaluate("e => getComputedStyle(e).maxHeight") == "none"
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    until(page, f"[...document.querySelectorAll('{SHEETS}')].every((e) => {LIGHT})")
    until(page, f"[...document.querySelectorAll('{SHEETS}')].every((e) => e.clientWidth <= 690)")
    assert page.locator("details.sheet:visible").count() == 1  # only what is open
    page.evaluate("dispatchEvent(new Event('afterprint'))")


def test_nothing_is_wider_than_the_window(opened):
    page = opened()
    page.locator("details.sheet summary").first.click()
    drawn(page, 0)
    for width, height in WIDTHS:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(600)  # a figure takes a moment to follow
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_browser_that_cannot_unpack_says_what_to_do_and_shows_the_tables(chromium, site):
    context = chromium.new_context()
    page = context.new_page()
    page.add_init_script("delete window.DecompressionStream")
    page.goto(f"{site.at}/packed.html")
    until(page, "document.documentElement.dataset.ready === '1'")
    assert "--plain" in page.text_content(".drawing[data-figure=fronts]")
    page.locator("details.sheet summary").first.click()
    page.wait_for_selector("details.sheet .bad")
    assert page.locator(".tall table").count() > 0
    context.close()


def test_without_scripts_words_and_tables_are_there(chromium, site):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{site.at}/packed.html")
    assert page.locator("noscript p").is_visible()
    assert page.locator(".caution").is_visible()
    assert page.locator(".tall table").count() > 0
    assert not page.locator("#theme").is_visible()
    context.close()
