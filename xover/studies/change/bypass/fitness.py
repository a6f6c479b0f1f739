"""Is each driver fit for its part of the band: beaming, break-up, resonance, power below it?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from xover.acoustic.level import level_db
from xover.acoustic.limits import ResponsePeak, response_peaks
from xover.curve import Float
from xover.driver.piston import BEAMING_KA, FIRST_NULL_KA, SPEED_OF_SOUND_M_S, beaming_frequency_hz, ka
from xover.rules.margins import FAINT_PEAK_DB, LOUD_PEAK_DB
from xover.speaker import Speaker
from xover.studies.change.bypass.channels import BareDrivers, Voices
from xover.studies.change.bypass.crossover import Crossover, CrossoverSum, least_ratio

HALF_PRESSURE_X: Final = 2.21508887
"""x at which a piston's 2 J1(x)/x falls to 1/2."""


class BandFit(StrEnum):
    """How a driver suits one end of its band."""

    FITS = "fits"
    MARGINAL = "marginal"
    POOR = "poor"
    UNKNOWN = "not known"


@dataclass(frozen=True)
class Breakup:
    """A peak of the response above the upper corner.

    Attributes
    ----------
    peak : where and how high above the trend.
    octaves_above : over the corner.
    behind_db : its level behind the crossover, against the sum there; NaN where the sum is not known.
    """

    peak: ResponsePeak
    octaves_above: float
    behind_db: float


@dataclass(frozen=True)
class DriverFitness:
    """How one channel's driver suits its part of the band. NaN where a value cannot be had.

    Attributes
    ----------
    lower_hz, upper_hz : the corners; None where it has no neighbour.
    resonance_hz : highest peak of its impedance; ratio : lower corner over it; least_ratio : what it should be.
    resonance : the verdict.
    ka : at the upper corner; half_angle_deg : where a piston is 6 dB down there (NaN: nowhere in front of it);
    beams_from_hz : where ka = 2. beaming : the verdict.
    breakups : peaks above the upper corner; breakup : the verdict.
    ideal_null_deg : first vertical null with the next channel at the upper corner for equal, in-phase sources as far
        apart as the two drivers; NaN where a place is not known or there is none.
    """

    channel: str
    lower_hz: float | None
    upper_hz: float | None
    resonance_hz: float
    ratio: float
    least_ratio: float
    resonance: BandFit
    ka: float
    half_angle_deg: float
    beams_from_hz: float
    beaming: BandFit
    breakups: tuple[Breakup, ...]
    breakup: BandFit
    ideal_null_deg: float


def half_angle_deg(at_ka: float) -> float:
    """Angle at which a piston is 6.02 dB down, degrees off the axis; NaN where ka is too small for that."""
    return math.degrees(math.asin(HALF_PRESSURE_X / at_ka)) if at_ka >= HALF_PRESSURE_X else math.nan


def path_null_deg(spacing_m: float, frequency_hz: float) -> float:
    """Angle of the first null of two equal sources in phase, far away: asin(lambda/(2 d)); NaN where there is none.

    S. Linkwitz, JAES 24(1) 1976 (from memory): the paths differ by half a wavelength.
    """
    sine = SPEED_OF_SOUND_M_S / frequency_hz / (2.0 * spacing_m) if spacing_m > 0 else math.inf
    return math.degrees(math.asin(sine)) if sine <= 1.0 else math.nan


def read_fitness(
    speaker: Speaker,
    bare: BareDrivers,
    voices: Voices,
    crossover: Crossover,
    resonance_hz: dict[str, float],
    reached: CrossoverSum | None,
) -> tuple[DriverFitness, ...]:
    """Judge every channel's driver, lowest first.

    Parameters
    ----------
    reached : the sum behind the crossover at hand, or None where it is not known.
    """
    edges: list[float | None] = [None, *crossover.corners_hz, None]
    return tuple(
        _read_one(speaker, bare, voices, crossover, resonance_hz[name], reached, i, edges[i], edges[i + 1])
        for i, name in enumerate(bare.names)
    )


