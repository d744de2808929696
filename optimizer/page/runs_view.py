"""What the area shows in pieces, so that only those that changed are drawn anew."""

from __future__ import annotations

import dataclasses
import itertools
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeAlias

from dash import dcc, html

from models.errors import RipplefrontError
from optimizer.page import frame, runs_detail, runs_list, runs_live
from optimizer.page.areas import address
from optimizer.page.runs_actions import actions
from optimizer.page.runs_facts import Entry, Facts, stamps
from optimizer.page.runs_families import families
from optimizer.page.runs_live import Trends
from optimizer.page.runs_words import age

# Properties to set at places of the page, by the id of the place.
Content: TypeAlias = Sequence[tuple[Any, dict[str, Any]]]


@dataclasses.dataclass(frozen=True)
class Piece:
    """A part of the view.

    ``mark`` changes whenever its content does; ``covers`` is the beginning of the keys of
    the pieces that are drawn with it.
    """

    key: str
    mark: str
    content: Callable[[], Content]
    covers: str | None = None


def changed(pieces: Sequence[Piece], shown: Mapping[str, str]) -> list[Piece]:
    """Return the pieces to draw anew, given the marks of those shown."""
    found: list[Piece] = []
    for piece in pieces:
        drawn_with = any(p.covers is not None and piece.key.startswith(p.covers) for p in found)
        if shown.get(piece.key) != piece.mark and not drawn_with:
            found.append(piece)
    return found


def marks(pieces: Sequence[Piece]) -> dict[str, str]:
    """Return the mark of every piece by its key."""
    return {p.key: p.mark for p in pieces}


def put(place: Any, components: Any) -> Content:
    """Return what puts components into a place."""
    return [(place, {"children": components})]


def merged(contents: Iterable[Content]) -> Content:
    """Return contents with one entry for the rows, which share a place."""
    rows: dict[str, Any] = {}
    others = []
    for place, properties in itertools.chain.from_iterable(contents):
        if place == "runs-fresh":
            rows |= properties["data"]
        else:
            others.append((place, properties))
    return [*others, ("runs-fresh", {"data": rows})] if rows else others


def _mark(*facts: object) -> str:
    return f"{zlib.crc32(repr(facts).encode()):x}"


@dataclasses.dataclass(frozen=True)
class Overview:
    """The list of all runs, and how those go that are worked on."""

    facts: Facts
    trends: Trends
    entries: Sequence[Entry]
    picks: Sequence[str]

    @property
    def held(self) -> list[Entry]:
        """The runs that are worked on, before those that wait for their turn."""
        return sorted((e for e in self.entries if e.held), key=lambda e: e.state == "waiting")

    def pieces(self) -> list[Piece]:
        """Return its pieces; the first of each kind covers the others."""
        held = self.held
        order = [(e.name, e.parent, e.sweep, e.state == "broken") for e in self.entries]
        return [
            Piece("cards", _mark([e.name for e in held]),
                  lambda: [*put("runs-cards", self.cards()), *put("status", self._spoken())],
                  "card "),
            *[Piece(f"card {e.name}", _mark(e.state, e.progress), self._card(e)) for e in held],
            Piece("rows", _mark(order),
                  lambda: [("runs-rows", {"data": self._rows()})], "row "),
            *[
                Piece(f"row {e.name}", _mark(e, age(e.created)), self._row(e, depth))
                for family in families(self.entries)
                for depth, e in family
            ],
        ]  # fmt: skip

    def body(self) -> Any:
        """Return all of it."""
        return [
            html.Div(self.cards(), id="runs-cards"),
            html.H2("All runs"),
            html.P(runs_list.picked(self.picks), id="runs-picked", role="status"),
            html.Div(id="runs-list", className="wide"),
            dcc.Store(id="runs-rows", data=self._rows()),
            dcc.Store(id="runs-fresh"),
        ]

    def _rows(self) -> Any:
        return runs_list.plain(runs_list.listed(self.entries, self.picks))

    def cards(self) -> list[Any]:
        """Return how those runs go that are worked on."""
        held = self.held
        head = [html.H2("Being searched")] if held else []
        return [*head, *[self._framed(e) for e in held]]

    def _spoken(self) -> str:
        """Return what is announced when a search begins or ends."""
        names = ", ".join(e.name for e in self.held)
        return f"being searched: {names}" if names else "no run is being searched"

    def _framed(self, entry: Entry) -> html.Section:
        place = {"type": "runs-card", "run": entry.name}
        title = [dcc.Link(entry.name, href=address("/", run=entry.name)),
                 f" · variant {entry.variant}" if entry.variant else ""]  # fmt: skip
        return html.Section(
            [html.H3(title), html.Div(live(self, entry), id=place)],
            className="runs-card",
            **{"aria-label": entry.name},
        )

    def _row(self, entry: Entry, depth: int) -> Callable[[], Content]:
        def content() -> Content:
            row = runs_list.row(entry, depth, entry.name in self.picks)
            return [("runs-fresh", {"data": {entry.name: runs_list.plain(row)}})]

        return content

    def _card(self, entry: Entry) -> Callable[[], Content]:
        place = {"type": "runs-card", "run": entry.name}
        return lambda: put(place, live(self, entry))


