"""The area Runs in a real browser: the list, live progress, stopping, going on, broken folders."""

import contextlib
import json
import os
import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest

from optimizer.files import Lock, write_json, writer
from optimizer.page import jobs
from optimizer.page.library import Library
from tests.optimizer.made_runs import made_run
from tests.page.browser.windows import served, until
from tests.page.made import many
from tests.page.test_runs import FRONTS, HOSTILE, edit, going

PATIENCE = 120  # s for a search, on a machine that does much else
WIDTHS = [(400, 800), (1366, 768), (2560, 1440)]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return many(tmp_path_factory.mktemp("made"), 300)


@pytest.fixture
def site(tmp_path, made):
    """The page over a run that opens, one that a test may write, and a broken one."""
    first = Path(shutil.copytree(made, tmp_path / made.name))
    second = made_run(tmp_path, "second", FRONTS, pins=[HOSTILE], parent=first.name)
    edit(second.folder, "manifest.json", sweep={"id": "s", "variant": HOSTILE})
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "manifest.json").write_text(f'{{"schema": {HOSTILE}')
    with served(tmp_path) as at:
        yield SimpleNamespace(root=tmp_path, first=first.name, second=second.name, at=at)
    for lock in tmp_path.glob("*/lock"):
        if writer(lock) not in (None, os.getpid()):
            jobs.stop(Library(tmp_path), lock.parent.name, now=True)


def row(name):
    return f"#runs-list tr[data-run='{name}']"


def listed(page, site, more="/"):
    page.goto(site.at + more)
    page.wait_for_selector(row(site.first))


@contextlib.contextmanager
def search(site, name):
    """Write a run as a search does: its lock held, its status replaced."""
    folder = site.root / name
    with contextlib.closing(Lock(folder / "lock")):
        yield lambda **status: write_json(folder / "status.json", going(**status))


def test_the_list_opens_runs_and_designs_without_loading_the_page_anew(window, site):
    listed(window, site)
    window.evaluate("window.mine = 1")
    window.click(f"{row(site.first)} >> text={site.first}")
    window.wait_for_selector(f"h1:text-is('{site.first}')")
    window.wait_for_selector("text=A limit is active")
    window.go_back()
    window.wait_for_selector(row(site.first))
    window.click(f"{row(site.first)} a[title^='open']")
    window.wait_for_selector("#design-head h1")
    assert window.evaluate("window.mine") == 1


def test_progress_is_drawn_while_it_is_written_and_nothing_else_is(window, site):
    with search(site, site.second) as write:
        write(designs=400, barrier=2)
        listed(window, site)
        window.wait_for_selector(".runs-card >> text=400 of 1,000 designs")
        assert window.inner_text(f"{row(site.second)} .runs-state") == "running"
        link = f"{row(site.second)} a >> nth=0"
        window.focus(link)
        window.evaluate(f'document.querySelector("{row(site.first)}").mine = 1')
        write(designs=700, barrier=3)
        window.wait_for_selector(".runs-card >> text=700 of 1,000 designs")
        window.wait_for_selector(f"{row(site.second)} >> text=700")
        trend = window.locator(".runs-card td img")
        assert trend.get_attribute("alt").startswith("hypervolume of boost: 0.2000 to 0.3000")
        assert trend.evaluate("e => e.complete && e.naturalWidth > 0")
        assert window.evaluate(f'document.querySelector("{row(site.first)}").mine') == 1
        assert window.evaluate("document.activeElement.textContent") == site.second
    window.wait_for_selector(".runs-card", state="detached")
    window.wait_for_selector(f"{row(site.second)} >> text=interrupted")


def test_a_run_that_appears_and_one_that_goes_are_listed_without_loading(window, site):
    listed(window, site)
    third = made_run(site.root, "third", FRONTS)
    window.wait_for_selector(row(third.name))
    for file in third.folder.rglob("*"):
        if file.is_file():
            file.unlink()
    window.wait_for_selector(row(third.name), state="detached")


def test_a_broken_folder_is_a_row_that_opens_with_its_reason(window, site):
    listed(window, site)
    assert "broken/manifest.json cannot be read" in window.inner_text(row("broken"))
    window.click(f"{row('broken')} a")
    window.wait_for_selector("h1:text-is('broken')")
    assert "Copy the run folder again" in window.inner_text("main [role=alert]")
    window.click("text=All runs")
    window.wait_for_selector(row(site.first))


def test_names_and_pins_of_others_are_texts(window, site):
    listed(window, site)
    assert window.inner_text(row(site.second)).count(HOSTILE) >= 2
    assert window.locator("#runs-list img").count() == 0
    window.goto(f"{site.at}/?run={site.second}")
    window.wait_for_selector(f"dd >> text={HOSTILE}")
    assert window.locator("main img[src=x]").count() == 0


