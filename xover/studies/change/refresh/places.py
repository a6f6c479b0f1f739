"""What may be tried at each place of the network, and what a new part must stand there."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from xover.amplifier.stress import read_stress
from xover.curve import Complex
from xover.files.stock import StockItem
from xover.judge.levels import at_limit
from xover.network import Capacitor, Inductor, Network, Part, Resistor, Solution, solve, value_of
from xover.network.parts import shown_value
from xover.parts.catalogue import Catalogue
from xover.parts.kinds import FACTS, kind_of, tolerance_of
from xover.rules.audibility import MATCHED_DB
from xover.rules.bands import LOSS_AT_HZ
from xover.rules.likeness import DCR_OHM, DCR_SHARE, LOSSY_OHM, LOSSY_RATIO
from xover.rules.margins import CAPACITOR_MARGIN, CREST, RESISTOR_MARGIN, ROUNDING
from xover.sound.change import largest_drive_change, near_highest
from xover.speaker import Speaker
from xover.studies.change.refresh.choice import (
    Choice,
    Sieve,
    capacitor_choices,
    coil_choices,
    keep,
    nearest_single,
    resistor_choices,
)
from xover.studies.change.refresh.result import Policy


@dataclass(frozen=True)
class Needed:
    """Least ratings in the place of one old part.

    Attributes
    ----------
    volts : peak that a capacitor there must stand.
    current_rms_a, voltage_rms_v : of programme, through and across the place.
    """

    volts: float
    current_rms_a: float
    voltage_rms_v: float

    def watts(self, ohm: float) -> float:
        """What a resistor in series with all that stands there must be rated for."""
        return RESISTOR_MARGIN * self.current_rms_a**2 * ohm

    def watts_in_leg(self, ohm: float) -> float:
        """What a resistor in a leg of its own must be rated for at most: as if the whole voltage stood on it."""
        return RESISTOR_MARGIN * self.voltage_rms_v**2 / ohm if ohm > 0 else math.inf


def needed_ratings(speaker: Speaker, solution: Solution) -> Mapping[str, Needed]:
    """By part's name; empty where the amplifier's rated power is not told.

    The amplifier plays programme whose peaks reach its rated sine's: sqrt(2 P R).
    """
    amplifier = speaker.amplifier
    if amplifier is None or amplifier.rated_power_w is None or amplifier.rated_load_ohm is None:
        return {}
    rms = at_limit(amplifier.rated_power_w, amplifier.rated_load_ohm, CREST).rms_v
    stress = read_stress(solution, {c.name: rms for c in solution.network.channels}, CREST)
    return {
        e.name: Needed(CAPACITOR_MARGIN * e.sine_voltage_peak_v, e.current_rms_a, e.voltage_rms_v)
        for e in stress.elements
    }


def strong_enough(items: Iterable[StockItem], needed: Needed | None, in_leg: bool = False) -> tuple[StockItem, ...]:
    """Items whose stated ratings suffice; an unstated rating is let through, to be told.

    in_leg : the resistors stand in a parallel leg of their own.
    """
    if needed is None:
        return tuple(items)
    watts = needed.watts_in_leg if in_leg else needed.watts
    return tuple(
        item
        for item in items
        if (item.volts is None or item.volts >= needed.volts)
        and (item.watts is None or item.watts >= watts(item.value))
    )


_SMALLEST_STEP: Final = 1e-4


class State(StrEnum):
    """How an old part fares; what is done with it follows."""

    HEALTHY = "healthy"
    """It stays: it lasts and is within its tolerance, or has moved by less than is heard, or is not bought by value."""
    AGEING = "ageing"
    """Of a kind that wears out, and measures well: it stays unless the design is not reached without."""
    WORN = "worn"
    """Has moved by what is heard: it may go."""
    GOES = "goes"
    """Must go: it wears out and was not measured, or all of its kind were asked for."""


@dataclass(frozen=True)
class Effect:
    """What one old part does by itself: largest change of a drive that counts, dB, where, and on which driver."""

    db: float
    at_hz: float
    on: str


class Places:
    """What may be tried at each place, and what was left out on the way."""

    def __init__(
        self,
        catalogue: Catalogue,
        policy: Policy,
        design: Network,
        solution: Solution,
        driver_ohm: Mapping[str, Complex],
        old: Mapping[str, Part | None],
        needed: Mapping[str, Needed],
        measured: bool,
    ) -> None:
        self._catalogue, self._policy, self._design = catalogue, policy, design
        self._solution, self._driver_ohm = solution, driver_ohm
        self.old, self._needed, self.measured = old, needed, measured
        self._omega = 2.0 * np.pi * solution.frequency_hz
        self.warnings: list[str] = []
        self.effects = {p.name: self._effect_db(p) for p in design.parts}
        self.states = {p.name: self._state(p) for p in design.parts}

    def of(self, part: Part, state: State) -> list[Choice]:
        """The old part where it may stay, and new ones where it may go; `state` is this place's, or its pair's."""
        old = self.old[part.name]
        if old is not None and state in (State.HEALTHY, State.AGEING):
            return [keep(old, self._omega)]
        new = self._new(part)
        if not new:
            self.warnings.append(
                f"{part.name}: there is nothing to replace its {shown_value(part)} with in {self._catalogue.source}; "
                "it stays as it is until the list has a part for it"
            )
            return [self.kept(part)]
        return [keep(old, self._omega), *new] if old is not None and state is State.WORN else new

    def kept(self, part: Part) -> Choice:
        """The old part, or the design's where there is none."""
        return keep(self.old[part.name] or part, self._omega)

    def _state(self, part: Part) -> State:
        old = self.old[part.name]
        if stays_anyway(part, self._design):
            return State.HEALTHY
        if old is None or self._policy is Policy.ALL:
            return State.GOES
        # A card of today's board often leaves out what its part is made of.
        stated = old if not isinstance(old, Capacitor) or old.kind is not None else part
        wears = FACTS[kind_of(stated)].wears_out
        if wears and (self._policy is Policy.WORN or not self.measured):
            return State.GOES
        if not self.measured or self.effects[part.name].db <= MATCHED_DB:
            return State.AGEING if wears else State.HEALTHY
        return State.WORN if wears or not alike(part, old) else State.HEALTHY

    def _effect_db(self, part: Part) -> Effect:
        """Of one old part that stands in the reference by itself; not known where it was not measured."""
        old = self.old[part.name]
        if old is None or not self.measured:
            return Effect(math.nan, math.nan, "")
        there = solve(
            self._design,
            self._solution.frequency_hz,
            self._driver_ohm,
            impedance_ohm={part.name: old.impedance_ohm(self._omega)},
        )
        worst, on = largest_drive_change(self._solution.frequency_hz, self._solution.drive, there.drive)
        return Effect(abs(worst.change), worst.at_hz, on)

    def plain_swap(self) -> dict[str, Choice]:
        """Worn parts by the nearest value, all else kept: what one buys without calculating."""
        out: dict[str, Choice] = {}
        for part in self._design.parts:
            goes = self.states[part.name] in (State.WORN, State.GOES)
            choice = nearest_single(part, self._items(part), self._omega) if goes else None
            out[part.name] = choice or self.kept(part)
        return out

    def _items(self, part: Part) -> tuple[StockItem, ...]:
        if isinstance(part, Capacitor):
            items = self._catalogue.capacitors()
        elif isinstance(part, Inductor):
            items = self._catalogue.coils(part.henry)
        else:
            items = self._catalogue.resistors()
        return strong_enough(items, self._needed.get(part.name))

    def _new(self, part: Part) -> list[Choice]:
        if stays_anyway(part, self._design):
            return []
        sieve = Sieve(part.impedance_ohm(self._omega), self._slope(part))
        items = self._items(part)
        resistors = strong_enough(self._catalogue.resistors(), self._needed.get(part.name))
        if isinstance(part, Capacitor):
            in_leg = strong_enough(self._catalogue.resistors(), self._needed.get(part.name), in_leg=True)
            return capacitor_choices(part, items, resistors, in_leg, self._omega, sieve)
        if isinstance(part, Inductor):
            return coil_choices(part, items, resistors, self._omega, sieve)
        return resistor_choices(part, items, self._omega, sieve)

    def _slope(self, part: Part) -> Complex:
        """(d, n) d ln(drive) / d ln(impedance), from one small step."""
        there = solve(
            self._design,
            self._solution.frequency_hz,
            self._driver_ohm,
            impedance_ohm={part.name: part.impedance_ohm(self._omega) * (1.0 + _SMALLEST_STEP)},
        )
        with np.errstate(invalid="ignore", divide="ignore"):
            ratios = [there.drive[key] / drive for key, drive in self._solution.drive.items()]
            counts = np.stack([near_highest(drive) for drive in self._solution.drive.values()])
            return np.where(counts, np.log(np.stack(ratios)) / math.log1p(_SMALLEST_STEP), np.nan)


