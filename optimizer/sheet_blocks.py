"""What a design sheet says, as sections of words, tables and named pictures.

Paper and report show these blocks, each in its own way; every text is final here, so
that a figure reads the same wherever it stands.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

from optimizer.quantities import quantity
from optimizer.sheet import loop_row, used

Document = dict[str, Any]
WEAR = (
    "Damage added up over the bins of the climate (linear damage, Miner). Electrolytic life is "
    "uncertain by a factor of two, film life by a factor of three; humidity is not in these "
    "laws. Life beyond a few decades means only that this part does not limit."
)
LEAST_LINE = 1e-3  # [V]; a spectral line below is noise of the arithmetic
PART_SHARES = (0.25, 0.30, 0.19, 0.11, 0.09, 0.06)
SENSES = {"<=": "≤", ">=": "≥"}


@dataclasses.dataclass(frozen=True)
class Origin:
    """Where a sheet comes from: the run, and what was changed by hand against its design."""

    run: str = ""
    changes: Mapping[str, str] = dataclasses.field(default_factory=dict)

    @property
    def text(self) -> str:
        """The origin in one line."""
        changed = ", changed by hand" if self.changes else ""
        return f"{self.run}{changed}"


@dataclasses.dataclass(frozen=True)
class Words:
    """A paragraph; ``kind`` is "", "bad", "soft", "head" or "item" of a list."""

    text: str
    kind: str = ""


@dataclasses.dataclass(frozen=True)
class Grid:
    """A table; ``numbers`` are the columns that are set right-aligned and never folded.

    ``shares`` are the parts of the page's width that the columns take; without them each is
    as wide as it needs to be.
    """

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...] = ()
    shares: tuple[float, ...] = ()


@dataclasses.dataclass(frozen=True)
class Pictures:
    """Figures that stand side by side, by name."""

    names: tuple[str, ...]


Block: TypeAlias = Words | Grid | Pictures


@dataclasses.dataclass(frozen=True)
class Section:
    """A part of the sheet under one heading."""

    title: str
    blocks: tuple[Block, ...]


def sections(data: Document) -> tuple[Section, ...]:
    """Return the body of a sheet from the document that ``sheet_data`` makes."""
    return (
        Section("Where the watts go", _watts(data)),
        Section("What limits it", _limits(data)),
        Section("Will it last", _life(data)),
        Section("How to build it", _build(data["bill"])),
        Section("Control and protection", _control(data)),
        Section("All values", _values(data)),
    )


def _grid(
    title: str, heads: Sequence[str], rows: Sequence[Sequence[str]], numbers: Sequence[int] = ()
) -> Grid:
    return Grid(title, tuple(heads), tuple(map(tuple, rows)), tuple(numbers))


def _watts(data: Document) -> tuple[Block, ...]:
    losses = data["losses"]
    points = [p.replace(" %", "\u00a0%") for p in losses["points"]]
    columns = range(1, len(points) + 1)
    rows = [
        *([r["path"], *(f"{w:.3f}" for w in r["watts"])] for r in losses["rows"]),
        ["sum", *(f"{w:.2f}" for w in losses["total_w"])],
        ["weight", *(f"{w:.3f}" for w in losses["weight"])],
    ]
    lines = [
        [s["name"], *("–" if a < LEAST_LINE else quantity(a, s["unit"]) for a in s["amplitudes"])]
        for s in data["spectra"]
    ]
    orders = range(1, max((len(s["amplitudes"]) for s in data["spectra"]), default=0) + 1)
    spectra = _grid(
        "Line spectra of the capacitor voltages, amplitudes",
        ["voltage", *(f"{2 * k} × line" for k in orders)], lines, orders,
    )  # fmt: skip
    return (
        Pictures(("losses", "efficiency")),
        Pictures(("parts", "volume")),
        _grid(
            "Losses",
            ["loss [W]", *(p.replace(" %", "\u00a0%") for p in losses["points"])],
            rows,
            columns,
        ),
        Pictures(("waves",)),
        *([spectra] if lines else []),
    )


def _limits(data: Document) -> tuple[Block, ...]:
    rows = [
        [r["path"], r["meaning"], _or_none(r["actual"], r["unit"]),
         SENSES.get(r["sense"], ""), _or_none(r["bound"], r["unit"]),
         f"{-100 * r['margin']:.1f} %" + ("" if r["met"] else " not met"), r["at"]]
        for r in data["limits"]
    ]  # fmt: skip
    hot = [[t["path"], f"{t['celsius']:.0f} °C", t["at"]] for t in data["temperatures"]]
    heads = ["limit", "what", "value", "", "limit at", "margin", "tightest at"]
    return (
        Pictures(("margins",)),
        _grid("Every limit, worst first", heads, rows, (2, 4, 5)),
        Pictures(("temperatures",)),
        _grid("Temperatures, hottest operating point", ["where", "temperature", "at"], hot, (1,)),
    )


def _or_none(value: float | str | None, unit: str) -> str:
    return "" if value is None else quantity(value, _unit(unit))


def _life(data: Document) -> tuple[Block, ...]:
    if not data["life"]:
        return (Words("Nothing in this box wears out in the models used."),)
    rows = [(part["path"], quantity(part["years"], "years")) for part in data["life"]]
    heads = ("part that wears out", "computed life")
    table = Grid("", heads, tuple(rows), (1,), (0.3, 0.15))
    return (Pictures(("life",)), Pictures(("wear",)), table, Words(WEAR, "soft"))


def _build(bill: Sequence[Document]) -> tuple[Block, ...]:
    return tuple(_part(item) for item in bill)


def _part(item: Document) -> Grid:
    """Return a part: how it is built on the left, what it stands on the right."""
    build = [(f["name"], _or_none(f["value"], f["unit"])) for f in item["build"]]
    stress = [
        (
            f["name"],
            quantity(f["value"], _unit(f["unit"])),
            _or_none(f["bound"], f["unit"]),
            used(f),
        )
        for f in item["stress"]
    ]
    rows = [
        (*(b or ("", "")), *(s or ("", "", "", "")))
        for b, s in itertools.zip_longest(build, stress)
    ]
    title = f"{item['quantity']} × {item['path']}: {item['what']}"
    heads = ("build", "", "stress", "worst", "rating", "used")
    return Grid(title, heads, tuple(rows), (3, 4, 5), PART_SHARES)


def _control(data: Document) -> tuple[Block, ...]:
    heads = ["loop", "plant", "Kp", "Ki", "crossover", "phase margin", "gain margin", "note"]
    return (
        _grid("Start values of the control loops", heads, [loop_row(x) for x in data["loops"]],
              (2, 3, 4, 5, 6)),
        Words("Protections to provide", "head"),
        *(Words(text, "item") for text in data["protections"]),
        Words("Prototype checks to plan", "head"),
        *(Words(text, "item") for text in data["checks"]),
    )  # fmt: skip


def _values(data: Document) -> tuple[Block, ...]:
    results = [
        [r["name"], r["meaning"], f"{r['value']:.5g} {_unit(r['unit'])}".rstrip()]
        for r in data["results"]
    ]
    variables = [
        [v["path"], v["meaning"], f"{_number(v['value'], '.5g')} {v['unit']}".rstrip(),
         _number(v["lowest"], "g"), _number(v["highest"], "g")]
        for v in data["variables"]
    ]  # fmt: skip
    figures = [
        [f["path"], f["meaning"], quantity(f["value"], _unit(f["unit"]))] for f in data["figures"]
    ]
    return (
        _grid("Results", ["result", "what", "value"], results, (2,)),
        _grid("Design variables", ["variable", "what", "value", "searched from", "to"],
              variables, (3, 4)),
        _grid("Other figures, at full power", ["figure", "what", "value"], figures, (2,)),
        Words(f"Model source of the topology: {data['source']}. Catalogue parts and prices of the "
              "demonstration tables are invented; core geometry follows published standards.",
              "soft"),
    )  # fmt: skip


def _unit(unit: str) -> str:
    return "" if unit == "1" else unit


def _number(value: float | str, form: str) -> str:
    return value if isinstance(value, str) else format(value, form)
