"""A network swept from its terminals: extremes between the grid's points, and what its wiring alone tells."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.amplifier.extremum import Extremum, highest, lowest
from xover.curve import Curve, Unit
from xover.errors import NoSolutionError
from xover.network import Capacitor, Channel, DriverCard, Inductor, Network, Solution, find_sections, solve
from xover.network.faults import topology_faults
from xover.network.network import Groups

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

SHORT_NOTE: Final = "direct short across the amplifier"
BRIDGE_NOTE: Final = "direct short between two amplifier channels"


def neighbourhood(network: Network, card: DriverCard) -> tuple[tuple[Channel, ...], frozenset[str]]:
    """The channels that feed a driver's section, and the names of the capacitors in it."""
    section = next(s for s in find_sections(network) if card.name in s.elements)
    elements = [e for e in (*network.parts, *network.drivers) if e.name in section.elements]
    nodes = {n for e in elements for n in (e.a, e.b)}
    channels = tuple(c for c in network.channels if c.plus in nodes)
    return channels or network.channels, frozenset(e.name for e in elements if isinstance(e, Capacitor))


def linked(network: Network, card: DriverCard) -> bool:
    """Whether 0 ohm links lie across a driver already."""
    wires = _wires(network)
    return wires.find(card.plus) == wires.find(card.minus)


def dead_short(network: Network) -> tuple[str, str] | None:
    """(channel, what is shorted) where 0 ohm links alone short a channel or join two of them."""
    wires = _wires(network)
    for channel in network.channels:
        plus, minus = wires.find(channel.plus), wires.find(channel.minus)
        if plus == minus:
            return channel.name, SHORT_NOTE
        others = {n for c in network.channels for n in (c.plus, c.minus)} - {channel.plus, channel.minus}
        if any(wires.find(n) == plus for n in others):
            return channel.name, BRIDGE_NOTE
    return None


def has_load(network: Network, channel: Channel) -> bool:
    """Whether a path leads from a channel's plus back to its minus."""
    groups = Groups()
    for element in (*network.parts, *network.drivers):
        groups.join(element.a, element.b)
    for other in network.channels:
        if other.name != channel.name:
            groups.join(other.plus, other.minus)
    return groups.find(channel.plus) == groups.find(channel.minus)


def with_connected_channels(network: Network) -> Network:
    """Leave out the channels whose plus nothing is connected to any more."""
    touched = {n for e in (*network.parts, *network.drivers) for n in (e.a, e.b)}
    return replace(network, channels=tuple(c for c in network.channels if c.plus in touched))


def _wires(network: Network) -> Groups:
    """Nodes that 0 ohm links make one."""
    groups = Groups()
    for part in network.resistors:
        if part.ohm == 0:
            groups.join(part.a, part.b)
    return groups


DriverImpedance = Callable[[Float], Mapping[str, Complex]]

# A voltage below this share of the amplifier's needs no more exact place.
LEAST_VOLTAGE: Final = 1e-3
# Parts that carry this share of the largest current at a resonance belong to it.
RESONANT_SHARE: Final = 1e-3
# At a lossless resonance the equations may cancel to the last bit. This far beside it, relative to
# its frequency, they have a solution, and no real part could tell the difference.
BESIDE: Final = 1e-9


@dataclass(frozen=True, eq=False)
class Sweep:
    """A network that can be solved on its grid and between.

    Attributes
    ----------
    network : may lack a solution at single frequencies only; NoSolutionError is raised at birth
        where its wiring leaves it without one at any.
    frequency_hz : (n,) Hz.
    driver_impedance_at : impedance of every driver at any frequencies, NaN where not known.
    """

    network: Network
    frequency_hz: Float
    driver_impedance_at: DriverImpedance

    def __post_init__(self) -> None:
        fault = next(topology_faults(self.network), None)
        if fault is not None:
            raise NoSolutionError(fault.problem, fault.remedy)

    def impedance(self, channel: str, frequency_hz: Float) -> Float:
        """(m,) modulus, ohm, of what a channel sees; NaN where a driver it needs is not known."""
        return self._read(frequency_hz, lambda s: np.abs(s.impedance_ohm[channel]))

    def lowest_impedance(self, channel: str) -> Extremum:
        """Lowest modulus of what a channel sees; a runaway is a fall to 0 ohm."""
        return lowest(
            self.frequency_hz, self.impedance(channel, self.frequency_hz), lambda f: self.impedance(channel, f)
        )

    def highest_voltage(self, part: str) -> Extremum:
        """Highest voltage across a part, per volt at the amplifier; a runaway has no limit."""

        def voltage(f: Float) -> Float:
            return self._read(f, lambda s: np.abs(s.voltage(part)))

        return highest(self.frequency_hz, voltage(self.frequency_hz), voltage, LEAST_VOLTAGE)

    def lossless_parts(self, at_hz: float) -> tuple[str, ...]:
        """Coils and capacitors without any loss that carry a resonance's current, in card order."""
        f = np.array([at_hz * (1.0 + BESIDE)])
        amps = {p.name: self._current(p.name, f) for p in self.network.parts}
        most = max((a for a in amps.values() if np.isfinite(a)), default=0.0)
        return tuple(
            p.name for p in self.network.parts if _has_no_loss(p) and amps[p.name] >= RESONANT_SHARE * most > 0
        )

    def _current(self, part: str, frequency_hz: Float) -> float:
        return float(self._read(frequency_hz, lambda s: np.abs(s.current(part)))[0])

    def _read(self, frequency_hz: Float, quantity: Callable[[Solution], Float]) -> Float:
        """Solve and read; where a single frequency has no solution, read just beside it."""
        try:
            solution = solve(self.network, frequency_hz, self.driver_impedance_at(frequency_hz))
        except NoSolutionError:
            if frequency_hz.size == 1:
                return self._read(frequency_hz * (1.0 + BESIDE), quantity)
            half = frequency_hz.size // 2
            return np.concatenate([self._read(part, quantity) for part in (frequency_hz[:half], frequency_hz[half:])])
        return np.asarray(quantity(solution), dtype=float)


def _has_no_loss(part: object) -> bool:
    if isinstance(part, Inductor):
        return part.dcr_ohm == 0
    return isinstance(part, Capacitor) and part.esr_ohm == 0 and part.dissipation_factor == 0


def interpolated(frequency_hz: Float, driver_impedance_ohm: Mapping[str, Complex]) -> DriverImpedance:
    """Make impedances on a grid into a function of frequency, as `Curve.at` interpolates.

    NaN outside the rows that are known; a driver known at fewer than two rows stays unknown.
    """
    curves: dict[str, Curve | None] = {}
    for name, impedance in driver_impedance_ohm.items():
        z = np.asarray(impedance, dtype=complex)
        known = np.isfinite(z)
        curves[name] = Curve(frequency_hz[known], z[known], Unit.OHM) if np.count_nonzero(known) > 1 else None

    def at(f: Float) -> Mapping[str, Complex]:
        return {n: np.full(f.shape, complex(np.nan, np.nan)) if c is None else c.at(f) for n, c in curves.items()}

    return at
