"""Modified nodal equations of one block, as matrices that are linear in the parts.

Unknowns are the inner nodes' voltages, then the currents of those elements that have no admittance:
coupled coils (up to k = 1 their inductance matrix has no inverse), 0 ohm links, floating channels.
With y the admittances and z the branch impedances of a frequency,
A = sum_e y_e S_e + fixed + sum z N,  B = sum_e y_e T_e + fixed,  A x = B,
one column of B for each channel at one volt (the others held at zero).

Solve a stack of small complex systems, with the residual as proof.

The stack is the last axis, so that each step of the elimination is one operation over all
frequencies and candidates. Of larger systems only what is not zero is worked on: a ladder of n
nodes costs n steps. Elimination without pivoting is fast but not always stable: every system whose
backward error is not at rounding level is solved again with LAPACK's pivoting.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from xover.curve import Complex, Float
from xover.network.network import GROUND, Groups, Network
from xover.network.parts import Channel, DriverCard, Inductor, Part, Resistor, series_impedance_ohm

# Backward error above which a system is solved again with pivoting; rounding alone gives about 1e-16, at most.
_ACCEPTED = 4e-16
# Systems as large as this are mostly zeros.
_SPARSE = 12
# Entries of the matrices that are worked on at a time: they stay in the processor's cache, and take 8 MB at most.
_ENTRIES = 1 << 19
_MOST_SYSTEMS = 2048


def systems_at_a_time(size: int) -> int:
    """How many systems of so many unknowns are to be solved as one stack."""
    return max(1, min(_MOST_SYSTEMS, _ENTRIES // max(1, size * size)))


def solve_stack(matrix: Complex, source: Complex) -> tuple[Complex, float]:
    """Solve A x = b for every system of a stack.

    Parameters
    ----------
    matrix : (m, m, s); source : (m, c, s).

    Returns
    -------
    x : (m, c, s); NaN where a system is singular.
    residual : max |A x - b| / (|A| |x| + |b|), infinity norms, over the stack: the backward error
        (Higham, Accuracy and Stability of Numerical Algorithms, 2nd ed. 2002, theorem 7.1; from memory).
    """
    with np.errstate(all="ignore"):
        x = _eliminate(matrix, source)
        error = backward_error(matrix, x, source)
    again = np.flatnonzero(~(error <= _ACCEPTED))
    if again.size:
        x[:, :, again] = _with_pivoting(matrix[:, :, again], source[:, :, again])
        error[again] = backward_error(matrix[:, :, again], x[:, :, again], source[:, :, again])
    return x, float(error.max(initial=0.0))


def _eliminate(matrix: Complex, source: Complex) -> Complex:
    """Gauss without pivoting on copies; singular pivots give NaN or infinity, which the residual shows."""
    both = np.concatenate([matrix, source], axis=1)
    size = matrix.shape[0]
    if size >= _SPARSE:
        return _eliminate_sparse(both, size)
    inverse = np.empty((size, matrix.shape[2]), dtype=complex)  # one slow division for each pivot
    for k in range(size):
        inverse[k] = 1.0 / both[k, k]
        if k + 1 < size:
            factor = both[k + 1 :, k] * inverse[k]
            both[k + 1 :, k + 1 :] -= factor[:, None] * both[k, k + 1 :]
    x = both[:, size:]
    for k in range(size - 1, -1, -1):
        if k + 1 < size:
            x[k] -= np.einsum("js,jcs->cs", both[k, k + 1 : size], x[k + 1 :])
        x[k] *= inverse[k]
    return x


def _eliminate_sparse(both: Complex, size: int) -> Complex:
    """The same in the same order, on the entries that are not zero in every system, or become so."""
    filled = (both != 0).any(axis=2)
    inverse = np.empty((size, both.shape[2]), dtype=complex)
    for k in range(size):
        inverse[k] = 1.0 / both[k, k]
        rows = np.flatnonzero(filled[k + 1 :, k]) + k + 1
        columns = np.flatnonzero(filled[k, k + 1 :]) + k + 1
        for row in rows:
            both[row, columns] -= (both[row, k] * inverse[k]) * both[k, columns]
            filled[row, columns] = True
    x = both[:, size:]
    for k in range(size - 1, -1, -1):
        for column in np.flatnonzero(filled[k, k + 1 : size]) + k + 1:
            x[k] -= both[k, column] * x[column]
        x[k] *= inverse[k]
    return x


def _with_pivoting(matrix: Complex, source: Complex) -> Complex:
    """LAPACK's partial pivoting, one by one where the stack holds a singular system; NaN for those."""
    a, b = np.moveaxis(matrix, -1, 0), np.moveaxis(source, -1, 0)
    try:
        return np.asarray(np.moveaxis(np.linalg.solve(a, b), 0, -1), dtype=complex)
    except np.linalg.LinAlgError:
        out = np.full(b.shape, np.nan, dtype=complex)
        for i in range(a.shape[0]):
            try:
                out[i] = np.linalg.solve(a[i], b[i])
            except np.linalg.LinAlgError:
                continue
        return np.moveaxis(out, 0, -1)


