"""What may be tried at each place of the network, and what a new part must stand there."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.amplifier.demand import rated_voltage
from xover.amplifier.stress import read_stress
from xover.curve import Complex
from xover.files.stock import StockItem
from xover.network import Capacitor, Inductor, Network, Part, Resistor, Solution, solve
from xover.network.parts import shown_value
from xover.parts.catalogue import Catalogue
from xover.parts.kinds import FACTS, kind_of
from xover.rules.margins import CAPACITOR_MARGIN, CREST, RESISTOR_MARGIN
from xover.sound.change import largest_drive_change
from xover.speaker import Speaker
from xover.studies.change.refresh.choice import (
    Choice,
    Sieve,
    capacitor_choices,
    coil_choices,
    keep,
    keep_with,
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
    peak = 2.0**0.5 * rated_voltage(amplifier.rated_power_w, amplifier.rated_load_ohm)
    stress = read_stress(solution, {c.name: peak / CREST for c in solution.network.channels}, CREST)
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
        self.old, self._needed, self._measured = old, needed, measured
        self._omega = 2.0 * np.pi * solution.frequency_hz
        self.warnings: list[str] = []

    def of(self, part: Part) -> list[Choice]:
        """The old part where it may stay, and new ones."""
        new = self._new(part)
        old = self.old[part.name]
        if not self._must_go(part) and old is not None:
            return [keep(old, self._omega), *self._made_up(old), *new]
        if not new:
            if old is None:
                old = part
            self.warnings.append(
                f"{part.name}: there is nothing to replace its {shown_value(part)} with in {self._catalogue.source}; "
                "it stays as it is until the list has a part for it"
            )
            return [keep(old, self._omega)]
        return new

    def _made_up(self, old: Part) -> list[Choice]:
        """An old coil with a little more resistance, where others ask for it."""
        if not isinstance(old, Inductor) or stays_anyway(old, self._design):
            return []
        small = [r for r in self._catalogue.resistors() if r.value <= max(0.5 * old.dcr_ohm, 0.1)]
        strong = strong_enough(small, self._needed.get(old.name))
        return [keep_with(old, r, self._omega) for r in {r.value: r for r in reversed(strong)}.values()]

    def effect_db(self, part: Part, old: Part) -> tuple[float, float, str]:
        """Largest change of any driver's level if one old part stands in the reference; where, and on which."""
        there = solve(
            self._design,
            self._solution.frequency_hz,
            self._driver_ohm,
            impedance_ohm={part.name: old.impedance_ohm(self._omega)},
        )
        worst, on = largest_drive_change(self._solution.frequency_hz, self._solution.drive, there.drive)
        return abs(worst.change), worst.at_hz, on

    def naive(self) -> dict[str, Choice]:
        """The nearest value of each, the cheapest coil, nothing made up for: what one buys without calculating."""
        out: dict[str, Choice] = {}
        for part in self._design.parts:
            choice = None
            if not stays_anyway(part, self._design):
                choice = nearest_single(part, self._items(part, cores=True), self._omega)
            out[part.name] = choice or keep(self.old[part.name] or part, self._omega)
        return out

    def _must_go(self, part: Part) -> bool:
        if stays_anyway(part, self._design):
            return False
        if self._policy is Policy.ALL:
            return True
        return self._policy is Policy.WORN and FACTS[kind_of(self.old[part.name] or part)].wears_out

    def _items(self, part: Part, cores: bool = False) -> tuple[StockItem, ...]:
        if isinstance(part, Capacitor):
            items = self._catalogue.capacitors()
        elif isinstance(part, Inductor):
            items = self._catalogue.coils(part.henry, cores)
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
            return np.asarray(np.log(np.stack(ratios)) / math.log1p(_SMALLEST_STEP))


def stays_anyway(part: Part, design: Network) -> bool:
    """Lamps, coupled coils and 0 ohm links are not bought by value; they stay."""
    coupled = {name.lower() for c in design.couplings for name in (c.first, c.second)}
    if isinstance(part, Resistor):
        return part.is_lamp or part.ohm == 0
    return part.name.lower() in coupled


def same_part(network: Network, part: Part) -> Part | None:
    """The part of that name and kind in another network; None if there is none."""
    same = next((p for p in network.parts if p.name.lower() == part.name.lower()), None)
    return same if type(same) is type(part) else None
