"""How the program speaks on a terminal: results on stdout, everything else on stderr."""

from __future__ import annotations

import json
import sys
import traceback
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table

from models.errors import MistakesError, RipplefrontError

FILE = click.Path(path_type=Path)
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
RUNS = click.option(
    "--runs",
    type=FILE,
    default=Path("runs"),
    show_default=True,
    help="Folder that holds the run folders.",
)
EXIT_FAULT, EXIT_USAGE, EXIT_NOTHING_FEASIBLE, EXIT_STOPPED, EXIT_IN_USE = 1, 2, 3, 4, 5


def document(kind: str, body: dict[str, Any]) -> None:
    """Print one JSON document on stdout, with its format name first."""
    text = json.dumps(
        {"format": f"ripplefront.{kind}/1", **body}, indent=1, ensure_ascii=False, default=str
    )
    click.echo(text)


def say(message: str) -> None:
    """Print a line for people, on stderr."""
    click.echo(message, err=True)


def table(
    titles: Sequence[str], rows: Iterable[Sequence[str]], *, text_columns: int = 1, title: str = ""
) -> None:
    """Print a table on stdout; the first ``text_columns`` columns are left-aligned.

    Off a terminal the lines are as wide as they need to be, never folded.
    """
    made = Table(title=title or None, box=None, pad_edge=False, title_justify="left")
    for k, name in enumerate(titles):
        left = k < text_columns
        made.add_column(name, justify="left" if left else "right", no_wrap=not left)
    for row in rows:
        made.add_row(*row)
    width = None if sys.stdout.isatty() else 10_000
    console = Console(width=width, highlight=False, markup=False)
    with console.capture() as drawn:
        console.print(made)
    click.echo("\n".join(line.rstrip() for line in drawn.get().splitlines()))


class Commands(click.Group):
    """A command group that turns our errors into a clear line and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; a user's error never shows a traceback."""
        # The words after the command are still unparsed here; click keeps them in two places.
        wants_json = "--json" in [*ctx.args, *getattr(ctx, "_protected_args", ())]
        try:
            return super().invoke(ctx)
        except RipplefrontError as error:
            _report(error, wants_json)
            ctx.exit(error.exit_code)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except KeyboardInterrupt:
            say("stopped at your request")
            ctx.exit(130)
        except MemoryError:
            say(
                "error: the machine has no memory left; what is stored is whole.\n"
                "  Close other programs or use fewer --workers, then repeat the command; an "
                "interrupted run goes on with: ripplefront resume RUN"
            )
            ctx.exit(EXIT_FAULT)
        except BrokenPipeError:
            ctx.exit(0)
        except Exception as error:  # noqa: BLE001 - the last line of defence says where it logged
            log = Path("ripplefront-fault.log")
            log.write_text(traceback.format_exc())
            say(
                f"internal fault: {type(error).__name__}: {error}\n"
                f"  This is an error of the program. The details are in {log}."
            )
            ctx.exit(EXIT_FAULT)


def _report(error: RipplefrontError, wants_json: bool) -> None:
    """Print an error for people, or as one JSON document."""
    if not wants_json:
        say(f"{_kind(error)}{error}")
        return
    mistakes = error.mistakes if isinstance(error, MistakesError) else []
    first = mistakes[0] if mistakes else None
    body: dict[str, Any] = {
        "code": error.exit_code,
        "message": str(error),
        "file": first.file if first else None,
        "line": first.line if first else None,
        "mistakes": [
            {"file": m.file, "line": m.line, "column": m.column, "message": m.message,
             "remedy": m.remedy}
            for m in mistakes
        ],
    }  # fmt: skip
    document("error", {"error": body})


def _kind(error: RipplefrontError) -> str:
    return "" if isinstance(error, MistakesError) else "error: "
