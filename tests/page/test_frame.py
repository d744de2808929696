"""The frame: addresses lead to areas, errors to messages, and files hold what the frame needs."""

import json
import re
from pathlib import Path

import dash
import pytest
from dash import Input, Output, html
from plotly.utils import PlotlyJSONEncoder

from models.errors import RipplefrontError
from optimizer.page import frame
from optimizer.page.app import AREAS, hosts_of, page_app
from optimizer.page.areas import FIELDS, AddressError, Area, address, parsed
from optimizer.page.library import Library
from tests.optimizer.made_runs import made_run

ASSETS = Path(frame.__file__).parent / "assets"
HOST = "127.0.0.1:8470"
UPDATE = "/_dash-update-component"
FRONT = {"boost": [(0.3, 96.0), (0.5, 95.0)]}


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    root = tmp_path_factory.mktemp("runs")
    made_run(root, "one", FRONT)
    return Library(root)


def texts(component):
    """Return a tree of components as the browser gets it."""
    return json.dumps(component, cls=PlotlyJSONEncoder, ensure_ascii=False)


def ids(component):
    """Return the ids of a tree of components."""
    return set(re.findall(r'"id": "([^"]+)"', texts(component)))


def refusing(library, query):
    raise RipplefrontError("no such thing: <b>x</b>.\n  Take another.\n  Or none.")


def breaking(library, query):
    raise KeyError("secret")


def showing(library, query):
    return html.P(texts(dict(query)))


def registered(app, library):
    for name, error in (("refuse", refusing), ("break", breaking)):

        @app.callback(
            Output(f"{name}-a", "children"), Output(f"{name}-b", "children"),
            Input(name, "n_clicks"),
        )  # fmt: skip
        def answer(clicks, error=error):
            return error(None, None)


MADE = (
    Area("/", "Start", showing, registered),
    Area("/refusing", "Refusing", refusing, lambda app, library: None),
    Area("/breaking", "Breaking", breaking, lambda app, library: None),
)


# ---- addresses ------------------------------------------------------------------------


def test_an_address_is_read_back_as_it_was_written():
    query = {"run": "a b", "set": "x=1;y=ü&<b>", "pins": "cost <= 60"}
    path, _, search = address("/design", **query, none="").partition("?")
    assert path == "/design"
    assert parsed("?" + search) == query
    assert address("/fronts") == "/fronts"
    assert parsed(None) == parsed("") == parsed("?") == {}


def test_an_address_with_more_entries_than_any_view_is_refused():
    with pytest.raises(AddressError, match=f"more than {FIELDS} entries"):
        parsed("?" + "a=1&" * (FIELDS + 1))


@pytest.mark.parametrize("path", ["/", "", "//", "/refusing/", "/none", "/../etc", "/<b>"])
def test_every_path_leads_to_an_area_or_a_plain_sentence(library, path):
    found = texts(frame.shown(library, MADE, path, "?run=one"))
    if path in ("/", "", "//"):
        assert "one" in found
    elif path == "/refusing/":
        assert "no such thing" in found
    else:
        assert "There is no such page" in found


def test_an_error_of_an_area_says_the_reason_and_a_way_out(library):
    heading, told, way = frame.shown(library, MADE, "/refusing", "?run=gone")
    assert heading.children == "Refusing"
    assert told.role == "alert"
    assert [c.children for c in told.children] == [
        "no such thing: <b>x</b>.", "Take another.", "Or none."]  # fmt: skip
    assert way.children.href == "/refusing"


def test_a_fault_of_an_area_says_nothing_of_its_inside(library, capfd):
    found = texts(frame.shown(library, MADE, "/breaking", ""))
    assert frame.FAULT in found
    assert "secret" not in found
    assert "KeyError: 'secret'" in capfd.readouterr().err


def test_an_error_without_words_is_still_a_message():
    assert frame.message(RipplefrontError("")).role == "alert"