def stays_anyway(part: Part, design: Network) -> bool:
    """Lamps, coupled coils and 0 ohm links are not bought by value; they stay."""
    coupled = {name.lower() for c in design.couplings for name in (c.first, c.second)}
    if isinstance(part, Resistor):
        return part.is_lamp or part.ohm == 0
    return part.name.lower() in coupled


def alike(part: Part, old: Part) -> bool:
    """Whether an old part is still what its card in the design says, within its tolerance of the day.

    A coil's resistance that today's card does not state was not measured.
    """
    value, now = value_of(part), value_of(old)
    if abs(now - value) > tolerance_of(part) * value * (1.0 + ROUNDING):
        return False
    if isinstance(part, Inductor) and isinstance(old, Inductor):
        more = abs(old.dcr_ohm - part.dcr_ohm)
        return old.dcr_ohm == 0.0 or more <= max(DCR_SHARE * part.dcr_ohm, DCR_OHM)
    if isinstance(part, Capacitor):
        omega = 2.0 * np.pi * np.array(LOSS_AT_HZ)
        then, today = (p.impedance_ohm(omega).real for p in (part, old))
        return bool(np.all((today <= LOSSY_RATIO * then) | (today - then <= LOSSY_OHM)))
    return True


def same_part(network: Network, part: Part) -> Part | None:
    """The part of that name and kind in another network; None if there is none."""
    same = next((p for p in network.parts if p.name.lower() == part.name.lower()), None)
    return same if type(same) is type(part) else None
