"""What a table of levels told, as values."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from statistics import median
from typing import Any

from xover.curve import Float
from xover.files.band_levels import BandTable
from xover.plain import some_of
from xover.readable import Readable
from xover.rules.audibility import UNHEARD_DB
from xover.rules.phone import FEWEST_SHIFTED


class Changed(StrEnum):
    """Whether an octave changed."""

    YES = "changed"
    NO = "not changed"
    CANNOT_TELL = "cannot tell"


class Held(StrEnum):
    """A change against what is predicted of it."""

    AGREES = "agrees"
    DIFFERS = "does not agree"
    NOT_KNOWN = "not known"
    """No prediction, or one that every room makes otherwise: several drivers play there."""


class Wired(StrEnum):
    """One driver's wires against the netlist."""

    AS_DRAWN = "as drawn"
    TURNED = "turned round"
    CANNOT_TELL = "cannot tell"


class Why(StrEnum):
    """Why a polarity cannot be told."""

    SHALLOW = "shallow"
    FILLED = "filled"
    UNTIMED = "untimed"
    WHICH = "which"
    NOT_READ = "not read"


class Next(StrEnum):
    """What to measure next, in this order."""

    NETWORK = "network"
    QUIETER = "quieter"
    SILENCE = "silence"
    AGAIN = "again"
    REVERSED = "reversed"
    DRIVERS = "drivers"
    OTHER_SIDE = "right"
    KNOWN = "known"


@dataclass(frozen=True)
class OctaveChange:
    """One octave; its bands on average.

    Attributes
    ----------
    change_db, within_db : and +-, 95 %. off_db, off_within_db : measured less predicted, the surest bands first in
        weight, and +-, 95 %, with what neighbours may do; NaN where that is without bound. predicted_db : where one
        driver rules all bands.
    """

    centre_hz: float
    change_db: float
    within_db: float
    changed: Changed
    predicted_db: float
    off_db: float
    off_within_db: float
    held: Held


@dataclass(frozen=True, eq=False)
class Change:
    """Second less first, at one place; of two networks, or of the two speakers of a pair.

    Attributes
    ----------
    change_db, within_db : (n,) and +-, 95 %. predicted_db, predicted_within_db : (n,) of the driver that rules the
        band, and what its neighbours may do to that; NaN and infinite where not known.
    elsewhere : the two stood at different places, so that the room's scatter counts.
    """

    first: str
    second: str
    band_hz: Float
    change_db: Float
    within_db: Float
    predicted_db: Float
    predicted_within_db: Float
    octaves: tuple[OctaveChange, ...]
    elsewhere: bool = False

    @property
    def shift_db(self) -> float:
        """By how much all of it lies off the prediction alike; NaN where it does not, or nothing is off."""
        known = [o for o in self.octaves if not math.isnan(o.off_db)]
        if len(known) < FEWEST_SHIFTED or not self.octaves_held(Held.DIFFERS):
            return math.nan
        shift = median(o.off_db for o in known)
        alike = all(abs(o.off_db - shift) <= o.off_within_db + UNHEARD_DB for o in known)
        return shift if alike else math.nan

    @property
    def agrees(self) -> bool:
        """Whether no octave speaks against the prediction, but for a volume that was turned."""
        return not self.octaves_held(Held.DIFFERS) or not math.isnan(self.shift_db)

    def octaves_that(self, changed: Changed) -> list[float]:
        """Centres of the octaves of which that is said."""
        return [o.centre_hz for o in self.octaves if o.changed is changed]

    def octaves_held(self, held: Held) -> list[float]:
        """Centres of the octaves of which that is said."""
        return [o.centre_hz for o in self.octaves if o.held is held]


@dataclass(frozen=True)
class GainTest:
    """The amplifier turned 10 dB down: the median fall, and the band that is furthest from it; NaN: nothing was read.

    `automatic` : the phone evens levels out; None where nothing was read. `slips` : lines of bands that stand out.
    """

    column: str
    fell_db: float
    worst_hz: float
    worst_fell_db: float
    automatic: bool | None
    slips: tuple[int, ...]