def _read_one(
    speaker: Speaker,
    bare: BareDrivers,
    voices: Voices,
    crossover: Crossover,
    resonance_hz: float,
    reached: CrossoverSum | None,
    index: int,
    lower_hz: float | None,
    upper_hz: float | None,
) -> DriverFitness:
    name = bare.names[index]
    drivers = [speaker.drivers[n] for n in bare.drivers_of(name)]
    # Of drivers of one way, the largest beams first; where the size of one is not known, neither is that.
    sizes = [d.diameter_mm for d in drivers if d.diameter_mm is not None]
    diameter_mm = max(sizes) if len(sizes) == len(drivers) else None
    needed = least_ratio(crossover.slope.order)
    ratio = math.nan if lower_hz is None else lower_hz / resonance_hz
    at_ka = beams = math.nan
    if diameter_mm is not None and upper_hz is not None:
        at_ka = float(ka(upper_hz, diameter_mm / 1000.0))
        beams = float(beaming_frequency_hz(diameter_mm / 1000.0))
    breakups: tuple[Breakup, ...] = ()
    measured = all(d.response is not None for d in drivers)
    if upper_hz is not None and measured:
        breakups = _breakups(voices, index, upper_hz, reached)
    return DriverFitness(
        channel=name,
        lower_hz=lower_hz,
        upper_hz=upper_hz,
        resonance_hz=resonance_hz,
        ratio=ratio,
        least_ratio=needed,
        resonance=_judge_resonance(ratio, needed) if lower_hz is not None else BandFit.FITS,
        ka=at_ka,
        half_angle_deg=half_angle_deg(at_ka) if not math.isnan(at_ka) else math.nan,
        beams_from_hz=beams,
        beaming=_judge_ka(at_ka) if upper_hz is not None else BandFit.FITS,
        breakups=breakups,
        breakup=_judge_breakup(breakups) if upper_hz is None or measured else BandFit.UNKNOWN,
        ideal_null_deg=_ideal_null(speaker, bare, index, upper_hz),
    )


def _breakups(voices: Voices, index: int, upper_hz: float, reached: CrossoverSum | None) -> tuple[Breakup, ...]:
    f = voices.frequency_hz
    level = level_db(voices.pressure[index])
    behind = np.full(f.shape, np.nan)
    if reached is not None:
        total = reached.total
        whole = total.level_db if total.coherent else total.best_level_db
        with np.errstate(invalid="ignore"):
            behind = level + level_db(reached.filters[voices.names[index]]) - whole
    return tuple(
        Breakup(p, math.log2(p.frequency_hz / upper_hz), _at(f, behind, p.frequency_hz))
        for p in response_peaks(f, level, upper_hz)
    )


def _at(frequency_hz: Float, value: Float, where_hz: float) -> float:
    return float(value[int(np.argmin(np.abs(np.log(frequency_hz / where_hz))))])


def _judge_resonance(ratio: float, needed: float) -> BandFit:
    if math.isnan(ratio):
        return BandFit.UNKNOWN
    if ratio < 1.0:
        return BandFit.POOR
    return BandFit.FITS if ratio >= needed else BandFit.MARGINAL


def _judge_ka(at_ka: float) -> BandFit:
    """Fits up to ka = 2, marginal up to 3.83, where the first null comes in. Common practice, no published source."""
    if math.isnan(at_ka):
        return BandFit.UNKNOWN
    if at_ka <= BEAMING_KA:
        return BandFit.FITS
    return BandFit.MARGINAL if at_ka <= FIRST_NULL_KA else BandFit.POOR


def _judge_breakup(breakups: tuple[Breakup, ...]) -> BandFit:
    loudest = max((b.behind_db for b in breakups if not math.isnan(b.behind_db)), default=math.nan)
    if breakups and math.isnan(loudest):
        return BandFit.UNKNOWN
    if not breakups or loudest < FAINT_PEAK_DB:
        return BandFit.FITS
    return BandFit.MARGINAL if loudest < LOUD_PEAK_DB else BandFit.POOR


def _ideal_null(speaker: Speaker, bare: BareDrivers, index: int, upper_hz: float | None) -> float:
    """Null angle from the vertical distance of the nearest cards of two neighbours."""
    if upper_hz is None:
        return math.nan
    heights = [
        [
            place[1]
            for card in bare.network.drivers
            if card.driver in bare.drivers_of(name)
            if (place := speaker.drivers[card.driver].place_mm(card.name[1:])) is not None
        ]
        for name in bare.names[index : index + 2]
    ]
    if not all(heights):
        return math.nan
    spacing = min(abs(a - b) for a in heights[0] for b in heights[1]) / 1000.0
    return path_null_deg(spacing, upper_hz)
