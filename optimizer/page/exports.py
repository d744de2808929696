"""Files to take away, by address."""

from __future__ import annotations

import flask

from models.errors import RipplefrontError
from optimizer.page.library import Library
from optimizer.sheet import sheet_csv, sheet_html, sheet_json
from optimizer.sheet_data import sheet_data

SHEET_FORMS = {
    "html": (lambda data, run: sheet_html(data, run), "text/html"),
    "json": (lambda data, run: sheet_json(data), "application/json"),
    "csv": (lambda data, run: sheet_csv(data), "text/csv"),
}


def routes(server: flask.Flask, library: Library) -> None:
    """Add the addresses under ``/export``."""

    @server.get("/export/sheet")
    def sheet() -> flask.Response:
        asked = flask.request.args
        form = asked.get("as", "html")
        if form not in SHEET_FORMS:
            return plain(f"a sheet can be had as {', '.join(SHEET_FORMS)}", 400)
        make, kind = SHEET_FORMS[form]
        try:
            run = library.run(asked.get("run", ""))
            item = library.design(run, asked.get("design", ""))
            text = make(sheet_data(item), run.name)
        except RipplefrontError as error:
            return plain(str(error), 404)
        return attached(text.encode(), f"sheet-{item.label}.{form}", kind)


def plain(text: str, code: int) -> flask.Response:
    """Return a short answer in plain text."""
    return flask.Response(f"{text}\n", status=code, mimetype="text/plain")


def attached(data: bytes, name: str, kind: str) -> flask.Response:
    """Return a file for download; never shown inside the page, so no script in it runs here."""
    answer = flask.Response(data, mimetype=kind)
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
