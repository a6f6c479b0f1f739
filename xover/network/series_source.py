"""What one volt in series with an element does to its section, the amplifiers silent.

A change of an element's impedance by dZ acts as -dZ times its current in series with it (substitution theorem), and a
mutual impedance likewise between two coils: so these answers tell what any change of a few impedances does.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from xover.curve import Complex
from xover.network.elimination import solve_stack
from xover.network.solve import SolvedBlock


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
    matrix, here, unknown = solved.again()
    source = np.zeros((block.size, len(elements), stack), dtype=complex)
    place = [solved.names.index(name) for name in elements]
    for column, row in enumerate(place):
        if row < rows:
            source[:nodes, column] = -block.incidence[row][:, None] * here[row]
        else:
            source[nodes + row - rows, column] = -1.0
    x = solve_stack(matrix, source)[0] if block.size else source

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
