"""The numeric solve: modified nodal analysis over frequency and over candidates in one batch."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.curve import Complex, Float
from xover.errors import NoSolutionError, OptionError
from xover.network.faults import topology_faults
from xover.network.network import Network, find_sections
from xover.network.parts import Inductor, changed
from xover.network.stamps import Block, known_voltages, make_block, needs_current, systems_at_a_time
from xover.readable import Readable
from xover.rules.margins import CANCELS, NO_CURRENT, NO_VOLTAGE


@dataclass(frozen=True, eq=False)
class SolvedBlock:
    """A block with its values: unknowns (size, c, k, n), admittances (e, k, n), branch impedances (b, k, n).

    `mutual_ohm` holds the coupled coils: their rows in the matrix and the impedance (k, n) between them.
    """

    block: Block
    unknown: Complex
    admittance: Complex
    branch_ohm: Complex
    mutual_ohm: tuple[tuple[int, int, Complex], ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Elements in the order of their rows."""
        return (*self.block.names, *self.block.branches)

    def voltage(self, row: int) -> Complex:
        """(c, k, n) voltage across an element for each channel at one volt."""
        volts: Complex = np.zeros(self.unknown.shape[1:], dtype=complex) + self.block.known[row][:, None, None]
        for node in np.flatnonzero(self.block.incidence[row]):
            volts += self.block.incidence[row, node] * self.unknown[node]
        return volts

    def told_voltage(self, row: int, rms_v: Float) -> Complex:
        """(k, n) voltage across an element, each channel (c,) at its own: 0 where only rounding is left of it."""
        volts = np.tensordot(rms_v, self.voltage(row), axes=1)
        ends = np.abs(self.unknown[np.flatnonzero(self.block.incidence[row])]).sum(axis=0)
        reach = np.tensordot(rms_v, ends + np.abs(self.block.known[row])[:, None, None], axes=1)
        volts[np.abs(volts) <= np.maximum(CANCELS * reach, NO_VOLTAGE * rms_v.max())] = 0.0
        return np.asarray(volts, dtype=complex)

    def told_current(self, row: int, rms_v: Float) -> Complex:
        """(k, n) current through an element, likewise."""
        if row < len(self.block.names):
            return np.asarray(self.told_voltage(row, rms_v) * self.admittance[row], dtype=complex)
        amps = np.tensordot(rms_v, self.current(row), axes=1)
        return np.where(np.abs(amps) <= NO_CURRENT * rms_v.max(), 0.0, amps)

    def current(self, row: int) -> Complex:
        """(c, k, n) current through an element from its first node to its second."""
        elements = len(self.block.names)
        if row < elements:
            return np.asarray(self.voltage(row) * self.admittance[row], dtype=complex)
        return np.asarray(self.unknown[len(self.block.nodes) + row - elements], dtype=complex)

    def again(self, sources: Callable[[Complex], Complex]) -> tuple[Complex, Complex, NDArray[np.bool_]]:
        """Unknowns (m, c, s) for other sources, admittances (e, s), and where an impedance is not known (s,).

        Every frequency and candidate in one row; where an impedance is not known the unknowns are NaN, and 1 stands
        for the admittances.

        Parameters
        ----------
        sources : makes (m, c, s) of admittances (e, s).
        """
        stack = math.prod(self.admittance.shape[1:])
        admittance = self.admittance.reshape(len(self.block.names), stack)
        branch = self.branch_ohm.reshape(len(self.block.branches), stack)
        unknown = ~np.isfinite(admittance.sum(axis=0) + branch.sum(axis=0))
        here = np.where(unknown, 1.0, admittance)
        mutual = [(i, j, term.reshape(stack)) for i, j, term in self.mutual_ohm]
        branch = np.where(unknown, 1.0, branch)
        x = sources(here)
        step = systems_at_a_time(self.block.size)
        for start in range(0, stack if x.size else 0, step):
            some = slice(start, start + step)
            terms = [(i, j, term[some]) for i, j, term in mutual]
            x[:, :, some], _ = self.block.solve(here[:, some], branch[:, some], terms, x[:, :, some])
        x[:, :, unknown] = np.nan
        return x, here, unknown


