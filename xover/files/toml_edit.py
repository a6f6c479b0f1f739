"""Numbers and networks put into a TOML file that a person wrote: all else of it stays as it is, byte by byte."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from xover.errors import InputError, OptionError, named
from xover.files.atomic import Encoding, NotTextError, encoding_of, read_bytes
from xover.files.budget import SPEAKER_FILE
from xover.files.changes import put
from xover.files.faults import dotted
from xover.files.lock import locked
from xover.files.toml_lines import KeyPath, read_toml

_END: Final = re.compile(r"\r\n|\r|\n")
_LINE: Final = re.compile(r"[^\r\n]*(?:\r\n|\r|\n|$)")
_NUMBER: Final = re.compile(r"([^#=]*=[ \t]*)([^\s#]+)(.*)", re.DOTALL)


def set_numbers(path: Path, numbers: Mapping[KeyPath, float], force: bool = False) -> None:
    """Put keys under the heads of their tables, or in the place of their old values.

    Parameters
    ----------
    numbers : by ("drivers", "tweeter", "delay_us"). force : replace those that are there with another value.

    Raises OptionError: a key is there and `force` is not given. InputError: the file cannot be read or written, or is
    written so that a key cannot be added; then it is as it was.
    """
    with locked(path.parent):
        put(
            path.parent,
            {path.name: _with_numbers(read_bytes(path, SPEAKER_FILE), numbers, path, force)},
            over=(path.name,),
        )


def with_network(data: bytes, name: str, path: Path) -> bytes:
    """The bytes of speaker.toml with a table [networks.NAME] at its end, for NAME.cir. Raises InputError."""
    encoding, text = _text(data, path)
    lines = [f"[networks.{name}]", f'circuit = "{name}.cir"']
    end = next((e for e in reversed(_END.findall(text))), "\n")
    last = end if text.endswith(("\n", "\r")) else ""
    longer = text + ("" if last else end) + end + end.join(lines) + last
    wanted = _loads(text) or {}
    networks = wanted.setdefault("networks", {})
    if isinstance(networks, dict):
        networks[name] = {"circuit": f"{name}.cir"}
    if _loads(longer) != wanted:
        raise InputError(
            f"a table [networks.{name}] cannot stand at its end",
            f"write networks as tables, or add the lines yourself: {' '.join(lines)}",
            path,
        )
    return encoding.encode(longer)


def _text(data: bytes, path: Path) -> tuple[Encoding, str]:
    """A file's encoding, and its text with the line ends that it has. Raises InputError."""
    try:
        encoding = encoding_of(data)
        return encoding, encoding.decode(data)
    except NotTextError as error:
        raise InputError(f"is not a text file: it {error}", "save it as UTF-8, then write again", path) from error


def _with_numbers(data: bytes, numbers: Mapping[KeyPath, float], path: Path, force: bool) -> bytes:
    encoding, text = _text(data, path)
    read, where = read_toml(_plain(text), path)
    lines = [m[0] for m in _LINE.finditer(text) if m[0]]
    wanted = copy.deepcopy(read)
    added: dict[int, list[str]] = {}
    for key, number in numbers.items():
        table: Any = wanted
        for part in key[:-1]:
            table = table.setdefault(part, {}) if isinstance(table, dict) else {}
        line, old, words = where.lines.get(key), table.get(key[-1]), f"{number:.10g}"
        if old is not None and old != float(words) and not force:
            problem = f"{path}:{line}: {dotted(key)} is {old} already"
            raise OptionError(problem, f"give {named('force')} to replace it by {words}")
        table[key[-1]] = float(words)
        if old is None and key[:-1] in where.lines:
            added.setdefault(where.lines[key[:-1]], []).append(f"{key[-1]} = {words}")
        elif line is not None and (found := _NUMBER.fullmatch(lines[line - 1])):
            lines[line - 1] = f"{found[1]}{words}{found[3]}"
    for line, new in added.items():
        head = lines[line - 1]
        end = head[len(head.rstrip("\r\n")) :] or "\n"
        lines[line - 1] = head.rstrip("\r\n") + end + "".join(words + end for words in new)
    edited = "".join(lines)
    if _loads(edited) != wanted:
        own = "; ".join(f"{dotted(key)} = {number:.10g}" for key, number in numbers.items())
        raise InputError("has no tables that keys can be put into", f"add them yourself: {own}", path)
    return encoding.encode(edited)


def _loads(text: str) -> dict[str, Any] | None:
    """What it says; None where that is not TOML."""
    try:
        return tomllib.loads(_plain(text))
    except tomllib.TOMLDecodeError:
        return None


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")
