"""The application: areas in their frame, guarded, served by a plain threaded server."""

from __future__ import annotations

import contextlib
import logging
import os
import socket
from collections.abc import Iterator, Sequence
from pathlib import Path

import dash
import waitress

from models.errors import RipplefrontError
from optimizer.page import exports, frame, guard
from optimizer.page.areas import Area
from optimizer.page.compare_area import AREA as COMPARE
from optimizer.page.design_area import AREA as DESIGN
from optimizer.page.fronts_area import AREA as FRONTS
from optimizer.page.library import Library
from optimizer.page.runs_area import AREA as RUNS

AREAS: tuple[Area, ...] = (RUNS, FRONTS, DESIGN, COMPARE)
THREADS = 6
LARGEST_HEADER = 65_536  # bytes
EVERYWHERE = ("0.0.0.0", "::")  # compared with, to tell and to warn
DOCUMENT = """<!DOCTYPE html>
<html lang="en">
  <head>
    {%metas%}
    <meta name="color-scheme" content="light dark">
    <title>{%title%}</title>
    <link rel="icon" href="/assets/mark.svg" type="image/svg+xml">
    {%css%}
  </head>
  <body>
    <noscript>This page needs JavaScript; everything it shows can also be had from the
    command line: ripplefront --help</noscript>
    {%app_entry%}
    <div hidden>{%config%}{%scripts%}{%renderer%}</div>
  </body>
</html>
"""


class ListenError(RipplefrontError):
    """An address or port that cannot be served."""


def page_app(root: Path, hosts: Sequence[str], token: str | None = None) -> dash.Dash:
    """Return the application over the runs in a folder.

    Parameters
    ----------
    root : Path
        Folder that holds the run folders; nothing outside it is read.
    hosts : Sequence of str
        Values of the Host header that are answered, port included.
    token : str, optional
        Secret that every request must show.
    """
    library = Library(root)
    with _own_settings():
        app = dash.Dash(
            __name__,
            title="ripplefront",
            update_title="",
            index_string=DOCUMENT,
            suppress_callback_exceptions=True,
            serve_locally=True,
            enable_mcp=False,
            on_error=frame.noticed,
        )
    app.server.debug = False
    app.layout = frame.frame(AREAS)
    frame.register(app, library, AREAS)
    guard.guarded(app.server, hosts=hosts, hashes=app.csp_hashes(), token=token)
    guard.plain_errors(app.server, app.callback_map)
    exports.routes(app.server, library)
    return app


@contextlib.contextmanager
def _own_settings() -> Iterator[None]:
    """Hide what the environment says to the libraries: it must change nothing here."""
    taken = {
        key: os.environ.pop(key)
        for key in list(os.environ)
        if key.upper().startswith(("DASH_", "FLASK_")) or key.upper() in ("HOST", "PORT")
    }
    try:
        yield
    finally:
        os.environ.update(taken)


def listening(address: str, port: int) -> socket.socket:
    """Return a socket that listens at an address and port, and nowhere else.

    Raises
    ------
    ListenError
        If the address is none of this machine, or the port is taken.
    """
    try:
        family, *_, place = socket.getaddrinfo(address, port, type=socket.SOCK_STREAM)[0]
        return socket.create_server(place[:2], family=family, backlog=1024)
    except (OSError, UnicodeError, OverflowError) as error:
        reason = "there is no such address"
        if isinstance(error, OSError) and not isinstance(error, socket.gaierror):
            reason = os.strerror(error.errno or 0).lower()
        raise ListenError(
            f"port {port} at {address} cannot be used: {reason}.\n"
            "  Choose another with --port N, or --port 0 for any that is free."
        ) from None


def hosts_of(address: str, port: int, names: Sequence[str] = ()) -> list[str]:
    """Return the Host headers that an address is asked by, the one to tell first.

    Parameters
    ----------
    address : str
        The address that is served.
    port : int
        Its port.
    names : Sequence of str
        Further names, with a port where theirs is another one.
    """
    own = [address] if address not in EVERYWHERE else _own_names()
    bare = [n if ":" not in n or n.startswith("[") else f"[{n}]" for n in own]
    local = bare[0] in guard.LOOPBACK
    known = [f"{n}:{port}" for n in dict.fromkeys([*bare, *guard.LOOPBACK])]
    further = [n if n.rpartition(":")[2].isdigit() else f"{n}:{port}" for n in names]
    return [*known, *further] if local else [*further, *known]


def _own_names() -> list[str]:
    """Return the names and addresses that this machine has."""
    name = socket.gethostname()
    found = [name]
    with contextlib.suppress(OSError):
        for family, *_, place in socket.getaddrinfo(name, None, type=socket.SOCK_STREAM):
            if family in (socket.AF_INET, socket.AF_INET6) and "%" not in str(place[0]):
                found.append(str(place[0]))
    return list(dict.fromkeys(found))


def serve(app: dash.Dash, address: str, port: int) -> None:
    """Serve at an address and port until interrupted."""
    serve_at(app, listening(address, port))


def serve_at(app: dash.Dash, place: socket.socket) -> None:
    """Serve at a socket until interrupted."""
    logging.getLogger("waitress").setLevel(logging.ERROR)
    server = waitress.create_server(
        app.server, sockets=[place], threads=THREADS, ident=None, expose_tracebacks=False,
        max_request_body_size=guard.LARGEST_REQUEST, max_request_header_size=LARGEST_HEADER,
    )  # fmt: skip
    try:
        server.run()
    finally:
        place.close()
