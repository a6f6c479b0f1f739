"""Least squares of bands, gain, delay and polarity to a complex target, and where to put the next band.

Everything is done in logarithms: ln target = gain + sum of ln H of the bands - j w delay + j pi turns, so that the
real part of the residual is the error of level and the imaginary part that of phase. The phase of every band is
known without wrapping, hence the number of half turns is one integer for all rows, and polarity is its parity.
Each part is divided by its tolerance and multiplied by the row's weight, so that a residual of 1 is just allowed.
A third part guards rows of little weight: there only a twin louder than its target counts.

A new band is judged by how much of the residual it takes away after gain, delay and all settings so far have moved
along (their tangents are projected out): one step of orthogonal matching pursuit. The electrical slopes of a passive
network are low- and high-pass bands at its poles, and are found this way first, as they take away most.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.electronic.biquad import Band, BandKind, powers

NEPER_PER_DB: Final = math.log(10.0) / 20.0
# Residual of a delay is a matter of microseconds: its parameter is counted in these, to be of the size of the others.
DELAY_UNIT_S: Final = 1e-5
# What can be dialled in on usual processors (common practice, no published source).
LOWEST_HZ: Final = 10.0
HIGHEST_HZ: Final = 20_000.0
MOST_BOOST_DB: Final = 12.0
_Q_RANGE: Final = {
    BandKind.PEAKING: (0.2, 20.0),
    BandKind.LOW_SHELF: (0.3, 2.0),
    BandKind.HIGH_SHELF: (0.3, 2.0),
    BandKind.ALL_PASS: (0.2, 10.0),
}
_Q_OF_PASS: Final = (0.3, 6.0)
# Spreading errors evenly gains some tens of per cent: from here on it would not reach the tolerance.
_TOO_FAR: Final = 2.0
# A start is kept this share of the range away from its ends, where the sine below has no slope.
_INSIDE: Final = 0.02


@dataclass(frozen=True, eq=False)
class Rows:
    """What is fitted, at the rows that count.

    Attributes
    ----------
    frequency_hz : (n,) below half the sample rate.
    log_target : (n,) complex, the phase without jumps.
    weight : (n,) >= 0, the greatest 1.
    guard : (n,) >= 0, weight of a level above the target's.
    tolerance_db, tolerance_deg : what a row of weight 1 may be off.
    """

    frequency_hz: Float
    log_target: Complex
    weight: Float
    guard: Float
    sample_rate_hz: float
    tolerance_db: float
    tolerance_deg: float

    @cached_property
    def bent(self) -> Float:
        """(n,) tan(pi f/fs), the frequency that a digital filter sees."""
        return np.asarray(np.tan(np.pi * self.frequency_hz / self.sample_rate_hz), dtype=float)

    @cached_property
    def omega(self) -> Float:
        """(n,) rad per DELAY_UNIT_S."""
        return 2.0 * np.pi * DELAY_UNIT_S * self.frequency_hz

    @cached_property
    def level_scale(self) -> Float:
        """(n,) residual per neper."""
        return self.weight / (self.tolerance_db * NEPER_PER_DB)

    @cached_property
    def phase_scale(self) -> Float:
        """(n,) residual per radian."""
        return self.weight / math.radians(self.tolerance_deg)

    @cached_property
    def guarded(self) -> NDArray[np.intp]:
        """Rows with a guard."""
        return np.flatnonzero(self.guard)

    @cached_property
    def guard_scale(self) -> Float:
        """Residual per neper of excess, of the guarded rows."""
        return self.guard[self.guarded] / (self.tolerance_db * NEPER_PER_DB)

    @cached_property
    def frequency_range_hz(self) -> tuple[float, float]:
        """Where bands may lie: an octave beyond the rows, as far as a processor goes."""
        low = max(LOWEST_HZ, 0.5 * float(self.frequency_hz[0]))
        return low, max(1.01 * low, min(HIGHEST_HZ, 0.45 * self.sample_rate_hz, 2.0 * float(self.frequency_hz[-1])))

    def stack(self, change: Complex, error: Complex | None = None) -> Float:
        """(.., 2n + guarded) real residual of a complex log error, or its change where the error is `error` (n,)."""
        over = (change if error is None else error)[..., self.guarded].real < 0.0
        parts = [change.real * self.level_scale, change.imag * self.phase_scale]
        return np.concatenate([*parts, np.where(over, change.real[..., self.guarded] * self.guard_scale, 0.0)], axis=-1)

    def thinned(self, most: int) -> Rows:
        """Keep every k-th row, `most` at the most."""
        step = -(-self.frequency_hz.size // most)
        if step == 1:
            return self
        every = slice(None, None, step)
        return replace(
            self,
            frequency_hz=self.frequency_hz[every],
            log_target=self.log_target[every],
            weight=self.weight[every],
            guard=self.guard[every],
        )

    def weighted(self, factor: Float) -> Rows:
        """Multiply the weights, for a fit only."""
        return replace(self, weight=self.weight * factor, guard=self.guard * factor)


@dataclass(frozen=True, eq=False)
class State:
    """Bands, gain, delay and half turns at some point of the search.

    Attributes
    ----------
    kinds : of the bands.
    settings : (k, 3) ln tan(pi f/fs), ln Q, gain in dB; what a kind does not have is 0.
    gain_neper, delay : in DELAY_UNIT_S; half_turns : of the target's phase over that of the bands.
    cost : sum of squares, and worst : largest residual, of the rows fitted to last.
    """

    kinds: tuple[BandKind, ...]
    settings: Float
    gain_neper: float
    delay: float
    half_turns: int
    cost: float = math.inf
    worst: float = math.inf

    def bands(self, sample_rate_hz: float) -> tuple[Band, ...]:
        """The bands with their frequencies in Hz."""
        return tuple(
            Band(
                kind,
                float(np.arctan(np.exp(u)) * sample_rate_hz / np.pi),
                float(gain) if kind.has_gain else 0.0,
                float(np.exp(ln_q)) if kind.has_q else None,
            )
            for kind, (u, ln_q, gain) in zip(self.kinds, self.settings, strict=True)
        )


def log_bent(frequency_hz: Float | float, sample_rate_hz: float) -> Float:
    """ln tan(pi f/fs): the parameter that stands for a frequency below half the sample rate."""
    return np.asarray(np.log(np.tan(np.pi * np.asarray(frequency_hz) / sample_rate_hz)), dtype=float)


def log_bands(kinds: tuple[BandKind, ...], settings: Float, bent: Float) -> Complex:
    """(k, n) ln H of each band, its phase without jumps; settings (k, 3) as in `State`, bent (n,) tan(pi f/fs)."""
    return _logarithms(_polynomials(kinds, settings, bent))


def log_band_slopes(kinds: tuple[BandKind, ...], settings: Float, bent: Float) -> Complex:
    """(k, 3, n) derivatives of `log_bands` by the three settings."""
    return _log_slopes(kinds, _polynomials(kinds, settings, bent))


_Polynomials = tuple[Float, Float, Float, NDArray[Any]]


def _logarithms(polynomials: _Polynomials) -> Complex:
    """(k, n) ln of numerator over denominator."""
    _, real, imag, _ = polynomials
    log_h = 0.5 * np.log(real**2 + imag**2) + 1j * np.arctan2(imag, real)
    return np.asarray(log_h[:, 0] - log_h[:, 1], dtype=complex)


def _log_slopes(kinds: tuple[BandKind, ...], polynomials: _Polynomials) -> Complex:
    """(k, 3, n) its derivatives by the three settings."""
    c, real, imag, s = polynomials
    poly = real + 1j * imag
    _, gain_power, q_power = _powers(kinds)
    by_u = -s * (2.0 * c[:, :, 0] * s + c[:, :, 1]) / poly
    by_q = -1j * q_power[:, :, 1] * imag / poly
    e = gain_power * c * (math.log(10.0) / 40.0)
    by_gain = ((e[:, :, 0] * s + e[:, :, 1]) * s + e[:, :, 2]) / poly
    pair = np.stack([by_u, by_q, by_gain], axis=1)
    return np.asarray(pair[:, :, 0] - pair[:, :, 1], dtype=complex)


@lru_cache(maxsize=512)
def _powers(kinds: tuple[BandKind, ...]) -> tuple[Float, Float, Float]:
    base, gain_power, q_power = powers(kinds)
    return base[..., None], gain_power[..., None], q_power[..., None]


def _polynomials(kinds: tuple[BandKind, ...], settings: Float, bent: Float) -> _Polynomials:
    """Coefficients (k, 2, 3, 1), real and imaginary part of numerator and denominator (k, 2, n), s (k, 1, n).

    The two parts are kept apart: the imaginary one never changes its sign, so the angle has no jumps.
    """
    base, gain_power, q_power = _powers(kinds)
    log_a = settings[:, 2].reshape(-1, 1, 1, 1) * (math.log(10.0) / 40.0)
    c = base * np.exp(log_a * gain_power - settings[:, 1].reshape(-1, 1, 1, 1) * q_power)
    x = (bent * np.exp(-settings[:, :1]))[:, None]
    return c, c[:, :, 2] - c[:, :, 0] * x**2, c[:, :, 1] * x, 1j * x


def log_error(rows: Rows, state: State) -> Complex:
    """(n,) ln(target / twin), its phase without jumps."""
    return _error(rows, state, log_bands(state.kinds, state.settings, rows.bent))


def _error(rows: Rows, state: State, log_response: Complex) -> Complex:
    """The same with the bands' logarithms (k, n) at hand."""
    return np.asarray(
        rows.log_target
        - log_response.sum(axis=0)
        - state.gain_neper
        + 1j * (rows.omega * state.delay - math.pi * state.half_turns),
        dtype=complex,
    )


