"""What the amplifier sees: lowest and highest impedance, phase, EPDR, the rating they allow, and may it drive that?

A load that stores energy asks for current while much voltage stands across the output device. The equivalent peak
dissipation resistance (EPDR) is the plain resistor that would heat the device as much at the worst instant. It is no
impedance that a meter can find, so it always stands beside the modulus, never in its place.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.amplifier.extremum import Sought, extremes
from xover.curve import Complex, Float
from xover.errors import InputError
from xover.figures import written
from xover.quantity import hertz, ohms
from xover.readable import Readable
from xover.remark import About, Remark
from xover.rules.bands import AUDIO_BAND_HZ, LEAST_KNOWN
from xover.rules.margins import EPDR_CAUTION_SHARE, IEC_LEAST_SHARE, ROUNDING

ASSUMPTION: Final = (
    "an ideal class B push-pull output stage, supply rails equal to the peak output voltage, a steady sine; "
    "other classes heat differently, and class D hardly at all by this"
)

# A lossless load computed with rounding may show 90.00000000000001 degrees: that is still 90.
ROUNDING_DEG: Final = 1e-9


def epdr_over_modulus(phase_deg: ArrayLike) -> Float:
    """EPDR over |Z| for a load's phase angle.

    While a device conducts, it holds p = (V - V sin t) (V/|Z|) sin(t - phi). From dp/dt = 0,
    sin(2t - phi) = cos(t - phi), the peak is at t = 5 pi/6 + 2 phi/3, so

        EPDR/|Z| = 1/4 / [ (1 - sin(5 pi/6 + 2|phi|/3)) sin(5 pi/6 - |phi|/3) ]

    1 for a resistor, 1/(2 sqrt 2) at 45 degrees, 1/(3 sqrt 3) at 90 degrees. The notion is from E. Benjamin, JAES
    42(9), 1994 (from memory); the formula is as published in a forum thread on EPDR, checked here by brute force.

    Parameters
    ----------
    phase_deg : any shape; even in its sign. NaN gives NaN.

    Returns the same shape. NaN beyond 90 degrees: the load would deliver power, so it is not passive.
    """
    phase = np.abs(np.asarray(phase_deg, dtype=float))
    with np.errstate(invalid="ignore"):
        passive = phase <= 90.0 + ROUNDING_DEG
    angle = np.radians(np.where(passive, np.minimum(phase, 90.0), 0.0))
    peak = (1.0 - np.sin(5 * np.pi / 6 + 2 * angle / 3)) * np.sin(5 * np.pi / 6 - angle / 3)
    return np.where(passive, 0.25 / peak, np.nan)


def epdr(impedance_ohm: ArrayLike) -> Float:
    """EPDR of a complex impedance, ohm.

    Parameters
    ----------
    impedance_ohm : complex, any shape.

    Returns the same shape, ohm, at most |Z|. NaN where the impedance is NaN or not passive (phase beyond 90 degrees); 0
    where it is 0.
    """
    z = np.asarray(impedance_ohm, dtype=complex)
    return np.asarray(np.abs(z) * epdr_over_modulus(np.degrees(np.angle(z))))


# Figures that are printed on loudspeakers. Common practice, no published source.
USUAL_RATINGS_OHM: Final = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 16.0)

DC_NOTE: Final = Remark(
    "the resistance that an ohmmeter reads at the terminals is not seen here: it is neither the lowest impedance "
    "nor the rating",
    About.METHOD,
)
GRID_NOTE: Final = "the extremes are taken from the grid's own points: between them the load may be lower"


@dataclass(frozen=True, eq=False, repr=False)
class LoadReading(Readable):
    """The load over frequency and the numbers that decide, all taken within `band_hz`.

    Attributes
    ----------
    frequency_hz : (n,) as given.
    impedance_ohm : (n,) modulus.
    phase_deg : (n,) -180..180, positive inductive.
    epdr_ohm : (n,) equivalent peak dissipation resistance, NaN where the load is not passive.
    band_hz : the band that is judged.
    covered_hz : lowest and highest frequency in it where the load is known; NaN if none.
    minimum_ohm, minimum_at_hz : lowest modulus.
    maximum_ohm, maximum_at_hz : highest modulus.
    most_capacitive_deg, most_capacitive_at_hz : lowest phase (above 0 if it is never capacitive).
    most_inductive_deg, most_inductive_at_hz : highest phase (below 0 if it is never inductive).
    lowest_epdr_ohm, lowest_epdr_at_hz : lowest EPDR.
    highest_conductance_s, highest_conductance_at_hz : highest Re(1/Z), siemens: most true power.
    refined : whether extremes were followed between the points of the grid.
    largest_rating_ohm : highest rated impedance that IEC 60268-5 16.1 allows, minimum/0.8.
    usual_rating_ohm : largest figure of USUAL_RATINGS_OHM within that, or None.
    notes : what the numbers do not cover, one sentence each.
    """

    frequency_hz: Float
    impedance_ohm: Float
    phase_deg: Float
    epdr_ohm: Float
    band_hz: tuple[float, float]
    covered_hz: tuple[float, float]
    minimum_ohm: float
    minimum_at_hz: float
    maximum_ohm: float
    maximum_at_hz: float
    most_capacitive_deg: float
    most_capacitive_at_hz: float
    most_inductive_deg: float
    most_inductive_at_hz: float
    lowest_epdr_ohm: float
    lowest_epdr_at_hz: float
    highest_conductance_s: float
    highest_conductance_at_hz: float
    refined: bool
    largest_rating_ohm: float
    usual_rating_ohm: float | None
    notes: tuple[str, ...]

    @property
    def is_idle(self) -> bool:
        """Whether no current flows wherever the load is known: nothing closes the circuit."""
        return math.isnan(self.minimum_ohm) and bool(np.isinf(self.impedance_ohm).any())


def read_load(
    frequency_hz: Float,
    impedance_ohm: Complex,
    refine: Callable[[Float], Complex] | None = None,
    band_hz: tuple[float, float] = AUDIO_BAND_HZ,
) -> LoadReading:
    """Read the load that an amplifier sees.

    Parameters
    ----------
    frequency_hz : (n,) Hz, rising, above 0.
    impedance_ohm : (n,) complex ohm; NaN where it is not known, infinite where no current flows.
    refine : gives the impedance at other frequencies, (m,) -> (m,) complex. With it every extreme is followed between
        the points of the grid until it is good to 1e-6; without it the reading says that it was taken from the grid.
    band_hz : band in which extremes are sought, both ends included.

    Raises InputError: the two arrays do not match, or the frequencies do not rise from above 0 Hz.
    """
    f = np.asarray(frequency_hz, dtype=float)
    z = np.asarray(impedance_ohm, dtype=complex)
    check_grid(f, z)
    inside = (f >= band_hz[0]) & (f <= band_hz[1])
    fb, zb = f[inside], z[inside]

    sought = [
        Sought[Complex](quantity(zb), quantity, lowest, scale)
        for quantity, lowest, scale in (
            (np.abs, True, 0.0),
            (np.abs, False, 0.0),
            (_phase_deg, True, 90.0),
            (_phase_deg, False, 90.0),
            (epdr, True, 0.0),
            (_conductance, False, 0.0),
        )
    ]
    least, most, capacitive, inductive, dissipation, conductance = extremes(fb, sought, refine)
    known = fb[np.isfinite(zb)]
    covered = (float(known[0]), float(known[-1])) if known.size else (float("nan"), float("nan"))
    return LoadReading(
        frequency_hz=f,
        impedance_ohm=np.abs(z),
        phase_deg=_phase_deg(z),
        epdr_ohm=epdr(z),
        band_hz=band_hz,
        covered_hz=covered,
        minimum_ohm=least.value,
        minimum_at_hz=least.at_hz,
        maximum_ohm=most.value,
        maximum_at_hz=most.at_hz,
        most_capacitive_deg=capacitive.value,
        most_capacitive_at_hz=capacitive.at_hz,
        most_inductive_deg=inductive.value,
        most_inductive_at_hz=inductive.at_hz,
        lowest_epdr_ohm=dissipation.value,
        lowest_epdr_at_hz=dissipation.at_hz,
        highest_conductance_s=conductance.value,
        highest_conductance_at_hz=conductance.at_hz,
        refined=refine is not None,
        largest_rating_ohm=largest_rating(least.value),
        usual_rating_ohm=usual_rating(least.value),
        notes=_notes(zb, band_hz, covered, refine is not None),
    )


def largest_rating(minimum_ohm: float) -> float:
    """Highest rated impedance, ohm, whose 80 % the minimum still reaches (IEC 60268-5 16.1)."""
    return minimum_ohm / IEC_LEAST_SHARE


def usual_rating(minimum_ohm: float) -> float | None:
    """Largest usual rating that IEC 60268-5 16.1 allows for a lowest impedance, or None."""
    allowed = [r for r in USUAL_RATINGS_OHM if IEC_LEAST_SHARE * r <= minimum_ohm * (1.0 + ROUNDING)]
    return allowed[-1] if allowed else None


def covers(covered_hz: tuple[float, float], band_hz: tuple[float, float]) -> bool:
    """Say whether a known stretch reaches over the whole of a band, within rounding."""
    return covered_hz[0] <= band_hz[0] * (1.0 + ROUNDING) and covered_hz[1] >= band_hz[1] * (1.0 - ROUNDING)


def check_grid(frequency_hz: Float, value: Complex) -> None:
    """Refuse a grid that no sweep can have. Raises InputError."""
    if frequency_hz.ndim != 1 or frequency_hz.size == 0 or frequency_hz.shape != value.shape:
        raise InputError(
            f"the load has {value.size} values for {frequency_hz.size} frequencies", "give one value for each frequency"
        )
    if not np.all(np.isfinite(frequency_hz)) or frequency_hz[0] <= 0 or np.any(np.diff(frequency_hz) <= 0):
        raise InputError("the load's frequencies do not rise from above 0 Hz", "sort them, each frequency once")


def _phase_deg(impedance_ohm: Complex) -> Float:
    """NaN where no current flows: there is none to lag."""
    return np.where(np.isinf(impedance_ohm), np.nan, np.degrees(np.angle(impedance_ohm)))


def _conductance(impedance_ohm: Complex) -> Float:
    """Re(1/Z), siemens; NaN at 0 ohm and where Z is not finite."""
    squared = np.abs(impedance_ohm) ** 2
    usable = np.isfinite(squared) & (squared > 0)
    return np.asarray(np.divide(impedance_ohm.real, squared, out=np.full(squared.shape, np.nan), where=usable))


def _notes(
    impedance_ohm: Complex, band_hz: tuple[float, float], covered_hz: tuple[float, float], refined: bool
) -> tuple[str, ...]:
    notes: list[str] = [DC_NOTE]
    band = f"{hertz(band_hz[0])} to {hertz(band_hz[1])}"
    known = np.isfinite(impedance_ohm)
    idle = int(np.count_nonzero(np.isinf(impedance_ohm)))
    if idle:
        notes.append(f"no current flows at {idle} frequencies: nothing there closes the circuit")
    if not known.any() and not idle:
        notes.insert(0, f"the load is not known anywhere from {band}")
    if not known.any():
        return tuple(notes)
    if not covers(covered_hz, band_hz):
        notes.append(
            f"the load is known from {hertz(covered_hz[0])} to {hertz(covered_hz[1])} only, of {band}: "
            "outside that it may be lower"
        )
    rows = np.flatnonzero(known)
    gaps = int(rows[-1] - rows[0] + 1 - rows.size)
    if gaps:
        notes.append(f"the load is not known at {gaps} frequencies in between")
    active = int(np.count_nonzero(known & np.isnan(epdr(impedance_ohm))))
    if active:
        notes.append(
            f"the phase passes 90 degrees at {active} frequencies: no passive load does that, so check the sweep; "
            "EPDR is left out there"
        )
    if not refined:
        notes.append(GRID_NOTE)
    return tuple(notes)


class LoadLevel(StrEnum):
    """How the lowest impedance stands against the lowest load that the amplifier allows."""

    FITS = "fits"
    EDGE = "edge"
    TOO_LOW = "too low"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class LoadVerdict:
    """May this amplifier drive this load?

    Attributes
    ----------
    level : the verdict in a word; UNKNOWN without an amplifier or without a known load.
    limit_broken : True whenever the lowest impedance is below the lowest load allowed.
    minimum_load_ohm : the limit that was judged against, or None.
    sentence : the verdict in plain words, with what would mend it.
    epdr_caution : True where EPDR falls below half of the lowest load allowed.
    epdr_sentence : EPDR in plain words, with its assumption.
    """

    level: LoadLevel
    limit_broken: bool
    minimum_load_ohm: float | None
    sentence: str
    epdr_caution: bool
    epdr_sentence: str


def judge_load(reading: LoadReading, minimum_load_ohm: float | None) -> LoadVerdict:
    """Judge a load against the lowest load that the amplifier allows.

    Parameters
    ----------
    reading : from `read_load`.
    minimum_load_ohm : from [amplifier], or None if no amplifier is given.

    Raises InputError: minimum_load_ohm is not above 0.
    """
    if minimum_load_ohm is not None and not (math.isfinite(minimum_load_ohm) and minimum_load_ohm > 0):
        raise InputError(f"[amplifier] minimum_load_ohm is {minimum_load_ohm:g}", "give ohms above 0")
    level = load_level(reading.minimum_ohm, minimum_load_ohm)
    caution = minimum_load_ohm is not None and reading.lowest_epdr_ohm < EPDR_CAUTION_SHARE * minimum_load_ohm
    return LoadVerdict(
        level=level,
        limit_broken=level in (LoadLevel.EDGE, LoadLevel.TOO_LOW),
        minimum_load_ohm=minimum_load_ohm,
        sentence=_sentence(level, reading, minimum_load_ohm),
        epdr_caution=caution,
        epdr_sentence=_epdr_sentence(reading, caution, minimum_load_ohm),
    )


def where_known(verdict: LoadVerdict, reading: LoadReading, band_hz: tuple[float, float]) -> LoadVerdict:
    """The same verdict, but no pass where the load is known over less of a band, in octaves, than a verdict needs."""
    f = reading.frequency_hz
    octaves = np.where((f >= band_hz[0]) & (f <= band_hz[1]), np.gradient(np.log2(f)) if f.size > 1 else 1.0, 0.0)
    known = float(np.sum(octaves[~np.isnan(reading.impedance_ohm)]))
    passes = verdict.level is LoadLevel.FITS and known < LEAST_KNOWN * float(np.sum(octaves))
    return replace(verdict, level=LoadLevel.UNKNOWN) if passes else verdict


def load_level(minimum_ohm: float, minimum_load_ohm: float | None) -> LoadLevel:
    """Rank a lowest impedance: fits, on the edge (down to 80 %), too low, unknown.

    A limit that is met within rounding (1e-9 of it) counts as met.
    """
    if minimum_load_ohm is None or math.isnan(minimum_ohm):
        return LoadLevel.UNKNOWN
    share = minimum_ohm / minimum_load_ohm * (1.0 + ROUNDING)
    if share >= 1.0:
        return LoadLevel.FITS
    return LoadLevel.EDGE if share >= IEC_LEAST_SHARE else LoadLevel.TOO_LOW


def _sentence(level: LoadLevel, reading: LoadReading, limit: float | None) -> str:
    if reading.is_idle:
        return "the amplifier has no load: no current flows"
    if math.isnan(reading.minimum_ohm):
        return "the load is not known: measure the drivers' impedance first"
    found = f"lowest impedance {written('lowest load', reading.minimum_ohm)} ohm at {hertz(reading.minimum_at_hz)}"
    if limit is None:
        return f"{found}; add [amplifier] with minimum_load_ohm to speaker.toml for a verdict"
    if level is LoadLevel.FITS:
        return f"{found}: fits an amplifier that allows {ohms(limit)}{_as_far_as_known(reading)}"
    if level is LoadLevel.EDGE:
        return (
            f"{found}: below the {ohms(limit)} that the amplifier allows, within the 20 % dip that IEC 60268-5 lets a "
            f"speaker of that rating have{_as_far_as_known(reading)}; ask the amplifier's maker, and do not play it "
            "loud without need"
        )
    return (
        f"{found}: too low for an amplifier that allows {ohms(limit)}, and below the 20 % dip that IEC 60268-5 lets a "
        "speaker of that rating have; use another amplifier or raise the load"
    )


def _as_far_as_known(reading: LoadReading) -> str:
    low, high = reading.covered_hz
    f = reading.frequency_hz
    blank = f[(f > low) & (f < high) & np.isnan(reading.impedance_ohm)]
    but = f", blank from {hertz(blank[0])} to {hertz(blank[-1])}" if blank.size else ""
    if covers(reading.covered_hz, reading.band_hz) and not but:
        return ""
    return f", as far as it is known ({hertz(low)} to {hertz(high)}{but})"


def _epdr_sentence(reading: LoadReading, caution: bool, limit: float | None) -> str:
    if math.isnan(reading.lowest_epdr_ohm):
        return "the equivalent peak dissipation resistance is not known"
    text = (
        f"at {hertz(reading.lowest_epdr_at_hz)} the load heats an output device at its worst instant as a resistor of "
        f"{written('lowest EPDR', reading.lowest_epdr_ohm)} ohm would (EPDR; it assumes {ASSUMPTION})"
    )
    if caution and limit is not None:
        text += f"; that is under half of the {ohms(limit)} allowed: a linear amplifier will run hot when loud"
    return text
