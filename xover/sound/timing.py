"""When each driver sounds, how loud and which way round, read from recordings of drivers that play together.

What a recording misses is taken as smooth complex errors over the octaves, of each driver's own record and of the
recording itself, and as noise of each row; how large they are is read from the same data, most plainly where one driver
plays alone. So ripple counts once and not in each row, and only rows to which two drivers add tell of their timing.
A phase that was rebuilt from a level has one more error: the slopes beyond its ends are guesses.

Every delay within bounds is tried with every polarity on the levels alone; what comes near is fitted by weighted least
squares, and the answers are held against each other by their evidence (Laplace's approximation of the marginal
likelihood; e.g. MacKay, Information Theory, Inference, and Learning Algorithms, 2003, ch. 27 and 45, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import NEPER_DB
from xover.curve import Complex, Float
from xover.driver.minimum_phase import minimum_phase
from xover.sound.timing_starts import EIGHTH, Recording, meeting_hz, starts

_GAIN_PRIOR_DB: Final = 1.5
"""Standard deviation of a driver's level against the first one's before anything is heard."""
_LENGTHS_OCTAVES: Final = (2.0, 0.5, 0.12)
"""How far errors reach along the frequency: tilt and baffle, edges, what a gate leaves of a room."""
_USUAL_DB: Final = (0.3, 0.25, 0.15, 0.12, 0.08)
_GATE_HZ: Final = 100.0
"""Their usual sizes, and that of a row's noise: where the search begins, and a weak prior."""
_LARGER, _SMALLER = 0.8, 2.5
"""How far, as a standard deviation, the logarithms of their variances may lie above and below the usual."""
_MOST_DB: Final = 1.0
"""A larger error is no ripple: then the records do not belong together, and nothing is told."""
_TAIL_DB_OCTAVE: Final = (6.0, 9.0)
"""Standard deviation of the slopes that are guessed below and above a record whose phase is rebuilt."""
_ROUNDS: Final = 12
_HOPELESS: Final = 40.0
"""A start that lies this far behind the best, in log likelihood, is not followed."""
_STILL: Final = 0.02
_WIDENED: Final = 1.4
"""The errors are not quite what is taken for granted: tests/benchmarks/delays_from_sums.py counts."""
_NO_DELAY: Final = 0.3
"""Of what a guessed slope does to a phase, the share that no delay makes up for; counted there too."""
_DENIED: Final = 4.0
"""Standard deviations by which two answers of the same drivers do not lie apart."""
_NUDGES_S: Final = (-20e-6, -7e-6, 7e-6, 20e-6)
_FLOOR: Final = 0.005
"""Of a row, over the size of the drivers: what stays where nothing else is wrong."""
_USUAL: Final = 2.0 * np.log(np.array(_USUAL_DB) / NEPER_DB)


@dataclass(frozen=True, eq=False)
class Timing:
    """One way in which the recordings can be explained; the first driver is the reference.

    Attributes
    ----------
    polarity : (d,) +1 as was said, -1 the other way round. delay_s, gain_db : (d,), 0 for the first.
    delay_sigma_s, gain_sigma_db : (d,) standard deviations; read_sigma_s : of the delay that the record needs as it is
        read, a rebuilt phase as it stands.
    log_evidence : natural logarithm, up to a constant. rms_db : how far the levels stay from the recordings.
    error_db : size of all errors of a record, rms, as fitted.
    clear : (d,) log odds against every answer that says something else of a driver, and against its delay an eighth of
        a cycle aside. None but for the likeliest.
    """

    polarity: tuple[int, ...]
    delay_s: Float
    gain_db: Float
    delay_sigma_s: Float
    read_sigma_s: Float
    gain_sigma_db: Float
    log_evidence: float
    rms_db: float
    error_db: float
    clear: Float | None = None


