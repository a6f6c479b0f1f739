"""Solve a stack of small complex systems, with the residual as proof.

The stack is the last axis, so that each step of the elimination is one operation over all
frequencies and candidates. Elimination without pivoting is fast but not always stable: every
system whose backward error is not at rounding level is solved again with LAPACK's pivoting.
"""

from __future__ import annotations

import numpy as np

from xover.curve import Complex, Float

# Backward error above which a system is solved again with pivoting; rounding alone gives about 1e-16, at most.
_ACCEPTED = 4e-16


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
