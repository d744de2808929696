"""Commands that set runs side by side and say what limits them."""

from __future__ import annotations

import csv
import sys
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optimizer.terminal import FILE, JSON, RUNS, document, table

if TYPE_CHECKING:
    from optimizer.binding import DesignBindings, Summary
    from optimizer.compare import Comparison, Pair
    from optimizer.price import Price, Table

CSV = click.option("--csv", "as_csv", is_flag=True, help="The table as CSV: cautions after #.")


@click.command()
@click.argument("names", metavar="RUN RUN...", nargs=-1, required=True)
@RUNS
@click.option("--picture", type=FILE, help="Also draw fronts and price: .png or .svg.")
@click.option("--page", type=FILE, help="Also write an interactive page: .html.")
@CSV
@JSON
def compare(
    names: tuple[str, ...],
    runs: Path,
    picture: Path | None,
    page: Path | None,
    as_csv: bool,
    as_json: bool,
) -> None:
    """Set runs side by side, and print what the later ones give up: the price of a pin.

    A run started from another one of them is held against that one, any other against
    the first.
    """
    from optimizer.compare import compared
    from optimizer.compare_data import compare_document, price_rows
    from optimizer.comparison_files import write_comparison_page, write_comparison_picture
    from optimizer.figures_data import check_outputs
    from optimizer.launch import find_run

    check_outputs(picture, page)
    found = compared([find_run(runs, name) for name in names])
    if picture:
        write_comparison_picture(found, picture)
    if page:
        write_comparison_page(found, page)
    if as_json:
        document("compare", compare_document(found))
    elif as_csv:
        _csv(price_rows(found))
    else:
        _tell(found)
    for made in (picture, page):
        if made:
            click.echo(f"wrote {made}", err=as_json or as_csv)


def _csv(rows: Iterable[Sequence[object]]) -> None:
    from optimizer.cautions import CAUTIONS
    from optimizer.sheet import safe_cell

    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerows([f"# {caution}"] for caution in CAUTIONS)
    writer.writerows([safe_cell(c) for c in row] for row in rows)


def _tell(found: Comparison) -> None:
    from optimizer.compare_data import READING

    table(
        ["run", "ended by", "parent", "pins", "designs", "seed", "front"],
        [[f.name, f.reason or f.state, f.parent or "none", "; ".join(f.pins) or "none",
          f"{f.designs:,}", str(f.seed), str(len(f.sides[""].front))] for f in found.runs],
        text_columns=4,
    )  # fmt: skip
    click.echo("")
    if found.differences:
        table(
            ["asked for differently", *(f.name for f in found.runs)],
            [[d.field, *d.values] for d in found.differences],
        )
    else:
        click.echo("specification, catalogue and version are the same")
    click.echo("")
    _tell_corners(found)
    click.echo("hypervolume: part of what the designs of all these runs together reach")
    for pair in found.pairs:
        _tell_pair(found, pair)
    click.echo(f"\n{READING}")


def _tell_corners(found: Comparison) -> None:
    rows = []
    for topology in found.topologies:
        for facts in found.runs:
            side = facts.sides[topology]
            share = "–" if side.share is None else f"{100 * side.share:.1f} %"
            head = [topology, facts.name]
            empty = [*head, "no feasible design", "", "0", share, *("" for _ in found.objectives)]
            corners = [
                [*head, c.where, c.point.label, str(len(side.front)), share,
                 *(f"{o.text(c.point.results[o.name])} {o.unit}" for o in found.objectives)]
                for c in side.corners
            ]  # fmt: skip
            rows += corners or [empty]
    table(
        ["topology", "run", "corner", "design", "front", "hypervolume",
         *(o.title for o in found.objectives)],
        rows,
        text_columns=4,
    )  # fmt: skip


def _tell_pair(found: Comparison, pair: Pair) -> None:
    click.echo(f"\nfrom {pair.before} to {pair.after}")
    click.echo(f"  pins added: {'; '.join(pair.added) or 'none'}")
    if pair.dropped:
        click.echo(f"  pins dropped: {'; '.join(pair.dropped)}")
    for remark in pair.remarks:
        click.echo(f"! {remark}")
    together, *single = pair.prices
    for price in single:
        _tell_price(found, price)
    same = [p.topology for p in single if (p.before, p.after) == (together.before, together.after)]
    if same:
        click.echo(f"\nall topologies together: as {same[0]}, which dominates the others")
    elif len(single) > 1:
        _tell_price(found, together)


