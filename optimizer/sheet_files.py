"""The design sheet as the bytes of a file, in any of its forms."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from optimizer.sheet import sheet_csv, sheet_html, sheet_json
from optimizer.sheet_blocks import Origin

Document = dict[str, Any]


def _pdf(data: Document, origin: Origin) -> bytes:
    from optimizer.sheet_pdf import sheet_pdf  # the drawing library takes a second to load

    return sheet_pdf(data, origin)


FORMS: dict[str, Callable[[Document, Origin], bytes]] = {
    "html": lambda data, origin: sheet_html(data, origin.text).encode(),
    "pdf": _pdf,
    "json": lambda data, origin: sheet_json(_known(data, origin)).encode(),
    "csv": lambda data, origin: sheet_csv(data).encode(),
}


def _known(data: Document, origin: Origin) -> Document:
    """Return the sheet with where it comes from."""
    return data | {"run": origin.run, "changed_by_hand": dict(origin.changes)}


def sheet_bytes(data: Document, form: str, origin: Origin) -> bytes:
    """Return the sheet as a file.

    Parameters
    ----------
    data : dict
        The document that ``sheet_data`` makes.
    form : str
        One of ``FORMS``.
    origin : Origin
        The run, and what was changed by hand.
    """
    return FORMS[form](data, origin)
