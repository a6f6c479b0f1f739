"""Where each key of a TOML file stands, which the standard reader does not tell."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from xover.errors import InputError
from xover.files.budget import DEEPEST_KEY

KeyPath = tuple[str, ...]

_BLANK = re.compile(r"(?:[ \t\n]++|#[^\n]*+)*+")
_KEY_PART = re.compile(r'[ \t]*+("(?:\\.|[^"\\\n])*+"|\'[^\'\n]*+\'|[A-Za-z0-9_-]++)[ \t]*+')
# The pieces of a text: strings and comments whole, brackets, dots, line ends, and whatever else. A string that does not
# close is one piece too, so that nothing is looked at twice.
_PIECE = re.compile(
    r'"""[^"\\]*+(?:(?:\\.|"(?!""))[^"\\]*+)*+(?:""""{0,2})?'
    r"|'''[^']*+(?:'(?!'')[^']*+)*+(?:''''{0,2})?"
    r'|"(?:\\.|[^"\\\n])*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+"
    r"|[\[\]{}\n.]"
    r"|[^\"'#\[\]{}\n.]++",
    re.DOTALL,
)
_MAY_STAND_IN_A_KEY = re.compile(r"[\w \t-]++|[\"'].*", re.DOTALL)
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")


@dataclass(frozen=True)
class KeyLines:
    """Line number, from 1, of every table and key that has a line of its own."""

    lines: Mapping[KeyPath, int]

    def __getitem__(self, path: KeyPath) -> int | None:
        """Line of a key, else of the nearest table around it; None where even that has none."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.lines:
                return self.lines[path[:length]]
        return None


def read_toml(text: str, path: Path) -> tuple[dict[str, Any], KeyLines]:
    r"""Read TOML text (lines ending in "\n") with the line of each key.

    Raises InputError: with path and line, for text that is not TOML, or nested more than `budget.DEEPEST_KEY` deep.
    """
    check_depth(text, path)
    try:
        return tomllib.loads(text), find_key_lines(text)
    except RecursionError:
        raise InputError("is nested too deeply", "write plain tables", path) from None
    except ValueError as error:  # TOMLDecodeError, and the limit on digits of a whole number
        place = _AT_LINE.search(str(error))
        line = int(place[1]) if place else text.count("\n") + 1 if "end of document" in str(error) else None
        what = _AT_LINE.sub("", str(error)).replace("(at end of document)", "").strip()
        what = what if len(what) <= 80 else what[:77] + "..."
        raise InputError(
            f"is not valid TOML: {what[:1].lower() + what[1:]}", _remedy(text, line), path, line
        ) from error


def check_depth(text: str, path: Path) -> None:
    """Raise InputError for a key of too many names or brackets too deep: the reader's work grows with their square."""
    line, brackets, dots = 1, 0, 0
    for found in _PIECE.finditer(text):
        piece = found[0]
        if piece == ".":
            dots += 1
        elif not _MAY_STAND_IN_A_KEY.fullmatch(piece):
            dots = 0
            brackets += (piece in "[{") - (piece in "]}")
        if max(dots + 1, brackets) > DEEPEST_KEY:
            raise InputError("is nested too deeply", "write plain tables", path, line)
        line += piece.count("\n")


def _remedy(text: str, line: int | None) -> str:
    written = text.split("\n")[line - 1].strip() if line else ""
    if written.startswith("["):
        return "write it as [drivers.woofer], names with blanks or accents in double quotes"
    return "write one 'key = value' a line, text in double quotes"


def find_key_lines(text: str) -> KeyLines:
    """Find the lines of tables, keys and dotted keys in text that is known to be valid TOML.

    Keys inside an inline table or an array have none of their own; an array of tables counts as
    one table, its first element giving the line.
    """
    lines: dict[KeyPath, int] = {}
    implied: set[KeyPath] = set()
    table: KeyPath = ()
    position, line = 0, 1

    def note(path: KeyPath, at: int) -> None:
        for length in range(1, len(path)):
            if path[:length] not in lines:
                lines[path[:length]] = at
                implied.add(path[:length])
        if path not in lines or path in implied:
            lines[path] = at
            implied.discard(path)

    while True:
        start, position = position, _end_of(_BLANK, text, position)
        line += text.count("\n", start, position)
        if position >= len(text):
            return KeyLines(lines)
        if text[position] == "[":
            position += 2 if text.startswith("[[", position) else 1
            table, position = _key(text, position)
            note(table, line)
            position = text.find("\n", position)
            if position < 0:
                return KeyLines(lines)
        else:
            key, position = _key(text, position)
            note((*table, *key), line)
            end = _end_of_value(text, position)
            line += text.count("\n", position, end)
            position = end


def _key(text: str, position: int) -> tuple[KeyPath, int]:
    parts: list[str] = []
    while True:
        match = _KEY_PART.match(text, position)
        if match is None:
            return tuple(parts), position + 1
        parts.append(_unquoted(match[1]))
        position = match.end()
        if text[position : position + 1] != ".":
            return tuple(parts), position
        position += 1


def _unquoted(part: str) -> str:
    if part[0] == '"':
        return str(tomllib.loads(f"key = {part}")["key"])
    return part[1:-1] if part[0] == "'" else part


def _end_of_value(text: str, position: int) -> int:
    """Position of the line end that closes a value, or of the end of the text."""
    depth = 0
    while position < len(text):
        end = _end_of(_PIECE, text, position)
        piece = text[position:end]
        if piece == "\n" and depth == 0:
            return position
        depth += (piece in "[{") - (piece in "]}") if len(piece) == 1 else 0
        position = end
    return position


def _end_of(pattern: re.Pattern[str], text: str, position: int) -> int:
    match = pattern.match(text, position)
    return match.end() if match else position
