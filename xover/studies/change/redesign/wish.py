"""What is wanted of a redesign: the target and how much each side of it counts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from xover.errors import OptionError, named, nearest_word
from xover.rules.bands import JUDGED_HZ


@dataclass(frozen=True)
class Weights:
    """What a decibel of each kind counts; all means of squares, so that a weight of 1 compares dB with dB.

    The defaults are a judgement, not a standard: the sum first, then drivers that work together.

    Attributes
    ----------
    total : deviation of the sum from its target.
    together : what the sum lacks of drivers that were in phase everywhere.
    slopes : deviation of each driver's own sound from its slope.
    off_axis : deviation of the sum at vertical angles from the same target.
    level : every decibel of mean level lost beyond `Wish.may_lose_db`.
    load : per cent below the lowest load, and below the lowest EPDR, at each frequency.
    below_resonance : decibels by which a tweeter is driven harder below its resonance than it may be.
    """

    total: float = 1.0
    together: float = 0.4
    slopes: float = 0.1
    off_axis: float = 0.1
    level: float = 1.0
    load: float = 1.0
    below_resonance: float = 1.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not (math.isfinite(value) and value >= 0):
                raise OptionError(f"the weight {name} is {value:g}", "give weights of 0 or more")


@dataclass(frozen=True)
class Wish:
    """The target of a redesign.

    Attributes
    ----------
    band_hz : where the sum counts.
    tilt_db_per_octave : of the target; negative falls towards the treble.
    voicing : network whose sum is the target instead of a straight line, or None.
    slope : acoustic slope of the drivers, such as "LR4"; None leaves it open.
    crossover_hz : corner frequencies, rising, or None to find them.
    may_lose_db : mean level that may be given up against the present network.
    minimum_load_ohm, epdr_floor_ohm : of the amplifier; None where nothing is said. The floor is by default the EPDR
        of the lowest load at 45 degrees.
    angles_deg : vertical angles at which the sum counts too.
    most_parts, most_cost, largest_coil_h : bounds, None for none.
    """

    band_hz: tuple[float, float] = JUDGED_HZ
    tilt_db_per_octave: float = 0.0
    voicing: str | None = None
    slope: str | None = "LR4"
    crossover_hz: tuple[float, ...] | None = None
    may_lose_db: float = 3.0
    minimum_load_ohm: float | None = None
    epdr_floor_ohm: float | None = None
    angles_deg: tuple[float, ...] = (-15.0, 15.0)
    most_parts: int | None = None
    most_cost: float | None = None
    largest_coil_h: float | None = None
    weights: Weights = field(default_factory=Weights)

    def __post_init__(self) -> None:
        low, high = self.band_hz
        if not 0 < low < high:
            raise OptionError(f"the band is {low:g} to {high:g} Hz", "give two rising frequencies")
        if not abs(self.tilt_db_per_octave) <= 6.0:
            raise OptionError(f"the tilt is {self.tilt_db_per_octave:g} dB per octave", "give -6 to 6")


def weights_of(given: Weights | Mapping[str, float] | Iterable[tuple[str, float]] | None) -> Weights:
    """The weights, those that are named changed. Raises OptionError."""
    usual = Weights()
    if given is None or isinstance(given, Weights):
        return given or usual
    pairs = list(given.items() if isinstance(given, Mapping) else given)
    known, names = tuple(vars(usual)), [name for name, _ in pairs]
    for name in names:
        if name not in known:
            near = nearest_word(name, known)
            remedy = f"did you mean {near}?" if near else f"write total=1,together=0.4 with {', '.join(known)}"
            raise OptionError(f"{named('weights')} has '{name[:40]}'", remedy)
        if names.count(name) > 1:
            raise OptionError(f"{named('weights')} names {name} twice", "give each weight once")
    return replace(usual, **dict(pairs))
