"""What a mutual inductance between two coils does to every drive: the network is solved without it, once.

With z = j w M between coils a and b, I0 their currents without it, Y_ab the current in a for one volt in series with b
and D_a what one volt in series with a adds to a drive,

    (1 + Y_ab z) I_a + Y_aa z I_b = I0_a,    Y_bb z I_a + (1 + Y_ab z) I_b = I0_b,    H = H0 - z (D_a I_b + D_b I_a)

(derived, as each current acts on the other coil as a voltage in series).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from xover.curve import Complex
from xover.errors import OptionError
from xover.network.series_source import series_volt
from xover.network.solve import Solution


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
