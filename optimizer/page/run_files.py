"""Links to what can be taken away of a run: report, tables, pictures."""

from __future__ import annotations

from typing import Any

from dash import html

from optimizer.export import FORMS
from optimizer.page.areas import address
from optimizer.page.exports import PICTURE_FORMS

TITLES = {"parquet": "Parquet"}  # others in capitals


def run_files(name: str) -> html.P:
    """Return links to what can be taken away of a run, in one line."""
    found: list[Any] = ["To take away: ", _file("Report", "report", run=name),
                        " · front designs as "]  # fmt: skip
    for form in FORMS:
        found += [_file(TITLES.get(form, form.upper()), "run", run=name, **{"as": form}), " "]
    found.append("· picture of the fronts as ")
    for form in PICTURE_FORMS:
        found += [_file(form.upper(), "fronts", run=name, **{"as": form}), " "]
    return html.P(found, className="run-files")


def _file(title: str, kind: str, **asked: str) -> html.A:
    return html.A(title, href=address(f"/export/{kind}", **asked), download=True)
