"""xover schematic: the network as a drawing."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import network_names
from xover.cli.options import Force, Json, NetworkName, chosen_network
from xover.cli.show import show_json, show_text, show_warnings
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.drawing.schematic import Layout
    from xover.network import Network
    from xover.speaker import Speaker

LONGEST_STEM = 60
MILLIMETRES_PER_POINT = 25.4 / 72.0


def schematic(
    target: Annotated[
        str, typer.Argument(metavar="SPEAKER|CIRCUIT", help="Speaker folder, netlist, or ready topology by name.")
    ],
    network: NetworkName = None,
    against: Annotated[
        str | None,
        typer.Option(
            "--against",
            metavar="NAME|FILE",
            help="Network or netlist with other values: both are written, old first.",
            autocompletion=network_names,
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help=".svg, .png or .pdf [default: schematic-NETWORK.svg]."),
    ] = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """The network as a drawing: symbols, values, losses, polarity.

    Series parts lie along the top, shunts stand on the ground rail, drivers stand at the right with a plus at their
    plus terminal; each section has its own ground. Wires are joined where there is a dot, and only there. With
    --against a value that differs is written as old and new, and parts that only one of the two has are listed.

    --json writes the geometry (points of 1/72 inch, y runs down), and a file only if --output names one.

    Example: xover schematic examples/attic-two-way/left --network found --against original -o left.svg
    """
    from xover.drawing.schematic import draw_schematic, save_schematic

    opened = _speaker(target)
    drawn, name, title = _read(opened, target, network)
    other = None if against is None else _other(opened, against)
    result = draw_schematic(drawn, other, title=title)
    path = output
    if path is None and not as_json:
        path = Path(f"schematic-{_file_stem(name)}.svg")
    if path is not None:
        save_schematic(result, path, force)
    if as_json:
        show_json(result.layout)
        return
    _show(result.layout, name, path)
    show_warnings(result.layout.warnings)


def _read(opened: Speaker | None, target: str, name: str | None) -> tuple[Network, str, str]:
    """The network, its name and a heading."""
    if opened is not None:
        chosen = chosen_network(opened, name)
        return opened.network(chosen), chosen, f"{opened.title}: network '{chosen}'"
    if name is not None:
        raise OptionError("--network belongs to a speaker folder", "leave it out for a single netlist")
    built = _circuit(target)
    stem = Path(target).stem
    return built, stem, built.title or stem


def _other(opened: Speaker | None, name: str) -> Network:
    """The network to hold against: one of the folder's own, else a netlist."""
    if opened is not None and not name.endswith(".cir"):
        return opened.network(name)
    return _circuit(name)


def _speaker(target: str) -> Speaker | None:
    path = Path(target)
    if not (path.is_dir() or path.suffix == ".toml"):
        return None
    from xover.speaker import open_speaker

    return open_speaker(path)


def _circuit(target: str) -> Network:
    from xover.files.circuits import circuit_names, read_circuit
    from xover.files.netlist import read_netlist
    from xover.network import build_network

    path = Path(target)
    if path.suffix == ".cir" or path.exists():
        return build_network(read_netlist(path))
    if target in circuit_names():
        return build_network(read_circuit(target))
    raise OptionError(
        f"'{target[:60]}' is no netlist, topology or speaker folder", "see 'xover new --list' for the topologies"
    )


def _file_stem(name: str) -> str:
    """A name that any file system takes."""
    return re.sub(r"[^\w.-]+", "-", name)[:LONGEST_STEM].strip("-.") or "network"


def _show(layout: Layout, name: str, path: Path | None) -> None:
    wide, tall = (round(MILLIMETRES_PER_POINT * side) for side in (layout.width_pt, layout.height_pt))
    drivers = sum(symbol.kind.value == "driver" for symbol in layout.symbols)
    parts = len(layout.symbols) - drivers
    show_text(
        f"Schematic of '{name}' written to {path}: {parts} part{'s' * (parts != 1)}, {drivers} "
        f"driver{'s' * (drivers != 1)}, {wide} x {tall} mm.",
        "",
    )
