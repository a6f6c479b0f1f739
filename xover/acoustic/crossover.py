"""Read each acoustic crossover: where, how loud, how steep, how well the phases meet, how deep the reversed null."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import between, larger_beside, level_db
from xover.acoustic.summing import Branch, Way, known_sum, missing_bound, order_ways
from xover.curve import Complex, Float, log_grid
from xover.quantity import hertz

NEAR_DB: Final = 20.0
"""A crossing counts only if both ways lie within this of all ways added up in phase."""
PHASE_DB: Final = 10.0
"""The phases are compared where the levels of both ways lie within this of each other."""
REACH_OCTAVES: Final = 1.0
"""Phases and the reversed null are looked for this far from the crossover."""
LEAST_SLOPE_OCTAVES: Final = 1.0 / 3.0
"""A slope is fitted over no less than this."""
FINE_PER_OCTAVE: Final = 960


@dataclass(frozen=True)
class CrossoverReading:
    """One acoustic crossover between neighbouring ways. None where a value cannot be had.

    Attributes
    ----------
    lower, upper : keys of the drivers below and above.
    frequency_hz : where their levels cross; None if they do not, and `reason` says why.
    reason : empty where there is a crossover.
    level_db : level of either way there, dB re 20 uPa.
    level_re_sum_db : the same less the level of the whole sum; None if the timing is unknown.
    lower_slope_db_per_octave, lower_slope_band_hz : of the lower way above the crossover (negative
        where it falls), fitted over the second octave beyond it or as far as data reach.
    upper_slope_db_per_octave, upper_slope_band_hz : of the upper way below the crossover (positive
        where it falls towards lower frequencies).
    phase_difference_deg : phase of the lower way less that of the upper one, -180..180.
    phase_spread_deg, phase_band_hz : highest less lowest phase difference over the band round the
        crossover, an octave to each side at most, in which both are within 10 dB of each other.
    null_depth_db, null_at_hz : how far the reversed sum lies below the normal one at most, within an
        octave; negative if the reversed sum is louder throughout; inf for an exact null. A driver
        without data fills the null up to its bound: the depth is then no less than this.
    notes : what could not be had, and why.
    """

    lower: tuple[str, ...]
    upper: tuple[str, ...]
    frequency_hz: float | None = None
    reason: str = ""
    level_db: float | None = None
    level_re_sum_db: float | None = None
    lower_slope_db_per_octave: float | None = None
    lower_slope_band_hz: tuple[float, float] | None = None
    upper_slope_db_per_octave: float | None = None
    upper_slope_band_hz: tuple[float, float] | None = None
    phase_difference_deg: float | None = None
    phase_spread_deg: float | None = None
    phase_band_hz: tuple[float, float] | None = None
    null_depth_db: float | None = None
    null_at_hz: float | None = None
    notes: tuple[str, ...] = ()

    def of(self, network: str) -> str:
        """Whose meeting it is: "found: woofer to tweeter"."""
        return f"{network}: {'+'.join(self.lower)} to {'+'.join(self.upper)}"


def read_crossovers(frequency_hz: Float, branches: Sequence[Branch], coherent: bool) -> tuple[CrossoverReading, ...]:
    """Read the crossovers between neighbouring ways, lowest first.

    Parameters
    ----------
    frequency_hz : (n,) rising, n >= 2.
    branches : each (n,).
    coherent : as in `AcousticSum.coherent`: False leaves out all that depends on the timing between
        drivers (phases, null, level re sum).

    Returns one reading for each pair of neighbours; none with a single way.
    """
    f = np.asarray(frequency_hz, dtype=float)
    ways = order_ways(f, branches)
    if len(ways) < 2:
        return ()
    field = _Field(f, branches, ways)
    return tuple(_read_pair(field, low, coherent) for low in range(len(ways) - 1))


def crossings_hz(frequency_hz: Float, lower_db: Float, upper_db: Float) -> list[float]:
    """Frequencies at which the upper level overtakes the lower, in straight lines over log f.

    Parameters
    ----------
    frequency_hz, lower_db, upper_db : (n,) each; no crossing is seen next to a row that is not finite.
    """
    with np.errstate(invalid="ignore"):
        lead = lower_db - upper_db
    u = np.log(frequency_hz)
    found = []
    for i, (first, second) in enumerate(pairwise(lead)):
        if math.isfinite(first) and math.isfinite(second) and first > 0 >= second:
            part = first / (first - second)
            found.append(float(frequency_hz[i + 1]) if part == 1.0 else float(np.exp(u[i] + part * (u[i + 1] - u[i]))))
    return found


class _Field:
    """All branches on their grid, and between its rows."""

    def __init__(self, frequency_hz: Float, branches: Sequence[Branch], ways: tuple[Way, ...]) -> None:
        self.frequency_hz = frequency_hz
        self.ways = ways
        self.pressure = np.stack([b.pressure for b in branches])
        self.bound = np.stack([missing_bound(frequency_hz, b) for b in branches])
        self.way_level_db = [level_db(self.of(way, self.pressure, self.bound)) for way in ways]
        self.flip = np.ones((len(branches), 1))
        for way in ways[1::2]:
            self.flip[list(way.rows)] = -1.0

    @staticmethod
    def of(way: Way, pressure: Complex, bound: Float) -> Complex:
        rows = list(way.rows)
        return known_sum(pressure[rows], bound[rows])

    def at(self, wanted_hz: Float, reference: int) -> tuple[Complex, Float]:
        """Pressures and bounds of all branches at other frequencies, phases against one of them."""
        p = between(self.frequency_hz, self.pressure, wanted_hz, reference)
        return p, larger_beside(self.frequency_hz, self.bound, wanted_hz)


def _read_pair(field: _Field, low: int, coherent: bool) -> CrossoverReading:
    lower, upper = field.ways[low], field.ways[low + 1]
    place = _find_crossing(field, low)
    if isinstance(place, str):
        return CrossoverReading(lower.keys, upper.keys, reason=place)
    fx, level, notes = place
    slope_low, band_low, why_low = _slope(field, low, 2.0 * fx, 4.0 * fx)
    slope_up, band_up, why_up = _slope(field, low + 1, fx / 4.0, fx / 2.0)
    notes += [why for why in (why_low, why_up) if why]
    if not coherent:
        notes.append("timing unknown: no phase, null or level re sum")
    reading = CrossoverReading(
        lower=lower.keys,
        upper=upper.keys,
        frequency_hz=fx,
        level_db=level,
        lower_slope_db_per_octave=slope_low,
        lower_slope_band_hz=band_low,
        upper_slope_db_per_octave=slope_up,
        upper_slope_band_hz=band_up,
        notes=tuple(notes),
    )
    return _with_phases(reading, field, low, fx, level) if coherent else reading


def _find_crossing(field: _Field, low: int) -> tuple[float, float, list[str]] | str:
    """The crossing that counts, its level and notes; or why there is none.

    Of several within 20 dB of all ways added up, the loudest: others lie where both fall away.
    """
    f, lower, upper = field.frequency_hz, field.way_level_db[low], field.way_level_db[low + 1]
    names = "+".join(field.ways[low].keys), "+".join(field.ways[low + 1].keys)
    both = np.flatnonzero(np.isfinite(lower) & np.isfinite(upper))
    if both.size < 2:
        return f"{names[0]} and {names[1]} have no measured band in common"
    span = f"from {hertz(f[both[0]])} to {hertz(f[both[-1]])}"
    places = crossings_hz(f, lower, upper)
    if not places:
        lead = lower[both] - upper[both]
        if np.all(lead > 0) or np.all(lead <= 0):
            louder = names[0] if lead[0] > 0 else names[1]
            return f"{louder} is the louder of {names[0]} and {names[1]} throughout {span}, where both are known"
        return f"nowhere {span} does {names[1]} overtake {names[0]} with rising frequency"
    u = np.log(f)
    levels = [float(np.interp(math.log(fx), u, lower)) for fx in places]
    whole = np.nansum(10.0 ** (np.stack(field.way_level_db) / 20.0), axis=0)
    top = [float(np.interp(math.log(fx), u, level_db(whole))) for fx in places]
    near = [i for i in range(len(places)) if levels[i] >= top[i] - NEAR_DB]
    if not near:
        best = max(range(len(places)), key=lambda i: levels[i] - top[i])
        return (
            f"{names[0]} and {names[1]} meet at {hertz(places[best])} only, "
            f"{top[best] - levels[best]:.0f} dB below all drivers together"
        )
    best = max(near, key=lambda i: levels[i])
    notes = []
    if len(near) > 1:
        notes.append(
            f"their levels cross {len(near)} times, at {', '.join(hertz(places[i]) for i in near)}: read at the loudest"
        )
    return places[best], levels[best], notes


def _slope(
    field: _Field, way: int, from_hz: float, to_hz: float
) -> tuple[float | None, tuple[float, float] | None, str]:
    """Slope of a way's level over a band, in dB per octave of rising frequency; the band; why not."""
    f, level = field.frequency_hz, field.way_level_db[way]
    rows = np.flatnonzero((f >= from_hz * (1 - 1e-9)) & (f <= to_hz * (1 + 1e-9)) & np.isfinite(level))
    if rows.size < 3 or math.log2(f[rows[-1]] / f[rows[0]]) < LEAST_SLOPE_OCTAVES:
        return (
            None,
            None,
            f"no slope of {field.ways[way].name}: too little data from {hertz(from_hz)} to {hertz(to_hz)}",
        )
    slope = np.polyfit(np.log2(f[rows]), level[rows], 1)[0]
    return float(slope), (float(f[rows[0]]), float(f[rows[-1]])), ""


