"""A command group whose commands are imported only when one of them runs.

The array, database and recording packages take far longer to import than `--help` may take.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any, NamedTuple

import click

from busprobe.errors import nearest


class Entry(NamedTuple):
    """One command of a `LazyGroup`."""

    module: str
    """Module that holds it, as `command`."""
    about: str
    """What it does, for the list of commands."""


class LazyGroup(click.Group):
    """Lists its commands from a table, and imports the one that is called."""

    def __init__(self, *args: Any, entries: Mapping[str, Entry], **more: Any) -> None:
        super().__init__(*args, **more)
        self._entries = entries

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self._entries)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        entry = self._entries.get(cmd_name)
        if entry is None:
            return None
        command: click.Command = import_module(entry.module).command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command called. Raises UsageError with the nearest name where there is none such."""
        if args[0] not in self._entries and not args[0].startswith("-"):
            ctx.fail(f"No such command '{args[0]}'.{nearest(args[0], self._entries)}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.about) for name, entry in self._entries.items()])
