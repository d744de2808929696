"""The command that serves the page."""

from __future__ import annotations

import secrets
import sys
import webbrowser
from pathlib import Path

import click

from optimizer.terminal import FILE, say

LOCAL = "127.0.0.1"


@click.command()
@click.argument("runs", type=FILE, default=Path("runs"))
@click.option("--port", type=click.IntRange(1024, 65535), default=8470, show_default=True)
@click.option(
    "--listen",
    metavar="ADDRESS",
    default=LOCAL,
    show_default=True,
    help="Address to serve; any other than this machine's own needs the token it prints.",
)
@click.option("--open/--no-open", "show", default=None, help="Open the page in a browser.")
def browse(runs: Path, port: int, listen: str, show: bool | None) -> None:
    """Serve the page over the run folders in RUNS, until Ctrl-C."""
    from models.errors import RipplefrontError
    from optimizer.page.app import hosts_of, page_app, serve

    if not runs.is_dir():
        raise RipplefrontError(
            f"{runs} is no folder.\n  Name the folder that holds the run folders."
        )
    token = None if listen in (LOCAL, "localhost") else secrets.token_urlsafe(24)
    app = page_app(runs, hosts_of(listen, port), token)
    place = f"http://{listen}:{port}/" + (f"?token={token}" if token else "")
    say(f"the page: {place}\nCtrl-C ends it; sweeps that it started go on.")
    if token:
        say(
            "note: other machines can reach this address. Whoever has the line above can read all "
            "runs and start sweeps; it is not encrypted. Better: forward the port over ssh."
        )
    if show if show is not None else sys.stdout.isatty():
        webbrowser.open(place)
    try:
        serve(app, listen, port)
    except OSError as error:
        raise RipplefrontError(
            f"port {port} at {listen} cannot be used: {error.strerror}.\n"
            "  Choose another: --port N."
        ) from None


COMMANDS: tuple[click.Command, ...] = (browse,)
