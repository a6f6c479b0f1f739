"""A better sum: gain, delay and a few peaking bands on every channel, where the drivers' sound is known well enough."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations, pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import level_db
from xover.curve import Complex, Float
from xover.electronic.biquad import Band, BandKind, response
from xover.search.align import APART_DB, apart, rms_deviation_db
from xover.search.equaliser import MOST_BOOST_DB, MOST_CUT_DB, PEAKING_Q, least_squares, packed, unpacked
from xover.speaker import Speaker
from xover.studies.change.bypass.channels import Voices, crossover_filters, setting
from xover.studies.change.bypass.crossover import ChannelSetting, Crossover, CrossoverSum, sum_with

MOST_PER_CHANNEL: Final = 2
MOST_BANDS: Final = 4
STRIDE: Final = 2
WORTH_DB: Final = 0.1
"""A band that lowers the rms deviation by less than this is not worth its place."""
PRICE: Final = 0.02
"""What a decibel of a band's gain counts for against one of rms deviation."""
SMOOTH_OCTAVES: Final = 0.5
"""Where the next band goes is read from the deviation smoothed over this."""
GAIN_REACH_DB: Final = 6.0
DELAY_REACH_CYCLES: Final = 0.25
START_Q: Final = 1.4
BOOST_OVER_RESONANCE: Final = 2.0
BOOST_Q: Final = (0.75, 2.0)
"""A boost an octave or more above the driver's resonance, of this Q or more, has half its decibels or less there: below
its resonance a driver only moves further for it. Sharper dips are of one place, and are not filled. Common practice, no
published source."""
APART_OCTAVES: Final = 0.5
"""Two bands of one channel that lie nearer are one band."""
CUT_SHARE: Final = 2.0
"""A cut is no deeper than twice what stands above the mean: two deep cuts on both sides of a dip would be a boost by
another name."""
LEAST_BAND_DB: Final = 0.5
"""A band of less is not heard with music, and is left out."""


def flatten(
    speaker: Speaker,
    voices: Voices,
    crossover: Crossover,
    start: CrossoverSum,
    sample_rate_hz: float,
    unsure_db: Mapping[str, Float],
    resonance_hz: Mapping[str, float],
) -> CrossoverSum:
    """Add peaking bands one after the other, each on the channel that leads where the sum strays most.

    A cut is tried before a boost. A band stands only where it corrects more than what is not known of its driver
    there, and lowers the deviation by a tenth of a decibel. Least squares over gain, delay and all bands lower the
    deviation of the level from its mean on every row of the band alike (even in log frequency), plus the price of
    drivers out of step as in `align` and a small one on the bands' gains. Q stays at 4 or less, boosts at 3 dB and
    clear of the driver's resonance: the response is that of one place in front of the loudspeaker.

    Parameters
    ----------
    start : the sum behind the crossover at hand with its best settings.
    unsure_db : (n,) by channel, how far off the shape of its response may be; infinite where it bears no correction.
    resonance_hz : of each channel's driver; NaN where it is not known, which allows no boost.
    """
    f = voices.frequency_hz
    rows = np.flatnonzero((f >= voices.band_hz[0]) & (f <= voices.band_hz[1]) & np.isfinite(start.total.level_db))[
        ::STRIDE
    ]
    if rows.size < 2:  # the sum is known nowhere in the band: there is nothing to flatten
        return start
    slopes = crossover_filters(voices.names, crossover.slope, crossover.corners_hz, f, sample_rate_hz)
    search = _Search(voices, crossover, slopes, rows, sample_rate_hz, unsure_db, resonance_hz)
    settings = {n: replace(s, delay_s=start.delays_s[n]) for n, s in start.settings.items()}
    best = search.rms(settings)
    while best > WORTH_DB and sum(len(s.bands) for s in settings.values()) < MOST_BANDS:
        grown = next((g for g in (search.with_one_more(settings, best, cut) for cut in (True, False)) if g), None)
        if grown is None:
            break
        settings, best = grown
    return sum_with(speaker, voices, crossover, slopes, _normal(settings), sample_rate_hz)


