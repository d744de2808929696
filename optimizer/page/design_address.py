"""Changes made by hand as the address holds them: ``path=value;path=value``."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import quote, unquote

MOST = 200  # changes; no design has as many variables
PLAIN = " /()+,:~*'!"  # harmless between the separators, and better left readable


def written(changes: Mapping[str, str]) -> str:
    """Return changes, by public path, as text for ``set=`` in an address.

    Examples
    --------
    >>> written({"boost.f_khz": "120", "boost.choke.core": "A;B=C"})
    'boost.f_khz=120;boost.choke.core=A%3BB%3DC'
    """
    return ";".join(f"{path}={quote(text, safe=PLAIN)}" for path, text in changes.items())


def changes_in(text: str | None) -> dict[str, str]:
    """Return the changes that a text from an address holds; what has no form is left out.

    Examples
    --------
    >>> changes_in("boost.f_khz=120;;nonsense;boost.choke.core=A%3BB%3DC")
    {'boost.f_khz': '120', 'boost.choke.core': 'A;B=C'}
    """
    found = {}
    for piece in (text or "").split(";")[:MOST]:
        path, equals, value = piece.partition("=")
        if path.strip() and equals:
            found[path.strip()] = unquote(value)
    return found
