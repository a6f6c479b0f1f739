"""Networks, numbers and words put into a TOML file that a person wrote: all else stays as it is, byte by byte."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any, Final

from xover.errors import InputError, OptionError, named
from xover.files.atomic import Encoding, NotTextError, as_utf8, check_target, encoding_of, read_bytes, read_text
from xover.files.budget import MOST_NETWORKS, SPEAKER_FILE
from xover.files.changes import CIRCUIT, put
from xover.files.faults import dotted
from xover.files.lock import locked
from xover.files.toml_lines import KeyPath, read_toml

_END: Final = re.compile(r"\r\n|\r|\n")
_LINE: Final = re.compile(r"[^\r\n]*(?:\r\n|\r|\n|$)")
_VALUE: Final = re.compile(r"([^#=]*+=[ \t]*+)(\"[^\"\n]*+\"|'[^'\n]*+'|[^\s#\"']++)(.*+)", re.DOTALL)


def add_network(speaker_toml: Path, name: str, netlist: str, force: bool = False) -> Path:
    """Write NAME.cir beside speaker.toml and add a table [networks.NAME] at its end.

    Both are written or none, and speaker.toml is read anew for it: no other writer's change is lost. All else in it
    stays as it is, byte by byte.

    Parameters
    ----------
    netlist : the text of NAME.cir.
    force : replace NAME.cir and keep the table, where both are there.

    Returns
    -------
    The netlist's path.

    Raises OptionError: the name is none, or it stands in speaker.toml already and `force` is not given or its file is
    another one. Raises InputError: a file cannot be written; then all files are as they were.
    """
    folder, circuit = speaker_toml.parent, f"{name}.cir"
    with locked(folder):
        there = check_name(speaker_toml, name, force)
        contents = {circuit: as_utf8(netlist, folder / circuit)}
        if not there:
            contents[speaker_toml.name] = _with_network(read_bytes(speaker_toml, SPEAKER_FILE), name, speaker_toml)
        put(folder, contents, over=(speaker_toml.name, *([circuit] if force else [])))
    return folder / circuit


def check_name(speaker_toml: Path, name: str, force: bool = False) -> bool:
    """Whether speaker.toml has that network; raises at once what `add_network` would raise for the name."""
    circuit = f"{name}.cir"
    if not CIRCUIT.fullmatch(circuit):
        raise OptionError(f"'{name[:40]}' is no name for a network", "use letters, digits, - and _, at most 64")
    networks = _networks(read_toml(read_text(speaker_toml, SPEAKER_FILE), speaker_toml)[0])
    there = name in networks
    if there and networks[name].get("circuit") != circuit:
        raise OptionError(
            f"the network '{name}' is read from {networks[name].get('circuit')}", "write under another name"
        )
    if there and not force:
        raise OptionError(f"{speaker_toml} has a network '{name}' already", f"give {named('force')}, or another name")
    if not there and len(networks) >= MOST_NETWORKS:
        raise OptionError(f"{speaker_toml} has {MOST_NETWORKS} networks already", "delete one that is not needed")
    check_target(speaker_toml.parent / circuit, force)
    check_target(speaker_toml, force=True)
    return there


def _networks(data: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    found = data.get("networks")
    return {n: t for n, t in found.items() if isinstance(t, dict)} if isinstance(found, dict) else {}


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
            {path.name: with_keys(read_bytes(path, SPEAKER_FILE), numbers, path, force)},
            over=(path.name,),
        )


def _with_network(data: bytes, name: str, path: Path) -> bytes:
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


def with_keys(
    data: bytes, values: Mapping[KeyPath, float | str], path: Path, force: bool, instead: Collection[str] = ()
) -> bytes:
    """The bytes of speaker.toml with keys under the heads of their tables, or in the place of their old values.

    Parameters
    ----------
    values : numbers, or plain words without quotes. instead : old words that say nothing and so make way.

    Raises as `set_numbers`.
    """
    encoding, text = _text(data, path)
    read, where = read_toml(_plain(text), path)
    lines = [m[0] for m in _LINE.finditer(text) if m[0]]
    wanted = copy.deepcopy(read)
    added: dict[int, list[str]] = {}
    for key, value in values.items():
        table: Any = wanted
        for part in key[:-1]:
            table = table.setdefault(part, {}) if isinstance(table, dict) else {}
        words = _written(value)
        line, old, new = where.lines.get(key), table.get(key[-1]), float(words) if words[0] != '"' else value
        if old is not None and old != new and old not in instead and not force:
            problem = f"{path}:{line}: {dotted(key)} is {str(old)[:80]} already"
            raise OptionError(problem, f"give {named('force')} to replace it by {words}")
        table[key[-1]] = new
        if old is None and (not key[:-1] or key[:-1] in where.lines):
            under = where.lines[key[:-1]] if key[:-1] else where.lines.get(("title",), 0)
            added.setdefault(under, []).append(f"{key[-1]} = {words}")
        elif line is not None and old != new and (found := _VALUE.fullmatch(lines[line - 1])):
            lines[line - 1] = f"{found[1]}{words}{found[3]}"
    for line, more in sorted(added.items(), reverse=True):
        head = lines[max(0, line - 1)] if lines else ""
        end = head[len(head.rstrip("\r\n")) :] or "\n"
        new_lines = "".join(words + end for words in more)
        if line:
            lines[line - 1] = head.rstrip("\r\n") + end + new_lines
        else:
            lines.insert(0, new_lines)
    edited = "".join(lines)
    if _loads(edited) != wanted:
        own = "; ".join(f"{dotted(key)} = {_written(value)}" for key, value in values.items())
        raise InputError("has no tables that keys can be put into", f"add them yourself: {own}", path)
    return encoding.encode(edited)


def _written(value: float | str) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:.10g}"


def _loads(text: str) -> dict[str, Any] | None:
    """What it says; None where that is not TOML."""
    try:
        return tomllib.loads(_plain(text))
    except tomllib.TOMLDecodeError:
        return None


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")
