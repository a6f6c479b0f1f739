"""The passive network's twin: gain, delay, polarity and the fewest bands that give a driver the voltage it had."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.curve import Complex, Float
from xover.electronic.biquad import SAMPLE_RATE_HZ, Band, BandKind, response
from xover.electronic.twin_fit import (
    DELAY_UNIT_S,
    NEPER_PER_DB,
    Atoms,
    Rows,
    State,
    even_out,
    extensions,
    log_error,
    measure,
    refine,
)
from xover.errors import InputError, OptionError

LEAST_ROWS: Final = 8
"""Fewer known rows than this are not fitted."""

MOST_DELAY_S: Final = 0.01
"""Delays up to this are found however far apart the rows are (3.4 m of air)."""

# The search: rows it looks at, states it keeps of each size, ways it extends each and tries of all, steps of a trial,
# of a result that is spread evenly, of a final one.
_SEARCH_ROWS: Final = 120
_KEPT: Final = 3
_WAYS: Final = 8
_TRIALS: Final = 12
_TRIAL_STEPS: Final = 12
_EVEN_STEPS: Final = 5
# A trial has settled when a step lowers the sum of squares by less than this share.
_ROUGH: Final = 1e-3
# On the thinned rows, this near the tolerance may be within on all of them.
_NEARLY: Final = 1.1
_FINAL_STEPS: Final = 60
# States closer than this are one.
_SAME: Final = 1e-3
# A longer list must lower the worst error by this share within two bands to be worth while.
_WORTH: Final = 0.03
# The worst error may rise by this share of the tolerance to save a delay.
_DELAY_WORTH: Final = 0.02


@dataclass(frozen=True)
class TwinStep:
    """The best twin found with so many bands, errors weighted as in `Twin`."""

    bands: int
    worst_db: float
    worst_deg: float
    rms_db: float


@dataclass(frozen=True, eq=False)
class Twin:
    """What to dial in on one channel, and how near it comes.

    Attributes
    ----------
    bands : low- and high-pass first, then by rising frequency.
    gain_db, polarity : +1 or -1.
    delay_s : negative where the target leads every set of bands found; the caller then delays the others.
    response : (n,) complex at the target's frequencies, all of the above in it; NaN above half the sample rate.
    error_db, error_deg : (n,) twin less target, not weighted; NaN where the target is not known.
    worst_db, worst_deg, rms_db : errors times weight (greatest weight 1); rms by the squared weights.
    worst_db_at_hz, worst_deg_at_hz : where they are largest.
    excess_db, excess_at_hz : most that the twin is louder than its target at any known row, not weighted; and where.
    within : both worst errors are within their tolerance, and the excess out of band within the guard.
    history : the best with 0, 1, 2, .. bands.
    """

    bands: tuple[Band, ...]
    gain_db: float
    delay_s: float
    polarity: int
    sample_rate_hz: float
    response: Complex
    error_db: Float
    error_deg: Float
    worst_db: float
    worst_db_at_hz: float
    worst_deg: float
    worst_deg_at_hz: float
    rms_db: float
    excess_db: float
    excess_at_hz: float
    within: bool
    history: tuple[TwinStep, ...]

    def plain(self) -> dict[str, Any]:
        """Everything but the curves, for JSON."""
        return {
            "gain_db": self.gain_db,
            "delay_s": self.delay_s,
            "polarity": self.polarity,
            "bands": self.bands,
            "sample_rate_hz": self.sample_rate_hz,
            "worst_db": self.worst_db,
            "worst_db_at_hz": self.worst_db_at_hz,
            "worst_deg": self.worst_deg,
            "worst_deg_at_hz": self.worst_deg_at_hz,
            "rms_db": self.rms_db,
            "excess_db": self.excess_db,
            "excess_at_hz": self.excess_at_hz,
            "within": self.within,
            "history": self.history,
        }


def weight_in_sum(branch: ArrayLike, total: ArrayLike) -> Float:
    """How much an error of a channel counts in the sum: |branch|/|total|, 1 at the most.

    An error of 1 dB in a branch 20 dB below the sum moves the sum by about 0.1 dB (derived).

    Parameters
    ----------
    branch, total : (n,) pressures, complex or magnitudes: of all drivers on the channel, and of all channels. In a
        null of the sum the weight is 1.

    Returns (n,) 0..1; 0 where either is not known.
    """
    b, t = np.abs(np.asarray(branch)), np.abs(np.asarray(total))
    known = np.isfinite(b) & np.isfinite(t) & (b > 0)
    ratio = np.divide(b, t, out=np.ones(b.shape), where=known & (t > 0))
    return np.where(known, np.minimum(1.0, ratio), 0.0)


def fit_twin(
    frequency_hz: ArrayLike,
    target: ArrayLike,
    weight: ArrayLike | None = None,
    *,
    sample_rate_hz: float = SAMPLE_RATE_HZ,
    most_bands: int = 8,
    tolerance_db: float = 0.25,
    tolerance_deg: float = 5.0,
    guard: float = 0.1,
) -> Twin:
    """Find the fewest bands that give a target within tolerance.

    A beam search: each of the best lists of k bands gets one more in the ways that promise most (twin_fit.py),
    all settings are refined together by least squares (twin_fit.py), and the shortest list within tolerance is
    taken, after trying to do without each of its bands. Not an exhaustive search: a shorter list may exist. No
    number is drawn at random.

    Parameters
    ----------
    frequency_hz : (n,) rising, evenly spaced in log for an even fit.
    target : (n,) complex voltage ratio. Rows that are NaN or 0, and rows at or above half the sample rate, are
        left out.
    weight : (n,) >= 0, how much a row counts; NaN and 0 leave it out. An error is multiplied by weight over the
        greatest weight before it is held against its tolerance. All 1 by default.
    guard : least weight of a level above the target's at every known row, so that a driver out of its band, where
        weights are small, gets no more than tolerance / guard above what it had: 2.5 dB.
    most_bands : where no list is within tolerance, the best of up to this many bands comes back, not `within`.

    Raises OptionError: a limit that is not positive, a negative weight, arrays that do not match. InputError: fewer
    than 8 rows are known.
    """
    f, wanted, w = _checked(frequency_hz, target, weight, most_bands)
    for name, value in (("level", tolerance_db), ("phase", tolerance_deg), ("sample rate", sample_rate_hz)):
        if not (math.isfinite(value) and value > 0):
            raise OptionError(f"the {name} limit of a twin is {value:g}", "give one above 0")
    if not 0.0 <= guard <= 1.0:
        raise OptionError(f"the guard of a twin is {guard:g}", "give 0 to 1")
    rows = _rows(f, wanted, w, guard, sample_rate_hz, tolerance_db, tolerance_deg)
    found = _search(rows, most_bands)
    best = _shortest_delay(rows, _without_idle_bands(rows, _chosen(found)))
    history = tuple(_step(rows, state) for state in found)
    return _told(rows, best, history, f, wanted)


def can_fit(frequency_hz: Float, target: Complex, weight: Float, sample_rate_hz: float) -> bool:
    """Whether a target is known at rows enough that count for a twin of it; arguments as of `fit_twin`."""
    return int(np.sum(_known(frequency_hz, target, sample_rate_hz) & (weight > 0))) >= LEAST_ROWS


def _checked(
    frequency_hz: ArrayLike, target: ArrayLike, weight: ArrayLike | None, most_bands: int
) -> tuple[Float, Complex, Float]:
    f, wanted = np.asarray(frequency_hz, dtype=float), np.asarray(target, dtype=complex)
    w = np.ones(f.shape) if weight is None else np.asarray(weight, dtype=float)
    if f.ndim != 1 or f.shape != wanted.shape or f.shape != w.shape:
        raise OptionError("frequencies, target and weights of a twin do not match", "give one of each in every row")
    if np.any(w < 0.0) or np.any(np.isinf(w)):
        raise OptionError("a weight of a twin is negative or infinite", "give weights from 0 up")
    if most_bands < 0:
        raise OptionError(f"a twin of {most_bands} bands was asked for", "give 0 or more")
    return f, wanted, w


def _rows(
    f: Float, wanted: Complex, w: Float, guard: float, sample_rate_hz: float, tolerance_db: float, tolerance_deg: float
) -> Rows:
    w = np.where(np.isnan(w), 0.0, w)
    known = _known(f, wanted, sample_rate_hz)
    count = int(np.sum(known & (w > 0)))
    if count < LEAST_ROWS:
        raise InputError(
            f"the voltage to imitate is known at {count} frequencies that count",
            f"measure it at {LEAST_ROWS} or more",
        )
    w = w / np.max(w[known])
    if guard == 0.0:
        known &= w > 0
    log_target = np.log(np.abs(wanted[known])) + 1j * _phase(f[known], wanted[known])
    guards = np.where(w < guard, guard, 0.0)
    return Rows(f[known], log_target, w[known], guards[known], sample_rate_hz, tolerance_db, tolerance_deg)


def _known(f: Float, wanted: Complex, sample_rate_hz: float) -> NDArray[np.bool_]:
    return np.isfinite(wanted) & (np.abs(wanted) > 0) & (f > 0) & (f < 0.5 * sample_rate_hz)


def _phase(f: Float, wanted: Complex) -> Float:
    """Phase without jumps, even where a delay turns it by more than half a turn from row to row."""
    unit = wanted / np.abs(wanted)
    steps = unit[1:] * unit[:-1].conj()
    delays = np.linspace(0.0, MOST_DELAY_S, 401)
    both = np.stack([delays, -delays], axis=1).ravel()  # the shortest first: evenly spaced rows cannot tell them apart
    agreement = (steps * np.exp(2j * np.pi * both[:, None] * np.diff(f))).real.sum(axis=1)
    delay = both[np.argmax(np.round(agreement, 6))]
    return np.asarray(np.unwrap(np.angle(unit * np.exp(2j * np.pi * f * delay))) - 2.0 * np.pi * f * delay, dtype=float)


def _search(rows: Rows, most_bands: int) -> list[State]:
    """The best state with each number of bands, up to the first within tolerance."""
    few = rows.thinned(_SEARCH_ROWS)
    atoms = Atoms(few)
    kept = [_without_bands(few)]
    best = [refine(rows, kept[0], _FINAL_STEPS)]
    # Two real numbers a row: no more settings than half of them.
    most = min(most_bands, max(0, int(np.count_nonzero(rows.weight)) - 3) // 3)
    for _ in range(most):
        if best[-1].worst <= 1.0 or _in_vain(best):
            break
        ways = [way for state in kept for way in extensions(atoms, state, _WAYS)]
        ways = sorted(ways, key=lambda way: way.remaining)[:_TRIALS]
        kept = _different([refine(few, way.state, _TRIAL_STEPS, change=_ROUGH) for way in ways], _KEPT)
        kept = [refine(few, state, _FINAL_STEPS, change=_ROUGH) for state in kept]
        best.append(_best(rows, few, kept))
    return best


def _best(rows: Rows, few: Rows, kept: list[State]) -> State:
    """The state within tolerance that boosts, cuts and delays least; where there is none, the nearest to it."""
    even = sorted((even_out(few, state, _EVEN_STEPS) for state in kept), key=lambda s: s.worst)
    nearly = [state for state in even if state.worst <= _NEARLY] or even[:1]
    fine = [_polished(rows, state) for state in nearly]
    within = [state for state in fine if state.worst <= 1.0]
    if within:
        return min(within, key=_effort)
    return min(fine, key=lambda s: s.worst)


def _effort(state: State) -> float:
    """Decibels of boost and cut, which take headroom, and of delay 10 us for a decibel: bands that fight each other."""
    return float(np.sum(np.abs(state.settings[:, 2])) + abs(state.gain_neper) / NEPER_PER_DB + abs(state.delay))


def _without_bands(rows: Rows) -> State:
    """Gain, delay and polarity alone: linear, but for the half turns, of which each is tried."""
    none = np.zeros((0, 3))
    w = rows.level_scale**2  # the guard is left to the first refinement
    gain = float(np.sum(w * rows.log_target.real) / np.sum(w))
    phase, scale = rows.log_target.imag, rows.phase_scale
    column = -rows.omega * scale
    trials = []
    for turns in range(round(float(np.min(phase)) / math.pi) - 3, round(float(np.max(phase)) / math.pi) + 4):
        delay = float(column @ ((phase - math.pi * turns) * scale) / (column @ column))
        trials.append(measure(rows, State((), none, gain, delay, turns)))
    return min(trials, key=lambda s: s.cost)


def _different(states: list[State], most: int) -> list[State]:
    """The cheapest states that are not the same one twice, nor more than two of the same kinds."""
    taken: list[State] = []
    for state in sorted(states, key=lambda s: s.cost):
        kin = [t for t in taken if sorted(t.kinds) == sorted(state.kinds)]
        if len(kin) < 2 and not any(abs(state.cost - t.cost) <= _SAME * t.cost for t in taken):
            taken.append(state)
        if len(taken) == most:
            break
    return taken


def _polished(rows: Rows, state: State, with_delay: bool = True) -> State:
    """Refine on all rows; where that is near the tolerance, spread the error evenly."""
    fine = refine(rows, state, _FINAL_STEPS, with_delay)
    return even_out(rows, fine, _EVEN_STEPS, with_delay)


def _in_vain(best: list[State]) -> bool:
    """Whether the last two bands brought next to nothing."""
    if len(best) <= 3:
        return False
    return best[-1].worst > (1.0 - _WORTH) * best[-3].worst and best[-1].cost > (1.0 - _WORTH) * best[-3].cost


def _chosen(found: list[State]) -> State:
    """The shortest list within tolerance, or else as good as the best."""
    least = min(state.worst for state in found)
    enough = 1.0 if least <= 1.0 else least / (1.0 - _WORTH)
    return next(state for state in found if state.worst <= enough)


def _without_idle_bands(rows: Rows, state: State) -> State:
    """Leave out bands that are not needed for the tolerance, one after another."""
    if state.worst > 1.0:
        return state
    for k in range(len(state.kinds)):
        keep = np.arange(len(state.kinds)) != k
        kinds = tuple(kind for i, kind in enumerate(state.kinds) if i != k)
        less = _polished(rows, replace(state, kinds=kinds, settings=state.settings[keep]))
        if less.worst <= 1.0:
            return _without_idle_bands(rows, less)
    return state


def _shortest_delay(rows: Rows, state: State) -> State:
    """No delay where none is needed."""
    without = _polished(rows, replace(state, delay=0.0), with_delay=False)
    good = without.worst <= max(state.worst * (1.0 + _DELAY_WORTH), min(1.0, state.worst + _DELAY_WORTH))
    return without if good else state


def _errors(rows: Rows, state: State) -> tuple[Float, Float]:
    error = log_error(rows, state)
    return np.abs(error.real) / NEPER_PER_DB * rows.weight, np.abs(np.degrees(error.imag)) * rows.weight


def _rms(rows: Rows, weighted_db: Float) -> float:
    return float(np.sqrt(np.sum(weighted_db**2) / np.sum(rows.weight**2)))


def _step(rows: Rows, state: State) -> TwinStep:
    db, deg = _errors(rows, state)
    return TwinStep(len(state.kinds), float(np.max(db)), float(np.max(deg)), _rms(rows, db))


def _told(rows: Rows, state: State, history: tuple[TwinStep, ...], f: Float, wanted: Complex) -> Twin:
    bands = tuple(sorted(state.bands(rows.sample_rate_hz), key=_order))
    polarity = -1 if state.half_turns % 2 else 1
    delay_s = state.delay * DELAY_UNIT_S
    shape = response(bands, f, rows.sample_rate_hz) * np.exp(-2j * np.pi * f * delay_s)
    dialled = polarity * math.exp(state.gain_neper) * shape
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(np.abs(wanted) > 0, dialled / wanted, np.nan)
        error_db = 20.0 * np.log10(np.abs(ratio))
    db, deg = _errors(rows, state)
    above = int(np.nanargmax(error_db))
    return Twin(
        bands=bands,
        gain_db=state.gain_neper / NEPER_PER_DB,
        delay_s=delay_s,
        polarity=polarity,
        sample_rate_hz=rows.sample_rate_hz,
        response=np.asarray(dialled, dtype=complex),
        error_db=np.asarray(error_db, dtype=float),
        error_deg=np.asarray(np.degrees(np.angle(ratio)), dtype=float),
        worst_db=float(np.max(db)),
        worst_db_at_hz=float(rows.frequency_hz[np.argmax(db)]),
        worst_deg=float(np.max(deg)),
        worst_deg_at_hz=float(rows.frequency_hz[np.argmax(deg)]),
        rms_db=_rms(rows, db),
        excess_db=float(error_db[above]),
        excess_at_hz=float(f[above]),
        within=state.worst <= 1.0,
        history=history,
    )


def _order(band: Band) -> tuple[int, float]:
    slope = band.kind in {BandKind.LOW_PASS, BandKind.LOW_PASS_1, BandKind.HIGH_PASS, BandKind.HIGH_PASS_1}
    return (0 if slope else 1, band.frequency_hz)
