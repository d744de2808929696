"""The application: areas in their frame, guarded, served by a plain threaded server."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import dash
import waitress

from optimizer.page import exports, frame, guard
from optimizer.page.areas import Area
from optimizer.page.compare_area import AREA as COMPARE
from optimizer.page.design_area import AREA as DESIGN
from optimizer.page.fronts_area import AREA as FRONTS
from optimizer.page.library import Library
from optimizer.page.runs_area import AREA as RUNS

AREAS: tuple[Area, ...] = (RUNS, FRONTS, DESIGN, COMPARE)
THREADS = 6


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
    app = dash.Dash(
        __name__,
        title="ripplefront",
        update_title="",
        suppress_callback_exceptions=True,
        serve_locally=True,
        enable_mcp=False,
    )
    app.layout = frame.frame(AREAS)
    frame.register(app, library, AREAS)
    exports.routes(app.server, library)
    guard.guarded(app.server, hosts=hosts, hashes=app.csp_hashes(), token=token)
    return app


def hosts_of(address: str, port: int) -> list[str]:
    """Return the Host headers that an address is asked by."""
    names = guard.LOOPBACK if address in guard.LOOPBACK else (address, *guard.LOOPBACK)
    return [f"{name}:{port}" for name in names]


def serve(app: dash.Dash, address: str, port: int) -> None:
    """Serve until interrupted."""
    waitress.serve(
        app.server, host=address, port=port, threads=THREADS, ident=None,
        max_request_body_size=guard.LARGEST_REQUEST, _quiet=True,
    )  # fmt: skip
