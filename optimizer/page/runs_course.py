"""What happened to a run, from its journal, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from optimizer.archive import Run
from optimizer.page.runs_words import text_of
from optimizer.progress import duration
from optimizer.standing import MEANING

LAST = 14  # events shown
Event = Mapping[str, Any]


def told(events: Sequence[Event]) -> list[tuple[str, str]]:
    """Return the last events as (moment, words), the newest first."""
    return [(_clock(text_of(e, "at")), words(e)) for e in reversed(events[-LAST:])]


def words(event: Event) -> str:
    """Return one event in words; one of a later version, as it stands."""
    kind = text_of(event, "event")
    say = _SAY.get(kind)
    try:
        return say(event) if say else _plain(kind, event)
    except (KeyError, TypeError, ValueError):
        return _plain(kind, event)


def _clock(moment: str) -> str:
    return moment.replace("T", " ").replace("Z", " UTC")


def _plain(kind: str, event: Event) -> str:
    rest = ", ".join(f"{k} {text_of(event, k)}" for k in event if k not in ("event", "at"))
    return f"{kind}: {rest}" if rest else kind


def _working(event: Event) -> str:
    hands = "several processes" if event.get("ray") else "one process"
    return f"search begun by {hands}, version {text_of(event, 'version')}"


def _barrier(event: Event) -> str:
    return (
        f"round {event['barrier']}: {event['designs']:,} designs, {event['front']} on the "
        f"common front, hypervolume {event['hypervolume']:.4f}, "
        f"{event['live']} structures still searched"
    )


def given_up(event: Event) -> str:
    """Return why a structure was given up."""
    rival = text_of(event, "rival")
    beaten = f"; {rival} is better everywhere" if event.get("lead") is not None else ""
    return f"{text_of(event, 'why')}, after {event['evaluations']:,} designs{beaten}"


def _ended(event: Event) -> str:
    reason = text_of(event, "reason")
    return f"ended: {MEANING.get(reason, reason)}; {event['designs']:,} designs"


_SAY: dict[str, Callable[[Event], str]] = {
    "created": lambda e: "run folder made",
    "working": _working,
    "resumed": lambda e: (
        f"resumed at round {e['barrier']}, after {duration(float(e['seconds']))} of search"
    ),
    "restarted": lambda e: f"begun again: {text_of(e, 'reason')}",
    "damaged": lambda e: f"{text_of(e, 'file')} was damaged and set aside",
    "barrier": _barrier,
    "shed": lambda e: f"given up: {text_of(e, 'candidate')}: {given_up(e)}",
    "mended": lambda e: f"mended: {text_of(e, 'fault')}",
    "interrupted": lambda e: f"interrupted: {text_of(e, 'reason')}",
    "ended": _ended,
}


def shed(run: Run, events: Sequence[Event]) -> list[tuple[str, str]]:
    """Return the structures given up, each with the reason."""
    found = [e for e in events if e.get("event") == "shed"] or run.status.get("shed", ())
    told = {text_of(e, "candidate"): given_up(e) for e in found}
    return list(told.items())
