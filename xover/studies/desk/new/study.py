"""Start a speaker folder from a ready topology."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from xover.blocks import Block, Facts, Head, Text
from xover.declare import figure
from xover.errors import InputError, OptionError, named
from xover.files.atomic import read_text
from xover.files.changes import put
from xover.files.lock import locked
from xover.files.netlist import circuit_names, read_circuit
from xover.network import Network, build_network
from xover.rules.typical import TEMPLATE
from xover.units import TEXT

_HEAD = """\
# A speaker folder. Put your own values in, then run: xover check .
title = "{title}"
timing = "unknown"             # "common" once all responses share one time reference

[amplifier]                    # what drives it now
minimum_load_ohm = 4
output_ohm = 0.05
rated_power_w = 50
rated_load_ohm = 8

[listening]
level_db = 85
distance_m = 2.5
headroom_db = 12
"""

_DRIVER = """
[drivers.{name}]
# impedance = "{name}-impedance.csv"   # Hz, ohm, degrees; measured in the cabinet
# response = "{name}-response.csv"     # Hz, dB, degrees; 2.83 V, 1 m, on the design axis
# position_mm = [0, 0, 0]              # right, up, forward of the design axis' foot on the baffle
# diameter_mm = 165                    # effective piston diameter
# re_ohm = 5.8                         # DC resistance, read with a meter

[drivers.{name}.datasheet]     # not your driver: replace the values, or delete this table and give re_ohm above
instrument = "placeholder"     # delete this line once you have put your own values in
{values}
"""

_NETWORKS = """
[networks.found]               # values as you measure them on the board
circuit = "found.cir"

[networks.original]            # values as marked on the parts
circuit = "original.cir"
"""


@dataclass(frozen=True)
class StartedFolder:
    """A folder that was started: its files, in the order to look at them, and what the topology's notes say."""

    folder: Path
    circuit: str
    files: tuple[Path, ...]
    note: str = figure("notes", TEXT, None)


@dataclass(frozen=True)
class ReadyCircuit:
    """One topology, and what its netlist says of it."""

    title: str
    notes: str


@dataclass(frozen=True)
class ReadyCircuits:
    """The topologies to start from, by name."""

    circuits: Mapping[str, ReadyCircuit]


def ready_circuits() -> ReadyCircuits:
    """Those that ship with the package."""
    netlists = {name: read_circuit(name) for name in circuit_names()}
    return ReadyCircuits({name: ReadyCircuit(n.title, " ".join(n.notes)) for name, n in netlists.items()})


def start_folder(folder: Path, circuit: str, force: bool = False) -> StartedFolder:
    """Write speaker.toml, found.cir and original.cir; all of them or none.

    Raises OptionError: no such circuit, or a file is there already and `force` is not set. InputError: the folder
    cannot be made.
    """
    netlist = read_circuit(circuit)
    network = build_network(netlist)
    board = read_text(netlist.path) if netlist.path is not None else ""
    contents = {"speaker.toml": _speaker_toml(network), "found.cir": board, "original.cir": board}
    paths = {name: folder / name for name in contents}
    if os.path.exists(folder) and not os.path.isdir(folder):
        raise InputError("is a file, not a folder", "name a new folder", folder)
    for path in paths.values():
        if os.path.exists(path) and not force:
            raise OptionError(f"{path} is there already", f"name another folder, or overwrite it with {named('force')}")
    made = not os.path.exists(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot be made ({error.strerror})", "name a folder that you may write to", folder) from None
    try:
        with locked(folder):
            put(folder, {name: text.encode() for name, text in contents.items()}, over=paths if force else ())
    except BaseException:
        if made:
            folder.rmdir()
        raise
    return StartedFolder(folder, circuit, tuple(paths.values()), " ".join(netlist.notes))


def _speaker_toml(network: Network) -> str:
    title = network.title.replace("\\", " ").replace('"', "'")
    text = _HEAD.format(title=title)
    for name in network.driver_names:
        text += _DRIVER.format(name=name, values=_placeholders(name))
    text += _NETWORKS
    if len(network.channels) > 1:
        text += (
            '\n[bypass]                       # the electronic crossover at hand\nfrequency_hz = 3000\nslope = "LR4"\n'
        )
        for name in network.driver_names:
            text += f"\n[bypass.channels.{name}]\nminimum_load_ohm = 4\nrated_power_w = 50\nrated_load_ohm = 8\n"
            text += "# bridged = false              # true for a bridged (BTL) amplifier: its minus is live\n"
    return text


def _placeholders(name: str) -> str:
    values = asdict(TEMPLATE.get(name, TEMPLATE["woofer"]))
    return "\n".join(f"{key} = {value}" for key, value in values.items())


def tell(result: StartedFolder | ReadyCircuits) -> Iterator[Block]:
    """What was made, and what to do next."""
    if isinstance(result, ReadyCircuits):
        named = tuple((name, circuit.title) for name, circuit in result.circuits.items())
        yield Facts(named, max(len(name) for name, _ in named))
        return
    yield Head(f"Started {result.folder} from {result.circuit}")
    if result.note:
        yield Text(result.note)
    yield Head("Next")
    toml, found, original = result.files
    steps = (
        f"edit {toml}: the drivers in it are placeholders, and no verdict rests on them; put in each driver's DC "
        "resistance at least, read with a meter",
        f"edit {found} (as measured today) and {original.name} (as marked)",
        f"xover check {result.folder}",
        f"xover schematic {result.folder} --network found, and compare it with the board",
        f"xover predict {result.folder} --network found, or xover report {result.folder} for all on one page",
    )
    yield Facts(tuple((str(number), step) for number, step in enumerate(steps, 1)), 2)
    yield Text(
        "Caution: discharge large capacitors, never drive a tweeter without its capacitor, and leave anything "
        "with mains in it to people licensed for that."
    )