def _tell_price(found: Comparison, price: Price) -> None:
    click.echo(f"\n{price.topology or 'all topologies together'}")
    for remark in price.remarks:
        click.echo(f"  {remark}")
    for part in price.tables:
        _tell_table(part)


def _tell_table(part: Table) -> None:
    at, of = part.at, part.of
    unit = f" [{of.difference_unit}]" if of.difference_unit else ""
    table(
        [f"{at.axis}, at {'least' if at.sign > 0 else 'most'}", f"{of.axis} before", "after",
         f"loss{unit}", "cost before", "after", "designs", "remark"],
        [
            [
                at.text(row.level),
                *(of.text(s.value) if s else "not reachable" for s in (row.before, row.after)),
                "–" if row.loss is None else of.difference(row.loss),
                *(f"{s.cost:.1f}" if s and s.cost is not None else "–"
                  for s in (row.before, row.after)),
                " ".join(s.design if s else "–" for s in (row.before, row.after)),
                row.note,
            ]
            for row in part.rows
        ],
        text_columns=0,
    )  # fmt: skip
    if part.noise is not None:
        click.echo(f"  noise: {of.text(part.noise)} {of.difference_unit}".rstrip())


@click.command()
@click.argument("run", default="latest")
@RUNS
@click.option("--design", help="Only what limits this design.")
@click.option("--topology", help="Only this topology.")
@CSV
@JSON
def limits(
    run: str, runs: Path, design: str | None, topology: str | None, as_csv: bool, as_json: bool
) -> None:
    """Say what limits the designs on the fronts of RUN: limits, pins, ends of ranges."""
    from models.errors import RipplefrontError
    from optimizer.binding import bindings, design_bindings, summary
    from optimizer.launch import find_run, stored_case
    from optimizer.limits_data import design_document, design_rows, limits_document, summary_rows

    found = find_run(runs, run)
    known = list(dict.fromkeys(c.topology for c in found.candidates))
    if topology is not None and topology not in known:
        raise RipplefrontError(
            f"the run {found.name} has no topology {topology!r}; it has: {', '.join(known)}"
        )
    if design is not None:
        one = design_bindings(found, stored_case(found), found.design(design))
        if as_json:
            document("limits", design_document(one))
        elif as_csv:
            _csv(design_rows([one]))
        else:
            _tell_design(one)
        return
    every = bindings(found, stored_case(found), [topology] if topology else known)
    rows = summary(every)
    if as_json:
        document("limits", limits_document(found, every, rows))
    elif as_csv:
        _csv(summary_rows(rows))
    else:
        _tell_limits(every, rows)


def _tell_limits(every: Mapping[str, Sequence[DesignBindings]], rows: Sequence[Summary]) -> None:
    from optimizer.binding import RULE

    for topology, designs in every.items():
        click.echo(f"{topology}: {len(designs)} designs on its front")
        mine = [r for r in rows if r.topology == topology]
        shown = [r for r in mine if not r.natural]
        parts = list(dict.fromkeys(d.part for d in designs))
        if shown:
            table(
                ["where", "meaning", "what", "tightest at, or end", "front",
                 *(f"{p} ({sum(d.part == p for d in designs)})" for p in parts)],
                [[r.title, _short(r.meaning), r.kind, r.hint or r.at, f"{100 * r.share:.0f} %",
                  *(f"{100 * r.by_part[p]:.0f} %" for p in parts)] for r in shown],
                text_columns=4,
            )  # fmt: skip
        if len(shown) < len(mine):
            click.echo(f"not shown: {len(mine) - len(shown)} counts of one, that cannot be fewer")
        click.echo("")
    click.echo(RULE)


def _tell_design(one: DesignBindings) -> None:
    from optimizer.binding import RULE, bound_words
    from optimizer.quantities import quantity

    click.echo(f"{one.design.id}: {one.design.candidate.name}, {one.part}")
    table(
        ["limit", "meaning", "operating point", "margin left", "value", "limit at"],
        [[x.path, _short(x.meaning), x.at, f"{-100 * x.margin:.1f} %",
          *("–" if v is None else quantity(v, x.unit) for v in (x.actual, x.bound))]
         for x in one.limits],
        text_columns=3,
    )  # fmt: skip
    click.echo("")
    table(
        ["variable at an end", "meaning", "value", "which end"],
        [[b.path, _short(b.meaning), f"{b.value} {b.unit}".rstrip(), bound_words(b)]
         for b in one.bounds],
        text_columns=4,
    )  # fmt: skip
    click.echo(RULE)


def _short(meaning: str) -> str:
    return textwrap.shorten(meaning, 64, placeholder=" …")


COMMANDS: tuple[click.Command, ...] = (compare, limits)
