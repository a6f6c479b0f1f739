"""Drivers of the usual kind: what a template holds before it is edited, and what stands in for what was not measured.

All of it is common practice, no published source. Real drivers of a size differ by a factor of two in resonance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final


@dataclass(frozen=True)
class TypicalDriver:
    """Small-signal values of the usual driver of a kind, in a cabinet."""

    re_ohm: float
    fs_hz: float
    qms: float
    qes: float
    le_mh: float
    sensitivity_db: float


TEMPLATE: Final = {
    "woofer": TypicalDriver(6.0, 55, 4.0, 0.6, 0.6, 88),
    "mid": TypicalDriver(6.2, 180, 3.0, 0.9, 0.25, 89),
    "horn": TypicalDriver(6.4, 550, 2.5, 0.8, 0.1, 102),
    "tweeter": TypicalDriver(5.4, 1000, 2.2, 1.1, 0.03, 90),
}
"""The placeholders of a new folder, by role; also the driver of a role whose size nobody gave."""

HORN_WORDS: Final = ("horn",)
HIGH_WORDS: Final = ("tweet", "treble", "high", "horn", "dome", "ribbon", "super")
LOW_WORDS: Final = ("woof", "bass", "low")
MID_WORDS: Final = ("mid", "squawk")
"""What a driver's name says of its role. A dome may also be a midrange: its size then says so."""

TWEETER_MOST_MM: Final = 60.0
MID_MOST_MM: Final = 110.0
"""Effective piston diameters up to which a driver of no telling name is a tweeter, or a midrange."""

_FS_BY_MM: Final = {"woofer": (130.0, 55.0), "mid": (90.0, 180.0), "tweeter": (25.0, 1000.0)}
"""The size that goes with the resonance of the role; other sizes resonate the lower the larger they are."""


def role_of(name: str, diameter_mm: float | None) -> str | None:
    """woofer, mid, horn or tweeter by a driver's name, else by its size; None where neither tells."""
    said = name.lower()
    for words, role in ((MID_WORDS, "mid"), (HORN_WORDS, "horn"), (HIGH_WORDS, "tweeter"), (LOW_WORDS, "woofer")):
        if any(word in said for word in words):
            return role
    if diameter_mm is None:
        return None
    return "tweeter" if diameter_mm <= TWEETER_MOST_MM else "mid" if diameter_mm <= MID_MOST_MM else "woofer"


def typical_driver(role: str, re_ohm: float, diameter_mm: float | None) -> TypicalDriver:
    """The usual driver of a role, of this DC resistance and size.

    A coil's inductance goes with its resistance, and the level at 2.83 V falls as the resistance rises.
    """
    usual = TEMPLATE[role]
    fs_hz = usual.fs_hz
    if diameter_mm is not None and role in _FS_BY_MM:
        size_mm, at_hz = _FS_BY_MM[role]
        fs_hz = at_hz * size_mm / diameter_mm
    ratio = re_ohm / usual.re_ohm
    return replace(
        usual,
        re_ohm=re_ohm,
        fs_hz=fs_hz,
        le_mh=usual.le_mh * ratio,
        sensitivity_db=usual.sensitivity_db - 10.0 * math.log10(ratio),
    )