def backward_error(matrix: Complex, x: Complex, source: Complex) -> Float:
    """(s,) normwise relative backward error of each system, the worst of its right-hand sides; NaN if x is."""
    if matrix.shape[0] < _SPARSE:
        miss = np.abs(np.einsum("ijs,jcs->ics", matrix, x) - source).max(axis=0)
        row_sum = np.abs(matrix).sum(axis=1).max(axis=0)
    else:
        miss, row_sum = np.zeros(x.shape[1:]), np.zeros(x.shape[2])
        for row, wanted, some in zip(matrix, source, (matrix != 0).any(axis=2), strict=True):
            np.maximum(miss, np.abs(np.einsum("js,jcs->cs", row[some], x[some]) - wanted), out=miss)
            np.maximum(row_sum, np.abs(row[some]).sum(axis=0), out=row_sum)
    reach = row_sum * np.abs(x).max(axis=0) + np.abs(source).max(axis=0)
    ratio = np.divide(miss, reach, out=np.zeros_like(miss), where=reach != 0)
    return np.asarray(ratio.max(axis=0), dtype=float)


Element = Part | DriverCard


@dataclass(frozen=True, eq=False)
class Block:
    """Equations of one section (or of the whole network), ready to be filled with values.

    Attributes
    ----------
    names : elements in admittance form, (e,).
    incidence : (e + b, n) +1 at the first node, -1 at the second, of admittance elements then branches.
    known : (e + b, c) what the fixed nodes add to an element's voltage, for each channel at one volt.
    branches : elements in current form, (b,), floating channels last.
    stamps : for each admittance element its entries (row, column, sign) in A.
    source_stamps : for each admittance element its entries (row, channel, factor) in B.
    fixed_matrix : (size, size); fixed_source : (size, c).
    series : (4, e + b) ohm, henry, 1/farad and dissipation factor of each element; zero for drivers.
    """

    names: tuple[str, ...]
    branches: tuple[str, ...]
    nodes: tuple[str, ...]
    incidence: Float
    known: Float
    stamps: tuple[tuple[tuple[int, int, float], ...], ...]
    source_stamps: tuple[tuple[tuple[int, int, float], ...], ...]
    fixed_matrix: Float
    fixed_source: Float
    series: Float

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return len(self.nodes) + len(self.branches)

    def nominal_impedance_ohm(self, omega: Float) -> Complex:
        """(e + b, n) impedance of every part at its own value, all at once; zero for drivers."""
        return series_impedance_ohm(omega, *self.series[:, :, None])

    def assemble(self, admittance: Complex) -> tuple[Complex, Complex]:
        """Matrices (size, size, s) and sources (size, c, s) for admittances (e, s), branches not yet in."""
        stack = admittance.shape[1]
        matrix = np.empty((*self.fixed_matrix.shape, stack), dtype=complex)
        source = np.empty((*self.fixed_source.shape, stack), dtype=complex)
        matrix[...] = self.fixed_matrix[:, :, None]
        source[...] = self.fixed_source[:, :, None]
        for y, entries, sources in zip(admittance, self.stamps, self.source_stamps, strict=True):
            for row, column, sign in entries:
                if sign > 0:
                    matrix[row, column] += y
                else:
                    matrix[row, column] -= y
            for row, channel, factor in sources:
                source[row, channel] += factor * y
        return matrix, source

    def system(
        self, admittance: Complex, branch_ohm: Complex, mutual_ohm: Sequence[tuple[int, int, Complex]]
    ) -> tuple[Complex, Complex]:
        """Whole matrices (size, size, s), symmetric, and sources (size, c, s).

        Parameters
        ----------
        admittance : (e, s); branch_ohm : (b, s) of the branches themselves.
        mutual_ohm : rows of two branches and the impedance (s,) by which the current of each acts on the other.
        """
        matrix, source = self.assemble(admittance)
        for row, own in enumerate(branch_ohm, start=len(self.nodes)):
            matrix[row, row] -= own
        for i, j, term in mutual_ohm:
            matrix[i, j] -= term
            matrix[j, i] -= term
        return matrix, source


