"""What the page answers when a value is varied, and how groups are brought up to date."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import dash
from dash import html

from models.errors import ModelError
from optimizer.cautions import CAUTIONS
from optimizer.page import design_build, design_life, design_limits, design_watts
from optimizer.page.design_bits import Shown, live, movable, postponed
from optimizer.page.design_head import Open, spoken
from optimizer.page.design_inputs import sorted_changes
from optimizer.page.library import Library
from optimizer.sheet_data import remarks


def _cautions(shown: Shown) -> list[Any]:
    told = live("remarks", *[html.P(t, className="bad") for t in remarks(shown.item)])
    source = f"Source of the model of this topology: {shown.item.topology.source}."
    return [told, *[html.P(text) for text in CAUTIONS], html.P(source, className="soft")]


GROUPS: dict[str, tuple[str, Callable[[Shown], list[Any]]]] = {
    design_watts.NAME: (design_watts.TITLE, design_watts.drawn),
    design_limits.NAME: (design_limits.TITLE, design_limits.drawn),
    design_life.NAME: (design_life.TITLE, design_life.drawn),
    design_build.NAME: (design_build.TITLE, design_build.drawn),
    "cautions": ("Cautions", _cautions),
}


def opened(library: Library, run_name: str, name: str, changes: Mapping[str, str]) -> Open:
    """Return a design of a run with changes, all of which must be possible."""
    run = library.run(run_name)
    base = library.design(run, name)
    item = library.design(run, name, changes) if changes else base
    return Open(run, base.label, base, item, changes)


@dataclasses.dataclass(frozen=True)
class Answer:
    """What the page is told after fields were changed; None leaves as it is."""

    told: str
    fields: dict[str, Any]
    after: Open | None = None


def varied(library: Library, asked: Mapping[str, Any], now: Mapping[str, Any]) -> Answer:
    """Return the design after fields were changed.

    ``asked`` holds the ``run`` and ``id``, every field that differs from the original as
    ``changes``, the ``path`` changed last and a running number ``n``.  A field that cannot
    be read, or leaves its bounds, gets a message, and nothing else changes.
    """
    base = opened(library, asked["run"], asked["id"], {})
    good, bad = sorted_changes(base.base, asked["changes"])
    # A field that says something impossible stays at what it said before.
    good |= {path: now["changes"][path] for path in bad if path in now["changes"]}
    fields = {"n": asked["n"], "messages": bad, "marked": list(good)}
    try:
        after = opened(library, asked["run"], asked["id"], good) if good else base
    except (ModelError, ArithmeticError):
        reason = "with this value the design cannot be worked out"
        return Answer(reason, {**fields, "messages": {**bad, asked["path"]: reason}})
    same = good == now["changes"]
    told = [*bad.values(), *([] if same and bad else [spoken(after)])]
    return Answer("; ".join(told), fields, None if same else after)


@dataclasses.dataclass(frozen=True)
class Drawn:
    """What a drawing sends: whole contents of groups, properties by id, ids by group."""

    contents: list[Any]
    moved: dict[str, dict[str, Any]]
    ids: dict[str, list[str]]


def drawing(
    library: Library, place: Mapping[str, str], changes: Mapping[str, str], *,
    theme: str, names: Sequence[str], there: Mapping[str, Sequence[str]],
) -> Drawn:  # fmt: skip
    """Return what brings groups up to date.

    Parameters
    ----------
    library : Library
        The runs.
    place : Mapping
        ``run`` and ``id`` of the open design.
    changes : Mapping
        What was changed by hand, by public path.
    theme : str
        "light" or "dark".
    names : Sequence of str
        The groups to draw.
    there : Mapping
        Ids that groups show already: where a group still has the same, only their
        properties are sent.
    """
    now = opened(library, place["run"], place["id"], changes)
    shown = Shown(now.run, library.case(now.run), now.stored, now.item, bool(changes), theme)
    contents: list[Any] = [dash.no_update] * len(GROUPS)
    moved: dict[str, dict[str, Any]] = {}
    ids = {n: list(v) for n, v in there.items()}
    for i, name in enumerate(GROUPS):
        if name in names:
            content = GROUPS[name][1](shown)
            found = movable(content)
            if ids.get(name) == list(found):
                moved |= found
            else:
                moved |= postponed(content)
                contents[i], ids[name] = content, list(found)
    return Drawn(contents, moved, ids)
