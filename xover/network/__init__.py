"""Parts, network, sections and the numeric solve."""

from xover.network.cards import build_network
from xover.network.network import Network, Section, find_sections
from xover.network.parts import Capacitor, Channel, Coupling, DriverCard, Inductor, Part, Resistor, value_of
from xover.network.solve import Solution, solve

__all__ = [
    "Capacitor",
    "Channel",
    "Coupling",
    "DriverCard",
    "Inductor",
    "Network",
    "Part",
    "Resistor",
    "Section",
    "Solution",
    "build_network",
    "find_sections",
    "solve",
    "value_of",
]