def known_voltages(network: Network) -> tuple[dict[str, Float], tuple[Channel, ...]]:
    """Voltages that are given, per channel at one volt, and the channels whose minus is not given.

    Ground is zero; a piece of the network without ground takes its first channel's minus as zero.
    """
    count = len(network.channels)
    known = {GROUND: np.zeros(count)}
    touched = _components(network)
    floating: list[Channel] = []
    for index, channel in enumerate(network.channels):
        if channel.minus not in known and not any(n in known for n in touched[channel.minus]):
            known[channel.minus] = np.zeros(count)
        if channel.minus in known:
            known[channel.plus] = known[channel.minus] + np.eye(count)[index]
        else:
            floating.append(channel)
    return known, tuple(floating)


def _components(network: Network) -> dict[str, set[str]]:
    """For each node, all nodes that parts, drivers or channels join it to."""
    groups = Groups([GROUND])
    for element in (*network.parts, *network.drivers):
        groups.join(element.a, element.b)
    for channel in network.channels:
        groups.join(channel.plus, channel.minus)
    nodes = {n for e in (*network.parts, *network.drivers) for n in (e.a, e.b)}
    nodes |= {n for c in network.channels for n in (c.plus, c.minus)} | {GROUND}
    together: dict[str, set[str]] = {}
    for node in nodes:
        together.setdefault(groups.find(node), set()).add(node)
    return {n: together[groups.find(n)] for n in nodes}


def needs_current(network: Network, batched: frozenset[str]) -> frozenset[str]:
    """Names of the elements that have no admittance: coupled coils and resistors that are (or may become) 0 ohm."""
    coupled = {n.lower() for c in network.couplings for n in (c.first, c.second)}
    return frozenset(
        p.name
        for p in network.parts
        if (isinstance(p, Inductor) and p.name.lower() in coupled)
        or (isinstance(p, Resistor) and (p.ohm == 0 or p.name in batched))
    )


def make_block(
    network: Network,
    members: frozenset[str],
    known: dict[str, Float],
    floating: tuple[Channel, ...],
    in_current_form: frozenset[str],
) -> Block:
    """Write the equations of the named elements."""
    elements: list[Element] = [x for x in (*network.parts, *network.drivers) if x.name in members]
    ordered = sorted(elements, key=lambda element: element.name in in_current_form)
    e = sum(1 for x in elements if x.name not in in_current_form)
    nodes = tuple(dict.fromkeys(n for x in ordered for n in (x.a, x.b) if n not in known))
    index = {n: i for i, n in enumerate(nodes)}
    count = len(network.channels)
    pairs = [(x.a, x.b) for x in ordered] + [(c.plus, c.minus) for c in floating]
    incidence = np.zeros((len(pairs), len(nodes)))
    given = np.zeros((len(pairs), count))
    for row, ends in enumerate(pairs):
        for node, sign in zip(ends, (1.0, -1.0), strict=True):
            if node in index:
                incidence[row, index[node]] += sign
            else:
                given[row] += sign * known[node]
    n, b = len(nodes), len(pairs) - e
    size = n + b
    matrix = np.zeros((size, size))
    source = np.zeros((size, count))
    matrix[:n, n:] = incidence[e:].T
    matrix[n:, :n] = incidence[e:]
    source[n:] = -given[e:]
    for row, channel in enumerate(floating):
        source[size - len(floating) + row, network.channels.index(channel)] += 1.0
    # A channel may bear the name of a part, but no part begins with a V.
    nothing = (0.0, 0.0, 0.0, 0.0)
    series = [nothing if isinstance(x, DriverCard) else x.series for x in ordered] + [nothing] * len(floating)
    branches = tuple(x.name for x in ordered[e:]) + tuple(f"V{c.name}" for c in floating)
    return Block(
        tuple(x.name for x in ordered[:e]),
        branches,
        nodes,
        incidence,
        given,
        tuple(_entries(np.outer(row, row)) for row in incidence[:e]),
        tuple(_entries(np.outer(-row, known)) for row, known in zip(incidence[:e], given[:e], strict=True)),
        matrix,
        source,
        np.array(series).reshape(-1, 4).T.copy(),
    )


def _entries(matrix: Float) -> tuple[tuple[int, int, float], ...]:
    """The entries that are not zero."""
    return tuple((int(i), int(j), float(matrix[i, j])) for i, j in np.argwhere(matrix != 0))
