"""How far rounding may have moved what a solve gives, and what a difference over several solves makes of it.

For judges that compare with a difference: they must know how sure they are themselves. The bound of a solve is
Oettli and Prager's (1964, from memory; derived here as well): if the system that is stated differs from the true one
by |dA| <= g E and |db| <= g |b| entry by entry, and the computed x leaves r = b - A x, then
A (x_true - x) = r + db - dA x_true, so that |x_true - x| <= |A^-1| (|r| + g (E |x| + |b|)) to first order in g.
E is the sum of the absolute values of all stamps of an entry: what cancels in A has been rounded before it does. It
holds whatever the elimination was, as it rests on what was left over.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from xover.network import Solution

UNIT = float(np.finfo(float).eps) / 2
Real = NDArray[np.float64]


class Doubt:
    """Bounds (n,) of the rounding in a solution without candidates: volts of each element, amperes of each.

    A stamp is made by up to ten roundings (frequency, reactance, loss, reciprocal, sum), a sum of m products by m + 2,
    each of complex numbers by up to 2 sqrt(2) units.
    """

    def __init__(self, solution: Solution) -> None:
        self.solution = solution
        self._volts: dict[str, Real] = {}
        self._amps: dict[str, Real] = {}
        for solved in solution.blocks:
            block, x = solved.block, solved.unknown[:, :, 0, :]
            y, z = solved.admittance[:, 0], solved.branch_ohm[:, 0]
            mutual = [(i, j, m[0]) for i, j, m in solved.mutual_ohm]
            matrix, source = block.system(y, z, mutual)
            size = [(i, j, np.abs(m) + 0j) for i, j, m in mutual]
            terms, given = (np.abs(a) for a in block.system(np.abs(y) + 0j, np.abs(z) + 0j, size))
            unit = 2 * np.sqrt(2) * (block.size + 12) * UNIT
            rest = np.abs(np.einsum("ijn,jcn->icn", matrix, x) - source)
            rest += unit * (np.einsum("ijn,jcn->icn", terms, np.abs(x)) + given)
            away = np.zeros(x.shape)
            if block.size:
                inverse = np.abs(np.linalg.inv(np.moveaxis(matrix, -1, 0)))
                away = np.einsum("nij,jcn->icn", inverse, rest)
            for row, name in enumerate(solved.names):
                nodes = len(block.nodes)
                volts = np.einsum("j,jcn->cn", np.abs(block.incidence[row]), away[:nodes])
                volts += unit * (np.einsum("j,jcn->cn", np.abs(block.incidence[row]), np.abs(x[:nodes])) + 1.0)
                branch = row - len(block.names)
                known = np.abs(solved.current(row)[:, 0])
                amps = np.abs(y[row]) * volts + unit * known if branch < 0 else away[nodes + branch]
                self._volts[name], self._amps[name] = volts.sum(axis=0), amps.sum(axis=0)

    def drive(self) -> Mapping[str, Real]:
        """By driver's key: how far its voltage may be off, for one volt at the amplifier."""
        return {d.key: self._volts[d.name] for d in self.solution.network.drivers}

    def load(self) -> Mapping[str, Real]:
        """By channel: how far the impedance that it sees may be off, ohm (without floating channels)."""
        out = {}
        for channel in self.solution.network.channels:
            at = [e.name for e in (*self.solution.network.parts, *self.solution.network.drivers)]
            ends = {e.name: (e.a, e.b) for e in (*self.solution.network.parts, *self.solution.network.drivers)}
            amps = sum(self._amps[name] for name in at if channel.plus in ends[name])
            load = np.abs(self.solution.impedance_ohm[channel.name])
            out[channel.name] = np.asarray(load**2 * amps + 4 * UNIT * load)
        return out


def rounding_of_difference(doubt: Real, weights: Mapping[int, float], step: float) -> Real:
    """What rounding may do to sum_w c_w g(x + w h) / h, each g off by `doubt` at most: sum |c_w| doubt / h."""
    return np.asarray(sum(abs(c) for c in weights.values()) * doubt / step)