@dataclasses.dataclass(frozen=True)
class Opened:
    """One run."""

    facts: Facts
    trends: Trends
    entries: Sequence[Entry]
    name: str

    @property
    def entry(self) -> Entry:
        """The run itself; broken where it is not there any more."""
        found = [e for e in self.entries if e.name == self.name]
        return found[0] if found else Entry(self.name, "broken", "This run is not here any more.")

    def pieces(self) -> list[Piece]:
        """Return its pieces."""
        entry, library = self.entry, self.facts.library
        folder = library.root / self.name
        family = [(e.name, e.held) for e in self.entries if entry.sweep and e.sweep == entry.sweep]
        around = [e.name for e in self.entries]
        if entry.state == "broken":
            return [Piece("all", _mark(entry.why), lambda: put("runs-body", self.body()))]
        return [
            Piece("all", "whole", lambda: put("runs-body", self.body()), ""),
            Piece("head", _mark(entry, age(entry.created), around),
                  lambda: put("runs-head", runs_detail.head(entry, self.entries))),
            Piece("actions", _mark(entry.held, entry.resumable, family),
                  lambda: [*put("runs-actions", actions(entry, self.entries)),
                           *put("status", f"{self.name}: {entry.state} {entry.why}")]),
            Piece("live", _mark(entry.state, entry.progress),
                  lambda: put("runs-now", self._now())),
            Piece("found", _mark(entry.state, stamps(folder, ("archive.npz",))),
                  lambda: put("runs-found", runs_detail.found(library, self.name))),
            Piece("course", _mark(entry.state, _length(self.facts, self.name)),
                  lambda: put("runs-course", runs_detail.course(library, self.name))),
        ]  # fmt: skip

    def body(self) -> Any:
        """Return all of it."""
        entry, library = self.entry, self.facts.library
        back = html.P(dcc.Link("All runs", href=address("/")))
        if entry.state == "broken":
            error = RipplefrontError(entry.why)
            return [back, html.H1(self.name), frame.message(error)]
        return [
            back,
            html.H1(self.name),
            html.Div(runs_detail.head(entry, self.entries), id="runs-head"),
            html.Div(actions(entry, self.entries), id="runs-actions"),
            html.Div(id={"type": "runs-said", "run": self.name}, role="status"),
            html.Div(self._now(), id="runs-now"),
            html.Div(runs_detail.found(library, self.name), id="runs-found"),
            html.H2("What limits it"),
            html.Div(
                html.P("Being worked out …", className="soft"),
                id={"type": "runs-limits", "run": self.name},
            ),
            html.Div(runs_detail.course(library, self.name), id="runs-course"),
            html.H2("What was asked for"),
            *runs_detail.asked_for(library, self.name),
        ]

    def _now(self) -> list[Any]:
        if not self.entry.held:
            return []
        return [html.H2("How it goes"), html.Div(live(self, self.entry), className="runs-card")]


def live(view: Overview | Opened, entry: Entry) -> Any:
    """Return how a search goes, or why that cannot be told."""
    try:
        return runs_live.card(entry, view.facts.library.root / entry.name, view.trends)
    except RipplefrontError as error:
        return frame.message(error)


def _length(facts: Facts, name: str) -> int:
    path = facts.library.root / name / "journal.jsonl"
    return path.stat().st_size if path.exists() else 0
