"""The formulas of a netlist or a ready topology, which know no drivers."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from xover.errors import OptionError
from xover.files.netlist import circuit_names, read_circuit, read_netlist
from xover.network import build_network
from xover.studies.does.formula.study import FormulaStudy, study_formula

ASSUMED_OHM: Final = 8.0


def study_circuit_formula(circuit: str | Path) -> FormulaStudy:
    """Work out the formulas of a .cir file, or of a topology by its name. Every driver is taken as 8 ohm, and said so.

    Raises
    ------
    OptionError : neither a netlist nor a topology, or a formula of too many terms.
    InputError, NoSolutionError : a fault in the netlist.
    """
    path = Path(circuit)
    if path.suffix == ".cir" or path.exists():
        netlist = read_netlist(path)
    elif str(circuit) in circuit_names():
        netlist = read_circuit(str(circuit))
    else:
        raise OptionError(
            f"'{str(circuit)[:60]}' is no netlist, topology or speaker folder",
            "see 'xover new --list' for the topologies",
        )
    built = build_network(netlist)
    assumed = f"every driver is taken as {ASSUMED_OHM:g} ohm (assumed): a speaker folder gives its own"
    return study_formula(built, path.stem, dict.fromkeys(built.driver_names, ASSUMED_OHM), warnings=(assumed,))
