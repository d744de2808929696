"""Who is answered by the page, with what headers, and what it tells those who are not."""

import base64
import functools
import hashlib
import json
import os
import re
import socket

import pytest

from optimizer.page import frame, guard
from optimizer.page.app import hosts_of, page_app
from tests.optimizer.made_runs import made_run

HOST = "127.0.0.1:8470"
OWN = {"Host": HOST, "Origin": f"http://{HOST}", "Sec-Fetch-Site": "same-origin"}
UPDATE = "/_dash-update-component"
TOKEN = "a-token-of-the-test"
FRONT = {"boost": [(0.3, 96.0), (0.5, 95.0)]}
TRACES = ("Traceback", 'File "', "site-packages", "werkzeug", "Error:")


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    root = tmp_path_factory.mktemp("runs")
    made_run(root, "one", FRONT)
    (root.parent / "secret.txt").write_text("not for the page")
    return root


@pytest.fixture(scope="module")
def app(root):
    return page_app(root, hosts_of("127.0.0.1", 8470))


@pytest.fixture
def client(app):
    client = app.server.test_client()
    client.open = functools.partial(client.open, buffered=True)  # files of answers are closed
    return client


@pytest.fixture(scope="module")
def locked(root):
    return page_app(root, hosts_of("10.1.2.3", 8470), TOKEN).server


def asked(**more):
    """Return the request by which the page shows an area."""
    return {
        "output": "content.children",
        "outputs": {"id": "content", "property": "children"},
        "inputs": [{"id": "view", "property": "data", "value": {"path": "/", "search": ""}}],
        "changedPropIds": ["view.data"],
        **more,
    }


def plain(answer):
    """Return the text of an answer that must be one plain line without a trace."""
    text = answer.get_data(as_text=True)
    assert answer.mimetype == "text/plain"
    assert text.count("\n") == 1
    assert not any(trace in text for trace in TRACES)
    return text


# ---- hosts ----------------------------------------------------------------------------


@pytest.mark.parametrize("host", [HOST, "localhost:8470", "LOCALHOST:8470", "[::1]:8470"])
def test_the_names_of_this_machine_are_answered(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["attacker.example", "attacker.example:8470", "127.0.0.1", "127.0.0.1:8471", "localhost",
     "127.0.0.1:8470.attacker.example", "localhost.attacker.example:8470", "0.0.0.0:8470",
     "[::]:8470", "127.0.0.1:8470@attacker.example", "127.1:8470", "2130706433:8470"],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/", "/_dash-layout", "/assets/page.js", "/export/sheet"])
def test_any_other_name_is_refused_as_one_that_is_not_served_here(client, host, path):
    answer = client.get(path, headers={"Host": host})
    assert answer.status_code in (400, 421)
    assert "ripplefront" not in plain(answer)


def test_a_foreign_name_is_answered_with_the_address_to_use(client):
    answer = client.get("/", headers={"Host": "attacker.example:8470"})
    assert answer.status_code == 421
    assert f"http://{HOST}/" in plain(answer)


def test_hosts_of_an_address():
    assert hosts_of("127.0.0.1", 9)[0] == "127.0.0.1:9"
    assert hosts_of("::1", 9)[0] == "[::1]:9"
    assert hosts_of("fd00::5", 9)[0] == "[fd00::5]:9"
    assert "[::1]:9" in hosts_of("localhost", 9)
    assert hosts_of("10.0.0.7", 9) == ["10.0.0.7:9", *(f"{n}:9" for n in guard.LOOPBACK)]
    further = hosts_of("10.0.0.7", 9, ["design.plant", "design.plant:443"])
    assert further[:2] == ["design.plant:9", "design.plant:443"]
    everywhere = hosts_of("0.0.0.0", 9)
    assert f"{socket.gethostname()}:9" in everywhere
    assert "0.0.0.0:9" not in everywhere


# ---- other sites ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://attacker.example"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "http://localhost:8470"},  # another site than the one asked, though ours too
        {"Origin": "http://attacker.example/127.0.0.1:8470"},
        {"Origin": f"file://{HOST}"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate",
         "Sec-Fetch-Dest": "document"},
    ],
)  # fmt: skip
def test_no_other_site_can_post(client, headers):
    found = client.post(UPDATE, json=asked(), headers={**OWN, **headers})
    assert found.status_code == 403
    plain(found)


