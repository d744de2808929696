"""A run as one file that opens in any browser: no server, nothing fetched, nothing foreign run."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import jinja2
import plotly.offline
from markupsafe import Markup

from optimizer import report_data as data
from optimizer import report_figures as drawing
from optimizer.archive import Run, open_run
from optimizer.binding import RULE
from optimizer.cautions import CAUTIONS
from optimizer.compare_data import READING
from optimizer.figures import CONFIG
from optimizer.figures_data import all_fronts, titles
from optimizer.launch import stored_case
from optimizer.page.theme import GRID, GROUND, INK, SWAPS
from optimizer.report_choice import shortlist
from optimizer.report_data import Material, Progress, Wishes, nothing
from optimizer.report_prices import LEFT_OUT
from optimizer.store import NAME
from optimizer.version import VERSION

FORMAT = "ripplefront.report/1"
# Written inside a script element: no text can end it, whatever a part is called.
ESCAPES = {ord(c): f"\\u{ord(c):04x}" for c in "<>&\u2028\u2029"}


def material(run: Run) -> Material:
    """Return what a report is made of: a run, its case, and its parent beside it."""
    return Material(run, stored_case(run), data.parent(run, lambda name: beside(run, name)))


def beside(run: Run, name: str) -> Run:
    """Return the run of a name in the same folder of runs.

    Raises
    ------
    RunError
        If there is none, or it cannot be read.
    """
    # A manifest from elsewhere must not lead out of the folder of runs.
    return open_run(run.folder.parent / (name if NAME.fullmatch(name) else "-"))


def report(found: Material, wishes: Wishes, progress: Progress = nothing) -> str:
    """Return the report of a run as the text of an HTML file.

    Parameters
    ----------
    found : Material
        The run, its case and its parent.
    wishes : Wishes
        How many designs, with prices or without, packed or plain.
    progress : Callable
        Told how many sheets of how many are made.

    Raises
    ------
    ReportError, RunError
        If the run is of topologies that this version does not know, or more designs are
        wanted than a report holds.
    """
    run = found.run
    chosen = shortlist(run, wishes.designs)
    sheets = data.sheets(found, wishes, chosen, progress)
    limits, bound = data.limiting(found, wishes)
    price, priced = data.price_of_pins(found, wishes)
    figures = {
        "fronts": drawing.fronts(
            all_fronts(run), titles(run), chosen=[c.design.id for c in chosen],
            prices=wishes.prices,
        ),
        **{f"limits{k}": figure for k, figure in enumerate(bound)},
        **({"price": priced} if priced else {}),
    }  # fmt: skip
    return _page(
        wishes, figures, sheets,
        run=run.name,
        facts=[(k, v) for k, v in data.run_facts(found) if v],
        asked=data.asked_for(run, wishes),
        pins=data.pins(run, wishes),
        fronts=data.front_tables(run, wishes, chosen),
        chosen=chosen,
        limits=limits,
        evidence=data.evidence(found, wishes),
        price=price,
        left_out="" if wishes.prices else LEFT_OUT,
        running=found.status["state"] != "ended",
    )  # fmt: skip


def _page(wishes: Wishes, figures: Mapping[str, Any], sheets: list[Any], **content: Any) -> str:
    library = plotly.offline.get_plotlyjs()
    script = _asset("report.js")
    held = {
        "format": FORMAT,
        "packed": wishes.packed,
        "config": CONFIG,
        "dark": {"swaps": SWAPS, "ground": GROUND, "ink": INK, "grid": GRID},
        "figures": figures,
        "sheets": [{"id": s["id"], "held": _packed(escaped(s)) if wishes.packed else s}
                   for s in sheets],
    }  # fmt: skip
    return _environment().get_template("report.html").render(
        **content, version=VERSION, cautions=CAUTIONS, rule=RULE, reading=READING,
        policy=_policy(library, script), style=Markup(_asset("report.css")),
        script=Markup(script), held=Markup(escaped(held)),
        packed=_packed(library) if wishes.packed else "",
        library="" if wishes.packed else Markup(library),
    )  # fmt: skip


def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("optimizer", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _asset(name: str) -> str:
    return (Path(__file__).parent / "templates" / name).read_text(encoding="utf-8")


def escaped(document: Any) -> str:
    """Return a document as JSON that is safe inside a script element."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.translate(ESCAPES)


def _packed(text: str) -> str:
    """Return a text packed, in letters; without a date the same text gives the same letters."""
    return base64.b64encode(gzip.compress(text.encode(), mtime=0)).decode()


def _policy(*scripts: str) -> str:
    """Return what the report may do: run these very scripts, style itself, nothing else."""
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'"
        for s in scripts
    )
    return (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; "
        "img-src data: blob:; base-uri 'none'; form-action 'none'"
    )