def _normal(settings: Mapping[str, ChannelSetting]) -> dict[str, ChannelSetting]:
    """Highest gain 0, lowest delay 0, bands by frequency."""
    top, first = max(s.gain_db for s in settings.values()), min(s.delay_s for s in settings.values())
    return {
        n: replace(
            s,
            gain_db=s.gain_db - top,
            delay_s=s.delay_s - first,
            bands=tuple(sorted(s.bands, key=lambda b: b.frequency_hz)),
        )
        for n, s in settings.items()
    }


class _Search:
    """Pressures behind the slopes on the rows of the band, and what settings make of them."""

    def __init__(
        self,
        voices: Voices,
        crossover: Crossover,
        slopes: Mapping[str, Complex],
        rows: NDArray[np.intp],
        sample_rate_hz: float,
        unsure_db: Mapping[str, Float],
        resonance_hz: Mapping[str, float],
    ) -> None:
        self.names = voices.names
        self.crossover = crossover
        self.frequency_hz = voices.frequency_hz[rows]
        self.sample_rate_hz = sample_rate_hz
        self.ways = {n: np.nan_to_num((voices.pressure[i] * slopes[n])[rows]) for i, n in enumerate(voices.names)}
        edges = [voices.band_hz[0], *crossover.corners_hz, voices.band_hz[1]]
        self.span = {
            n: (max(edges[i] / 2.0, self.frequency_hz[0]), min(edges[i + 1] * 2.0, self.frequency_hz[-1]))
            for i, n in enumerate(voices.names)
        }
        self.unsure_db = {n: unsure_db[n][rows] for n in voices.names}
        self.most_cut_db = dict.fromkeys(voices.names, 0.0)
        self.boosted_from_hz = {n: BOOST_OVER_RESONANCE * resonance_hz[n] for n in voices.names}

    def parts(self, settings: Mapping[str, ChannelSetting]) -> dict[str, Complex]:
        """Pressure of each channel with its settings."""
        f = self.frequency_hz
        return {
            n: way
            * setting(settings[n].gain_db, settings[n].delay_s, settings[n].polarity, f)
            * response(settings[n].bands, f, self.sample_rate_hz)
            for n, way in self.ways.items()
        }

    def total(self, settings: Mapping[str, ChannelSetting]) -> Complex:
        return np.asarray(np.sum(list(self.parts(settings).values()), axis=0), dtype=complex)

    def rms(self, settings: Mapping[str, ChannelSetting]) -> float:
        return float(rms_deviation_db(self.total(settings)))

    def with_one_more(
        self, settings: Mapping[str, ChannelSetting], best: float, cut: bool
    ) -> tuple[dict[str, ChannelSetting], float] | None:
        """The settings with one more cut, or boost, and their deviation; None where none is worth it and sure."""
        grown = self.grown(settings, cut)
        if grown is None:
            return None
        tried = self.refined(grown)
        rms = self.rms(tried)
        sure = all(self.sure(n, b) for n, s in tried.items() for b in s.bands) and not any(
            abs(math.log2(a.frequency_hz / b.frequency_hz)) < APART_OCTAVES
            for s in tried.values()
            for a, b in combinations(s.bands, 2)
        )
        return (tried, rms) if sure and rms <= best - WORTH_DB else None

    def sure(self, name: str, band: Band) -> bool:
        """Whether a band corrects more than what is not known where it works."""
        row = int(np.argmin(np.abs(np.log(self.frequency_hz / band.frequency_hz))))
        return abs(band.gain_db) > max(LEAST_BAND_DB, float(self.unsure_db[name][row]))

    def grown(self, settings: Mapping[str, ChannelSetting], cut: bool) -> dict[str, ChannelSetting] | None:
        """One more band where the smoothed deviation is surest and its channel has room; None where none has."""
        parts = self.parts(settings)
        level = level_db(np.sum(list(parts.values()), axis=0))
        off = _smooth(self.frequency_hz, level - level.mean() if cut else level.mean() - level)
        leader = np.argmax([np.abs(parts[n]) for n in self.names], axis=0)
        score = np.full(off.shape, -1.0)
        for k, n in enumerate(self.names):
            own = settings[n].bands
            free = (leader == k) & (len(own) < MOST_PER_CHANNEL)
            if not cut:  # one a channel, so that boosts do not add up
                free &= (self.frequency_hz >= self.boosted_from_hz[n]) & all(b.gain_db < 0 for b in own)
            score[free] = (off - self.unsure_db[n])[free]
            if cut:
                self.most_cut_db[n] = max(self.most_cut_db[n], CUT_SHARE * float(off[leader == k].max(initial=0.0)))
        row = int(np.argmax(score))
        if score[row] <= 0.0:
            return None
        name = self.names[int(leader[row])]
        gain = -min(float(off[row]), self.most_cut_db[name]) / 2.0 if cut else min(float(off[row]), MOST_BOOST_DB / 2.0)
        band = Band(BandKind.PEAKING, float(self.frequency_hz[row]), gain, START_Q)
        return {n: replace(s, bands=(*s.bands, band)) if n == name else s for n, s in settings.items()}

    def refined(self, settings: Mapping[str, ChannelSetting]) -> dict[str, ChannelSetting]:
        """Gains, delays of all but the lowest channel, and all bands, by least squares."""
        moving = self.names[1:]
        cycles = dict(zip(moving, self.crossover.corners_hz, strict=True))
        bands = [b for n in self.names for b in settings[n].bands]
        ends = [self.limits(n, b) for n in self.names for b in settings[n].bands]
        free = len(moving)

        def unpack(x: Float) -> dict[str, ChannelSetting]:
            left: Sequence[Band] = unpacked(bands, x[2 * free :])
            out = {}
            for n in self.names:
                own, left = left[: len(settings[n].bands)], left[len(settings[n].bands) :]
                k = moving.index(n) if n in moving else -1
                out[n] = replace(
                    settings[n],
                    gain_db=settings[n].gain_db + (float(x[k]) if k >= 0 else 0.0),
                    delay_s=settings[n].delay_s + (float(x[free + k]) / cycles[n] if k >= 0 else 0.0),
                    bands=tuple(own),
                )
            return out

        def cost(x: Float) -> Float:
            parts = self.parts(unpack(x))
            level = level_db(np.sum(list(parts.values()), axis=0))
            off = (level - level.mean()) / np.sqrt(level.size)
            steps = [] if self.crossover.slope.quadrature else [apart(a, b) for a, b in pairwise(parts.values())]
            return np.concatenate([off, APART_DB * np.asarray(steps), PRICE * x[2 * free + 1 :: 3]])

        low, high = (np.concatenate(side) for side in zip(*ends, strict=True))
        reach = np.concatenate([np.full(free, GAIN_REACH_DB), np.full(free, DELAY_REACH_CYCLES)])
        start = np.concatenate([np.zeros(2 * free), packed(bands)])
        return unpack(least_squares(cost, start, np.concatenate([-reach, low]), np.concatenate([reach, high])))

    def limits(self, name: str, band: Band) -> tuple[Float, Float]:
        """Lowest and highest ln f, gain and ln Q of a band: a cut stays a cut."""
        low, high = self.span[name]
        q, gain = PEAKING_Q, (-max(LEAST_BAND_DB, min(self.most_cut_db[name], MOST_CUT_DB)), 0.0)
        if band.gain_db > 0:
            low = min(max(low, self.boosted_from_hz[name]), 0.99 * high)
            q, gain = BOOST_Q, (0.0, MOST_BOOST_DB)
        ends = zip((low, high), gain, q, strict=True)
        lowest, highest = (np.array([math.log(f), g, math.log(x)]) for f, g, x in ends)
        return lowest, highest


def _smooth(frequency_hz: Float, value: Float) -> Float:
    """(n,) mean over half an octave."""
    u = np.log2(frequency_hz)
    near = np.abs(u[:, None] - u) <= SMOOTH_OCTAVES / 2.0
    return np.asarray((near @ value) / near.sum(axis=1), dtype=float)
