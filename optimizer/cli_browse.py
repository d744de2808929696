"""The command that serves the page."""

from __future__ import annotations

import os
import secrets
import sys
import threading
import webbrowser
from pathlib import Path
from urllib.parse import urlencode

import click

from optimizer.terminal import FILE, say

LOCAL = "127.0.0.1"
PORT = 8470


@click.command()
@click.argument("runs", type=FILE, default=Path("runs"))
@click.option(
    "--port", type=click.IntRange(0, 65535), default=PORT, show_default=True,
    help="Port to serve at; 0 takes any that is free.",
)  # fmt: skip
@click.option(
    "--listen", metavar="ADDRESS", default=LOCAL, show_default=True,
    help="Address to serve; any other than this machine's own needs the token it prints.",
)  # fmt: skip
@click.option(
    "--name", "names", multiple=True, metavar="HOST[:PORT]",
    help="Further name that browsers ask for the page by; needs the token.",
)  # fmt: skip
@click.option(
    "--token/--no-token", "guarded", default=False,
    help="Ask for the token on this machine too, where others have accounts on it.",
)  # fmt: skip
@click.option("--open/--no-open", "show", default=None, help="Open the page in a browser.")
def browse(
    runs: Path, port: int, listen: str, names: tuple[str, ...], guarded: bool, show: bool | None
) -> None:
    """Serve the page over the run folders in RUNS, until Ctrl-C.

    It answers this machine alone.  From another one, forward the port over ssh, with the
    same number at both ends.
    """
    from models.errors import RipplefrontError
    from optimizer.page.app import hosts_of, listening, page_app, serve_at
    from optimizer.page.guard import LOOPBACK

    if not runs.is_dir():
        raise RipplefrontError(
            f"{runs} is no folder.\n  Name the folder that holds the run folders."
        )
    place = listening(listen, port)
    hosts = hosts_of(listen, place.getsockname()[1], names)
    local = listen in (*LOOPBACK, "::1")
    token = secrets.token_urlsafe(24) if guarded or names or not local else None
    app = page_app(runs, hosts, token)
    address = f"http://{hosts[0]}/" + (f"?{urlencode({'token': token})}" if token else "")
    say(f"the page: {address}\nCtrl-C ends it; sweeps that it started go on.")
    if not local:
        say(
            "warning: other machines can reach this address. Whoever has the line above can read "
            "all runs and start sweeps; it is not encrypted. Better: forward the port over ssh."
        )
    if show if show is not None else _has_screen():
        # Some browsers hold whoever starts them until they are closed.
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    serve_at(app, place)


def _has_screen() -> bool:
    """Return whether somebody sits before this machine."""
    screen = sys.platform in ("darwin", "win32") or any(
        os.environ.get(key) for key in ("DISPLAY", "WAYLAND_DISPLAY")
    )
    return screen and sys.stdout.isatty()


COMMANDS: tuple[click.Command, ...] = (browse,)