def test_the_page_itself_can_post(client):
    assert client.post(UPDATE, json=asked(), headers=OWN).status_code == 200
    assert client.post(UPDATE, json=asked(), headers={"Host": HOST}).status_code == 200


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
@pytest.mark.parametrize(
    ("mode", "kind"),
    [("no-cors", "script"), ("no-cors", "image"), ("cors", "empty"), ("navigate", "iframe"),
     ("navigate", "object")],
)  # fmt: skip
def test_no_other_site_can_take_a_part_of_the_page_into_its_own(client, site, mode, kind):
    headers = {
        "Host": HOST,
        "Sec-Fetch-Site": site,
        "Sec-Fetch-Mode": mode,
        "Sec-Fetch-Dest": kind,
    }
    for path in ("/", "/assets/page.js", "/export/sheet", "/_dash-layout"):
        assert client.get(path, headers=headers).status_code == 403


def test_a_link_from_another_site_opens(client):
    headers = {"Host": HOST, "Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate",
               "Sec-Fetch-Dest": "document"}  # fmt: skip
    assert client.get("/fronts?runs=one", headers=headers).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_methods_that_nothing_needs_are_refused(client, method):
    for path in ("/", UPDATE, "/export/sheet", "/assets/page.js"):
        assert client.open(path, method=method, headers=OWN).status_code == 405


# ---- token ----------------------------------------------------------------------------


def cookie_of(answer):
    return answer.headers["Set-Cookie"]


@pytest.mark.parametrize(
    "path", ["/", "/_dash-layout", "/_dash-dependencies", "/assets/page.js", "/export/sheet",
             "/?token=", "/?token=wrong", f"/?token={TOKEN}x", f"/?token={TOKEN[:-1]}",
             f"/?Token={TOKEN}", "/?token=%C3%BC", "/?token=%00"],
)  # fmt: skip
def test_without_the_token_nothing_is_answered(locked, path):
    answer = locked.test_client().get(path, headers={"Host": "10.1.2.3:8470"})
    assert answer.status_code == 401
    assert "token" in plain(answer)
    assert TOKEN not in answer.get_data(as_text=True)


def test_without_the_token_nothing_can_be_posted(locked):
    host = "10.1.2.3:8470"
    headers = {"Host": host, "Origin": f"http://{host}"}
    assert locked.test_client().post(UPDATE, json=asked(), headers=headers).status_code == 401


def test_the_token_in_the_address_counts_once_and_the_cookie_from_then_on(locked):
    client = locked.test_client()
    base = "http://10.1.2.3:8470"
    answer = client.get(f"/fronts?runs=one&token={TOKEN}&x=cost", base_url=base)
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/fronts?runs=one&x=cost"
    assert "HttpOnly" in cookie_of(answer)
    assert "SameSite=Lax" in cookie_of(answer)
    assert client.get("/fronts?runs=one", base_url=base).status_code == 200
    assert client.post(UPDATE, json=asked(), base_url=base).status_code == 200
    assert locked.test_client().get("/", base_url=base).status_code == 401


@pytest.mark.parametrize("path", ["//attacker.example/", "/\\attacker.example/", "///x.example"])
def test_the_token_sends_nobody_elsewhere(locked, path):
    answer = locked.test_client().get(
        f"/?token={TOKEN}",
        headers={"Host": "10.1.2.3:8470"},
        environ_overrides={"PATH_INFO": path},  # as a socket would bring it
    )
    assert answer.status_code == 303
    assert re.match(r"/(?![/\\])", answer.headers["Location"])


def test_a_token_does_not_make_a_foreign_name_known(locked):
    answer = locked.test_client().get(f"/?token={TOKEN}", headers={"Host": "attacker.example"})
    assert answer.status_code == 421