def _with_phases(reading: CrossoverReading, field: _Field, low: int, fx: float, level: float) -> CrossoverReading:
    """The reading with what depends on the timing between drivers."""
    f = field.frequency_hz
    near = slice(max(int(np.searchsorted(f, fx)) - 1, 0), int(np.searchsorted(f, fx)) + 1)
    loudness = [float(np.sum(np.abs(field.pressure[row, near]))) for row in field.ways[low].rows]
    reference = field.ways[low].rows[int(np.argmax(np.nan_to_num(loudness)))]
    bottom, top = max(fx / 2.0**REACH_OCTAVES, f[0]), min(fx * 2.0**REACH_OCTAVES, f[-1])
    fine = log_grid(bottom, top, FINE_PER_OCTAVE)
    fine = np.unique(np.concatenate([fine, f[(f >= bottom) & (f <= top)], [fx]]))
    here = int(np.searchsorted(fine, fx))
    pressure, bound = field.at(fine, reference)
    below, above = (field.of(way, pressure, bound) for way in field.ways[low : low + 2])
    turn = np.angle(below * np.conj(above))
    with np.errstate(divide="ignore", invalid="ignore"):
        alike = np.abs(level_db(below) - level_db(above)) <= PHASE_DB
    alike[here] = True
    start, stop = _run(alike, here)
    turned = np.unwrap(turn[start:stop])
    normal = level_db(known_sum(pressure, bound))
    known = np.isfinite(pressure)
    flipped = np.abs(np.where(known, field.flip * pressure, 0.0).sum(axis=0)) + np.where(known, 0.0, bound).sum(axis=0)
    with np.errstate(invalid="ignore"):
        depth = normal - level_db(flipped)
    deepest = None if np.isnan(depth).all() else int(np.nanargmax(depth))
    return replace(
        reading,
        level_re_sum_db=_or_none(level - float(normal[here])),
        phase_difference_deg=_or_none(math.degrees(turn[here])),
        phase_spread_deg=_or_none(math.degrees(float(np.ptp(turned)))),
        phase_band_hz=(float(fine[start]), float(fine[stop - 1])),
        null_depth_db=None if deepest is None else float(depth[deepest]),
        null_at_hz=None if deepest is None else float(fine[deepest]),
    )


def _run(good: NDArray[np.bool_], middle: int) -> tuple[int, int]:
    """First row, and one past the last, of the unbroken run round a row."""
    bad = np.flatnonzero(~good)
    before, after = bad[bad < middle], bad[bad > middle]
    return int(before[-1]) + 1 if before.size else 0, int(after[0]) if after.size else good.size


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value