@pytest.mark.parametrize("area", AREAS, ids=lambda a: a.title)
def test_every_area_opens_without_a_query_and_with_one_that_names_nothing(library, area, capfd):
    for search in ("", "?run=none&id=none&runs=none&designs=none:none&x=none&set=none"):
        found = texts(frame.shown(library, AREAS, area.path, search))
        assert frame.FAULT not in found, capfd.readouterr().err


# ---- errors of callbacks --------------------------------------------------------------


@pytest.fixture
def faulty(library, monkeypatch):
    """A client of a page whose areas fail."""
    monkeypatch.setattr("optimizer.page.app.AREAS", MADE)
    return page_app(library.root, hosts_of("127.0.0.1", 8470)).server.test_client()


def clicked(client, name):
    outputs = [{"id": f"{name}-{k}", "property": "children"} for k in "ab"]
    body = {
        "output": f"..{name}-a.children...{name}-b.children..",
        "outputs": outputs,
        "inputs": [{"id": name, "property": "n_clicks", "value": 1}],
        "changedPropIds": [f"{name}.n_clicks"],
    }
    return client.post(UPDATE, json=body, headers={"Host": HOST})


def test_a_mistake_in_any_callback_becomes_a_notice_and_changes_nothing_else(faulty):
    answer = clicked(faulty, "refuse")
    assert answer.status_code == 200
    found = answer.get_json()
    assert "no such thing" in json.dumps(found["sideUpdate"]["notice"])
    assert found.get("response", {}) == {}


def test_a_fault_in_any_callback_becomes_a_plain_notice(faulty, capfd):
    answer = clicked(faulty, "break")
    assert answer.status_code == 200
    notice = json.dumps(answer.get_json()["sideUpdate"]["notice"])
    assert frame.FAULT in notice
    assert "secret" not in notice
    assert "KeyError: 'secret'" in capfd.readouterr().err


# ---- what stands around the areas -----------------------------------------------------


def test_the_frame_holds_what_areas_and_readers_of_the_screen_rely_on():
    found = frame.frame(AREAS)
    assert {"address", "view", "theme", "pins", "content", "notice", "status", "busy"} <= ids(
        found
    )
    told = texts(found)
    assert '"role": "status"' in told
    assert '"href": "#content"' in told
    assert '"tabIndex": "-1"' in told
    for area in AREAS:
        assert area.title in told
    assert "qualified people" in told


def test_paths_and_titles_of_areas_are_all_different():
    assert len({a.path for a in AREAS}) == len({a.title for a in AREAS}) == len(AREAS)


def test_every_function_that_the_frame_calls_in_the_browser_is_there():
    script = (ASSETS / "page.js").read_text()
    for name in [*(n for n, *_ in frame._IN_THE_BROWSER), "keep_address"]:
        assert re.search(rf"^    {name}: ", script, re.M), name


def test_no_script_of_the_page_builds_markup_from_text_or_code_from_strings():
    for path in ASSETS.glob("*.js"):
        script = path.read_text()
        for way in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(",
                    "new Function", "setTimeout(\"", "http://", "https://"):  # fmt: skip
            assert way not in script, f"{path.name} uses {way}"


def test_no_style_of_the_page_loads_anything():
    for path in ASSETS.glob("*.css"):
        assert not re.search(r"@import|url\(", path.read_text()), path.name


def test_no_area_turns_text_into_markup():
    for path in Path(frame.__file__).parent.glob("*.py"):
        source = path.read_text()
        for way in ("dcc.Markdown", "dangerously_allow_html", "html.Iframe", "srcDoc", "Scattergl",
                    "scattergl", "parcoords", "Parcoords", "app.run"):  # fmt: skip
            assert way not in source, f"{path.name} uses {way}"


def test_notices_reach_a_page_only_from_inside_a_callback():
    with pytest.raises(dash.exceptions.MissingCallbackContextException):
        frame.noticed(RipplefrontError("x"))