def measure(rows: Rows, state: State) -> State:
    """The same state with its cost and worst residual on these rows."""
    r = rows.stack(log_error(rows, state))
    return replace(state, cost=float(r @ r), worst=float(np.max(np.abs(r))))


def row_errors(rows: Rows, state: State) -> Float:
    """(n,) the largest residual of each row."""
    n = rows.weight.size
    r = np.abs(rows.stack(log_error(rows, state)))
    largest = np.maximum(r[:n], r[n : 2 * n])
    largest[rows.guarded] = np.maximum(largest[rows.guarded], r[2 * n :])
    return np.asarray(largest, dtype=float)


def limits(rows: Rows, kinds: tuple[BandKind, ...]) -> tuple[Float, Float, NDArray[np.bool_]]:
    """Lowest and highest settings (k, 3), and which of them a kind has."""
    ends = log_bent(np.array(rows.frequency_range_hz), rows.sample_rate_hz)
    low, high, free = np.zeros((len(kinds), 3)), np.zeros((len(kinds), 3)), np.zeros((len(kinds), 3), dtype=bool)
    for k, kind in enumerate(kinds):
        q = np.log(_Q_RANGE.get(kind, _Q_OF_PASS))
        low[k], high[k] = (ends[0], q[0], -MOST_BOOST_DB), (ends[1], q[1], MOST_BOOST_DB)
        free[k] = (True, kind.has_q, kind.has_gain)
    return low, high, free


