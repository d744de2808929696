"""Commands that start a run from another one."""

from __future__ import annotations

import click

COMMANDS: tuple[click.Command, ...] = ()
