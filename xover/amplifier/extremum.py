"""Highest and lowest values between a grid's points, and a network swept from its terminals.

A load's minimum, and above all a series resonance with hardly any loss, is far narrower than any grid that is pleasant
to plot. Every local extremum of the grid is followed on finer and finer local grids until its neighbours agree with it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from operator import itemgetter
from typing import Final, Generic, TypeVar

import numpy as np

from xover.curve import Complex, Curve, Float, Unit
from xover.errors import NoSolutionError
from xover.network import Capacitor, Channel, DriverCard, Inductor, Network, Solution, find_sections, solve
from xover.network.faults import topology_faults
from xover.network.network import Groups

S = TypeVar("S")

# Neighbours that agree this well with the extremum end the search. A smooth extremum then lies
# within a quarter of it: well under the 1e-6 that is promised.
AGREE = 1e-7
# The narrowest bracket, relative to its frequency: some thousand rounding steps of a float.
NARROWEST = 1e-12
# Points on each side of the best point of a local grid; the bracket shrinks by this factor.
SIDE_POINTS = 8
_STEPS = np.arange(SIDE_POINTS + 1, dtype=float)
# Local extrema that are followed, best first. More than these are rounding noise on a flat curve.
MOST_CANDIDATES = 40


@dataclass(frozen=True)
class Extremum:
    """One highest or lowest value and where it lies.

    Attributes
    ----------
    value : in the unit of what was searched; NaN if nothing is known.
    at_hz : its frequency; NaN if nothing is known.
    settled : whether local grids were used and the neighbours agree within 1e-7.
    runaway : whether the value still changed on the narrowest local grid: it is a zero or a pole,
        as a network without losses has. Neither is True where only the given grid was used.
    """

    value: float
    at_hz: float
    settled: bool = False
    runaway: bool = False


@dataclass(frozen=True, eq=False)
class Sought(Generic[S]):
    """One extremum among several that are sought together.

    Attributes
    ----------
    value : (n,) real over the grid; what is not finite is passed over, and no search crosses it.
    read : the same value at other frequencies, (m,) from whatever is worked out there for all that is sought.
    lowest : the lowest is sought instead of the highest.
    scale : size under which agreement counts relative to `scale`, for values that may pass through zero (degrees,
        decibels); 0 counts relative to the value alone.
    """

    value: Float
    read: Callable[[S], Float]
    lowest: bool = False
    scale: float = 0.0

    @property
    def sign(self) -> float:
        """What turns the extremum into a highest value."""
        return -1.0 if self.lowest else 1.0


def extremes(
    frequency_hz: Float, sought: Sequence[Sought[S]], work_out: Callable[[Float], S] | None
) -> tuple[Extremum, ...]:
    """Find several highest or lowest values over a grid and, if `work_out` is given, between its points.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    work_out : gives what all of them are read from at (m,) other frequencies; one call serves one step of all.
    """
    brackets: list[list[_Bracket]] = []
    for one in sought:
        known = np.isfinite(one.value)
        filled = np.where(known, one.sign * one.value, -np.inf)
        if not known.any():
            brackets.append([])
        elif work_out is None:
            brackets.append([_Bracket.alone(frequency_hz, filled)])
        else:
            brackets.append([_Bracket.around(frequency_hz, filled, i) for i in _local_peaks(filled)])
    if work_out is not None:
        _narrow(sought, brackets, work_out)
    return tuple(_best(one, own) for one, own in zip(sought, brackets, strict=True))


def highest(
    frequency_hz: Float,
    value: Float,
    evaluate: Callable[[Float], Float] | None = None,
    scale: float = 0.0,
) -> Extremum:
    """Find the highest value over a grid and, if `evaluate` is given, between its points.

    Parameters
    ----------
    frequency_hz, value, scale : as for `extremes` and `Sought`.
    evaluate : gives the value at other frequencies, (m,) -> (m,), or None.
    """
    return extremes(frequency_hz, [Sought[Float](value, _itself, False, scale)], evaluate)[0]


def lowest(
    frequency_hz: Float,
    value: Float,
    evaluate: Callable[[Float], Float] | None = None,
    scale: float = 0.0,
) -> Extremum:
    """Find the lowest value, in the way that `highest` finds the highest."""
    return extremes(frequency_hz, [Sought[Float](value, _itself, True, scale)], evaluate)[0]


def _itself(value: Float) -> Float:
    return value


def _best(sought: Sought[S], brackets: Sequence[_Bracket]) -> Extremum:
    if not brackets:
        return Extremum(float("nan"), float("nan"))
    winner = max(brackets, key=lambda b: b.best)
    return Extremum(sought.sign * winner.best, winner.centre, winner.settled, winner.runaway)


def _local_peaks(filled: Float) -> list[int]:
    """Rows that are higher than the row before and not lower than the row after, best first."""
    before = np.concatenate([[-np.inf], filled[:-1]])
    after = np.concatenate([filled[1:], [-np.inf]])
    rows = np.flatnonzero((filled > before) & (filled >= after))
    order = np.argsort(-filled[rows], kind="stable")
    return [int(i) for i in rows[order[:MOST_CANDIDATES]]]


@dataclass
class _Bracket:
    """A peak that is being narrowed down: its two neighbours and the best point so far."""

    low: float
    centre: float
    high: float
    best: float
    settled: bool = False
    runaway: bool = False

    @classmethod
    def around(cls, frequency_hz: Float, filled: Float, row: int) -> _Bracket:
        last = filled.size - 1
        low = row - 1 if row > 0 and np.isfinite(filled[row - 1]) else row
        high = row + 1 if row < last and np.isfinite(filled[row + 1]) else row
        return cls(float(frequency_hz[low]), float(frequency_hz[row]), float(frequency_hz[high]), float(filled[row]))

    @classmethod
    def alone(cls, frequency_hz: Float, filled: Float) -> _Bracket:
        """The best point of the grid, not to be narrowed down."""
        at = int(np.argmax(filled))
        return cls(float(frequency_hz[at]), float(frequency_hz[at]), float(frequency_hz[at]), float(filled[at]))

    @property
    def done(self) -> bool:
        return self.settled or self.runaway or self.low == self.high

    def grid(self) -> Float:
        # As np.linspace, in a fifth of its time.
        left = right = np.empty(0)
        if self.low < self.centre:
            left = _STEPS[:-1] * ((self.centre - self.low) / SIDE_POINTS) + self.low
        if self.high > self.centre:
            right = _STEPS[1:] * ((self.high - self.centre) / SIDE_POINTS) + self.centre
            right[-1] = self.high
        return np.concatenate([left, [self.centre], right])

    def take(self, grid: Float, value: Float, scale: float) -> None:
        filled = np.where(np.isfinite(value), value, -np.inf)
        best = int(np.argmax(filled))
        if filled[best] < self.best:
            # The centre itself can no longer be evaluated (it fell on a singular point): keep it.
            filled[np.argmin(np.abs(grid - self.centre))] = self.best
            best = int(np.argmax(filled))
        low, high = max(best - 1, 0), min(best + 1, grid.size - 1)
        self.low, self.centre, self.high = float(grid[low]), float(grid[best]), float(grid[high])
        self.best = float(filled[best])
        beside = [float(filled[i]) for i in (low, high) if i != best and np.isfinite(filled[i])]
        if not beside:
            self.low = self.high = self.centre
            return
        self.settled = self.best - min(beside) <= AGREE * max(abs(self.best), scale)
        self.runaway = not self.settled and self.high - self.low <= NARROWEST * self.centre


def _narrow(
    sought: Sequence[Sought[S]], brackets: Sequence[Sequence[_Bracket]], work_out: Callable[[Float], S]
) -> None:
    """Narrow all brackets down together: one call of `work_out` serves one step of all of them."""
    while active := [[b for b in some if not b.done] for some in brackets]:
        grids = [b.grid() for some in active for b in some]
        if not grids:
            return
        ends = np.cumsum([g.size for g in grids])
        there = work_out(np.concatenate(grids))
        at = 0
        for one, some in zip(sought, active, strict=True):
            if some:
                values = np.split(one.sign * one.read(there), ends[:-1])
                for bracket in some:
                    bracket.take(grids[at], values[at], one.scale)
                    at += 1


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
        return lowest(self.frequency_hz, self.loads_ohm[channel], lambda f: self.impedance(channel, f))

    @cached_property
    def loads_ohm(self) -> Mapping[str, Float]:
        """(n,) modulus of what each channel sees, on the grid."""
        names = [c.name for c in self.network.channels]
        load = self._read(self.frequency_hz, lambda s: np.abs([s.impedance_ohm[n] for n in names]))
        return dict(zip(names, load, strict=True))

    def highest_voltages(self, parts: Sequence[str]) -> dict[str, Extremum]:
        """Highest voltage across each part, per volt at the amplifier; a runaway has no limit."""
        if not parts:
            return {}

        def voltages(f: Float) -> Float:
            return self._read(f, lambda s: np.abs([s.voltage(part) for part in parts]))

        sought = [
            Sought[Float](volts, itemgetter(i), False, LEAST_VOLTAGE)
            for i, volts in enumerate(voltages(self.frequency_hz))
        ]
        return dict(zip(parts, extremes(self.frequency_hz, sought, voltages), strict=True))

    def lossless_parts(self, at_hz: float) -> tuple[str, ...]:
        """Coils and capacitors without any loss that carry a resonance's current, in card order."""
        f = np.array([at_hz * (1.0 + BESIDE)])
        names = [p.name for p in self.network.parts]
        currents = self._read(f, lambda s: np.stack([np.abs(s.current(name)) for name in names]))
        amps = dict(zip(names, currents[:, 0].tolist(), strict=True))
        most = max((a for a in amps.values() if np.isfinite(a)), default=0.0)
        return tuple(
            p.name for p in self.network.parts if _has_no_loss(p) and amps[p.name] >= RESONANT_SHARE * most > 0
        )

    def _read(self, frequency_hz: Float, quantity: Callable[[Solution], Float]) -> Float:
        """(..., m) solve and read; where a single frequency has no solution, read just beside it."""
        try:
            solution = solve(self.network, frequency_hz, self.driver_impedance_at(frequency_hz))
        except NoSolutionError:
            if frequency_hz.size == 1:
                return self._read(frequency_hz * (1.0 + BESIDE), quantity)
            half = frequency_hz.size // 2
            halves = (frequency_hz[:half], frequency_hz[half:])
            return np.concatenate([self._read(part, quantity) for part in halves], axis=-1)
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