def test_pages_at_two_ports_keep_their_cookies_apart(root):
    first = page_app(root, ["10.1.2.3:1111"], TOKEN).server.test_client()
    answer = first.get(f"/?token={TOKEN}", base_url="http://10.1.2.3:1111")
    assert cookie_of(answer).startswith(f"{guard.COOKIE}_1111=")


def test_the_token_is_compared_in_constant_time(locked, monkeypatch):
    compared = []
    real = guard.hmac.compare_digest
    monkeypatch.setattr(
        guard.hmac, "compare_digest", lambda a, b: compared.append(a) or real(a, b)
    )
    locked.test_client().get("/?token=wrong", headers={"Host": "10.1.2.3:8470"})
    assert compared == [b"", b"wrong"]


# ---- headers --------------------------------------------------------------------------


def policy(answer):
    parts = (p.strip().split(" ") for p in answer.headers["Content-Security-Policy"].split(";"))
    return {name: values for name, *values in parts}


@pytest.mark.parametrize(
    "path", ["/", "/design", "/_dash-layout", "/assets/page.css", "/export/x"]
)
def test_every_answer_carries_the_headers(client, path):
    answer = client.get(path, headers={"Host": HOST})
    rules = policy(answer)
    assert rules["default-src"] == ["'self'"]
    assert rules["connect-src"] == ["'self'"]
    assert rules["frame-ancestors"] == ["'none'"]
    assert rules["object-src"] == rules["base-uri"] == ["'none'"]
    assert not {"'unsafe-inline'", "'unsafe-eval'", "*", "data:", "blob:"} & set(
        rules["script-src"]
    )
    for name, value in guard.HEADERS.items():
        assert answer.headers[name] == value
    assert "Server" not in answer.headers
    assert "Access-Control-Allow-Origin" not in answer.headers


def test_every_inline_script_of_every_page_is_one_that_the_policy_names(client):
    for path in ("/", "/fronts?runs=one", "/design", "/compare", "/none-such"):
        answer = client.get(path, headers={"Host": HOST})
        html = answer.get_data(as_text=True)
        scripts = re.findall(
            r"<script(?![^>]*\bsrc=)(?![^>]*json)[^>]*>(.*?)</script>", html, re.S
        )
        assert scripts
        for script in scripts:
            digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
            assert f"'sha256-{digest}'" in policy(answer)["script-src"]
        assert not re.findall(r"\son[a-z]+=", html)


def test_nothing_of_the_page_comes_from_elsewhere(client):
    html = client.get("/", headers={"Host": HOST}).get_data(as_text=True)
    for place in re.findall(r"(?:src|href)=\"([^\"]+)\"", html):
        assert re.match(r"/(?!/)", place), place
    assert ".dev.js" not in html
    assert "dash-renderer" in html.replace("_", "-")


def test_data_are_kept_by_no_browser_and_the_program_is(client):
    def kept(path):
        return client.get(path, headers={"Host": HOST}).headers["Cache-Control"]

    assert kept("/") == kept("/_dash-layout") == kept("/export/sheet") == "no-store"
    script = re.search(
        r"/_dash-component-suites/[^\"]+react-dom[^\"]+",
        client.get("/", headers={"Host": HOST}).get_data(as_text=True),
    )[0]
    assert "max-age=31536000" in kept(script)


# ---- what is not on the page ----------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    ["/assets/../app.py", "/assets/..%2fapp.py", "/assets/%2e%2e/app.py", "/assets/..\\app.py",
     "/assets//etc/passwd", "/assets/%2fetc/passwd", "/../secret.txt", "/%2e%2e/secret.txt",
     "/_dash-component-suites/dash/../../etc/passwd",
     "/_dash-component-suites/dash/%2e%2e/dash.py", "/_dash-component-suites/os/os.py",
     "/_dash-component-suites/optimizer/page/guard.py", "/static/../app.py"],
)  # fmt: skip
def test_no_path_leads_to_a_file_that_is_not_of_the_page(client, path):
    answer = client.get(path, headers={"Host": HOST})
    text = answer.get_data(as_text=True)
    # Whatever is no address of a file is answered with the empty document.
    assert answer.status_code == 404 or "react-entry-point" in text
    for secret in ("root:", "def guarded", "def page_app", "not for the page"):
        assert secret not in text
    assert not any(trace in text for trace in TRACES[:3])


