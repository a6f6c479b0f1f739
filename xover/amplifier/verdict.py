"""The plain verdict: may this amplifier drive this load?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from xover.amplifier.epdr import ASSUMPTION
from xover.amplifier.load import IEC_LEAST_SHARE, ROUNDING, LoadReading, covers
from xover.errors import InputError
from xover.quantity import hertz, ohms

# EPDR below this share of the lowest load that the amplifier allows is called out: a loudspeaker's
# EPDR falls to about half of its modulus as a rule. Common practice, no published source.
EPDR_CAUTION_SHARE: Final = 0.5


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

    Raises
    ------
    InputError : minimum_load_ohm is not above 0.
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
    if math.isnan(reading.minimum_ohm):
        return "the load is not known: measure the drivers' impedance first"
    found = f"lowest impedance {ohms(reading.minimum_ohm)} at {hertz(reading.minimum_at_hz)}"
    if limit is None:
        return f"{found}; add [amplifier] with minimum_load_ohm to speaker.toml for a verdict"
    if level is LoadLevel.FITS:
        return f"{found}: fits an amplifier that allows {ohms(limit)}{_as_far_as_known(reading)}"
    if level is LoadLevel.EDGE:
        return (
            f"{found}: below the {ohms(limit)} that the amplifier allows, within the 20 % dip that IEC 60268-5 lets a "
            "speaker of that rating have; ask the amplifier's maker, and do not play it loud without need"
        )
    return (
        f"{found}: too low for an amplifier that allows {ohms(limit)}, and below the 20 % dip that IEC 60268-5 lets a "
        "speaker of that rating have; use another amplifier or raise the load"
    )


def _as_far_as_known(reading: LoadReading) -> str:
    if covers(reading.covered_hz, reading.band_hz):
        return ""
    return f", as far as it is known ({hertz(reading.covered_hz[0])} to {hertz(reading.covered_hz[1])})"


def _epdr_sentence(reading: LoadReading, caution: bool, limit: float | None) -> str:
    if math.isnan(reading.lowest_epdr_ohm):
        return "the equivalent peak dissipation resistance is not known"
    text = (
        f"at {hertz(reading.lowest_epdr_at_hz)} the load heats an output device at its worst instant as a resistor of "
        f"{ohms(reading.lowest_epdr_ohm)} would (EPDR; it assumes {ASSUMPTION})"
    )
    if caution and limit is not None:
        text += f"; that is under half of the {ohms(limit)} allowed: a linear amplifier will run hot when loud"
    return text
