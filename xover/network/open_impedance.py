"""What a change of one impedance, or of a coupling, does to every drive, for any number of values on one solve.

One volt in series with an element, the amplifiers silent, tells what any change there does: a change of an impedance by
dZ acts as -dZ times its current in series with it (substitution theorem), and a mutual impedance likewise between two
coils.

One part. By Thevenin's theorem the part, of impedance Z0, sees a source behind Zt. With another impedance Z0 + d in its
place, every voltage of the network is

    H(d) = H0 + d g / (1 + d y),    g = dH/dZ at Z0,    y = 1/(Zt + Z0)

(derived). Both come from one volt in series with the part: y is the current that it drives, and g is what it adds to H,
times the part's own current, with the sign turned.

Two coils. With z = j w M between coils a and b, I0 their currents without it, Y_ab the current in a for one volt in
series with b and D_a what one volt in series with a adds to a drive,

    (1 + Y_ab z) I_a + Y_aa z I_b = I0_a,    Y_bb z I_a + (1 + Y_ab z) I_b = I0_b,    H = H0 - z (D_a I_b + D_b I_a)

(derived, as each current acts on the other coil as a voltage in series).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.network.solve import Solution, SolvedBlock


def series_volt(
    solved: SolvedBlock, elements: Sequence[str], across: Sequence[str], through: Sequence[str]
) -> tuple[Complex, Complex]:
    """Voltages and currents for one volt in series with an element, driving current from its first node to its second.

    Returns
    -------
    (a, v, k, n) voltage, first node minus second, across each element of `across`, and (a, t, k, n) current through
    each of `through`, for each of the a `elements`. NaN where an impedance of the section is not known.
    """
    block = solved.block
    rows, nodes = len(block.names), len(block.nodes)
    batch, count = solved.admittance.shape[1:]
    stack = batch * count
    place = [solved.names.index(name) for name in elements]

    def sources(admittance: Complex) -> Complex:
        source = np.zeros((block.size, len(elements), stack), dtype=complex)
        for column, row in enumerate(place):
            if row < rows:
                source[:nodes, column] = -block.incidence[row][:, None] * admittance[row]
            else:
                source[nodes + row - rows, column] = -1.0
        return source

    x, here, unknown = solved.again(sources)

    def voltage(row: int) -> Complex:
        volts: Complex = np.zeros((len(elements), stack), dtype=complex)
        for node in np.flatnonzero(block.incidence[row]):
            volts += block.incidence[row, node] * x[node]
        return volts

    volts = np.empty((len(elements), len(across), stack), dtype=complex)
    for column, name in enumerate(across):
        volts[:, column] = voltage(solved.names.index(name))
    amps = np.empty((len(elements), len(through), stack), dtype=complex)
    for column, name in enumerate(through):
        row = solved.names.index(name)
        if row < rows:
            own = np.array([row == other for other in place], dtype=float)
            amps[:, column] = here[row] * (voltage(row) + own[:, None])
        else:
            amps[:, column] = x[nodes + row - rows]
    volts[..., unknown], amps[..., unknown] = np.nan, np.nan
    return volts.reshape(*volts.shape[:2], batch, count), amps.reshape(*amps.shape[:2], batch, count)


@dataclass(frozen=True, eq=False)
class OpenPart:
    """A network, or k candidates of it, with one part's impedance left open.

    Attributes
    ----------
    part_ohm : (k or 1, n) Z0, what stands in the solution.
    loop_siemens : (k, n) y.
    drive : (k, n) H0 by driver's key, and slope : (k, n) g, per ohm; drivers of the part's own section alone: no
        other is touched.
    """

    part_ohm: Complex
    loop_siemens: Complex
    drive: Mapping[str, Complex]
    slope: Mapping[str, Complex]

    def power(self, impedance_ohm: Complex, candidates: slice = slice(None)) -> dict[str, Float]:
        """(k, c, n) |H|^2 of each drive with each of (c, n) impedances in the part's place, for some candidates.

        One row stands for all where the section does not vary. NaN where an impedance is not known.
        """

        def some(value: Complex) -> Complex:
            return value[candidates, None] if value.shape[0] > 1 else value[:, None]

        step, loop = impedance_ohm[None] - some(self.part_ohm), some(self.loop_siemens)
        out: dict[str, Float] = {}
        with np.errstate(divide="ignore", invalid="ignore"):
            below = 1.0 / _square(1.0 + step * loop)
            for key, whole in self.drive.items():
                drive = some(whole)
                out[key] = _square(drive + step * (some(self.slope[key]) + drive * loop)) * below
        return out


def open_part(solution: Solution, name: str) -> OpenPart:
    """Leave one part's impedance open, for the drives with all channels at one volt.

    Parameters
    ----------
    name : of a part that is not 0 ohm.

    Raises OptionError: no part of that name was solved.
    """
    block = next((b for b in solution.blocks if name in b.names), None)
    if block is None:
        raise OptionError(f"the network has no part {name}", "name a part of the netlist")
    row, elements = block.names.index(name), len(block.block.names)
    with np.errstate(divide="ignore", invalid="ignore"):
        own = 1.0 / block.admittance[row] if row < elements else block.branch_ohm[row - elements]
    cards = [d for d in solution.network.drivers if d.name in block.names]
    volts, amps = series_volt(block, [name], [d.name for d in cards], [name])
    flow = block.current(row).sum(axis=0)
    return OpenPart(
        part_ohm=own,
        loop_siemens=amps[0, 0],
        drive={d.key: block.voltage(block.names.index(d.name)).sum(axis=0) for d in cards},
        slope={d.key: -flow * volts[0, i] for i, d in enumerate(cards)},
    )


def _square(value: Complex) -> Float:
    return np.asarray(value.real * value.real + value.imag * value.imag)


@dataclass(frozen=True, eq=False)
class CoupledPair:
    """Two coils of a solved network, ready to be coupled. All (n,).

    Attributes
    ----------
    current : I0 of both. own, between : Y of both, and from one to the other: 0 where they stand in two sections.
    drive : H0 by driver's key. added : D of both, by key; 0 where the coil stands in another section.
    """

    current: tuple[Complex, Complex]
    own: tuple[Complex, Complex]
    between: Complex
    drive: Mapping[str, Complex]
    added: Mapping[str, tuple[Complex, Complex]]

    def drives(self, mutual_ohm: Complex) -> dict[str, Complex]:
        """(k, n) drives by key for (k, n) impedances j w M; NaN where there is no solution."""
        (one, other), z = self.current, mutual_ohm
        with np.errstate(divide="ignore", invalid="ignore"):
            straight = 1.0 + self.between * z
            over = z / (straight * straight - self.own[0] * self.own[1] * (z * z))
            first = (one * straight - self.own[0] * other * z) * over
            second = (other * straight - self.own[1] * one * z) * over
            return {
                key: drive - self.added[key][0] * second - self.added[key][1] * first
                for key, drive in self.drive.items()
            }


def couple_pair(solution: Solution, first: str, second: str) -> CoupledPair:
    """Make two coils of a solution ready to be coupled.

    Parameters
    ----------
    solution : of one network, without candidates. first, second : names of coils that no K card couples with others.
    """
    blocks = []
    for name in (first, second):
        block = next((b for b in solution.blocks if name in b.names), None)
        if block is None:
            raise OptionError(f"the network has no coil {name}", "name a coil of the netlist")
        blocks.append(block)
    nothing = np.zeros(solution.frequency_hz.shape, dtype=complex)
    added = {d.key: [nothing, nothing] for d in solution.network.drivers}
    own, current, between = [], [], nothing
    for i, (name, other, block) in enumerate(zip((first, second), (second, first), blocks, strict=True)):
        cards = [d for d in solution.network.drivers if d.name in block.names]
        together = [n for n in (name, other) if n in block.names]
        volts, amps = series_volt(block, [name], [d.name for d in cards], together)
        current.append(block.current(block.names.index(name)).sum(axis=0)[0])
        own.append(amps[0, 0, 0])
        if len(together) == 2:
            between = amps[0, 1, 0]
        for column, card in enumerate(cards):
            added[card.key][i] = volts[0, column, 0]
    return CoupledPair(
        (current[0], current[1]),
        (own[0], own[1]),
        between,
        solution.drive,
        {key: (one, other) for key, (one, other) in added.items()},
    )
