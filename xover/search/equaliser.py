"""Few peaking and shelf bands that bend a level as wanted: gains, middles and Q by least squares."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import level_db
from xover.curve import Float
from xover.electronic.biquad import MOST_GAIN_DB, Band, BandKind, response
from xover.electronic.twin_fit import log_band_slopes, log_bands, log_bent

DB: Final = 20.0 / math.log(10.0)
MOST_CUT_DB: Final = 12.0
MOST_BOOST_DB: Final = 3.0
"""A boost of 3 dB takes twice the amplifier's power. Common practice, no published source."""
PEAKING_Q: Final = (0.4, 4.0)
"""Narrower than this a band would follow the one place where the response was measured. Common practice."""
SHELF_Q: Final = (0.4, 1.0)
START_DB: Final = 1.0
PRICE: Final = 0.05
"""What a decibel of a band's gain counts for against one of rms error: bands that work against each other are dear."""
TRIAL_STEPS: Final = 6
FINAL_STEPS: Final = 40
GOOD_DB: Final = 0.5
LEAST_SHARE: Final = 0.7
"""A band that leaves more of the rms error than this is not worth its place."""


@dataclass(frozen=True)
class Equaliser:
    """Gain and bands, and how far from what was wanted they stay: errors of level times weight.

    Attributes
    ----------
    before_db : the largest error of the gain alone.
    """

    gain_db: float
    bands: tuple[Band, ...]
    before_db: float
    worst_db: float
    rms_db: float


def fit_equaliser(
    frequency_hz: Float,
    wanted_db: Float,
    weight: Float,
    most_bands: int,
    sample_rate_hz: float,
    *,
    most_boost_db: float = MOST_BOOST_DB,
) -> Equaliser:
    """Bend a flat level as wanted with a gain and as few bands as serve.

    One band after the other is added where it helps most, and all are refined together. It ends when the largest
    weighted error is under half a decibel, or when another band lowers the rms error by less than three tenths.

    Parameters
    ----------
    frequency_hz, wanted_db, weight : (n,) each; rows that are not finite, or weigh 0, do not count.
    """
    count = np.isfinite(wanted_db) & (weight > 0)
    if not count.any():
        return Equaliser(math.nan, (), math.nan, math.nan, math.nan)
    f, wanted, w = frequency_hz[count], wanted_db[count], weight[count]
    gain = float(np.sum(w * wanted) / np.sum(w))
    bands: tuple[Band, ...] = ()
    error = w * (wanted - gain)
    before = float(np.max(np.abs(error)))
    while len(bands) < most_bands and float(np.max(np.abs(error))) > GOOD_DB:
        starts = _starts(f, wanted, w, gain, bands, sample_rate_hz)
        problem = _Problem(f, wanted, w, most_boost_db, sample_rate_hz)
        trials = [problem.refined(gain, (*bands, b), TRIAL_STEPS) for b in starts]
        promising = min(trials, key=lambda t: _rms(t[2]))
        best = problem.refined(promising[0], promising[1], FINAL_STEPS)
        if _rms(best[2]) > LEAST_SHARE * _rms(error):
            break
        gain, bands, error = best
    return Equaliser(
        gain_db=gain,
        bands=tuple(sorted(bands, key=lambda b: b.frequency_hz)),
        before_db=before,
        worst_db=float(np.max(np.abs(error))),
        rms_db=_rms(error),
    )


def _rms(error: Float) -> float:
    return float(np.sqrt(np.mean(error**2)))


def _starts(
    f: Float, wanted: Float, w: Float, gain: float, bands: tuple[Band, ...], sample_rate_hz: float
) -> list[Band]:
    """A peaking band at the largest error, wide and narrow, and shelves over the range."""
    error = w * (wanted - gain - level_db(response(bands, f, sample_rate_hz)))
    top = int(np.argmax(np.abs(error)))
    sign = math.copysign(START_DB, error[top])
    starts = [Band(BandKind.PEAKING, float(f[top]), sign, q) for q in (0.7, 2.5)]
    low, high = float(f[0]), float(f[-1])
    for place in np.geomspace(low, high, 4)[1:-1]:
        starts += [Band(kind, float(place), sign, 0.7) for kind in (BandKind.LOW_SHELF, BandKind.HIGH_SHELF)]
    return starts


