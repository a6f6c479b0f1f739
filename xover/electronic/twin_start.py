"""Where to put the next band: every kind, frequency and Q tried at first order.

A new band is judged by how much of the residual it takes away after gain, delay and all settings so far have moved
along (their tangents are projected out): one step of orthogonal matching pursuit. The electrical slopes of a passive
network are low- and high-pass bands at its poles, and are found this way first, as they take away most.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.electronic.biquad import BandKind
from xover.electronic.twin_fit import Rows, State, log_bands, log_bent, log_error, tangents

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

_PER_OCTAVE: Final = 4
_TRIAL_DB: Final = 3.0
_MOST_FIRST_DB: Final = 12.0
_Q_TRIED: Final[dict[BandKind, tuple[float, ...]]] = {
    BandKind.LOW_PASS: (0.5, 0.8, 1.5),
    BandKind.HIGH_PASS: (0.5, 0.8, 1.5),
    BandKind.LOW_PASS_1: (1.0,),
    BandKind.HIGH_PASS_1: (1.0,),
    BandKind.LOW_SHELF: (0.7,),
    BandKind.HIGH_SHELF: (0.7,),
    BandKind.PEAKING: (0.5, 1.0, 2.0, 4.0, 8.0),
    BandKind.ALL_PASS: (0.5, 1.5),
}
# Peaking bands at the two best places at least this far apart are both tried.
_APART: Final = math.log(2.0) / 2.0


@dataclass(frozen=True, eq=False)
class Atoms:
    """Every band tried, with its response; made once for one set of rows."""

    rows: Rows

    @cached_property
    def table(self) -> tuple[tuple[BandKind, ...], Float]:
        """Kinds (k) and settings (k, 3)."""
        low, high = self.rows.frequency_range_hz
        places = np.geomspace(low, high, max(2, int(_PER_OCTAVE * math.log2(high / low)) + 1))
        kinds, settings = [], []
        for kind, qualities in _Q_TRIED.items():
            for u in log_bent(places, self.rows.sample_rate_hz):
                for q in qualities:
                    kinds.append(kind)
                    settings.append((float(u), math.log(q), _TRIAL_DB if kind.has_gain else 0.0))
        return tuple(kinds), np.array(settings)

    @cached_property
    def log_response(self) -> Complex:
        """(k, n) ln H of each."""
        kinds, settings = self.table
        return log_bands(kinds, settings, self.rows.bent)


@dataclass(frozen=True, eq=False)
class Way:
    """A state with one more band, and the sum of squares that it leaves at first order."""

    state: State
    remaining: float


def extensions(atoms: Atoms, state: State, most: int) -> list[Way]:
    """The state with one more band, in the `most` best ways, each of another kind or place."""
    rows = atoms.rows
    kinds, settings = atoms.table
    basis = np.linalg.qr(tangents(rows, state, with_delay=True).T)[0]

    def free_of(vector: Float) -> Float:
        return np.asarray(vector - (vector @ basis) @ basis.T, dtype=float)

    error = log_error(rows, state)
    left = free_of(rows.stack(error))
    turn = free_of(rows.stack(np.full(rows.omega.size, 1j * math.pi), error))
    band = free_of(rows.stack(atoms.log_response, error))
    has_gain = np.array([kind.has_gain for kind in kinds])
    norm = np.einsum("ij,ij->i", band, band)
    share = np.divide(band @ left, norm, out=np.zeros(norm.size), where=norm > 0)
    most_share = _MOST_FIRST_DB / _TRIAL_DB
    share = np.where(has_gain, np.clip(share, -most_share, most_share), 1.0)
    after = left - share[:, None] * band
    # A low- or high-pass may turn the phase by half turns against the rows: take what suits best.
    square = float(turn @ turn)
    turns = np.where(has_gain, 0.0, np.round(after @ turn / square)) if square > 0 else np.zeros(norm.size)
    after = after - turns[:, None] * turn
    remaining = np.einsum("ij,ij->i", after, after)
    grown = []
    for row in _distinct(kinds, settings, remaining, most):
        new = settings[row].copy()
        new[2] *= share[row]
        joined = np.concatenate([state.settings, new[None]])
        half_turns = state.half_turns + int(turns[row])
        more = replace(state, kinds=(*state.kinds, kinds[row]), settings=joined, half_turns=half_turns)
        grown.append(Way(more, float(remaining[row])))
    return grown


def _distinct(kinds: tuple[BandKind, ...], settings: Float, remaining: Float, most: int) -> list[int]:
    """Rows that leave least, one of a kind, two of peaking bands."""
    taken: list[int] = []
    for row in np.argsort(remaining, kind="stable"):
        same = [t for t in taken if kinds[t] is kinds[row]]
        again = kinds[row] is BandKind.PEAKING and len(same) == 1
        if not same or (again and abs(settings[same[0], 0] - settings[row, 0]) > _APART):
            taken.append(int(row))
        if len(taken) == most:
            break
    return taken