@dataclass(frozen=True, eq=False, repr=False)
class Solution(Readable):
    """The network solved at every frequency, and for every candidate where values were given as arrays.

    Arrays have the shape (n,) over frequency, or (k, n) with k candidates.

    Attributes
    ----------
    drive : voltage at each driver (plus minus minus) over the amplifier's, by key; with several channels all
        of them carry the same one volt.
    impedance_ohm : what each channel sees, the other channels silent (held at zero volts).
    residual : largest |A x - b| relative to |A| |x| + |b| over everything solved.
    by_section : whether sections were solved apart.
    blocks : the equations solved, for what is computed from them.
    values : candidates as they were given, (k,) or (1,) by name; empty without any.
    """

    network: Network
    frequency_hz: Float
    drive: Mapping[str, Complex]
    impedance_ohm: Mapping[str, Complex]
    residual: float
    by_section: bool
    blocks: tuple[SolvedBlock, ...] = field(repr=False)
    values: Mapping[str, Float] = field(repr=False)
    _shape: tuple[int, ...]

    def voltage(self, name: str) -> Complex:
        """Voltage across a part or driver card, first node minus second, per volt at the amplifier.

        What is no more than rounding is told as 0, here and of currents.
        """
        solved, row = self._find(name)
        return self._shaped(solved.told_voltage(row, np.ones(len(self.network.channels))))

    def current(self, name: str) -> Complex:
        """Current through a part or driver card from its first node to its second, amperes per volt."""
        solved, row = self._find(name)
        return self._shaped(solved.told_current(row, np.ones(len(self.network.channels))))

    def transfer(self, key: str, channel: str) -> Complex:
        """Voltage at a driver over one channel's voltage, the other channels silent."""
        solved, row = self._find(self.network.driver_card(key).name)
        alone = np.array([float(c.name == channel) for c in self.network.channels])
        return self._shaped(solved.told_voltage(row, alone))

    def _find(self, name: str) -> tuple[SolvedBlock, int]:
        for solved in self.blocks:
            for row, element in enumerate(solved.names):
                if element.lower() == name.lower():
                    return solved, row
        raise OptionError(f"the network has no part {name}", "name a part or driver card of the netlist")

    def _shaped(self, values: Complex) -> Complex:
        shaped = np.broadcast_to(values, self._shape) if len(self._shape) == 2 else values.reshape(self._shape)
        return np.asarray(shaped, dtype=complex)


def solve(
    network: Network,
    frequency_hz: ArrayLike,
    driver_impedance_ohm: Mapping[str, ArrayLike],
    values: Mapping[str, ArrayLike] | None = None,
    *,
    impedance_ohm: Mapping[str, ArrayLike] | None = None,
    by_section: bool = True,
) -> Solution:
    """Solve a network.

    Parameters
    ----------
    frequency_hz : (n,) > 0.
    driver_impedance_ohm : (n,), or (k, n) for candidates, complex by driver's name; NaN where it is not known, and
        NaN comes out there.
    values : candidates, (k,) arrays or numbers by part name: ohm, henry, farad; `NAME_dcr`, `NAME_esr`,
        `NAME_df` for the losses; a K card's name for its coupling. All arrays have the same k.
    impedance_ohm : (n,), or (k, n) for candidates: whatever stands in the place of a part, by the part's name; a
        coil so replaced keeps its coupling.
    by_section : solve sections apart where that is exact (False: one system, for checking).

    Raises NoSolutionError: the network has no unique solution; names the node or part. Raises OptionError: a driver
    without impedance, or a value for a part that is not there.
    """
    frequency = np.asarray(frequency_hz, dtype=float)
    given = {k: np.atleast_1d(np.asarray(v, dtype=float)) for k, v in (values or {}).items()}
    stand_in = {k: np.atleast_2d(np.asarray(z, dtype=complex)) for k, z in (impedance_ohm or {}).items()}
    count = _candidates(network, given, stand_in, driver_impedance_ohm)
    blocks, split = _blocks(network, frozenset((*given, *stand_in)), by_section)
    stood_in = _changed_impedances(network, frequency, driver_impedance_ohm, given) | stand_in
    solved: list[SolvedBlock] = []
    worst = 0.0
    for block in blocks:
        one, residual = _solve_block(network, block, stood_in, frequency, given)
        solved.append(one)
        worst = max(worst, residual)
    shape = (count, frequency.size) if count else (frequency.size,)
    parts = tuple(solved)
    draft = Solution(network, frequency, {}, {}, worst, split, parts, given, shape)
    drive = {d.key: draft.voltage(d.name) for d in network.drivers}
    loads = {}
    for index, channel in enumerate(network.channels):
        amps = draft._shaped(_channel_current(network, parts, channel.name)[index])
        with np.errstate(divide="ignore", invalid="ignore"):  # no current: infinite; not known: NaN
            loads[channel.name] = np.where(np.abs(amps) <= NO_CURRENT, np.inf, 1.0 / amps)
    return Solution(network, frequency, drive, loads, worst, split, parts, given, shape)


