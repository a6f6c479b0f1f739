"""The electronic crossover at hand: the best sum behind it, what more bands would bring, and a map around it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np

from xover.acoustic.crossover import CrossoverReading, read_crossovers
from xover.acoustic.level import BandLevel
from xover.acoustic.off_axis import VerticalNulls, vertical_nulls
from xover.acoustic.summing import AcousticSum
from xover.curve import Complex, Float
from xover.electronic.biquad import SLOPES, Band, Slope
from xover.plain import some_of
from xover.readable import Readable
from xover.rules.margins import RESONANCE_RATIO, RESONANCE_RATIO_FIRST_ORDER
from xover.search.align import COARSE_STEP, align
from xover.sound.prediction import RESPONSE_DISTANCE_M
from xover.speaker import Speaker
from xover.studies.change.bypass.channels import Voices, crossover_filters, setting

MAP_SLOPES: Final = ("B1", "LR2", "B2", "B3", "LR4", "LR8")
MAP_PER_OCTAVE: Final = 6
MAP_PER_OCTAVE_OF_MORE: Final = 4
"""Of each of several corners."""
MAP_REACH_OCTAVES: Final = 1.0
MAP_STRIDE: Final = 4
OWN_STRIDE: Final = 2
LEAST_KNOWN: Final = 0.98
"""A cell of the map needs the sum over this share of the band that is known behind the crossover at hand."""


@dataclass(frozen=True)
class Crossover:
    """Corners, lowest first, and slope of an electronic crossover, and where they stand.

    Attributes
    ----------
    assumed : True where nobody named it.
    """

    corners_hz: tuple[float, ...]
    slope: Slope
    source: str
    assumed: bool


@dataclass(frozen=True)
class ChannelSetting:
    """What to set on one channel of a crossover, besides its slopes.

    Attributes
    ----------
    gain_db : against the loudest channel, 0 or less, with amplifiers of equal gain.
    delay_s : against the earliest channel, 0 or more; NaN where the drivers share no time reference.
    polarity : +1 normal, -1 reversed.
    bands : peaking bands, if any.
    """

    gain_db: float
    delay_s: float
    polarity: int
    bands: tuple[Band, ...] = ()


@dataclass(frozen=True, eq=False, repr=False)
class CrossoverSum(Readable):
    """The sum behind an electronic crossover.

    Attributes
    ----------
    settings : by channel. delays_s : that were searched, also where the settings do not tell them.
    filters : (n,) complex, slopes and settings together, these delays in it.
    total, band : the sum, its level and deviation.
    crossovers : where the ways cross acoustically, with phase and reversed null.
    nulls : vertical lobes at the corners; empty where the places or the timing are not known.
    """

    settings: Mapping[str, ChannelSetting]
    delays_s: Mapping[str, float]
    filters: Mapping[str, Complex]
    total: AcousticSum
    band: BandLevel
    crossovers: tuple[CrossoverReading, ...]
    nulls: tuple[VerticalNulls, ...]

    def plain(self) -> dict[str, Any]:
        """Settings and readings; the level of the sum, or its best and worst where the timing is not known."""
        return some_of(self, "settings band crossovers", level_db=self.total.level_db, vertical_nulls=self.nulls)


@dataclass(frozen=True, eq=False, repr=False)
class CrossoverMap(Readable):
    """Deviation of the sum against a corner and the slope, each cell with its own best settings.

    Attributes
    ----------
    lower, upper : channels on both sides of the corner that moves; other corners stay at hand.
    frequency_hz : (m,). slopes : (s,) names.
    rms_deviation_db : (m, s) in the band; NaN where it cannot be told.
    least_hz : (s,) lowest corner that the upper driver's resonance stands with each slope; 0 where it is not known.
    best_hz, best_slope, best_db : the flattest cell that keeps to it; NaN and empty where there is none.
    """

    lower: str
    upper: str
    frequency_hz: Float
    slopes: tuple[str, ...]
    rms_deviation_db: Float
    least_hz: Float
    best_hz: float
    best_slope: str
    best_db: float


def best_sum(speaker: Speaker, voices: Voices, crossover: Crossover, sample_rate_hz: float) -> CrossoverSum | None:
    """Set gain, delay and polarity of every channel for the best sum; None where the sound of a driver is not known.

    Where the drivers share no time reference the delays cannot be told, but with a delay to set on every channel
    they can be made right: the sum is that with the best ones, as if what is not known were a pure delay.
    """
    if not voices.known:
        return None
    f = voices.frequency_hz
    slopes = crossover_filters(voices.names, crossover.slope, crossover.corners_hz, f, sample_rate_hz)
    found = align(
        voices,
        np.stack([voices.pressure[i] * slopes[n] for i, n in enumerate(voices.names)])[None],
        np.array([crossover.corners_hz]),
        np.array([crossover.slope.quadrature]),
        OWN_STRIDE,
    )
    exact = [
        ChannelSetting(float(found.gain_db[0, i]), float(found.delay_s[0, i]), int(found.polarity[0, i]))
        for i in range(len(voices.names))
    ]
    return sum_with(speaker, voices, crossover, slopes, dict(zip(voices.names, exact, strict=True)), sample_rate_hz)


def sum_with(
    speaker: Speaker,
    voices: Voices,
    crossover: Crossover,
    slopes: Mapping[str, Complex],
    settings: Mapping[str, ChannelSetting],
    sample_rate_hz: float,
) -> CrossoverSum:
    """The sum behind slopes and settings whose delays are all given."""
    from xover.electronic.biquad import response

    f = voices.frequency_hz
    filters = {
        name: slopes[name] * setting(s.gain_db, s.delay_s, s.polarity, f) * response(s.bands, f, sample_rate_hz)
        for name, s in settings.items()
    }
    branches = voices.behind(filters)
    total = voices.total(filters)
    told = {
        name: s if voices.coherent else ChannelSetting(s.gain_db, math.nan, s.polarity, s.bands)
        for name, s in settings.items()
    }
    nulls: tuple[VerticalNulls, ...] = ()
    if voices.coherent and all(b.position_mm is not None for b in branches):
        listening = speaker.listening
        distance = listening.distance_m if listening is not None and listening.distance_m else RESPONSE_DISTANCE_M
        nulls = vertical_nulls(f, branches, crossover.corners_hz, distance, RESPONSE_DISTANCE_M)
    return CrossoverSum(
        settings=told,
        delays_s={name: s.delay_s for name, s in settings.items()},
        filters=filters,
        total=total,
        band=voices.deviation(total),
        crossovers=read_crossovers(f, branches, voices.coherent),
        nulls=nulls,
    )


def map_around(
    voices: Voices,
    crossover: Crossover,
    reference: CrossoverSum | None,
    resonance_hz: Mapping[str, float],
    sample_rate_hz: float,
) -> tuple[CrossoverMap, ...]:
    """Map the deviation an octave to both sides of every corner, for six slopes; none without the sound.

    Parameters
    ----------
    resonance_hz : of each channel's driver; NaN where it is not known.
    """
    if reference is None:
        return ()
    return tuple(
        _map_one(voices, crossover, k, reference.band.known_share, resonance_hz[voices.names[k + 1]], sample_rate_hz)
        for k in range(len(crossover.corners_hz))
    )


def _map_one(
    voices: Voices,
    crossover: Crossover,
    which: int,
    known_share: float,
    resonance_hz: float,
    sample_rate_hz: float,
) -> CrossoverMap:
    names = map_slopes(crossover.slope.name)
    per_octave = MAP_PER_OCTAVE if len(crossover.corners_hz) == 1 else MAP_PER_OCTAVE_OF_MORE
    reach = round(MAP_REACH_OCTAVES * per_octave)
    places = crossover.corners_hz[which] * 2.0 ** (np.arange(-reach, reach + 1) / per_octave)
    f = voices.frequency_hz
    cells: list[tuple[int, int]] = []
    corners: list[tuple[float, ...]] = []
    filtered: list[Complex] = []
    slopes: list[list[Complex]] = []
    for row, place in enumerate(places):
        at = (*crossover.corners_hz[:which], float(place), *crossover.corners_hz[which + 1 :])
        if any(b <= a for a, b in pairwise(at)) or not 10.0 < place < 0.45 * sample_rate_hz:
            continue
        for column, name in enumerate(names):
            shapes = crossover_filters(voices.names, SLOPES[name], at, f, sample_rate_hz)
            stack = [shapes[n] for n in voices.names]
            cells.append((row, column))
            corners.append(at)
            slopes.append(stack)
            filtered.append(voices.pressure * np.stack(stack))
    table = np.full((places.size, len(names)), np.nan)
    if cells:
        quadrature = np.array([SLOPES[names[column]].quadrature for _, column in cells])
        found = align(voices, np.stack(filtered), np.array(corners), quadrature, MAP_STRIDE, COARSE_STEP)
        for i, cell in enumerate(cells):
            filters = {
                n: slopes[i][k]
                * setting(float(found.gain_db[i, k]), float(found.delay_s[i, k]), int(found.polarity[i, k]), f)
                for k, n in enumerate(voices.names)
            }
            band = voices.deviation(voices.total(filters))
            if band.known_share >= LEAST_KNOWN * known_share:
                table[cell] = band.rms_deviation_db
    least = np.array([0.0 if math.isnan(resonance_hz) else least_ratio(SLOPES[n].order) * resonance_hz for n in names])
    known = np.isfinite(table) & (places[:, None] >= least)
    best = np.unravel_index(int(np.argmin(np.where(known, table, np.inf))), table.shape)
    return CrossoverMap(
        lower=voices.names[which],
        upper=voices.names[which + 1],
        frequency_hz=places,
        slopes=names,
        rms_deviation_db=table,
        least_hz=least,
        best_hz=float(places[best[0]]) if known.any() else math.nan,
        best_slope=names[best[1]] if known.any() else "",
        best_db=float(table[best]) if known.any() else math.nan,
    )


def least_ratio(order: int) -> float:
    """How far above a driver's resonance its corner should lie at least: twice, with a first-order slope four times."""
    return RESONANCE_RATIO_FIRST_ORDER if order < 2 else RESONANCE_RATIO


def map_slopes(at_hand: str) -> tuple[str, ...]:
    """The slopes of a map: six usual ones; that at hand takes the place of the one of nearest order."""
    if at_hand in MAP_SLOPES:
        return MAP_SLOPES
    order = SLOPES[at_hand].order
    gone = min(MAP_SLOPES, key=lambda name: abs(SLOPES[name].order - order))
    return tuple(at_hand if name == gone else name for name in MAP_SLOPES)


def corners_words(corners_hz: Sequence[float]) -> str:
    """Corners as people say them: "450 Hz and 3.5 kHz"."""
    from xover.quantity import hertz

    return " and ".join(hertz(f) for f in corners_hz)
