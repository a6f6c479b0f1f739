"""Which driver is the tweeter, and which the woofer."""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from xover.network import Network
from xover.rules.margins import TWEETER_FS_HZ
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import Speaker, SpeakerDriver

_HIGH_WORDS: Final = ("tweet", "treble", "high", "horn", "dome", "ribbon", "super")
_LOW_WORDS: Final = ("woof", "bass", "low")


class Role(StrEnum):
    """What a driver plays."""

    HIGH = "tweeter or horn"
    MID = "mid"
    LOW = "woofer"


def driver_role(driver: SpeakerDriver) -> Role:
    """By the resonance where it is known (above 300 Hz a tweeter, below 150 Hz a woofer), else by the name."""
    fs, name = driver_resonance_hz(driver), driver.name.lower()
    if fs > TWEETER_FS_HZ or (math.isnan(fs) and any(word in name for word in _HIGH_WORDS)):
        return Role.HIGH
    low = fs < 0.5 * TWEETER_FS_HZ or (math.isnan(fs) and any(word in name for word in _LOW_WORDS))
    return Role.LOW if low else Role.MID


def roles(speaker: Speaker, network: Network) -> Mapping[str, Role]:
    """The role of each driver card, by its key."""
    by_name = {name: driver_role(speaker.drivers[name]) for name in network.driver_names}
    return {card.key: by_name[card.driver] for card in network.drivers}


def keys_of(found: Mapping[str, Role], *wanted: Role) -> tuple[str, ...]:
    """The driver cards of some roles, by key."""
    return tuple(key for key, role in found.items() if role in wanted)
