"""The group of all commands: it knows them by name, and makes the one that runs."""

from __future__ import annotations

from functools import cache
from typing import Any, Final

import typer
from typer.core import TyperCommand, TyperGroup
from typer.main import get_command

from xover.errors import nearest_word
from xover.studies import GROUPS, HOMES, first_sentence, question

_WIDEST: Final = max(map(len, HOMES))


@cache
def load_command(name: str) -> Any:
    """One command, made of its question."""
    from xover.cli.build import command

    single = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    single.command(name)(command(question(name)))
    return get_command(single)


class JobGroup(TyperGroup):
    """Commands in the order of the job."""

    _by_name_alone = False

    def list_commands(self, ctx: Any) -> list[str]:
        """All names, in the order of the job."""
        del ctx
        return list(HOMES)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command, loaded now; None where there is none of that name."""
        if cmd_name not in HOMES:
            return super().get_command(ctx, cmd_name)
        return TyperCommand(cmd_name, help=first_sentence(cmd_name)) if self._by_name_alone else load_command(cmd_name)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """As ever, and a name that is none gets its nearest."""
        try:
            return super().resolve_command(ctx, args)
        except typer.TyperException as error:
            near = nearest_word(args[0], HOMES)
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
        for heading, names in GROUPS.items():
            with formatter.section(heading):
                formatter.write_dl([(f"{name:<{_WIDEST}}", first_sentence(name)) for name in names])
        super().format_options(ctx, formatter)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Written already."""
