"""What of a folder is still as it was started: no driver's values, no board's circuit, no history."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from xover.curve import Evidence
from xover.files.netlist import circuit_names, read_circuit
from xover.network import Network, build_network
from xover.rules.instruments import Instrument
from xover.speaker.speaker import Speaker


@dataclass(frozen=True)
class Untouched:
    """What nobody has edited yet.

    Attributes
    ----------
    drivers : whose values are a template's. networks : that are a ready circuit, to the last digit.
    """

    drivers: tuple[str, ...]
    networks: tuple[str, ...]


def untouched(speaker: Speaker) -> Untouched:
    """Which drivers and which networks of a folder are still the template's.

    Raises
    ------
    InputError : a fault in a netlist.
    """
    placeholders = tuple(n for n, d in speaker.drivers.items() if d.impedance_instrument is Instrument.PLACEHOLDER)
    named = speaker.file.speaker.networks
    return Untouched(placeholders, tuple(n for n in named if is_ready_circuit(speaker.network(n))))


def is_ready_circuit(network: Network) -> bool:
    """Whether a network is one of the ready circuits as it came: nobody read its values anywhere."""
    if any(p.evidence == Evidence.MEASURED for p in network.parts):
        return False
    return any(is_copy(network, ready) for ready in _ready_circuits())


def is_copy(one: Network, other: Network) -> bool:
    """Whether two networks have the same parts between the same nodes, equal to the last digit, and drivers there."""
    if not one.parts or _wiring(one) != _wiring(other) or one.numbers.keys() != other.numbers.keys():
        return False
    return all(math.isclose(value, other.numbers[name], rel_tol=1e-9) for name, value in one.numbers.items())


def _wiring(network: Network) -> tuple[object, ...]:
    """What stands between which nodes; whatever the drivers are called."""
    parts = sorted((p.name, p.a, p.b) for p in network.parts)
    return parts, sorted((d.plus, d.minus) for d in network.drivers)


@cache
def _ready_circuits() -> tuple[Network, ...]:
    return tuple(build_network(read_circuit(name)) for name in circuit_names())
