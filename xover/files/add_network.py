"""Put one more named network into a speaker folder, and touch nothing that is there."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Container
from pathlib import Path
from typing import Final

from xover.errors import InputError, OptionError
from xover.files.atomic import check_target, read_text, write_text

_NAME: Final = re.compile(r"[A-Za-z0-9_-]{1,64}")


def add_network(speaker_toml: Path, name: str, netlist: str, known: Container[str], force: bool = False) -> Path:
    """Write NAME.cir beside speaker.toml and add a table [networks.NAME] at its end.

    Parameters
    ----------
    netlist : the text of NAME.cir.
    known : the networks that speaker.toml names already.
    force : replace NAME.cir and keep the table, where both are there.

    Returns
    -------
    The netlist's path.

    Raises
    ------
    OptionError
        The name is none, or it stands in speaker.toml already and `force` is not given or its file is another one.
    InputError
        A file cannot be written; then all files are as they were.
    """
    check_name(speaker_toml, name, known, force)
    circuit = speaker_toml.parent / f"{name}.cir"
    if name in known:
        write_text(circuit, netlist, force)
        return circuit
    text = read_text(speaker_toml)
    separator = "" if text.endswith("\n") else "\n"
    longer = f'{text}{separator}\n[networks.{name}]\ncircuit = "{name}.cir"\n'
    try:
        tomllib.loads(longer)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            f"a table [networks.{name}] cannot stand at its end",
            f'write networks as tables, or add the lines yourself: [networks.{name}] circuit = "{name}.cir"',
            speaker_toml,
        ) from error
    old = circuit.read_bytes() if force and circuit.is_file() else None
    write_text(circuit, netlist, force)
    try:
        write_text(speaker_toml, longer, True)
    except InputError:
        # Both or none.
        if old is None:
            circuit.unlink()
        else:
            circuit.write_bytes(old)
        raise
    return circuit


def check_name(speaker_toml: Path, name: str, known: Container[str], force: bool = False) -> None:
    """Raise at once what `add_network` would raise for this name, before there is anything to add."""
    if not _NAME.fullmatch(name):
        raise OptionError(f"'{name[:40]}' is no name for a network", "use letters, digits, - and _, at most 64")
    if name not in known:
        return check_target(speaker_toml.parent / f"{name}.cir", force)
    networks = tomllib.loads(read_text(speaker_toml)).get("networks", {})
    named = networks.get(name, {}).get("circuit") if isinstance(networks.get(name), dict) else None
    if named != f"{name}.cir":
        raise OptionError(f"the network '{name}' is read from {named}", "write under another name")
    if not force:
        raise OptionError(f"{speaker_toml} has a network '{name}' already", "give --force, or another name")
