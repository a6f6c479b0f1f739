"""What recordings of drivers together tell of their timing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from xover.files.toml_lines import KeyPath
from xover.plain import fields_of
from xover.readable import Readable


class Unclear(StrEnum):
    """Why timing is not told."""

    SHARED = "too little shared"
    RIVALS = "several answers"
    MISFIT = "records do not fit"
    WIDE = "too wide"
    BEYOND = "beyond what was tried"


@dataclass(frozen=True)
class DriverTiming:
    """One driver against the first, its own record taken as the folder reads it.

    Attributes
    ----------
    delay_us : positive is later. low_us, high_us : 95 %; with a rebuilt phase its guessed slopes are in it.
    as_read_us : +-, 95 %, of the delay that this record, read as it is, needs: what a prediction asks for.
    gain_db : louder than its record; gain_low_db, gain_high_db : 95 %.
    reversed : whether it plays the other way round than was said; polarity_told : whether that may be believed.
    told : whether delay and level may.
    """

    driver: str
    delay_us: float
    low_us: float
    high_us: float
    as_read_us: float
    gain_db: float
    gain_low_db: float
    gain_high_db: float
    reversed: bool
    told: bool
    polarity_told: bool


@dataclass(frozen=True, eq=False, repr=False)
class DelayStudy(Readable):
    """Answer of `study_delay`.

    Attributes
    ----------
    reference : the first driver, which the others are held to.
    unclear : why delay and level of a driver are not told; None where all are.
    drivers : the likeliest answer, without the reference. rival : the next one, or an empty tuple.
    odds_log10 : by how much the answer leads every other, of the driver where it is least.
    rms_db : how far the sum stays from the recordings; other_rms_db : with another polarity at best; folder_rms_db : as
        the folder stands. NaN where there is none.
    shared_hz : where two drivers lie near each other, from and to.
    within_us : how far delays were looked for.
    keys : what --write puts into speaker.toml; None where nothing is to be written.
    """

    title: str
    headline: str
    reference: str
    unclear: Unclear | None
    drivers: tuple[DriverTiming, ...]
    rival: tuple[DriverTiming, ...]
    odds_log10: float
    rms_db: float
    other_rms_db: float
    folder_rms_db: float
    shared_hz: tuple[float, float]
    within_us: float
    keys: Mapping[KeyPath, float] | None
    warnings: tuple[str, ...]

    def plain(self) -> dict[str, Any]:
        """Delays and levels of the answer only where they are told; what was found anyway as `likeliest`."""
        told = tuple(d for d in self.drivers if d.told)
        return fields_of(self, keys=None, drivers=None) | {"drivers": told, "likeliest": self.drivers}
