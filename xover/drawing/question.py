"""The network as a drawing, of a speaker or of a netlist alone."""

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

from xover.blocks import Block, Note, Text
from xover.declare import Ask, question
from xover.errors import OptionError, named
from xover.studies.options import Network
from xover.units import FILE, NETWORK, TARGET, YES

if TYPE_CHECKING:
    from xover.drawing.schematic import Layout
    from xover.network import Network as Drawn
    from xover.speaker import Speaker

LONGEST_STEM: Final = 60
MILLIMETRES_PER_POINT: Final = 25.4 / 72.0


@dataclass(frozen=True)
class DrawnSchematic:
    """A drawing that was made; `path` is None where it was not written."""

    name: str
    path: Path | None
    layout: "Layout"

    def plain(self) -> Any:
        """The geometry: points of 1/72 inch, y runs down."""
        return self.layout


@question()
def schematic(
    target: Annotated[str, Ask("Speaker folder, netlist, or ready topology by name.", TARGET, place=True)],
    network: Network = None,
    *,
    against: Annotated[
        str | None, Ask("Network or netlist with other values: both are written, old first.", NETWORK)
    ] = None,
    output: Annotated[
        Path | None, Ask(".svg, .png or .pdf [default: schematic-NETWORK.svg].", FILE, "--output", "-o")
    ] = None,
    force: Annotated[bool, Ask("Overwrite a file that is there already.", YES, "--force")] = False,
    as_json: bool = False,
) -> DrawnSchematic:
    """The network as a drawing: symbols, values, losses, polarity.

    Series parts lie along the top, shunts stand on the ground rail, drivers stand at the right with a plus at their
    plus terminal; each section has its own ground. Wires are joined where there is a dot, and only there. With
    --against a value that differs is written as old and new, and parts that only one of the two has are listed.

    --json writes the geometry (points of 1/72 inch, y runs down), and a file only if --output names one.

    Example: xover schematic examples/attic-two-way/left --network found --against original -o left.svg

    >>> speaker.schematic("found", other="original")
    """
    from xover.drawing.save import save_schematic
    from xover.drawing.schematic import draw_schematic

    opened = _speaker(target)
    drawn, name, title = _read(opened, target, network)
    other = None if against is None else _other(opened, against)
    result = draw_schematic(drawn, other, title=title)
    path = output
    if path is None and not as_json:
        path = Path(f"schematic-{_file_stem(name)}.svg")
    if path is not None:
        save_schematic(result, path, force)
    return DrawnSchematic(name, path, result.layout)


def tell(drawn: DrawnSchematic) -> Iterator[Block]:
    """What was written."""
    layout = drawn.layout
    wide, tall = (round(MILLIMETRES_PER_POINT * side) for side in (layout.width_pt, layout.height_pt))
    drivers = sum(symbol.kind.value == "driver" for symbol in layout.symbols)
    parts = len(layout.symbols) - drivers
    yield Text(
        f"Schematic of '{drawn.name}' written to {drawn.path}: {parts} part{'s' * (parts != 1)}, {drivers} "
        f"driver{'s' * (drivers != 1)}, {wide} x {tall} mm.",
        flush=True,
    )
    yield from map(Note, layout.warnings)


def _read(opened: "Speaker | None", target: str, name: str | None) -> "tuple[Drawn, str, str]":
    """The network, its name and a heading."""
    if opened is not None:
        chosen = opened.network_or_default(name)
        return opened.network(chosen), chosen, f"{opened.title}: network '{chosen}'"
    if name is not None:
        raise OptionError(f"{named('network')} belongs to a speaker folder", "leave it out for a single netlist")
    built = _circuit(target)
    stem = Path(target).stem
    return built, stem, built.title or stem


def _other(opened: "Speaker | None", name: str) -> "Drawn":
    """The network to hold against: one of the folder's own, else a netlist."""
    if opened is not None and not name.endswith(".cir"):
        return opened.network(name)
    return _circuit(name)


def _speaker(target: str) -> "Speaker | None":
    path = Path(target)
    if not (os.path.isdir(path) or path.suffix == ".toml"):
        return None
    from xover.speaker import open_speaker

    return open_speaker(path)


def _circuit(target: str) -> "Drawn":
    from xover.files.netlist import read_target
    from xover.network import build_network

    return build_network(read_target(target))


def _file_stem(name: str) -> str:
    """A name that any file system takes."""
    return re.sub(r"[^\w.-]+", "-", name)[:LONGEST_STEM].strip("-.") or "network"
