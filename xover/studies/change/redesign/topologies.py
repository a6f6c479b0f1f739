"""Which networks may be tried: the present one, and those of circuits/ with as many drivers in as many ways."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Final

from xover.errors import OptionError
from xover.files.circuits import circuit_names, read_circuit
from xover.network import DriverCard, Network, build_network

# The drivers' names of circuits/, from the lowest way to the highest.
_ORDER: Final = ("woofer", "mid", "horn", "tweeter")
PRESENT: Final = "present"


@dataclass(frozen=True, eq=False)
class Topology:
    """A network that may be tried, its drivers named as the speaker's.

    Attributes
    ----------
    name : of the circuit, or "present".
    reversed : keys of the drivers that are turned over against the netlist.
    """

    name: str
    network: Network
    reversed: tuple[str, ...] = ()


def topology(name: str, reference: Network, order: Sequence[str]) -> Topology:
    """One topology by its name, "present" for the network that is there.

    Parameters
    ----------
    order : the speaker's drivers from the lowest way to the highest.

    Raises
    ------
    OptionError : no circuit of that name, or its drivers are not as many as the speaker's.
    """
    if name == PRESENT:
        return Topology(PRESENT, reference)
    network = build_network(read_circuit(name))
    fitted = _fitted(network, reference, order)
    if fitted is None:
        have = ", ".join(order)
        raise OptionError(
            f"the circuit '{name}' is for other drivers than {have} on one channel",
            "choose one with as many ways and as many of each; 'xover new --list' shows them",
        )
    return Topology(name, fitted)


def fitting(reference: Network, order: Sequence[str], most_parts: int | None) -> tuple[Topology, ...]:
    """The present network and every circuit that fits, the present one first."""
    found = [Topology(PRESENT, reference)]
    for name in circuit_names():
        network = _fitted(build_network(read_circuit(name)), reference, order)
        if network is not None:
            found.append(Topology(name, network))
    return tuple(t for t in found if most_parts is None or len(t.network.parts) <= most_parts)


def polarities(one: Topology, order: Sequence[str]) -> tuple[Topology, ...]:
    """The topology with every choice of drivers turned over; the lowest way stays as it is."""
    out = []
    for turned in product((False, True), repeat=len(order) - 1):
        names = {name for name, turn in zip(order[1:], turned, strict=True) if turn}
        drivers = tuple(replace(d, plus=d.minus, minus=d.plus) if d.driver in names else d for d in one.network.drivers)
        keys = tuple(d.key for d in drivers if d.driver in names)
        out.append(Topology(one.name, replace(one.network, drivers=drivers), keys))
    return tuple(out)


def _fitted(network: Network, reference: Network, order: Sequence[str]) -> Network | None:
    """The network with the speaker's drivers on its cards; None where they do not fit."""
    if len(network.channels) != 1 or len(reference.channels) != 1:
        return None
    own = sorted({d.driver for d in network.drivers}, key=_ORDER.index)
    if len(own) != len(order):
        return None
    names = dict(zip(own, order, strict=True))
    count = Counter(names[d.driver] for d in network.drivers)
    if count != Counter(d.driver for d in reference.drivers):
        return None
    return replace(network, drivers=_renamed(network.drivers, names, count))


def _renamed(drivers: Sequence[DriverCard], names: dict[str, str], count: Counter[str]) -> tuple[DriverCard, ...]:
    return tuple(
        replace(d, driver=names[d.driver], key=names[d.driver] if count[names[d.driver]] == 1 else d.name[1:])
        for d in drivers
    )
