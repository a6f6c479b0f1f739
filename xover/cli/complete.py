"""How a word on the command line may go on. Never raises, never writes, and reads speaker.toml alone.

The shell puts the answers onto a command line as they are: only plain words are offered, so that a name in a file
that somebody else wrote cannot become a command.
"""

from __future__ import annotations

import re
import tomllib
import warnings
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, Final

import typer

MOST_BYTES: Final = 1_000_000
MOST_WORDS: Final = 200
_PLAIN: Final = re.compile(r"[^\W_][\w.+-]{0,63}")

Completion = Callable[[typer.Context, str], list[str]]


def one_of(*known: str) -> Completion:
    """Completes one of a few fixed words."""
    return lambda ctx, incomplete: _offered(lambda: known, ctx, incomplete)


def network_names(ctx: typer.Context, incomplete: str) -> list[str]:
    """Networks of the folder that stands on the line already."""
    return _offered(lambda: _named(ctx, "networks"), ctx, incomplete)


def driver_names(ctx: typer.Context, incomplete: str) -> list[str]:
    """Drivers of the folder that stands on the line already."""
    return _offered(lambda: _named(ctx, "drivers"), ctx, incomplete)


def circuit_names(ctx: typer.Context, incomplete: str) -> list[str]:
    """The ready topologies."""
    return _offered(_circuits, ctx, incomplete)


def circuits_to_try(ctx: typer.Context, incomplete: str) -> list[str]:
    """The ready topologies, and the present network."""
    return _offered(lambda: ["present", *_circuits()], ctx, incomplete)


def slope_names(ctx: typer.Context, incomplete: str) -> list[str]:
    """Slopes of electronic crossovers."""
    return _offered(_slopes, ctx, incomplete)


def acoustic_slopes(ctx: typer.Context, incomplete: str) -> list[str]:
    """Slopes to aim at, or none."""
    return _offered(lambda: ["none", *_slopes()], ctx, incomplete)


def series_names(ctx: typer.Context, incomplete: str) -> list[str]:
    """Series of preferred numbers."""
    return _offered(_series, ctx, incomplete)


def _offered(find: Callable[[], Iterable[str]], ctx: typer.Context, incomplete: str) -> list[str]:
    """The plain words among what is found that begin as typed; nothing where anything goes wrong."""
    del ctx
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = list(dict.fromkeys(find()))
    except Exception:  # a person is typing: whatever is wrong, the command itself will say it
        return []
    return [word for word in found if _PLAIN.fullmatch(word) and word.startswith(incomplete)][:MOST_WORDS]


def _named(ctx: typer.Context, table: str) -> Iterator[str]:
    """Keys of a table of speaker.toml."""
    for text in [ctx.params.get("speaker"), ctx.params.get("target"), ctx.params.get("into"), *ctx.args]:
        file = None if text is None else _speaker_toml(text)
        if file is not None:
            from xover.files.toml_lines import check_depth

            text = file.read_text("utf-8-sig")
            check_depth(text, file)
            entries = tomllib.loads(text).get(table)
            yield from entries if isinstance(entries, dict) else ()
            return


def _speaker_toml(text: Any) -> Path | None:
    path = Path(text).expanduser()
    file = path if path.suffix == ".toml" else path / "speaker.toml"
    return file if file.is_file() and file.stat().st_size <= MOST_BYTES else None


def _circuits() -> Iterable[str]:
    from xover.files.netlist import circuit_names

    return circuit_names()


def _slopes() -> Iterable[str]:
    from xover.electronic.biquad import SLOPES

    return SLOPES


def _series() -> Iterable[str]:
    from xover.parts.preferred import SERIES

    return SERIES
