"""The ready network topologies that ship with the package."""

from __future__ import annotations

from pathlib import Path

from xover.errors import OptionError, nearest_word
from xover.files.netlist import Netlist, read_netlist


def circuits_folder() -> Path:
    """Where the topologies lie: inside the installed package, or beside it in a source checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "circuits"
    return installed if installed.is_dir() else package.parent / "circuits"


def circuit_names() -> tuple[str, ...]:
    """Names of all topologies, sorted."""
    return tuple(sorted(p.stem for p in circuits_folder().glob("*.cir")))


def read_circuit(name: str) -> Netlist:
    """Read one topology by name. Raises OptionError when there is none of that name."""
    stem = name.removesuffix(".cir")
    names = circuit_names()
    if stem not in names:
        near = nearest_word(stem, names)
        raise OptionError(
            f"there is no circuit '{name[:60]}'",
            f"did you mean {near}?" if near else "list them with 'xover new --list'",
        )
    return read_netlist(circuits_folder() / f"{stem}.cir")
