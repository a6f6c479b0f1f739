"""A change of network as it was heard with a phone, held against what is predicted of it.

Nothing but the network changes between two columns of levels, so that room and microphone cancel; the amplifier may
have been turned, so that their level as a whole is left free.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from xover.acoustic.bands import difference, levels_of, middle_hz, repeat_db
from xover.acoustic.level import bands_touched, nominal_hz
from xover.curve import Float
from xover.errors import OptionError, named
from xover.files.band_levels import BandTable
from xover.readable import Readable
from xover.rules.audibility import DIRECT_DB, UNHEARD_DB
from xover.sound.room_change import room_change
from xover.speaker import Speaker

FEWEST_BANDS: Final = 4


class Told(StrEnum):
    """What an octave of the readings says of the prediction."""

    AS_PREDICTED = "as predicted"
    DIFFERS = "differs"
    CANNOT_TELL = "cannot tell"
    """Not read, too unsure, or several drivers play there, and each room makes another sum of them."""


@dataclass(frozen=True)
class HeardOctave:
    """One octave: means over its bands, the surest first in weight; NaN where none tells.

    Attributes
    ----------
    half_db : +-, 95 %, of measured less predicted.
    """

    centre_hz: float
    predicted_db: float
    measured_db: float
    half_db: float
    told: Told


@dataclass(frozen=True, eq=False, repr=False)
class HeardChange(Readable):
    """Levels with one network less those with the other.

    Attributes
    ----------
    band_hz : (b,) bands by name. measured_db : (b,) `offset_db` taken off; NaN where not read with both.
    predicted_db : (b,) of the driver that rules the band. half_db : (b,) +-, 95 %, what readings, parts within their
    tolerances and neighbouring drivers may do to measured less predicted; infinite where it says nothing.
    offset_db : measured less predicted as a whole.
    """

    source: str
    one: str
    other: str
    band_hz: Float
    measured_db: Float
    predicted_db: Float
    half_db: Float
    offset_db: float
    octaves: tuple[HeardOctave, ...]
    threshold_db: float

    @property
    def agrees(self) -> bool:
        """Whether no octave differs."""
        return all(octave.told is not Told.DIFFERS for octave in self.octaves)


def column_of(table: BandTable, network: str) -> str:
    """The column that was read with a network. Raises OptionError: there is none."""
    found = next((name for name in table.columns if name.lower() == network.lower()), None)
    if found is None:
        raise OptionError(
            f"{table.source} has no column '{network}', only {', '.join(table.columns)}",
            f"name a column for each network that was heard, or give another file as {named('levels')}",
        )
    return found


def other_column(table: BandTable, speaker: Speaker, network: str) -> str:
    """Another network of the folder that was read. Raises OptionError: there is none."""
    columns = [name.lower() for name in table.columns]
    for name in speaker.network_names:
        if name.lower() in columns and name != network:
            return name
    raise OptionError(
        f"{table.source} has '{network}' alone: without a column of another network room and microphone do not cancel",
        f"read another network of the folder at the same place, such as {' or '.join(speaker.network_names)}",
    )


def heard_change(
    speaker: Speaker, one: str, other: str, table: BandTable, threshold_db: float = UNHEARD_DB
) -> HeardChange:
    """Hold the columns of two networks of a folder against their prediction.

    Raises
    ------
    OptionError : a network without a column, or fewer than four bands that tell. NoSolutionError.
    """
    columns = [levels_of(table, column_of(table, name)) for name in (one, other)]
    read = difference(columns[0], columns[1], repeat_db(table))
    centre = middle_hz(table.band_hz)
    change = room_change(speaker, speaker.network(one), speaker.network(other), centre)
    # What the readings do differs from band to band; the rest is taken as alike in all bands of an octave.
    alike = np.hypot(change.beside_db, change.parts_db)
    off = read.level_db - change.change_db
    half = np.where(np.isfinite(off), np.hypot(read.within_db, alike), np.inf)
    sure = half <= DIRECT_DB
    if np.count_nonzero(sure) < FEWEST_BANDS:
        raise OptionError(
            f"{table.source} says something of {np.count_nonzero(sure)} bands only in which one driver rules",
            f"read {FEWEST_BANDS} or more with '{one}' and with '{other}', above and below the crossover",
        )
    offset = float(np.median(off[sure]))
    octaves = []
    for c in bands_touched(float(centre[0]), float(centre[-1]), 1):
        rows = np.flatnonzero((np.abs(np.log2(centre / c)) < 0.5) & np.isfinite(half))
        weight = half[rows] ** -2.0 / np.sum(half[rows] ** -2.0)
        said, heard = weight @ change.change_db[rows], weight @ read.level_db[rows] - offset
        within = float(np.hypot(np.linalg.norm(weight * read.within_db[rows]), weight @ alike[rows]))
        told = Told.AS_PREDICTED if within <= DIRECT_DB else Told.CANNOT_TELL
        if abs(heard - said) > within + threshold_db:
            told = Told.DIFFERS
        known = (float(said), float(heard), within) if rows.size else (np.nan, np.nan, np.nan)
        octaves.append(HeardOctave(nominal_hz(float(c)), *known, told if rows.size else Told.CANNOT_TELL))
    return HeardChange(
        table.source,
        one,
        other,
        table.band_hz,
        read.level_db - offset,
        change.change_db,
        half,
        offset,
        tuple(octaves),
        threshold_db,
    )
