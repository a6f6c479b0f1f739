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

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from xover.curve import Complex, Float
from xover.network.network import GROUND, Groups, Network
from xover.network.parts import Channel, DriverCard, Inductor, Part, Resistor, series_impedance_ohm

# Backward error above which a system is solved again with pivoting; rounding alone gives about 1e-16, at most.
_ACCEPTED = 4e-16
# Systems as large as this are mostly zeros: so many entries in a row are not.
_SPARSE = 9
_FILLED = 12
# Entries of the matrices that are worked on at a time: they stay in the processor's cache, and take 8 MB at most.
_ENTRIES = 1 << 19
_MOST_SYSTEMS = 2048


def systems_at_a_time(size: int) -> int:
    """How many systems of so many unknowns are to be solved as one stack."""
    entries = size * (size if size < _SPARSE else _FILLED)
    return max(1, min(_MOST_SYSTEMS, _ENTRIES // max(1, entries)))


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


Entries = dict[tuple[int, int], Complex]
"""What is not zero in a stack of systems: (s,) by row and column."""


def solve_entries(
    entries: Entries, source: Complex, order: Sequence[tuple[int, Sequence[int]]]
) -> tuple[Complex, float]:
    """As `solve_stack`, for symmetric systems of which only what is not zero is given.

    Parameters
    ----------
    source : (m, c, s). order : every unknown in the order of elimination, and those still there that it is tied to.
    """
    left, x, inverse = dict(entries), source.copy(), {}
    with np.errstate(all="ignore"):
        for k, tied in order:
            inverse[k] = 1.0 / left.get((k, k), np.zeros(source.shape[2], dtype=complex))
            for i in tied:
                factor = left[i, k] * inverse[k]
                x[i] -= factor * x[k]
                for j in tied:
                    taken = factor * left[k, j]
                    left[i, j] = left[i, j] - taken if (i, j) in left else -taken
        for k, tied in reversed(order):
            for j in tied:
                x[k] -= left[k, j] * x[j]
            x[k] *= inverse[k]
        error = _error_of(entries, x, source)
    again = np.flatnonzero(~(error <= _ACCEPTED))
    if again.size:
        matrix = np.zeros((source.shape[0], source.shape[0], again.size), dtype=complex)
        for place, value in entries.items():
            matrix[place] = value[again]
        x[:, :, again] = _with_pivoting(matrix, source[:, :, again])
        error[again] = backward_error(matrix, x[:, :, again], source[:, :, again])
    return x, float(error.max(initial=0.0))


def _error_of(entries: Entries, x: Complex, source: Complex) -> Float:
    """As `backward_error`."""
    miss, row_sum = -source, np.zeros((source.shape[0], source.shape[2]))
    for (i, j), value in entries.items():
        miss[i] += value * x[j]
        row_sum[i] += np.abs(value)
    reach = row_sum.max(axis=0) * np.abs(x).max(axis=0) + np.abs(source).max(axis=0)
    farthest = np.abs(miss).max(axis=0)
    ratio = np.divide(farthest, reach, out=np.zeros_like(farthest), where=reach != 0)
    return np.asarray(ratio.max(axis=0), dtype=float)


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
    miss = np.abs(np.einsum("ijs,jcs->ics", matrix, x) - source).max(axis=0)
    row_sum = np.abs(matrix).sum(axis=1).max(axis=0)
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
        matrix = np.empty((*self.fixed_matrix.shape, admittance.shape[1]), dtype=complex)
        matrix[...] = self.fixed_matrix[:, :, None]
        for y, entries in zip(admittance, self.stamps, strict=True):
            for row, column, sign in entries:
                if sign > 0:
                    matrix[row, column] += y
                else:
                    matrix[row, column] -= y
        return matrix, self.source(admittance)

    def source(self, admittance: Complex) -> Complex:
        """Sources (size, c, s) for admittances (e, s)."""
        source = np.empty((*self.fixed_source.shape, admittance.shape[1]), dtype=complex)
        source[...] = self.fixed_source[:, :, None]
        for y, sources in zip(admittance, self.source_stamps, strict=True):
            for row, channel, factor in sources:
                source[row, channel] += factor * y
        return source

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

    def solve(
        self,
        admittance: Complex,
        branch_ohm: Complex,
        mutual_ohm: Sequence[tuple[int, int, Complex]],
        source: Complex | None = None,
    ) -> tuple[Complex, float]:
        """Unknowns (size, c, s) and the residual, as of `solve_stack`; with other sources (size, c, s) if given."""
        if self.size < _SPARSE:
            matrix, own = self.system(admittance, branch_ohm, mutual_ohm)
            return solve_stack(matrix, own if source is None else source)
        stack = admittance.shape[1]
        entries: Entries = {(i, j): np.full(stack, value, dtype=complex) for i, j, value in _entries(self.fixed_matrix)}

        def add(i: int, j: int, term: Complex) -> None:
            entries[i, j] = entries[i, j] + term if (i, j) in entries else term

        for y, stamps in zip(admittance, self.stamps, strict=True):
            for row, column, sign in stamps:
                add(row, column, y if sign > 0 else -y)
        for row, own_ohm in enumerate(branch_ohm, start=len(self.nodes)):
            add(row, row, -own_ohm)
        for i, j, term in mutual_ohm:
            add(i, j, -term)
            add(j, i, -term)
        order = self.order if not mutual_ohm else _order(entries, self.size, len(self.nodes))
        return solve_entries(entries, self.source(admittance) if source is None else source, order)

    @cached_property
    def order(self) -> tuple[tuple[int, tuple[int, ...]], ...]:
        """Of elimination, without mutual impedances."""
        places = {(i, j) for stamps in self.stamps for i, j, _ in stamps}
        places |= {(i, j) for i, j, _ in _entries(self.fixed_matrix)}
        return _order(places, self.size, len(self.nodes))


def _order(places: Iterable[tuple[int, int]], size: int, nodes: int) -> tuple[tuple[int, tuple[int, ...]], ...]:
    """Nodes before branches, which have no pivot of their own; of each the one with the fewest ties first.

    So hardly anything is filled in (minimum degree; Duff, Erisman and Reid, Direct Methods for Sparse Matrices, 1986,
    from memory).
    """
    ties: dict[int, set[int]] = {k: set() for k in range(size)}
    for i, j in places:
        if i != j:
            ties[i].add(j)
    out = []
    for some in (range(nodes), range(nodes, size)):
        left = set(some)
        while left:
            k = min(left, key=lambda node: (len(ties[node]), node))
            left.remove(k)
            tied = ties.pop(k)
            for other in tied:
                ties[other] |= tied - {other}
                ties[other].discard(k)
            out.append((k, tuple(sorted(tied))))
    return tuple(out)


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
