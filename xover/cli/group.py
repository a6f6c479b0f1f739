"""The group of all commands: it knows them by name, and loads the module of the one that runs."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import Any, Final

import typer
from typer.core import TyperCommand, TyperGroup
from typer.main import get_command

from xover.cli.commands import COMMANDS, GROUPS
from xover.errors import nearest_word
from xover.studies import HOMES, question

_WIDEST: Final = max(map(len, COMMANDS))


@cache
def load_command(name: str) -> Any:
    """One command, from its own module."""
    from xover.cli.build import command

    single = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    made = command(question(name)) if name in HOMES else getattr(import_module(f"xover.cli.{name}"), name)
    single.command(name)(made)
    return get_command(single)


class JobGroup(TyperGroup):
    """Commands in the order of the job."""

    _by_name_alone = False

    def list_commands(self, ctx: Any) -> list[str]:
        """All names, in the order of the job."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command, loaded now; None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return super().get_command(ctx, cmd_name)
        return TyperCommand(cmd_name, help=COMMANDS[cmd_name]) if self._by_name_alone else load_command(cmd_name)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """As ever, and a name that is none gets its nearest."""
        try:
            return super().resolve_command(ctx, args)
        except typer.TyperException as error:
            near = nearest_word(args[0], COMMANDS)
            if near is not None and "Did you mean" not in error.message:
                error.message += f" Did you mean '{near}'?"
            raise

    def shell_complete(self, ctx: Any, incomplete: str) -> Any:
        """Names and options; nothing is loaded for it."""
        self._by_name_alone = True
        try:
            return super().shell_complete(ctx, incomplete)
        finally:
            self._by_name_alone = False

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """The commands stand above the options: they are what a reader looks for."""
        for heading, commands in GROUPS.items():
            with formatter.section(heading):
                formatter.write_dl([(f"{name:<{_WIDEST}}", words) for name, words in commands.items()])
        super().format_options(ctx, formatter)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Written already."""
