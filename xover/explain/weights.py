"""How much each row counts: the sweep's own noise, that of the drivers' sweeps, and outliers.

A driver's sweep is as noisy as the one at the terminals, and its errors come through the network in proportion to
d ln Z / d ln Z_driver; where its rows stand wider apart, or two sweeps rest on the same row, they come correlated.
So the residuals of neighbouring cells, of all sweeps, are whitened together with the Cholesky factor of their
covariance: an octave at a time, as no row of a driver's sweep reaches further.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.explain.problem import Index, Problem, Residual, SweepRows

# A row this many standard deviations off its neighbours loses weight, by the square beyond (mains hum).
OUTLYING: Final = 3.5
# What a model misses of a driver's change is alike within about this many octaves.
_MISSED_OCTAVES: Final = 0.25
# Its neighbours: rows within this many octaves on either side, and this many rows at the least.
_NEIGHBOUR_OCTAVES: Final = 1.0 / 6.0
_NEIGHBOUR_ROWS: Final = 5


@dataclass(frozen=True, eq=False)
class Whitener:
    """Turns residuals of rows into uncorrelated numbers of unit variance.

    The cells are stacked: magnitudes of all sweeps, one after the other, then phases of those that have one.

    Attributes
    ----------
    row_weight : (n,) for each sweep, 1 for an ordinary row.
    blocks : places in the stack that belong together, and the inverse of their covariance's Cholesky factor.
    log_determinant : of the whole covariance.
    cell_deviation : (c,) standard deviation of each place.
    """

    row_weight: tuple[Float, ...]
    blocks: tuple[tuple[Index, Float], ...]
    log_determinant: float
    cell_deviation: Float

    def cells(self, problem: Problem, rows: Sequence[Complex]) -> Float:
        """(c, ...) mean over each cell of (n, ...) complex rows."""
        means = [gathered(s, w, r) for s, w, r in zip(problem.sweeps, self.row_weight, rows, strict=True)]
        phases = [m.imag for s, m in zip(problem.sweeps, means, strict=True) if s.sweep.curve.has_phase]
        return np.concatenate([*(m.real for m in means), *phases])

    def whitened(self, problem: Problem, rows: Sequence[Complex]) -> Float:
        """(c, ...) uncorrelated."""
        cells = self.cells(problem, rows)
        out = np.empty_like(cells)
        for places, inverse in self.blocks:
            out[places] = inverse @ cells[places]
        return out


def gathered(sweep: SweepRows, weight: Float, rows: Complex | Float) -> Complex:
    """(cells, ...) weighted mean of (n, ...) rows in each cell."""
    shape = (-1,) + (1,) * (rows.ndim - 1)
    total = np.add.reduceat(rows * weight.reshape(shape), sweep.first, axis=0)
    return np.asarray(total / np.add.reduceat(weight, sweep.first).reshape(shape))


def whitener(problem: Problem, shares: Sequence[Mapping[str, Complex]], row_weight: Sequence[Float]) -> Whitener:
    """Covariance of the cells.

    Parameters
    ----------
    shares : for each sweep, (n,) d ln / d ln Z of each driver. row_weight : (n,) for each sweep.
    """
    sizes = [s.first.size for s in problem.sweeps]
    phased = [s.sweep.curve.has_phase for s in problem.sweeps]
    magnitude_at = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    phase_at = sum(sizes) + np.concatenate([[0], np.cumsum([n * p for n, p in zip(sizes, phased, strict=True)])[:-1]])
    octave = [np.floor(np.log2(s.sweep.frequency_hz[s.first])).astype(int) for s in problem.sweeps]
    blocks: list[tuple[Index, Float]] = []
    deviation = np.empty(sum(sizes) + sum(n * p for n, p in zip(sizes, phased, strict=True)))
    log_determinant = 0.0
    for number in sorted({int(o) for found in octave for o in found}):
        cells = [np.flatnonzero(o == number) for o in octave]
        common = _common(problem, shares, row_weight, cells)
        has_phase = np.concatenate([np.full(c.size, p) for c, p in zip(cells, phased, strict=True)])
        own = [_own(s, w, c) for s, w, c in zip(problem.sweeps, row_weight, cells, strict=True)]
        cross = common[:, has_phase]
        both = cross[has_phase]
        # Of a circular complex error: E[re re'] = E[im im'] = Re K, E[re im'] = -Im K.
        covariance = np.block([[common.real, -cross.imag], [-cross.imag.T, both.real]])
        covariance[np.diag_indices_from(covariance)] += np.concatenate(
            [*(m for m, _ in own), *(p for (_, p), known in zip(own, phased, strict=True) if known)]
        )
        factor = np.linalg.cholesky(covariance)
        log_determinant += 2.0 * float(np.log(np.diag(factor)).sum())
        places = np.concatenate(
            [
                *(c + at for c, at in zip(cells, magnitude_at, strict=True)),
                *(c + at for c, at, known in zip(cells, phase_at, phased, strict=True) if known),
            ]
        )
        deviation[places] = np.sqrt(np.diag(covariance))
        blocks.append((places, np.linalg.inv(factor)))
    return Whitener(tuple(row_weight), tuple(blocks), log_determinant, deviation)


def _own(sweep: SweepRows, weight: Float, cells: Index) -> tuple[Float, Float]:
    """(c,) variances of the sweep's own noise, of magnitude and phase."""
    share = 1.0 / np.add.reduceat(weight, sweep.first)[cells]
    noise = sweep.sweep.noise
    return share * noise.magnitude**2, share * noise.phase_rad**2


