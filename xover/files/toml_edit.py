"""Numbers put into a TOML file that a person wrote: all else of it stays as it is, byte by byte."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from xover.errors import InputError, OptionError, named
from xover.files.atomic import write_bytes
from xover.files.faults import dotted
from xover.files.toml_lines import KeyPath, read_toml

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
    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        raise InputError("cannot be read", "check the name and its permissions", path) from error
    except UnicodeDecodeError as error:
        raise InputError("is not written in UTF-8", "save it as UTF-8, then write again", path) from error
    mark, text = ("\ufeff", text[1:]) if text.startswith("\ufeff") else ("", text)
    data, where = read_toml(_plain(text), path)
    lines = [m[0] for m in _LINE.finditer(text) if m[0]]
    wanted = copy.deepcopy(data)
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
    try:
        same = tomllib.loads(_plain(edited)) == wanted
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        own = "; ".join(f"{dotted(key)} = {number:.10g}" for key, number in numbers.items())
        raise InputError("has no tables that keys can be put into", f"add them yourself: {own}", path)
    write_bytes(path, (mark + edited).encode("utf-8"), force=True)


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")