def _candidates(
    network: Network, given: Mapping[str, Float], stand_in: Mapping[str, Complex], drivers: Mapping[str, ArrayLike]
) -> int:
    """Number of candidates, 0 without any; checks the names."""
    for name in stand_in:
        if all(p.name != name for p in network.parts):
            raise OptionError(
                f"there is no part {name} in the network", "use one of " + ", ".join(p.name for p in network.parts)
            )
    stacks = [np.shape(drivers[name]) for name in network.driver_names if name in drivers]
    rows = {z.shape[0] for z in stand_in.values()} | {shape[0] for shape in stacks if len(shape) == 2}
    if not given and not any(count > 1 for count in rows):
        return 0
    known = network.numbers
    sizes = {v.size for v in given.values()} | rows
    for name in given:
        if name not in known:
            raise OptionError(f"there is no value {name} in the network", "use one of " + ", ".join(sorted(known)))
    if len(sizes - {1}) > 1:
        raise OptionError("the candidates differ in number", "give every part as many values as the others, or one")
    return max(sizes, default=0)


@lru_cache(maxsize=256)
def _blocks(network: Network, batched: frozenset[str], by_section: bool) -> tuple[tuple[Block, ...], bool]:
    """The equations; they depend on the wiring alone, so they are kept for the next solve."""
    fault = next(topology_faults(network), None)
    if fault is not None:
        raise NoSolutionError(fault.problem, fault.remedy)
    known, floating = known_voltages(network)
    in_current_form = needs_current(network, batched)
    if by_section and not floating:
        members = [frozenset(s.elements) for s in find_sections(network)]
    else:
        members = [frozenset(e.name for e in (*network.parts, *network.drivers))]
    blocks = tuple(make_block(network, m, known, floating, in_current_form) for m in members)
    return blocks, by_section and not floating


def _changed_impedances(
    network: Network, frequency: Float, drivers: Mapping[str, ArrayLike], given: Mapping[str, Float]
) -> dict[str, Complex]:
    """(k or 1, n) impedance of the drivers, and of each part that has candidates."""
    omega = (2.0 * np.pi * frequency)[None, :]
    out: dict[str, Complex] = {}
    columns = {name: numbers[:, None] for name, numbers in given.items()}
    for part in network.parts:
        renewed = changed(part, columns)
        if renewed is not part:
            out[part.name] = renewed.impedance_ohm(omega)
    for card in network.drivers:
        if card.driver not in drivers:
            raise OptionError(f"no impedance is known for the driver {card.driver}", f"add [drivers.{card.driver}]")
        z = np.asarray(drivers[card.driver], dtype=complex)
        if z.shape[-1:] != frequency.shape:
            raise OptionError(
                f"the impedance of {card.driver} has another length than the frequencies", "interpolate it first"
            )
        out[card.name] = z.reshape(-1, frequency.size)
    return out


