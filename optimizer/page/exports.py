"""Files to take away, by address: sheets, tables, pictures, the report of a run."""

from __future__ import annotations

import contextlib
import re
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import flask

from models.errors import ModelError, RipplefrontError, RunError
from optimizer.export import DESIGNS, FORMS, exported
from optimizer.figures_data import write_picture
from optimizer.page.design_address import changes_in
from optimizer.page.design_inputs import sorted_changes
from optimizer.page.library import Library
from optimizer.report_choice import MOST, USUAL
from optimizer.sheet_blocks import Origin
from optimizer.sheet_data import sheet_data
from optimizer.sheet_files import FORMS as SHEET_FORMS
from optimizer.sheet_files import sheet_bytes

KINDS = {
    "html": "text/html", "pdf": "application/pdf", "json": "application/json", "csv": "text/csv",
    "parquet": "application/vnd.apache.parquet", "svg": "image/svg+xml", "png": "image/png",
}  # fmt: skip
PICTURE_FORMS = ("svg", "png", "pdf")
PATIENCE = 60.0  # [s] that a file waits until another one is made
# The drawing library keeps its settings for the whole process: one picture at a time.
_drawing = threading.Lock()
# Tables and reports of large runs take much memory: one at a time.
_large = threading.Lock()


class AskedError(RipplefrontError):
    """An address under ``/export`` that asks for what there is not."""


class BusyError(RipplefrontError):
    """Too much is being made at once."""


Asked = Mapping[str, str]


def routes(server: flask.Flask, library: Library) -> None:
    """Add the addresses under ``/export``."""
    made: dict[str, Callable[[Library, Asked], flask.Response]] = {
        "sheet": sheet, "run": table, "fronts": picture, "report": report,
    }  # fmt: skip
    for name, make in made.items():
        server.add_url_rule(f"/export/{name}", f"export_{name}", _answering(library, make))


def _answering(
    library: Library, make: Callable[[Library, Asked], flask.Response]
) -> Callable[[], flask.Response]:
    def answer() -> flask.Response:
        try:
            return make(library, flask.request.args)
        except BusyError as error:
            return plain(str(error), 503)
        except RunError as error:
            return plain(str(error), 404)
        except RipplefrontError as error:
            return plain(str(error), 400)

    return answer


def sheet(library: Library, asked: Asked) -> flask.Response:
    """Return the sheet of a design, with the changes by hand that the address has."""
    form = _among(asked, "as", tuple(SHEET_FORMS), "html")
    run = library.run(asked.get("run", ""))
    base = library.design(run, asked.get("design", ""))
    changes = _changes(asked.get("set", ""))
    good, bad = sorted_changes(base, changes)
    if bad:
        told = "\n".join(f"  {path}: {reason}" for path, reason in bad.items())
        raise AskedError(f"these changes cannot be made:\n{told}\n  Mend or remove them.")
    try:
        item = library.design(run, base.label, good) if good else base
        data = sheet_data(item)
    except (ModelError, ArithmeticError):
        raise AskedError(
            "the design cannot be worked out with these changes.\n  Remove the last of them."
        ) from None
    with _one_at_a_time(_drawing) if form == "pdf" else contextlib.nullcontext():
        content = sheet_bytes(data, form, Origin(run.name, good))
    name = f"sheet-{base.label}{'-edited' if good else ''}.{form}"
    return attached(content, name, KINDS[form])


def _changes(text: str) -> dict[str, str]:
    found = changes_in(text)
    if len(found) < len([piece for piece in text.split(";") if piece.strip()]):
        raise AskedError(
            f"the changes {text[:80]!r} cannot be read.\n"
            "  Write set=PATH=VALUE;PATH=VALUE, each path once."
        )
    return found


def table(library: Library, asked: Asked) -> flask.Response:
    """Return the stored designs of a run as one table."""
    form = _among(asked, "as", tuple(FORMS), "csv")
    designs = _among(asked, "designs", DESIGNS, "front")
    run = library.run(asked.get("run", ""))
    with _one_at_a_time(_large):
        content = exported(run, form, designs)
    return attached(content, f"{run.name}-{designs}.{form}", KINDS[form])


def picture(library: Library, asked: Asked) -> flask.Response:
    """Return the fronts of a run as a picture."""
    form = _among(asked, "as", PICTURE_FORMS, "svg")
    run = library.run(asked.get("run", ""))
    with _one_at_a_time(_drawing), tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"fronts.{form}"
        write_picture(run, path)
        content = path.read_bytes()
    return attached(content, f"fronts-{run.name}.{form}", KINDS[form])


def report(library: Library, asked: Asked) -> flask.Response:
    """Return a run as one file; without prices where the address says ``prices=no``."""
    # Here, since the page opens without ever making a report.
    from optimizer import report as reports
    from optimizer.report_data import Material, Wishes, parent

    prices = _among(asked, "prices", ("yes", "no"), "yes") == "yes"
    wishes = Wishes(_count(asked), prices)
    run = library.run(asked.get("run", ""))
    with _one_at_a_time(_large):
        found = Material(run, library.case(run), parent(run, library.run))
        text = reports.report(found, wishes)
    return attached(text.encode(), f"report-{run.name}.html", KINDS["html"])


def _count(asked: Asked) -> int:
    text = asked.get("designs", str(USUAL))
    if not re.fullmatch("[0-9]{1,4}", text, re.ASCII) or not 1 <= int(text) <= MOST:
        raise AskedError(f"designs={text[:40]!r} is no number from 1 to {MOST}.\n  Write one.")
    return int(text)


def _among(asked: Asked, key: str, known: tuple[str, ...], usual: str) -> str:
    value = asked.get(key, usual)
    if value not in known:
        raise AskedError(
            f"{key}={value[:40]!r} is not known here.\n  Choose one of {', '.join(known)}."
        )
    return value


@contextlib.contextmanager
def _one_at_a_time(lock: threading.Lock) -> Iterator[None]:
    if not lock.acquire(timeout=PATIENCE):
        raise BusyError("other files are being made.\n  Ask again in a minute.")
    try:
        yield
    finally:
        lock.release()


def drawing() -> contextlib.AbstractContextManager[None]:
    """Return what a picture is drawn within, so that no two are drawn at once.

    Raises
    ------
    BusyError
        On entering, if others take too long.
    """
    return _one_at_a_time(_drawing)


def plain(text: str, code: int) -> flask.Response:
    """Return a short answer in plain text."""
    return flask.Response(f"{text}\n", status=code, mimetype="text/plain")


def attached(data: bytes, name: str, kind: str) -> flask.Response:
    """Return a file for download; never shown inside the page, so no script in it runs here."""
    safe = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.") or "file"
    answer = flask.Response(data, mimetype=kind)
    answer.headers["Content-Disposition"] = f'attachment; filename="{safe[-120:]}"'
    return answer
