"""Show results: JSON, tables of 80 columns, and warnings on standard error."""

from __future__ import annotations

import json
import re
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

import typer

from xover.blocks import SCREEN_COLUMNS, Block, Facts, Gap, Head, Items, Listing, Note, Table, Text, Warn
from xover.cli.streams import encoding_of, spelled


def show_json(result: Any) -> None:
    """Write one JSON object, and nothing else, to standard output."""
    from xover.plain import to_plain

    typer.echo(escaped(json.dumps(to_plain(result), allow_nan=False, ensure_ascii=False), encoding_of(sys.stdout)))


def escaped(words: str, encoding: str = "utf-8") -> str:
    """JSON as it is safe to print: what a terminal obeys, hides or does not have stands as `\\uXXXX`."""
    return re.sub(
        "[^ -~]",
        lambda c: c[0] if c[0].isprintable() and spelled(c[0], encoding) == c[0] else json.dumps(c[0])[1:-1],
        words,
    )


def render(blocks: Iterable[Block]) -> None:
    """An answer as it was told, on a terminal."""
    notes = []
    for block in blocks:
        match block:
            case Head():
                show_heading(block.words)
            case Text():
                if block.apart:
                    typer.echo()
                show_text(block.words, "" if block.flush else "  ")
            case Gap():
                typer.echo()
            case Facts():
                for label, words in block.pairs:
                    show_item(label, words, block.width)
            case Table():
                if block.caption:
                    show_heading(block.caption)
                show_table(block.columns, [[cell.words for cell in row] for row in block.rows])
            case Items():
                for item in block.items:
                    show_item("-", item, 1)
            case Listing():
                if block.caption:
                    show_heading(block.caption)
                for line in block.words.splitlines():
                    typer.echo(clean(line) if block.bare else f"  {clean(line)}")
            case Warn():
                show_item(block.severity, f"{block.heading}: {block.words}")
            case Note():
                notes.append(block.words)
            case _:  # figures and tables to save are of the page alone
                pass
    show_warnings(notes)


def show_heading(text: str) -> None:
    """A line that begins a part of the output."""
    typer.echo()
    typer.secho(textwrap.fill(clean(text), SCREEN_COLUMNS), bold=True)


def show_text(text: str, indent: str = "  ") -> None:
    """A sentence, wrapped."""
    typer.echo(
        textwrap.fill(
            clean(text),
            SCREEN_COLUMNS,
            initial_indent=indent,
            subsequent_indent=indent,
            break_on_hyphens=False,
            break_long_words=False,
        )
    )


def show_item(label: str, text: str, width: int = 19) -> None:
    """A label and what belongs to it, wrapped behind the label."""
    first = f"  {clean(label):<{width}} "
    typer.echo(
        textwrap.fill(
            clean(text),
            SCREEN_COLUMNS,
            initial_indent=first,
            subsequent_indent=" " * len(first),
            break_on_hyphens=False,
            break_long_words=False,
        )
    )


def show_table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Right-aligned columns under their heads, as plain text that pipes well.

    A table wider than the page goes on below, its first column repeated.
    """
    lines = [[clean(c) for c in header], *[[clean(c) for c in row] for row in rows]]
    widths = [max(len(line[i]) for line in lines) for i in range(len(header))]
    for number, columns in enumerate(_pages(widths)):
        if number:
            typer.echo()
        for row, line in enumerate(lines):
            typer.echo("  " + "  ".join(f"{line[i]:>{widths[i]}}" for i in columns).rstrip())
            if row == 0:
                typer.echo("  " + "  ".join("-" * widths[i] for i in columns))


def _pages(widths: Sequence[int]) -> list[list[int]]:
    """Columns that fit on the page together, the first on every page."""
    pages = [[0]]
    used = 2 + widths[0]
    for column in range(1, len(widths)):
        if used + 2 + widths[column] > SCREEN_COLUMNS and len(pages[-1]) > 1:
            pages.append([0])
            used = 2 + widths[0]
        pages[-1].append(column)
        used += 2 + widths[column]
    return pages


def show_warnings(warnings: Iterable[str]) -> None:
    """Warnings on standard error, so that a pipe gets the data alone."""
    sys.stdout.flush()
    for text in warnings:
        typer.echo(textwrap.fill(f"note: {clean(text)}", SCREEN_COLUMNS, subsequent_indent="      "), err=True)


def clean(text: str) -> str:
    """Names come from files: control characters must not reach the terminal."""
    return spelled("".join(c if c.isprintable() else " " for c in text), encoding_of(sys.stdout))
