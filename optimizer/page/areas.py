"""What an area of the page is, and the addresses that restore a view."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import parse_qsl, urlencode

import dash

from models.errors import RipplefrontError
from optimizer.page.library import Library

Query = Mapping[str, str]
FIELDS = 200  # entries of an address


class AddressError(RipplefrontError):
    """An address that no view has."""


@dataclasses.dataclass(frozen=True)
class Area:
    """One area of the page.

    Parameters
    ----------
    path : str
        Path of its address.
    title : str
        What the navigation and the window say.
    layout : Callable
        Draws it from the library and the query of the address.
    register : Callable
        Adds its callbacks to the application, once.
    """

    path: str
    title: str
    layout: Callable[[Library, Query], Any]
    register: Callable[[dash.Dash, Library], None]


def address(path: str, **query: str) -> str:
    """Return the address of a view; empty entries are left out."""
    kept = {k: v for k, v in query.items() if v}
    return f"{path}?{urlencode(kept)}" if kept else path


def parsed(search: str | None) -> dict[str, str]:
    """Return the entries of a query; of repeated ones the last.

    Raises
    ------
    AddressError
        If there are more entries than any view needs.
    """
    try:
        return dict(parse_qsl((search or "").removeprefix("?"), max_num_fields=FIELDS))
    except ValueError:
        raise AddressError(
            f"the address has more than {FIELDS} entries.\n  Choose an area above."
        ) from None