@pytest.mark.parametrize(
    "run",
    ["../secret.txt", "..", ".", "/etc/passwd", "one%00", "%2e%2e%2fsecret.txt", "a" * 5000,
     "<script>alert(1)</script>"],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/design", "/fronts", "/compare", "/"])
def test_names_that_lead_elsewhere_are_told_as_text(client, run, path):
    view = {"path": path, "search": f"?run={run}&runs={run}&id=1&designs={run}:1"}
    body = asked(inputs=[{"id": "view", "property": "data", "value": view}])
    answer = client.post(UPDATE, json=body, headers=OWN)
    assert answer.status_code == 200
    text = answer.get_data(as_text=True)
    assert "not for the page" not in text
    assert frame.FAULT not in text
    assert not any(trace in text for trace in TRACES[:3])


def test_exports_of_names_that_lead_elsewhere_are_refused_in_one_line(client):
    for run in ("..", "../secret.txt", "<b>", ""):
        answer = client.get(
            "/export/sheet", query_string={"run": run, "design": "1"}, headers={"Host": HOST}
        )
        assert 400 <= answer.status_code < 500
        assert answer.mimetype == "text/plain"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("path", ["/_mcp", "/mcp", "/console", "/__debugger__", "/_alive_x"])
def test_there_is_neither_a_console_nor_another_interface(client, path):
    for method in ("GET", "POST"):
        answer = client.open(path, method=method, headers=OWN)
        assert answer.status_code in (404, 405) or b"react-entry-point" in answer.data
    ask = "/?__debugger__=yes&cmd=resource&f=debugger.js"
    assert b"react-entry-point" in client.get(ask, headers={"Host": HOST}).data


# ---- requests that no page sends ------------------------------------------------------

FORGED = [
    asked(output="no-such.children"),
    asked(output="<script>.x"),
    asked(output=5),
    asked(output=None),
    asked(output=["content.children"]),
    asked(inputs={"a": 1}),
    asked(inputs=[1, 2]),
    asked(inputs=None),
    asked(state="x"),
    asked(changedPropIds=7),
    asked(outputs=3),
    {},
    [],
    "text",
    7,
    None,
]


@pytest.mark.parametrize("body", FORGED, ids=lambda b: json.dumps(b)[:40])
def test_a_forged_update_is_refused_in_one_line(client, body, capfd):
    data = json.dumps(body)
    answer = client.post(UPDATE, data=data, content_type="application/json", headers=OWN)
    assert answer.status_code == 400
    assert "<script" not in plain(answer)
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.parametrize(
    "data", [b"", b"{", b"\xff\xfe\x00", b"[" * 100_000, b'{"output": NaN}', b"a=1&b=2"]
)
def test_an_update_that_is_no_json_is_refused_in_one_line(client, data):
    answer = client.post(UPDATE, data=data, content_type="application/json", headers=OWN)
    assert answer.status_code == 400
    plain(answer)
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""):
        answer = client.post(UPDATE, data=data, content_type=kind, headers=OWN)
        assert answer.status_code in (400, 415)
        plain(answer)


@pytest.mark.parametrize(
    "inputs",
    [
        [],
        [{"id": "view", "property": "data"}],
        [{"id": "view"}],
        [{"id": {"type": "x"}, "property": "data", "value": {}}],
        [{"id": "view", "property": "data", "value": 5}],
        [{"id": "view", "property": "data", "value": {"path": 5, "search": []}}],
        [{"id": "view", "property": "data", "value": {"path": "/"}}],
        [{"id": "view", "property": "data", "value": {"path": "/", "search": "a=1&" * 9999}}],
        [[{"id": "view", "property": "data", "value": 1}]],
        [{"id": "view", "property": "data", "value": None}, {"id": "a", "property": "b"}],
    ],
    ids=lambda i: json.dumps(i)[:40],
)
def test_an_update_of_values_that_no_page_has_never_answers_with_a_trace(client, inputs):
    answer = client.post(UPDATE, json=asked(inputs=inputs), headers=OWN)
    text = answer.get_data(as_text=True)
    assert not any(trace in text for trace in TRACES[:3])
    if answer.status_code >= 400:
        plain(answer)


