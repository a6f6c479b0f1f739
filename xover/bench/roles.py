"""Which driver is the tweeter, and which the woofer."""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import StrEnum

from xover.network import Network
from xover.sound.impedance_peak import impedance_peak_hz
from xover.speaker import Speaker, SpeakerDriver
from xover.studies.desk.check.network import plays_high, plays_low


class Role(StrEnum):
    """What a driver plays."""

    HIGH = "tweeter or horn"
    MID = "mid"
    LOW = "woofer"


def resonance_hz(driver: SpeakerDriver) -> float:
    """Highest peak of the measured impedance, else the datasheet's resonance; NaN where neither is known."""
    if driver.impedance is not None:
        found = impedance_peak_hz(driver.impedance.frequency_hz, driver.impedance.value)
        if math.isfinite(found):
            return found
    return math.nan if driver.datasheet is None else driver.datasheet.fs_hz


def driver_role(driver: SpeakerDriver) -> Role:
    """By the resonance where it is known, else by the name, as `xover check` does."""
    fs = resonance_hz(driver)
    known = fs if math.isfinite(fs) else None
    if plays_high(driver.name, None, known):
        return Role.HIGH
    return Role.LOW if plays_low(driver.name, None, known) else Role.MID


def roles(speaker: Speaker, network: Network) -> Mapping[str, Role]:
    """The role of each driver card, by its key."""
    by_name = {name: driver_role(speaker.drivers[name]) for name in network.driver_names}
    return {card.key: by_name[card.driver] for card in network.drivers}


def keys_of(found: Mapping[str, Role], *wanted: Role) -> tuple[str, ...]:
    """The driver cards of some roles, by key."""
    return tuple(key for key, role in found.items() if role in wanted)
