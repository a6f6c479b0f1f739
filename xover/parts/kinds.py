"""What kinds of capacitor, resistor and coil are like when new, and what age does to them.

Every number here is common practice, no published source, unless a line says otherwise: ranges that people of
the trade expect, wide on purpose. They stand in where nothing was measured, and results that rest on them say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from xover.network.parts import Capacitor, Inductor, Part, Resistor

SOURCE: Final = "common practice, no published source"


class PartKind(StrEnum):
    """What a part is made of, as far as its netlist card says."""

    ELECTROLYTIC = "electrolytic"
    PAPER = "paper"
    POLYESTER = "polyester"
    FILM = "film"
    RESISTOR = "resistor"
    LAMP = "lamp"
    AIR_COIL = "air coil"
    CORED_COIL = "cored coil"


@dataclass(frozen=True)
class KindFacts:
    """Expected ranges; fractions of the marked value, (lowest, highest).

    Attributes
    ----------
    tolerance : +- of a new part on sale, where its card states none.
    new_dissipation_factor : of a new capacitor; None for other parts.
    drift : of the value over some decades, beyond the tolerance of its day.
    aged_dissipation_factor : range after some decades, capacitors only.
    dcr_drift : of a coil's resistance (joints); None for other parts.
    wears_out : whether age alone is a reason to expect drift.
    """

    tolerance: float
    new_dissipation_factor: float | None
    drift: tuple[float, float]
    aged_dissipation_factor: tuple[float, float] | None = None
    dcr_drift: tuple[float, float] | None = None
    wears_out: bool = False


FACTS: Final = {
    # Restorers report +40 and +27 % readings as well as losses; tolerances of the day were as wide as -20/+80 %.
    PartKind.ELECTROLYTIC: KindFacts(0.10, 0.05, (-0.20, 0.40), (0.05, 0.20), wears_out=True),
    PartKind.PAPER: KindFacts(0.20, 0.01, (-0.05, 0.25), (0.01, 0.06), wears_out=True),
    PartKind.POLYESTER: KindFacts(0.10, 0.005, (-0.02, 0.02), (0.003, 0.01)),
    PartKind.FILM: KindFacts(0.05, 0.0005, (-0.02, 0.02), (0.0002, 0.001)),
    PartKind.RESISTOR: KindFacts(0.05, None, (-0.02, 0.10)),
    PartKind.LAMP: KindFacts(0.20, None, (-0.10, 0.30)),
    PartKind.AIR_COIL: KindFacts(0.05, None, (0.0, 0.0), dcr_drift=(0.0, 0.05)),
    # A core that has shifted, or a fixing screw exchanged for a steel one, moves the value.
    PartKind.CORED_COIL: KindFacts(0.10, None, (-0.03, 0.05), dcr_drift=(0.0, 0.05)),
}

CAPACITORS: Final = {
    "electrolytic": PartKind.ELECTROLYTIC,
    "bipolar": PartKind.ELECTROLYTIC,
    "non-polar": PartKind.ELECTROLYTIC,
    "paper": PartKind.PAPER,
    "oil": PartKind.PAPER,
    "polyester": PartKind.POLYESTER,
    "mylar": PartKind.POLYESTER,
    "film": PartKind.FILM,
    "polypropylene": PartKind.FILM,
    "oil-filled": PartKind.PAPER,
    "polystyrene": PartKind.FILM,
    "polycarbonate": PartKind.FILM,
    "mica": PartKind.FILM,
    "ceramic": PartKind.FILM,
}


# Above this a capacitor whose kind is not stated is taken for an electrolytic: no film part loses as much.
_LOSSY: Final = 0.02


def kind_of(part: Part) -> PartKind:
    """The kind that the card states, or the one that its losses suggest."""
    if isinstance(part, Resistor):
        return PartKind.LAMP if part.is_lamp else PartKind.RESISTOR
    if isinstance(part, Inductor):
        return PartKind.AIR_COIL if part.core in ("air", "none") else PartKind.CORED_COIL
    assert isinstance(part, Capacitor)
    lossy = part.dissipation_factor > _LOSSY
    return CAPACITORS.get(part.kind or "", PartKind.ELECTROLYTIC if lossy else PartKind.FILM)


def tolerance_of(part: Part) -> float:
    """Fraction: what its card states, else what is usual for its kind."""
    return FACTS[kind_of(part)].tolerance if part.tolerance is None else part.tolerance
