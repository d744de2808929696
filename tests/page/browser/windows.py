"""What the browser tests share: the browser, the page behind it, and how to wait for something."""

import contextlib
import os
import shutil
import threading
import time

import waitress
from waitress import wasyncore

from optimizer.page.app import hosts_of, listening, page_app

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip
PATIENCE = 60  # s, on a machine that does much else


@contextlib.contextmanager
def served(root, *, threads=4):
    """Serve the page over a folder of runs; give its address."""
    place = listening("127.0.0.1", 0)
    port = place.getsockname()[1]
    app = page_app(root, hosts_of("127.0.0.1", port))
    # In memory: a window that closes early would leave an answer kept in a file unclosed.
    server = waitress.create_server(
        app.server, sockets=[place], threads=threads, outbuf_overflow=1 << 28
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.trigger.pull_trigger(lambda: wasyncore.close_all(server._map))
        thread.join(timeout=10)
        server.task_dispatcher.shutdown()


def until(page, expression, seconds=PATIENCE):
    """Wait until an expression holds; the page's policy forbids Playwright's own way."""
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, f"never came true: {expression}"
        page.wait_for_timeout(40)
