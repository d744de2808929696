"""One Chromium for each file of browser tests, and windows in which nothing may go wrong.

A file says what is behind the windows with a fixture ``site`` whose ``at`` is an address.
"""

from pathlib import Path

import pytest

from tests.page.browser.windows import CHROMIUM, FLAGS, PATIENCE


@pytest.fixture(scope="module")
def chromium():
    """The browser; without one the tests are skipped.

    For a file only: Playwright's loop would be in the way of other tests of the process.
    """
    playwright = pytest.importorskip("playwright.sync_api", reason="there is no Playwright here")
    if not Path(CHROMIUM).exists():
        pytest.skip(f"there is no browser at {CHROMIUM}")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def new_window(chromium, site):
    """Return a function that opens a window.

    A test fails on any error or dialog in one of its windows, and on any request elsewhere.
    """
    wrong, contexts = [], []

    def new(width=1366, height=768, **settings):
        context = chromium.new_context(viewport={"width": width, "height": height}, **settings)
        context.set_default_timeout(1000 * PATIENCE)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda m: wrong.append(m.text) if m.type == "error" else None)
        page.on("dialog", lambda d: (wrong.append("dialog"), d.dismiss()))
        page.on("request", lambda r: None if r.url.startswith((site.at, "data:", "blob:"))
                else wrong.append(r.url))  # fmt: skip
        return page

    yield new
    for context in contexts:
        context.close()
    assert wrong == []


@pytest.fixture
def window(new_window):
    """A new window."""
    return new_window()