def tangents(rows: Rows, state: State, with_delay: bool) -> Float:
    """(p, 2n) how the residual changes with gain, delay and each free setting, up to the sign."""
    by = log_band_slopes(state.kinds, state.settings, rows.bent)
    error = log_error(rows, state)
    _, _, free = limits(rows, state.kinds)
    return rows.stack(np.concatenate([_common(rows, with_delay), by[free]]), error)


def _common(rows: Rows, with_delay: bool) -> Complex:
    ones = np.ones(rows.omega.size, dtype=complex)
    return np.stack([ones, -1j * rows.omega] if with_delay else [ones])


def refine(rows: Rows, start: State, most_steps: int, with_delay: bool = True, change: float = 1e-9) -> State:
    """Move gain, delay and every setting to the least squares, within what can be dialled in.

    A step that lowers the sum of squares by less than the share `change` ends it. The bounds are kept by
    p = middle + half range * sin(x), so that the search itself knows none.
    """
    from scipy.optimize import least_squares

    low, high, free = limits(rows, start.kinds)
    middle, half = (0.5 * (low + high))[free], (0.5 * (high - low))[free]
    shared = 2 if with_delay else 1

    common = _common(rows, with_delay)
    last: dict[bytes, tuple[_Polynomials, Complex]] = {}  # the derivatives are asked for where the error was

    def unpack(x: Float) -> State:
        settings = np.where(free, 0.0, start.settings)
        settings[free] = middle + half * np.sin(x[shared:])
        delay = float(x[1]) if with_delay else start.delay
        return replace(start, settings=settings, gain_neper=float(x[0]), delay=delay)

    def at(x: Float) -> tuple[_Polynomials, Complex]:
        key = x.tobytes()
        if key not in last:
            state = unpack(x)
            polynomials = _polynomials(state.kinds, state.settings, rows.bent)
            last.clear()
            last[key] = polynomials, _error(rows, state, _logarithms(polynomials))
        return last[key]

    def residual(x: Float) -> Float:
        return rows.stack(at(x)[1])

    def jacobian(x: Float) -> Float:
        polynomials, error = at(x)
        rate = np.concatenate([np.ones(shared), half * np.cos(x[shared:])])
        by = _log_slopes(start.kinds, polynomials)[free]
        return np.asarray(-(rows.stack(np.concatenate([common, by]), error) * rate[:, None]).T, dtype=float)

    inside = np.clip((start.settings[free] - middle) / half, -1.0 + _INSIDE, 1.0 - _INSIDE)
    x0 = np.concatenate([[start.gain_neper, start.delay][:shared], np.arcsin(inside)])
    found = least_squares(
        residual, x0, jac=jacobian, method="lm", x_scale="jac", max_nfev=most_steps, xtol=1e-10, ftol=change, gtol=1e-12
    )
    return measure(rows, unpack(found.x))


def even_out(rows: Rows, state: State, most_steps: int, with_delay: bool = True) -> State:
    """Trade mean for worst: refit with more weight where the error is large (C. L. Lawson's way to minimax)."""
    best, factor = state, np.ones(rows.weight.size)
    trial = state
    for _ in range(6):
        if best.worst <= 1.0 or best.worst > _TOO_FAR:
            break
        size = row_errors(rows, trial)
        factor = factor * np.sqrt(0.1 + size / np.max(size))
        trial = measure(rows, refine(rows.weighted(factor / np.max(factor)), trial, most_steps, with_delay))
        if trial.worst < best.worst:
            best = trial
    return best


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
