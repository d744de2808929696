"""The command that writes a run as one file to hand on."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from optimizer.terminal import FILE, RUNS, say


@click.command()
@click.argument("run", default="latest")
@RUNS
@click.option("--out", type=FILE, help="File to write: .html (default: report-RUN.html).")
@click.option(
    "--designs", type=int, default=24, show_default=True, help="Design sheets in it, up to 300."
)
@click.option(
    "--prices/--without-prices",
    default=None,
    help="Whether costs are in it; a terminal is asked where neither is given.",
)
@click.option(
    "--plain", is_flag=True, help="Unpacked, for browsers that cannot unpack: twice as large."
)
def report(
    run: str, runs: Path, out: Path | None, designs: int, prices: bool | None, plain: bool
) -> None:
    """Write RUN as one HTML file: fronts, design sheets, limits, evidence, cautions.

    It opens in a browser without a server and fetches nothing.
    """
    from models.errors import RipplefrontError
    from optimizer.figures_data import check_outputs, unwritable
    from optimizer.launch import find_run
    from optimizer.report import material
    from optimizer.report import report as made
    from optimizer.report_data import Wishes

    found = find_run(runs, run)
    target = out or Path(f"report-{found.name}.html")
    check_outputs(None, target)
    if prices is None:
        prices = _asked()
    text = made(material(found), Wishes(designs, prices, not plain), _told)
    try:
        target.write_text(text, encoding="utf-8")
    except OSError as error:
        raise unwritable(target, error) from None
    except UnicodeError:
        raise RipplefrontError(
            f"{found.name} holds a name that is no text.\n  Copy the run folder again."
        ) from None
    click.echo(f"wrote {target}")


def _asked() -> bool:
    """Return whether prices are wanted, asked where somebody can answer."""
    if sys.stdin.isatty() and sys.stderr.isatty():
        return click.confirm("Put prices and costs into the report?", default=False, err=True)
    say("costs are in the report; leave them out with --without-prices")
    return True


def _told(done: int, of: int) -> None:
    if sys.stderr.isatty():
        click.echo(f"\rsheet {done + 1} of {of}", nl=done + 1 == of, err=True)


COMMANDS: tuple[click.Command, ...] = (report,)