def test_every_callback_survives_values_of_other_kinds(app, client):
    """Post rubbish for every output: no trace, whatever the areas make of it."""
    for output in list(app.callback_map):
        for value in (None, 5, "x", [], {}, [[{}]], {"run": "../x", "id": 4}):
            for count in (0, 1, 4):
                one = {"id": "x", "property": "data", "value": value}
                body = asked(output=output, inputs=[one] * count, state=[one] * count)
                answer = client.post(UPDATE, json=body, headers=OWN)
                text = answer.get_data(as_text=True)
                assert not any(t in text for t in TRACES[:3]), (output, value)
                if answer.status_code >= 400:
                    plain(answer)


def test_a_body_of_more_than_the_bound_is_refused(client):
    large = json.dumps(asked(junk="x" * guard.LARGEST_REQUEST))
    answer = client.post(UPDATE, data=large, content_type="application/json", headers=OWN)
    assert answer.status_code == 413
    plain(answer)


# ---- faults ---------------------------------------------------------------------------


def test_a_fault_of_an_area_is_one_line_on_the_page_and_a_trace_on_the_terminal(
    root, monkeypatch, capfd
):
    from optimizer.page import app as application
    from optimizer.page.areas import Area

    def layout(library, query):
        raise ZeroDivisionError("<b>inside</b>")

    faulty = Area("/faulty", "Faulty", layout, lambda app, library: None)
    monkeypatch.setattr(application, "AREAS", (faulty,))
    server = page_app(root, [HOST]).server
    view = {"path": "/faulty", "search": ""}
    body = asked(inputs=[{"id": "view", "property": "data", "value": view}])
    answer = server.test_client().post(UPDATE, json=body, headers=OWN)
    assert answer.status_code == 200
    text = answer.get_data(as_text=True)
    assert frame.FAULT in text
    assert "inside" not in text
    assert "ZeroDivisionError" in capfd.readouterr().err


# ---- the environment ------------------------------------------------------------------


@pytest.fixture
def loud(monkeypatch):
    """An environment that asks for everything that the page must not do."""
    for key, value in {
        "HOST": "0.0.0.0", "PORT": "1234", "DASH_DEBUG": "1", "DASH_UI": "1",
        "DASH_HOT_RELOAD": "1", "DASH_SERVE_DEV_BUNDLES": "1", "DASH_MCP_ENABLED": "1",
        "DASH_PRUNE_ERRORS": "0", "DASH_PROPS_CHECK": "1", "DASH_URL_BASE_PATHNAME": "/else/",
        "DASH_ASSETS_EXTERNAL_PATH": "http://attacker.example/", "DASH_APP_NAME": "os",
        "DASH_INCLUDE_ASSETS_FILES": "false", "DASH_SUPPRESS_CALLBACK_EXCEPTIONS": "false",
        "DASH_HEALTH_ENDPOINT": "health", "FLASK_DEBUG": "1", "FLASK_ENV": "development",
        "dash_debug": "1", "DASH_COMPRESS": "1",
    }.items():  # fmt: skip
        monkeypatch.setenv(key, value)


def test_the_environment_changes_nothing(root, client, loud):
    other = page_app(root, hosts_of("127.0.0.1", 8470)).server
    assert os.environ["DASH_DEBUG"] == "1"  # and is left as it was
    assert not other.debug
    for path in ("/", "/_dash-layout", "/_dash-dependencies", "/health", "/_mcp"):
        answers = [c.get(path, headers={"Host": HOST}) for c in (client, other.test_client())]
        texts = [re.sub(r'"end_id":"[^"]*"', "", a.get_data(as_text=True)) for a in answers]
        assert texts[0] == texts[1]
        assert (
            answers[0].headers["Content-Security-Policy"]
            == answers[1].headers["Content-Security-Policy"]
        )