@dataclass(frozen=True, eq=False)
class _Problem:
    """A level wanted, (n,) each, and the limits of the bands that are to give it."""

    frequency_hz: Float
    wanted_db: Float
    weight: Float
    most_boost_db: float
    sample_rate_hz: float

    def refined(self, gain: float, bands: tuple[Band, ...], steps: int) -> tuple[float, tuple[Band, ...], Float]:
        """Gain and bands after some steps of least squares, and the weighted error (n,) left."""
        f, rate = self.frequency_hz, self.sample_rate_hz
        kinds = tuple(b.kind for b in bands)
        bent = np.tan(np.pi * f / rate)

        def settings(x: Float) -> Float:
            log_f, gain_db, log_q = x[1:].reshape(-1, 3).T
            return np.stack([log_bent(np.exp(log_f), rate), log_q, gain_db], axis=1)

        def error(x: Float) -> Float:
            level = DB * log_bands(kinds, settings(x), bent).real.sum(axis=0)
            return np.asarray(self.weight * (self.wanted_db - x[0] - level), dtype=float)

        def cost(x: Float) -> Float:
            return np.concatenate([error(x) / math.sqrt(f.size), PRICE * x[2::3]])

        def slopes(x: Float) -> Float:
            """(n + k, 1 + 3 k) derivatives of the cost."""
            by = DB * log_band_slopes(kinds, settings(x), bent).real  # by ln tan(pi f/fs), ln Q and dB
            angle = 2.0 * np.pi * np.exp(x[1::3]) / rate
            by_f = by[:, 0] * (angle / np.sin(angle))[:, None]
            level = np.stack([by_f, by[:, 2], by[:, 1]], axis=1).reshape(-1, f.size)
            rows = -self.weight * np.concatenate([np.ones((1, f.size)), level]) / math.sqrt(f.size)
            price = np.zeros((len(bands), x.size))
            price[np.arange(len(bands)), 2 + 3 * np.arange(len(bands))] = PRICE
            return np.concatenate([rows.T, price])

        low, high = limits(bands, [(float(f[0]), float(f[-1]))] * len(bands), self.most_boost_db)
        start = np.concatenate([[gain], packed(bands)])
        ends = np.concatenate([[-MOST_GAIN_DB], low]), np.concatenate([[MOST_GAIN_DB], high])
        x = least_squares(cost, start, *ends, steps=steps, slopes=slopes)
        return float(x[0]), unpacked(bands, x[1:]), error(x)


def packed(bands: Sequence[Band]) -> Float:
    """(3 k,) ln f, gain in dB and ln Q of each band."""
    return np.array([v for b in bands for v in (math.log(b.frequency_hz), b.gain_db, math.log(b.q or 1.0))])


def unpacked(bands: Sequence[Band], values: Float) -> tuple[Band, ...]:
    """The bands with other values, their kinds kept."""
    rows = np.asarray(values, dtype=float).reshape(-1, 3)
    return tuple(
        Band(b.kind, float(math.exp(u)), float(g), float(math.exp(q))) for b, (u, g, q) in zip(bands, rows, strict=True)
    )


def limits(
    bands: Sequence[Band], spans_hz: Sequence[tuple[float, float]], most_boost_db: float = MOST_BOOST_DB
) -> tuple[Float, Float]:
    """Lowest and highest value of each of `packed`, the frequencies by band."""
    low, high = [], []
    for band, (from_hz, to_hz) in zip(bands, spans_hz, strict=True):
        q = PEAKING_Q if band.kind is BandKind.PEAKING else SHELF_Q
        low += [math.log(from_hz), -MOST_CUT_DB, math.log(q[0])]
        high += [math.log(to_hz), most_boost_db, math.log(q[1])]
    return np.array(low), np.array(high)


def least_squares(
    error: Callable[[Float], Float],
    start: Float,
    low: Float,
    high: Float,
    steps: int = FINAL_STEPS,
    slopes: Callable[[Float], Float] | None = None,
) -> NDArray[np.float64]:
    """Bounded least squares from a start, which is moved inside the bounds; slopes by differences without `slopes`."""
    from scipy.optimize import least_squares as solve

    inside = low + 1e-6 * (high - low), high - 1e-6 * (high - low)
    found = solve(
        error,
        np.clip(start, *inside),
        jac="2-point" if slopes is None else slopes,
        bounds=(low, high),
        x_scale="jac",
        max_nfev=steps,
        ftol=1e-5,
        xtol=1e-5,
    )
    return np.asarray(found.x, dtype=float)
