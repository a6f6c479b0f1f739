"""What a new part must stand in the place of an old one: volts of a capacitor, watts of a resistor."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from xover.amplifier.demand import rated_voltage
from xover.amplifier.stress import read_stress
from xover.files.stock import StockItem
from xover.network import Solution
from xover.rules.margins import CAPACITOR_MARGIN, CREST, RESISTOR_MARGIN
from xover.speaker import Speaker


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