def _common(
    problem: Problem, shares: Sequence[Mapping[str, Complex]], row_weight: Sequence[Float], cells: Sequence[Index]
) -> Complex:
    """(c, c) covariance of a few cells of all sweeps by what is not known of the drivers, per real dimension."""
    total = sum(c.size for c in cells)
    # What a bounded driver leaves open is alike in all rows of one sweep.
    left_open = np.zeros((total, len(cells)), dtype=complex)
    ends_at = np.cumsum([c.size for c in cells])
    for column, (sweep, weight, cell) in enumerate(zip(problem.sweeps, row_weight, cells, strict=True)):
        left_open[ends_at[column] - cell.size : ends_at[column], column] = gathered(sweep, weight, sweep.doubt)[cell]
    out = left_open @ left_open.conj().T
    ends = [np.append(s.first, s.cell.size) for s in problem.sweeps]
    rows = [slice(int(e[c[0]]), int(e[c[-1] + 1])) if c.size else slice(0, 0) for e, c in zip(ends, cells, strict=True)]
    for name, sigma in problem.driver_noise.items():
        parts = zip(problem.sweeps, rows, shares, strict=True)
        lefts = [s.rests_on[name][0][r] for s, r, share in parts if name in share and r.stop > r.start]
        if not lefts:
            continue
        low = min(int(left.min()) for left in lefts)
        width = max(int(left.max()) for left in lefts) + 2 - low
        spreads = []
        for sweep, row, share, weight, cell in zip(problem.sweeps, rows, shares, row_weight, cells, strict=True):
            if name not in share or not cell.size:
                spreads.append(np.zeros((cell.size, width), dtype=complex))
                continue
            left, upper = (of[row] for of in sweep.rests_on[name])
            index = np.arange(left.size)
            spread = np.zeros((left.size, width), dtype=complex)
            spread[index, left - low] = 1.0 - upper
            spread[index, left - low + 1] += upper
            spread *= (share[name][row] * weight[row])[:, None]
            first = sweep.first[cell] - row.start
            spread = np.add.reduceat(spread, first, axis=0)
            spread /= np.add.reduceat(weight[row], first)[:, None]
            spreads.append(spread)
        whole = np.concatenate(spreads) * sigma
        out += whole @ whole.conj().T
        # What the model misses of a driver's change is smooth over frequency, and alike in all sweeps.
        missed = np.concatenate(
            [
                gathered(sweep, weight, share[name] * sweep.model.drivers[name].missed)[cell]
                if name in share
                else np.zeros(cell.size, dtype=complex)
                for sweep, share, weight, cell in zip(problem.sweeps, shares, row_weight, cells, strict=True)
            ]
        )
        octaves = np.concatenate(
            [np.log2(s.sweep.frequency_hz[s.first[cell]]) for s, cell in zip(problem.sweeps, cells, strict=True)]
        )
        alike = np.exp(-0.5 * ((octaves[:, None] - octaves) / _MISSED_OCTAVES) ** 2)
        out += np.outer(missed, missed.conj()) * alike
    return out


def row_weights(problem: Problem, found: Residual) -> list[Float]:
    """(n,) for each sweep: 1, or less for a row that stands apart from the median of its neighbours.

    A misfit that is smooth over frequency is no outlier: it must not hide.
    """
    out = []
    for rows, residual, share in zip(problem.sweeps, found.rows, found.shares, strict=True):
        drivers = sum((np.abs(share[n]) ** 2 * problem.driver_noise[n] ** 2 for n in share), rows.doubt**2)
        noise = rows.sweep.noise
        apart = np.abs(_off_neighbours(rows.sweep.frequency_hz, residual.real)) / np.sqrt(noise.magnitude**2 + drivers)
        if rows.sweep.curve.has_phase:
            turned = np.abs(_off_neighbours(rows.sweep.frequency_hz, residual.imag))
            apart = np.maximum(apart, turned / np.sqrt(noise.phase_rad**2 + drivers))
        out.append(np.where(apart <= OUTLYING, 1.0, (OUTLYING / np.maximum(apart, OUTLYING)) ** 2))
    return out


def _off_neighbours(frequency_hz: Float, value: Float) -> Float:
    """(n,) distance from the running median."""
    octaves = np.log2(frequency_hz)
    rows = np.arange(value.size)
    low = np.minimum(np.searchsorted(octaves, octaves - _NEIGHBOUR_OCTAVES), np.maximum(rows - _NEIGHBOUR_ROWS, 0))
    high = np.searchsorted(octaves, octaves + _NEIGHBOUR_OCTAVES, side="right")
    high = np.maximum(high, np.minimum(rows + _NEIGHBOUR_ROWS + 1, value.size))
    index = low[:, None] + np.arange(int((high - low).max()))
    window = np.where(index < high[:, None], value[np.minimum(index, value.size - 1)], np.inf)
    # The upper end is padded with infinity: the median sits by each row's own count.
    window.sort(axis=1)
    count = high - low
    middle = 0.5 * (window[rows, (count - 1) // 2] + window[rows, count // 2])
    return np.asarray(value - middle)
