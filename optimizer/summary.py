"""One design, or the difference of two, on a terminal."""

from __future__ import annotations

from typing import Any

import click

from optimizer.quantities import quantity, significant
from optimizer.terminal import table

Document = dict[str, Any]


def print_design(data: Document) -> None:
    """Print a design: results, tightest limits, largest losses and its variables."""
    click.echo(f"{data['label']}: {data['title']}")
    for remark in data["remarks"]:
        click.echo(f"! {remark}")
    table(
        ["result", "value", "meaning"],
        [[r["name"], _number(r["value"], r["unit"]), r["meaning"]] for r in data["results"]],
        text_columns=3,
    )
    click.echo("")
    table(
        ["limit", "margin left", "value", "limit at", "operating point"],
        [
            [r["path"], f"{-100 * r['margin']:.1f} %", _maybe(r["actual"], r["unit"]),
             _maybe(r["bound"], r["unit"]), r["at"]]
            for r in data["limits"][:12]
        ],
    )  # fmt: skip
    click.echo("")
    losses = data["losses"]
    table(
        ["loss at full power", "W"],
        [[r["path"], f"{r['watts'][-1]:.3f}"] for r in losses["rows"][:14]],
    )
    click.echo(f"all losses: {losses['total_w'][-1]:.2f} W\n")
    table(
        ["variable", "value", "meaning"],
        [[v["path"], _variable(v), v["meaning"]] for v in data["variables"]],
        text_columns=3,
    )


def differences(before: Document, after: Document) -> Document:
    """Return what an edit changed: results, limits that turned, variables."""
    results = [
        {"name": b["name"], "unit": b["unit"], "before": b["value"], "after": a["value"]}
        for b, a in zip(before["results"], after["results"], strict=True)
        if a["value"] != b["value"]
    ]
    met = {r["path"]: r["met"] for r in before["limits"]}
    return {
        "feasible": after["feasible"],
        "results": results,
        "limits_newly_broken": [
            r["path"] for r in after["limits"] if not r["met"] and met.get(r["path"], True)
        ],
        "limits_broken": [r["path"] for r in after["limits"] if not r["met"]],
    }


def print_differences(before: Document, after: Document) -> None:
    """Print what an edit changed."""
    found = differences(before, after)
    if not found["results"]:
        click.echo("nothing changed")
    table(
        ["result", "before", "after", "change"],
        [
            [r["name"], _number(r["before"], r["unit"]), _number(r["after"], r["unit"]),
             f"{r['after'] - r['before']:+.4g}"]
            for r in found["results"]
        ],
    )  # fmt: skip
    if found["feasible"]:
        click.echo("every limit is met")
        return
    click.echo("limits not met:")
    for row in after["limits"]:
        if not row["met"]:
            click.echo(
                f"  {row['path']} ({row['meaning']}): {_maybe(row['actual'], row['unit'])} "
                f"against {_maybe(row['bound'], row['unit'])} at {row['at']}"
            )


def _number(value: float, unit: str) -> str:
    return f"{significant(value, 5)} {unit if unit != '1' else ''}".rstrip()


def _maybe(value: float | None, unit: str) -> str:
    return "–" if value is None else quantity(value, unit)


def _variable(row: Document) -> str:
    value = row["value"]
    return value if isinstance(value, str) else f"{significant(value, 5)} {row['unit']}".rstrip()
