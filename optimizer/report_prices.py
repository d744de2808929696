"""A report without prices: what tells of money is left out before anything is written."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

MONEY = "€"
LEFT_OUT = "Prices and costs were left out of this report."
_WORDS = re.compile(r"\bcosts?(?![a-z])|cost_|price|€", re.IGNORECASE)


def tells(text: str) -> bool:
    """Return whether a text tells of money.

    Examples
    --------
    >>> tells("cost <= 60"), tells("limits.cost_max"), tells("box.height_mm <= 25")
    (True, True, False)
    """
    return bool(_WORDS.search(text))


def priceless(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return the document of a sheet without its costs; the cautions stay as they are."""
    kept = {
        key: [row for row in rows if row["unit"] != MONEY and not _named(row)]
        for key, rows in data.items()
        if key in ("results", "limits", "figures", "variables")
    }
    bill = [
        {**item, **{part: [f for f in item[part] if f["unit"] != MONEY]
                    for part in ("build", "stress")}}
        for item in data["bill"]
    ]  # fmt: skip
    return {**data, **kept, "bill": bill, "cost": [], "remarks": without(data["remarks"])}


def _named(row: Mapping[str, Any]) -> bool:
    return tells(str(row.get("name") or row.get("path") or ""))


def without(texts: Iterable[str]) -> list[str]:
    """Return the texts that do not tell of money."""
    return [text for text in texts if not tells(text)]
