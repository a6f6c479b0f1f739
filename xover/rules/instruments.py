"""What a curve was got with, and how far it may lie from the truth: in half widths of 95 %, two standard deviations.

Of a response it is kept apart what all drivers that one instrument measured have in *common*, the microphone's own
curve, and what is each driver's *own*: its level, its place, the room. What is common falls out wherever two readings
at the same frequency are held together, such as two networks on the same drivers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from xover.rules.likeness import DATASHEET_SHARE, SAMPLES, SWEEP_SHARE

SIGMAS: Final = 2.0
"""A half width of 95 % is two standard deviations."""


class Instrument(StrEnum):
    """What a curve was got with, from best to worst."""

    CALIBRATED = "calibrated"
    """A sweep; of a response with a microphone whose own curve is known."""
    UNCALIBRATED = "uncalibrated"
    """A sweep with a measuring microphone as bought; of an impedance: a jig never held to a known resistor."""
    PHONE = "phone"
    """Levels of third octaves read from a phone."""
    DATASHEET = "datasheet"
    PLACEHOLDER = "placeholder"
    """A value of a template: it says nothing of this driver."""
    ASSUMED = "assumed"
    """Typical of its kind, or a flat line in the place of a response."""


SWEPT: Final = frozenset({Instrument.CALIBRATED, Instrument.UNCALIBRATED})
"""A curve of this driver; a level from a phone is one only beside another level from it."""

Knots = tuple[tuple[float, float], ...]
"""(Hz, dB) rising: straight lines over log frequency between them, level beyond."""


@dataclass(frozen=True)
class ResponseSpread:
    """How far a response may be off, +-, 95 %: the curve in common, and each driver's own level and shape."""

    common_db: Knots
    own_level_db: float
    own_shape_db: Knots


def _same(db: float) -> Knots:
    return ((1000.0, db),)


RESPONSE_SPREADS: Final[Mapping[Instrument, ResponseSpread]] = {
    # Together +-1 dB: twice `likeness.RESPONSE_SIGMA_DB`. How it divides: common practice, no published source.
    Instrument.CALIBRATED: ResponseSpread(_same(0.7), 0.5, _same(0.5)),
    # Measuring microphones without their own curve: common practice, no published source.
    Instrument.UNCALIBRATED: ResponseSpread(((5000.0, 2.0), (10_000.0, 4.0)), 0.5, _same(0.5)),
    # The rules of a phone platform ask +-10 dB from 100 Hz to 7 kHz and +-30 dB above; of the bass nothing. +-5 dB,
    # driver against driver, is an estimate; own: +-1 dB, as after a known speaker at the same spot (estimate).
    Instrument.PHONE: ResponseSpread(((50.0, 30.0), (100.0, 5.0), (7000.0, 5.0), (10_000.0, 30.0)), 1.0, _same(1.0)),
    # Another driver of the type, on another baffle, printed small: common practice, no published source.
    Instrument.DATASHEET: ResponseSpread(_same(0.0), 3.0, ((100.0, 6.0), (300.0, 3.0), (5000.0, 3.0), (10_000.0, 6.0))),
}
"""A placeholder and an assumed curve have none: they bear no verdict at all."""

CENTRE_MM: Final = 10.0
"""How far, +-, the acoustic centre lies from a position that stands for it, where the phase is rebuilt and the delay
comes from the position. Common practice, no published source."""


@dataclass(frozen=True)
class ImpedanceSpread:
    """How far an impedance may be off, +-, 95 %: as a share of itself, and by what factor along frequency."""

    share: float
    factor: float


IMPEDANCE_SPREADS: Final[Mapping[Instrument, ImpedanceSpread]] = {
    Instrument.CALIBRATED: ImpedanceSpread(SWEEP_SHARE, 1.0),
    # Twice that, where nobody held the jig to a known resistor: common practice, no published source.
    Instrument.UNCALIBRATED: ImpedanceSpread(2.0 * SWEEP_SHARE, 1.0),
    # Resonances and coils of a type differ along the frequency too, by as much as its samples do.
    Instrument.DATASHEET: ImpedanceSpread(DATASHEET_SHARE, SAMPLES),
    # Typical of the size: resonances of like sizes differ by two, up or down. Common practice, no published source.
    Instrument.ASSUMED: ImpedanceSpread(1.5 * DATASHEET_SHARE, 2.0),
}
"""A placeholder has none."""

PHONE_PER_OCTAVE: Final = 3.5
"""A response without phase of no more rows in an octave than this is taken for levels read from a phone: thirds of an
octave are what its analysers show. Common practice, no published source."""