def _solve_block(
    network: Network, block: Block, stood_in: Mapping[str, Complex], frequency: Float, given: Mapping[str, Float]
) -> tuple[SolvedBlock, float]:
    elements, count, size = len(block.names), frequency.size, block.size
    omega = 2.0 * np.pi * frequency
    couplings = _couplings(network, block, given)
    names = (*block.names, *block.branches)
    rows = {row: stood_in[name] for row, name in enumerate(names) if name in stood_in}
    batch = max([z.shape[0] for z in rows.values()] + [henry.size for _, _, henry in couplings], default=1)
    nominal = block.nominal_impedance_ohm(omega)
    impedance = np.repeat(nominal[elements:, None, :], batch, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):  # drivers come below
        admittance = np.repeat((1.0 / nominal[:elements])[:, None, :], batch, axis=1)
        for row, z in rows.items():
            if row < elements:
                admittance[row] = 1.0 / z
            else:
                impedance[row - elements] = z
    branch = impedance.reshape(len(block.branches), batch * count)
    channels = block.fixed_source.shape[1]
    if size == 0:
        nothing = np.zeros((0, channels, batch, count), dtype=complex)
        return SolvedBlock(block, nothing, admittance, impedance, ()), 0.0
    flat = admittance.reshape(elements, batch * count)
    # A driver that is not known at a frequency must not poison the whole stack.
    known = [np.isfinite(admittance[row] if row < elements else impedance[row - elements]) for row in rows]
    unknown = ~np.logical_and.reduce(known).reshape(-1) if known else np.zeros(batch * count, dtype=bool)
    if unknown.any():
        flat, branch = np.where(unknown, 1.0, flat), np.where(unknown, 1.0, branch)
    mutual = [(i, j, np.broadcast_to(1j * (henry[:, None] * omega), (batch, count))) for i, j, henry in couplings]
    coupled = [(i, j, term.reshape(-1)) for i, j, term in mutual]
    x = np.empty((size, channels, batch * count), dtype=complex)
    worst = 0.0
    step = systems_at_a_time(size)
    for start in range(0, batch * count, step):
        part = slice(start, start + step)
        terms = [(i, j, term[part]) for i, j, term in coupled]
        x[:, :, part], residual = block.solve(flat[:, part], branch[:, part], terms)
        worst = residual if math.isnan(residual) else max(worst, residual)
    if math.isnan(worst):
        bad = int(np.argmax(~np.isfinite(x.sum(axis=(0, 1)))))
        raise NoSolutionError(
            f"no unique solution at {frequency[bad % count]:g} Hz round {(*block.nodes, *block.branches)[0]}",
            "give the coils and capacitors there their losses (dcr=, esr=)",
        )
    if unknown.any():
        x[:, :, unknown] = np.nan
    return SolvedBlock(block, x.reshape(size, channels, batch, count), admittance, impedance, tuple(mutual)), worst


def _couplings(network: Network, block: Block, given: Mapping[str, Float]) -> list[tuple[int, int, Float]]:
    """Rows of the two coils and (k or 1,) mutual inductance M = k sqrt(L1 L2), for each coupling of a block."""
    found = []
    for coupling in network.couplings:
        one, other = network.part(coupling.first), network.part(coupling.second)
        if one.name not in block.branches or other.name not in block.branches:
            continue
        if not (isinstance(one, Inductor) and isinstance(other, Inductor)):
            continue  # cannot be: the topology check has seen to it
        k = given.get(coupling.name, np.array([coupling.k]))
        product = given.get(one.name, np.array([one.henry])) * given.get(other.name, np.array([other.henry]))
        row, column = (len(block.nodes) + block.branches.index(p.name) for p in (one, other))
        found.append((row, column, np.asarray(k * np.sqrt(product), dtype=float)))
    return found


def _channel_current(network: Network, solved: tuple[SolvedBlock, ...], channel: str) -> Complex:
    """(c, k, n) current out of one channel's plus, for each channel alone at one volt."""
    wanted = next(c for c in network.channels if c.name == channel)
    total: Complex | None = None
    ends = {e.name: (e.a, e.b) for e in (*network.parts, *network.drivers)}
    for one in solved:
        for row, name in enumerate(one.names):
            if name not in ends:
                continue
            a, b = ends[name]
            if wanted.plus in (a, b):
                amps = one.current(row) * (1.0 if a == wanted.plus else -1.0)
                total = amps if total is None else total + amps
    if total is None:
        raise NoSolutionError(f"nothing is connected to channel {channel}", f"begin a part at node {wanted.plus}")
    return total
