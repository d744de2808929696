"""Who may talk to the page: this machine, or whoever holds the token."""

from __future__ import annotations

import hmac
import sys
import traceback
from collections.abc import Container, Sequence
from urllib.parse import urlencode

import flask
from werkzeug.exceptions import HTTPException

LARGEST_REQUEST = 2_000_000  # bytes
COOKIE = "ripplefront_token"
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
METHODS = ("GET", "HEAD", "POST")
UPDATE = "/_dash-update-component"
SUITES = "/_dash-component-suites/"
# Names with a fingerprint or a date: the only answers a browser may keep.
LASTING = (SUITES, "/assets/")
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), usb=(), serial=()",
}


def guarded(
    server: flask.Flask, *, hosts: Sequence[str], hashes: Sequence[str], token: str | None
) -> None:
    """Refuse foreign hosts, requests from other sites and large bodies; set the headers.

    Parameters
    ----------
    server : flask.Flask
        The server to guard.
    hosts : Sequence of str
        Values of the Host header that are answered, port included.
    hashes : Sequence of str
        Hashes of the inline scripts that may run.
    token : str, optional
        Secret that every request must show, in the address once, then in a cookie.
    """
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_REQUEST
    known = frozenset(host.lower() for host in hosts)
    told = f"this page answers at http://{hosts[0]}/ and nowhere else; forward the same port"
    policy = _policy(hashes)

    @server.before_request
    def check() -> flask.Response | None:
        if flask.request.host.lower() not in known:
            return refused(421, told)
        if flask.request.method not in METHODS:
            return refused(405, f"only {', '.join(METHODS)} are answered")
        if _foreign():
            return refused(403, "requests from other sites are refused")
        return _shown(token) if token is not None else None

    @server.after_request
    def headers(response: flask.Response) -> flask.Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers.update(HEADERS)
        if not flask.request.path.startswith(LASTING):
            response.headers["Cache-Control"] = "no-store"
        return response


def _policy(hashes: Sequence[str]) -> str:
    """Return what a document of the page may load: its own scripts and data, no other."""
    scripts = " ".join(h if h.startswith("'") else f"'{h}'" for h in hashes)
    return (
        f"default-src 'self'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; connect-src 'self'; frame-src 'none'; "
        "frame-ancestors 'none'; form-action 'self'; base-uri 'none'; object-src 'none'"
    )


def _foreign() -> bool:
    """Return whether another site sent the request; following a link from one is allowed.

    Another port of this machine is another site: other programs may serve there.
    """
    request = flask.request
    origin = request.headers.get("Origin")
    own = (f"http://{request.host}", f"https://{request.host}")
    if origin is not None and origin.lower() not in own:
        return True
    if request.headers.get("Sec-Fetch-Site", "none") in ("none", "same-origin"):
        return False
    followed = (
        request.headers.get("Sec-Fetch-Mode") == "navigate"
        and request.headers.get("Sec-Fetch-Dest") == "document"
    )
    return request.method == "POST" or not followed


def _shown(token: str) -> flask.Response | None:
    """Return nothing where a request shows the token, else what to answer it."""
    request = flask.request
    # Cookies know no port: two pages of one machine must not overwrite each other's.
    cookie = f"{COOKIE}_{request.host.rpartition(':')[2]}"
    if hmac.compare_digest(request.cookies.get(cookie, "").encode(), token.encode()):
        return None
    if hmac.compare_digest(request.args.get("token", "").encode(), token.encode()):
        # The address without the token, so that it stays out of bookmarks and pictures.
        rest = urlencode([(k, v) for k, v in request.args.items(multi=True) if k != "token"])
        answer = flask.make_response(flask.redirect(f"{request.path}?{rest}".rstrip("?"), 303))
        # Lax, so that a link from a message opens; what changes anything is a POST.
        answer.set_cookie(cookie, token, httponly=True, samesite="Lax")
        return answer
    return refused(401, "open the address that the command printed, token included")


def plain_errors(server: flask.Flask, outputs: Container[str]) -> None:
    """Answer requests that no page sends, and faults, with one plain line.

    Parameters
    ----------
    server : flask.Flask
        The server.
    outputs : Container of str
        Outputs that a request for an update may name.
    """

    @server.before_request
    def check() -> flask.Response | None:
        request = flask.request
        if request.method != "POST" or request.path != UPDATE:
            return None
        if not request.is_json:
            return refused(415, "an update is asked for in JSON")
        try:
            body = request.get_json(silent=True)
        except RecursionError:
            body = None
        if not _sensible(body, outputs):
            return refused(400, "this is no request of the page; load it anew")
        return None

    @server.errorhandler(HTTPException)
    def known(error: HTTPException) -> flask.Response:
        code = error.code or 500
        return refused(code, (error.name or "this request cannot be answered").lower())

    @server.errorhandler(Exception)
    def fault(error: Exception) -> flask.Response:
        if flask.request.path.startswith(SUITES):
            return refused(404, "not found")  # a file of no package that the page uses
        sys.stderr.write("".join(traceback.format_exception(error)))
        return refused(500, "an error of the program; the terminal that serves the page has more")


def _sensible(body: object, outputs: Container[str]) -> bool:
    """Return whether a body is an update that the page can have asked for."""
    if not isinstance(body, dict) or not isinstance(body.get("output"), str):
        return False
    places = [body.get("inputs", []), body.get("state", [])]
    return (
        body["output"] in outputs
        and isinstance(body.get("outputs", []), dict | list)
        and isinstance(body.get("changedPropIds", []), list)
        and all(isinstance(p, list) and all(isinstance(i, dict | list) for i in p) for p in places)
    )


def refused(code: int, reason: str) -> flask.Response:
    """Return an answer of one line in plain text."""
    return flask.Response(f"{reason}\n", status=code, mimetype="text/plain")