def find_timings(
    recordings: Sequence[Recording],
    rebuilt_hz: Sequence[tuple[float, float] | None],
    within_s: float,
    no_farther: bool = False,
) -> tuple[Timing, ...]:
    """Find what delays, gains and polarities explain recordings, the likeliest first.

    Parameters
    ----------
    rebuilt_hz : for each driver, the ends of its record where its phase is rebuilt from the level, else None.
    within_s : delays are looked for up to this, to both sides; `no_farther`: what lies beyond rivals none within.
    """
    problem = _Problem(recordings, rebuilt_hz)
    tried = [problem.improve(problem.start(*start), 2) for start in starts(recordings, within_s)]
    best = max(state.value for state in tried)
    leading = {s.polarity: s for s in sorted(tried, key=lambda s: s.value)}
    hopeful = [s for s in tried if s.value > best - _HOPELESS or s is leading[s.polarity]]
    states = [problem.improve(s, _ROUNDS) for s in hopeful]
    found = sorted(((problem.timing(s), s) for s in states), key=lambda pair: -pair[0].log_evidence)
    kept: list[Timing] = []
    for timing, _ in found:
        beyond = no_farther and np.abs(timing.delay_s).max() > within_s
        if not (kept and beyond) and not any(_alike(timing, k) for k in kept):
            kept.append(timing)
    clear = problem.narrowness(found[0][1], EIGHTH / meeting_hz(recordings))
    for other in kept[1:]:
        lead = np.where(_near(kept[0], other), np.inf, kept[0].log_evidence - other.log_evidence)
        clear = np.minimum(clear, lead)
    return replace(kept[0], clear=clear), *kept[1:]


def denied(
    timing: Timing,
    recordings: Sequence[Recording],
    rebuilt_hz: Sequence[tuple[float, float] | None],
    within_s: float,
    clear: float,
) -> bool:
    """Whether one of several recordings says otherwise by itself, its answer leading all others of its own by `clear`:
    another polarity, or a delay farther off than both leave open."""
    for one in recordings if len(recordings) > 1 else ():
        if not np.abs(one.parts).any(axis=1).all():
            continue  # a driver that does not play has no timing there
        alone = find_timings([one], rebuilt_hz, within_s)[0]
        apart = np.abs(alone.delay_s - timing.delay_s) > _DENIED * np.hypot(alone.delay_sigma_s, timing.delay_sigma_s)
        if (
            alone.clear is not None
            and alone.clear.min() >= clear
            and (apart.any() or alone.polarity != timing.polarity)
        ):
            return True
    return False


def averaged(
    timing: Timing, others: Sequence[Sequence[Recording]], rebuilt_hz: Sequence[tuple[float, float] | None]
) -> Timing:
    """The same answer with its delays and gains averaged over other rows of the same recordings: less noise of rows.

    Its uncertainty stays: what is smooth over the octaves is the same on all rows.
    """
    found = [timing]
    for recordings in others:
        problem = _Problem(recordings, rebuilt_hz)
        again = problem.timing(problem.improve(problem.start(timing.polarity, timing.delay_s), _ROUNDS))
        found += [again] if _alike(again, timing) else []
    delay, gain = (np.mean([getattr(t, name) for t in found], axis=0) for name in ("delay_s", "gain_db"))
    return replace(timing, delay_s=delay, gain_db=gain)


def _alike(one: Timing, other: Timing) -> bool:
    return bool(_near(one, other).all())


def _near(one: Timing, other: Timing) -> NDArray[np.bool_]:
    """(d,) whether both say the same of a driver."""
    near = np.abs(one.delay_s - other.delay_s) <= 2.0 * np.maximum(one.delay_sigma_s, other.delay_sigma_s) + 1e-6
    return np.asarray(near & (np.array(one.polarity) == np.array(other.polarity)))