@dataclass(frozen=True)
class Polarity:
    """Normal less reversed at one crossover, in the band where most is predicted of it.

    Attributes
    ----------
    louder_db, within_db : measured, and +-, 95 %. predicted_db : for the place of the phone, without a room.
    """

    network: str
    lower: tuple[str, ...]
    upper: tuple[str, ...]
    band_hz: float
    louder_db: float
    within_db: float
    predicted_db: float
    wired: Wired
    why: Why | None = None


@dataclass(frozen=True)
class Slip:
    """A line with a typing error in one of some columns; where the sums tell it, by how much, and +-, 95 %."""

    line: int
    band_hz: float
    columns: tuple[str, ...]
    off_db: float = math.nan
    within_db: float = math.nan


@dataclass(frozen=True, eq=False)
class Sums:
    """Whether four columns fit each other.

    Attributes
    ----------
    columns : normal, reversed, and both drivers alone. off_db, within_db : (n,) and +-, 95 %. mean_cosine : (n,) of
        the phase between both drivers.
    mistyped : lines that stand out. many : too many of them for typing errors.
    """

    network: str
    columns: tuple[str, str, str, str]
    off_db: Float
    within_db: Float
    mean_cosine: Float
    mistyped: tuple[Slip, ...]
    many: bool


@dataclass(frozen=True)
class Balance:
    """How loud a driver is against another, each in its own band, over what is predicted; +-, 95 %.

    Attributes
    ----------
    louder_db : measured level of `driver` over `against`. over_predicted_db : how much of it is not predicted.
    """

    driver: str
    against: str
    louder_db: float
    over_predicted_db: float
    within_db: float

    @property
    def off(self) -> bool | None:
        """Whether that is more than a phone may be off; None where nothing is predicted."""
        return None if math.isnan(self.over_predicted_db) else abs(self.over_predicted_db) > self.within_db


@dataclass(frozen=True, eq=False, repr=False)
class PhoneStudy(Readable):
    """What levels of third octaves say of a speaker.

    Attributes
    ----------
    headline : the answer. table : what was read. alone : its columns of single drivers. states : of neither network nor
        driver. hidden : by column, bands that stand less than 6 dB above the silence and are not told.
    slips : lines left out of all else. textbook_db : normal less reversed at the corner, of plain slopes, no room.
    """

    title: str
    table: BandTable
    states: tuple[str, ...]
    alone: tuple[str, ...]
    hidden: dict[str, tuple[float, ...]]
    textbook_db: dict[str, float]
    gain: tuple[GainTest, ...]
    headline: str = ""
    changes: tuple[Change, ...] = ()
    sides: Change | None = None
    polarity: tuple[Polarity, ...] = ()
    sums: Sums | None = None
    slips: tuple[Slip, ...] = ()
    balance: tuple[Balance, ...] = ()
    next: tuple[Next, ...] = ()

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the table does not say."""
        return self.table.assumed

    @property
    def automatic(self) -> bool:
        """Whether the phone sets its gain by itself, so that nothing is told."""
        return any(test.automatic for test in self.gain)

    @property
    def told(self) -> bool:
        """Whether there is any verdict."""
        return bool(self.changes or self.sides or self.polarity or self.sums or self.balance)

    @property
    def sound(self) -> bool:
        """Whether nothing speaks against the levels, the prediction or the wiring; a balance is too unsure to."""
        off = [o.held is Held.DIFFERS for c in self.changes for o in c.octaves]
        off += [p.wired is Wired.TURNED for p in self.polarity]
        many = self.sums is not None and self.sums.many
        return not (self.automatic or any(off) or self.slips or many)

    def plain(self) -> dict[str, Any]:
        """All of it."""
        return some_of(
            self,
            "headline title automatic sound gain changes sides polarity sums slips hidden states textbook_db next "
            "warnings",
            **some_of(self.table, "source band_hz place seconds step_db fixed periodic"),
            balance=[some_of(b, "driver against louder_db over_predicted_db within_db off") for b in self.balance],
        )
