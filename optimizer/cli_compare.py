"""Commands that set runs side by side and say what limits them."""

from __future__ import annotations

import click

COMMANDS: tuple[click.Command, ...] = ()