def test_picks_by_the_keyboard_lead_to_a_comparison_and_stay_in_the_address(window, site):
    listed(window, site)
    for name, key in ((site.first, "Space"), (site.second, "Enter")):
        box = f"{row(name)} [role=checkbox]"
        window.focus(box)
        window.keyboard.press(key)
        window.wait_for_selector(f"{box}[aria-checked=true]")
    link = window.locator("#runs-picked >> text=Compare them")
    assert link.get_attribute("href") == f"/compare?runs={site.first}%2C{site.second}"
    until(window, "location.search.startsWith('?picks=')")
    window.reload()
    window.wait_for_selector(f"{row(site.first)} [aria-checked=true]")
    window.click("text=Pick none")
    window.wait_for_selector("#runs-list [aria-checked=true]", state="detached")
    until(window, "location.search === ''")


def test_a_search_is_stopped_and_resumed_with_a_confirmation_in_place(window, site):
    library = Library(site.root)
    name = jobs.rerun(library, site.first, ["height_mm <= 90"], designs=300_000)
    window.goto(f"{site.at}/?run={name}")
    window.wait_for_selector("text=Stop now", timeout=1000 * PATIENCE)
    window.wait_for_selector("text=designs on the common front", timeout=1000 * PATIENCE)
    ask = window.locator("summary:text-is('Stop')")
    assert not window.locator("text=Stop it >> nth=0").is_visible()
    ask.focus()
    window.keyboard.press("Enter")
    window.wait_for_selector("text=It finishes its generation, saves everything and ends.")
    window.keyboard.press("Tab")
    assert window.evaluate("document.activeElement.textContent") == "Stop it"
    window.keyboard.press("Enter")
    window.wait_for_selector("summary:text-is('Resume')", timeout=1000 * PATIENCE)
    assert library.run(name).status["reason"] == "stopped"
    assert "stopped" in window.inner_text("#runs-head")
    window.click("summary:text-is('Resume')")
    window.click("text=Resume it")
    window.wait_for_selector("summary:text-is('Stop now')", timeout=1000 * PATIENCE)
    assert name in jobs.running(library)
    window.click("summary:text-is('Stop now')")
    window.click("text=Stop it now")
    window.wait_for_selector("summary:text-is('Resume')", timeout=1000 * PATIENCE)
    assert jobs.running(library) == []


def test_what_cannot_be_done_is_said_where_it_was_asked(window, site):
    edit(site.root / site.second, "status.json", reason="stopped")
    locks = [Lock(site.root / name / "lock") for name in (site.first, "broken")]
    for k, lock in enumerate(locks):
        lock.give(900_000 + k)
    window.goto(f"{site.at}/?run={site.second}")
    window.click("summary:text-is('Resume')")
    window.click("text=Resume it")
    window.wait_for_selector("main [role=alert] >> text=2 at once are allowed")
    for lock in locks:
        lock.close()


def test_nothing_leaves_the_window_and_paper_holds_no_controls(window, site):
    with search(site, site.second) as write:
        write(designs=400, barrier=2)
        for path in ("/", f"/?run={site.second}", f"/?run={site.first}"):
            window.goto(site.at + path)
            window.wait_for_selector("#runs-body h1, #runs-list table")
            for width, height in WIDTHS:
                window.set_viewport_size({"width": width, "height": height})
                window.wait_for_timeout(300)
                assert window.evaluate("document.documentElement.scrollWidth") <= width, path
        window.goto(f"{site.at}/?run={site.second}")
        window.wait_for_selector("text=Stop now")
        window.emulate_media(media="print")
        assert not window.locator("#runs-actions").is_visible()
        assert window.locator(".runs-bar").is_visible()


def test_two_hundred_runs_hold_nothing_up(window, site):
    source = site.root / site.second
    for k in range(200):
        copy = site.root / f"copy-{k:03d}"
        copy.mkdir()
        for file in source.iterdir():
            if file.is_file():
                os.link(file, copy / file.name)
        (copy / "manifest.json").unlink()
        manifest = json.loads((source / "manifest.json").read_text())
        (copy / "manifest.json").write_text(json.dumps({**manifest, "sweep": None}))
    listed(window, site)
    assert window.locator("#runs-list tr[data-run]").count() == 203
    session = window.context.new_cdp_session(window)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})

    def spent():
        found = session.send("Performance.getMetrics")["metrics"]
        return next(m["value"] for m in found if m["name"] == "TaskDuration")

    before = spent()
    window.evaluate("document.querySelectorAll('.runs-pick')[100].click()")
    window.wait_for_selector(".runs-pick[aria-checked=true]")
    assert spent() - before < 0.5  # s of the processor; 0.05 measured
