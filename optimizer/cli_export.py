"""Commands that hand a run to other tools."""

from __future__ import annotations

import click

COMMANDS: tuple[click.Command, ...] = ()