class _Problem:
    """The rows of all recordings, over the size of the drivers added as powers, and what their errors share.

    A row is how far the power of the recorded sum is from that of the model; with phase, two, along it and beside it.
    """

    def __init__(self, recordings: Sequence[Recording], rebuilt_hz: Sequence[tuple[float, float] | None]) -> None:
        self._recordings = recordings
        self._drivers, self._count = recordings[0].parts.shape[0], len(recordings)
        rows = [(m, beside) for m, r in enumerate(recordings) for beside in (False, True)[: 1 + r.has_phase]]
        f = np.concatenate([recordings[m].frequency_hz for m, _ in rows])
        self._omega = 2.0 * np.pi * f
        self._at = [[slice(0, 0), slice(0, 0)] for _ in recordings]
        start = 0
        for m, beside in rows:
            self._at[m][beside] = slice(start, start + recordings[m].frequency_hz.size)
            start += recordings[m].frequency_hz.size
        self._size = [np.sqrt((np.abs(r.parts) ** 2).sum(axis=0)) for r in recordings]
        self._value = [
            r.value * np.exp(np.median(np.log(size) - np.log(np.abs(r.value))))
            for r, size in zip(recordings, self._size, strict=True)
        ]
        apart = np.log2(f)[:, None] - np.log2(f)[None, :]
        self._kernels = [np.exp(-0.5 * (apart / length) ** 2) for length in _LENGTHS_OCTAVES]
        self._kernels += [np.exp(-0.5 * ((f[:, None] - f[None, :]) / _GATE_HZ) ** 2), np.eye(f.size)]
        self._tails = [_tails(f, ends) for ends in rebuilt_hz]
        self._phases = [m for m, r in enumerate(recordings) if r.has_phase]
        free = self._drivers - 1
        self._belief = np.full(2 * free + self._count + len(self._phases), 1e-6)
        self._belief[free : 2 * free] = (_GAIN_PRIOR_DB / NEPER_DB) ** -2
        self._belief[:free] = 1.0  # of seconds: nothing

    def start(self, polarity: tuple[int, ...], delay_s: Float) -> _State:
        """A start; level, and with phase the delay and sign, of each recording as they fit it."""
        free = self._drivers - 1
        place = np.zeros(self._belief.size)
        place[:free] = delay_s[1:]
        state = _State(polarity, np.ones(self._count), place, _USUAL)
        for m, r in enumerate(self._recordings):
            total = self._parts(m, state).sum(axis=0)
            place[2 * free + m] = np.median(np.log(np.abs(self._value[m])) - np.log(np.abs(total) + 1e-9))
            if r.has_phase:
                late = np.arange(-5e-3, 5e-3, 5e-6)
                unit = np.exp(1j * np.angle(r.value * total.conj()))
                seen = np.exp(2j * np.pi * late[:, None] * r.frequency_hz) @ unit
                best = int(np.argmax(np.abs(seen.real)))
                place[2 * free + self._count + self._phases.index(m)] = late[best]
                state.flips[m] = np.sign(seen[best].real)
        return self._looked(state)

    def improve(self, state: _State, rounds: int, held: int | None = None) -> _State:
        """Weighted least squares, and the sizes of the errors by scoring, in turn; delay `held` stays where it is."""
        for _ in range(rounds):
            before = state.value
            step, resize = self._steps(state, held)
            for share in (1.0, 0.4, 0.1):
                tried = self._looked(replace(state, place=state.place + share * step))
                if tried.value > state.value:
                    state = tried
                    break
            for share in (1.0, 0.3):
                sizes = np.minimum(
                    state.sizes + np.clip(share * resize, -1.5, 1.5), 2.0 * math.log(_MOST_DB / NEPER_DB)
                )
                tried = self._looked(replace(state, sizes=sizes))
                if tried.value > state.value:
                    state = tried
                    break
            if state.value - before < _STILL:
                others = [k for k in range(self._drivers - 1) if k != held]
                nudged = [self._moved(state, k, by) for k in others for by in _NUDGES_S]
                best = max(nudged, key=lambda s: s.value, default=state)
                if best.value <= state.value + _STILL:
                    break
                state = best
        return state

    def _moved(self, state: _State, k: int, by_s: float) -> _State:
        """The state with one delay a little to the side, for where the slopes lead nowhere."""
        place = state.place.copy()
        place[k] += by_s
        return self._looked(replace(state, place=place))

    def narrowness(self, state: _State, aside_s: Float) -> Float:
        """(d,) by how much the log likelihood falls at the least where a delay is held that far (d,) to either side."""
        falls = [
            min(state.value - self.improve(self._moved(state, k, by * aside), 4, held=k).value for by in (-1.0, 1.0))
            for k, aside in enumerate(aside_s[1:])
        ]
        return np.array([np.inf, *falls])

    def timing(self, state: _State) -> Timing:
        """What a state says."""
        free = self._drivers - 1
        slope, pick, _ = self._rows(state)
        towards = np.linalg.solve(self._spread(pick, state), slope.T).T
        bend = towards @ slope.T + np.diag(self._belief)
        covariance = np.linalg.inv(bend)
        sigma = _WIDENED * np.sqrt(np.diag(covariance))
        off = [
            covariance @ (towards @ (-q.imag * t)) for q, tails in zip(pick, self._tails, strict=False) for t in tails
        ]
        late = sigma[:free]
        guessed = sum((o[:free] ** 2 for o in off), np.zeros(free))
        miss = []
        for m in range(self._count):
            total = self._parts(m, state).sum(axis=0)
            miss.append(np.log(np.abs(self._value[m])) - np.log(np.abs(total) + 1e-9))
        return Timing(
            polarity=state.polarity,
            delay_s=np.r_[0.0, state.place[:free]],
            gain_db=np.r_[0.0, state.place[free : 2 * free]] * NEPER_DB,
            delay_sigma_s=np.r_[0.0, np.sqrt(late**2 + guessed)],
            read_sigma_s=np.r_[0.0, np.sqrt(late**2 + _NO_DELAY**2 * guessed)],
            gain_sigma_db=np.r_[0.0, sigma[free : 2 * free]] * NEPER_DB,
            log_evidence=state.value - 0.5 * float(np.linalg.slogdet(bend)[1]),
            error_db=NEPER_DB * math.sqrt(float(np.exp(state.sizes).sum())),
            rms_db=NEPER_DB * float(np.sqrt(np.mean(np.concatenate(miss) ** 2))),
        )

    def _tightness(self, state: _State) -> Float:
        return np.where(state.sizes > _USUAL, _LARGER**-2, _SMALLER**-2)

    def _parts(self, m: int, state: _State) -> Complex:
        """(d, n) what each driver adds to a recording."""
        free, r = self._drivers - 1, self._recordings[m]
        delay, gain = np.r_[0.0, state.place[:free]], np.r_[0.0, state.place[free : 2 * free]]
        factor = np.array(state.polarity) * np.exp(gain + state.place[2 * free + m])
        return np.asarray(r.parts * factor[:, None] * np.exp(-2j * np.pi * delay[:, None] * r.frequency_hz))

    def _rows(self, state: _State) -> tuple[Float, Complex, Float]:
        """(p, rows) slopes of the model, (sources, rows) how each error comes in, (rows,) what is missed."""
        free, count = self._drivers - 1, self._count
        pick = np.zeros((self._drivers + count, self._omega.size), dtype=complex)
        miss = np.zeros(self._omega.size)
        blur = float(np.exp(state.sizes).sum())
        for m, r in enumerate(self._recordings):
            parts = self._parts(m, state)
            total = parts.sum(axis=0)
            back = np.exp(-1j * np.angle(total)) / self._size[m]
            straight, beside = self._at[m]
            pick[: self._drivers, straight], pick[self._drivers + m, straight] = parts * back, np.abs(total * back)
            if r.has_phase:
                late = state.place[2 * free + count + self._phases.index(m)]
                off = (state.flips[m] * self._value[m] * np.exp(2j * np.pi * late * r.frequency_hz) - total) * back
                miss[straight], miss[beside] = off.real, off.imag
                pick[: self._drivers, beside] = -1j * pick[: self._drivers, straight]
                pick[self._drivers + m, beside] = -1j * pick[self._drivers + m, straight]
            else:
                height = np.abs(total) / self._size[m]
                pick[:, straight] *= height
                miss[straight] = 0.5 * ((np.abs(self._value[m]) / self._size[m]) ** 2 - height**2) - blur
        own, of_sum = pick[1 : self._drivers], pick[self._drivers :]
        late = [of_sum[m] * -1j * self._omega for m in self._phases]
        slope = np.vstack([own * -1j * self._omega, own, of_sum, *late]).real
        return slope, pick, miss

    def _each(self, pick: Complex, state: _State) -> list[Float]:
        shared = (pick.T @ pick.conj()).real
        return [math.exp(s) * shared * k for s, k in zip(state.sizes, self._kernels, strict=True)]

    def _spread(self, pick: Complex, state: _State) -> Float:
        blur = float(np.exp(state.sizes).sum())
        spread = sum(self._each(pick, state), (_FLOOR**2 + blur**2) * np.eye(self._omega.size))
        return spread

    def _looked(self, state: _State) -> _State:
        """The state with its likelihood, priors included."""
        _, pick, miss = self._rows(state)
        root = np.linalg.cholesky(self._spread(pick, state))
        whole = np.linalg.solve(root, miss)
        away = (state.sizes - _USUAL) * np.sqrt(self._tightness(state))
        value = -0.5 * float(whole @ whole + self._belief @ state.place**2 + away @ away)
        return replace(state, value=value - float(np.log(np.diag(root)).sum()))

    def _steps(self, state: _State, held: int | None) -> tuple[Float, Float]:
        slope, pick, miss = self._rows(state)
        weight = np.linalg.inv(self._spread(pick, state))
        towards = slope @ weight
        bend, pull = towards @ slope.T + np.diag(self._belief), towards @ miss - self._belief * state.place
        step, moves = np.zeros(pull.size), np.flatnonzero(np.arange(pull.size) != (-1 if held is None else held))
        step[moves] = np.linalg.solve(bend[np.ix_(moves, moves)], pull[moves])
        lean = weight @ miss
        each = self._each(pick, state)
        turned = [weight @ e for e in each[:-1]] + [weight * np.diag(each[-1])]
        grow = np.array([0.5 * (lean @ e @ lean - np.trace(t)) for e, t in zip(each, turned, strict=True)])
        fisher = np.array([[0.5 * np.sum(a * b.T) for b in turned] for a in turned])
        belief = self._tightness(state)
        resize = np.linalg.solve(fisher + np.diag(belief), grow - belief * (state.sizes - _USUAL))
        return step, np.asarray(resize, dtype=float)


@dataclass(frozen=True, eq=False)
class _State:
    """Where a search stands.

    Attributes
    ----------
    place : (p,) delays, log gains, log levels of the recordings, delays of those with phase. flips : their signs.
    sizes : logarithms of the variances of the errors. value : log likelihood.
    """

    polarity: tuple[int, ...]
    flips: Float
    place: Float
    sizes: Float
    value: float = -math.inf


def _tails(f: Float, ends: tuple[float, float] | None) -> list[Float]:
    """(n,) radians that one standard deviation of each guessed slope adds; none of a phase that was measured."""
    if ends is None:
        return []
    inside = np.unique(np.r_[np.geomspace(ends[0], ends[1], 24), np.clip(f, *ends)])
    flat = np.zeros(inside.size)
    low = minimum_phase(inside, flat, _TAIL_DB_OCTAVE[0], 0.0).phase_deg
    high = minimum_phase(inside, flat, 0.0, _TAIL_DB_OCTAVE[1]).phase_deg
    return [np.radians(np.interp(f, inside, phase)) for phase in (low, high)]
