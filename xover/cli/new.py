"""xover new: start a speaker folder from a ready topology."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from xover.cli.complete import circuit_names
from xover.cli.options import Force, Json
from xover.cli.show import show_heading, show_item, show_json, show_text
from xover.errors import OptionError


def new(
    folder: Annotated[Path | None, typer.Argument(metavar="DIR", help="Folder to start.")] = None,
    circuit: Annotated[
        str,
        typer.Option("--circuit", "-c", metavar="NAME", help="Topology to start from.", autocompletion=circuit_names),
    ] = "two-way-second-order",
    list_all: Annotated[bool, typer.Option("--list", help="List the topologies and stop.")] = False,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Start a speaker folder from a ready topology.

    Example: xover new my-speaker --circuit two-way-second-order
    """
    from xover.files.circuits import circuit_names, read_circuit
    from xover.studies.desk.new.study import start_folder

    if list_all:
        netlists = {name: read_circuit(name) for name in circuit_names()}
        if as_json:
            show_json({"circuits": {n: {"title": c.title, "notes": " ".join(c.notes)} for n, c in netlists.items()}})
            return
        for name, netlist in netlists.items():
            show_item(name, netlist.title, max(map(len, netlists)))
        return
    if folder is None:
        raise OptionError("no folder is named", "write 'xover new my-speaker', or 'xover new --list'")
    started = start_folder(folder, circuit, force)
    if as_json:
        show_json(started)
        return
    show_heading(f"Started {started.folder} from {started.circuit}")
    note = " ".join(read_circuit(circuit).notes)
    if note:
        show_text(note)
    show_heading("Next")
    folder_name = str(started.folder)
    show_item("1", f"edit {started.files[0]}: the drivers in it are placeholders of the usual size, not yours", 2)
    show_item("2", f"edit {started.files[1]} (as measured today) and {started.files[2].name} (as marked)", 2)
    show_item("3", f"xover check {folder_name}", 2)
    show_item("4", f"xover schematic {folder_name} --network found, and compare it with the board", 2)
    show_item("5", f"xover predict {folder_name} --network found, or xover report {folder_name} for all on one page", 2)
    show_text(
        "Caution: discharge large capacitors, never drive a tweeter without its capacitor, and leave anything "
        "with mains in it to people licensed for that."
    )
