"""Who may talk to the page: this machine, or whoever holds the token."""

from __future__ import annotations

import hmac
from collections.abc import Sequence

import flask

LARGEST_REQUEST = 2_000_000  # bytes
COOKIE = "ripplefront_token"
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")


def guarded(
    server: flask.Flask, *, hosts: Sequence[str], hashes: Sequence[str], token: str | None
) -> None:
    """Refuse foreign hosts, cross-site requests and large bodies; set the headers.

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
    policy = (
        f"default-src 'self'; script-src 'self' {' '.join(hashes)}; "
        "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; connect-src 'self'; "
        "frame-ancestors 'none'; form-action 'self'; base-uri 'none'; object-src 'none'"
    )

    @server.before_request
    def check() -> flask.Response | None:
        request = flask.request
        if request.host not in hosts:
            return _refused(421, "this address is not served here")
        site = request.headers.get("Sec-Fetch-Site", "same-origin")
        origin = request.headers.get("Origin")
        foreign = origin is not None and origin.split("://")[-1] not in hosts
        if request.method not in ("GET", "HEAD") and (foreign or site == "cross-site"):
            return _refused(403, "requests from other sites are refused")
        if token is not None:
            return _shown(token)
        return None

    @server.after_request
    def headers(response: flask.Response) -> flask.Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        return response


def _shown(token: str) -> flask.Response | None:
    """Return nothing where a request shows the token, else what to answer it."""
    request = flask.request
    if hmac.compare_digest(request.cookies.get(COOKIE, "").encode(), token.encode()):
        return None
    if hmac.compare_digest(request.args.get("token", "").encode(), token.encode()):
        # The address without the token, so that it stays out of bookmarks and pictures.
        answer = flask.make_response(flask.redirect(request.path, 303))
        answer.set_cookie(COOKIE, token, httponly=True, samesite="Strict")
        return answer
    return _refused(401, "open the address that the command printed, token included")


def _refused(code: int, reason: str) -> flask.Response:
    return flask.Response(f"{reason}\n", status=code, mimetype="text/plain")
