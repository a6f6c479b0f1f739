"""One line of a price list or parts bin."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class ItemKind(StrEnum):
    """What can be bought."""

    RESISTOR = "resistor"
    INDUCTOR = "inductor"
    CAPACITOR = "capacitor"


@dataclass(frozen=True)
class StockItem:
    """A part that exists; None where the list leaves a column empty.

    Attributes
    ----------
    value : ohm, henry or farad.
    tolerance : fraction, such as 0.05.
    price : of one piece, in the list's own money.
    dielectric : of a capacitor where the list tells: "film" or "electrolytic".
    core : of a coil: "air", "iron", "ferrite".
    quantity : pieces at hand; None: as many as wanted.
    line : in the list.
    """

    kind: ItemKind
    value: float
    tolerance: float | None = None
    price: float | None = None
    watts: float | None = None
    volts: float | None = None
    dcr_ohm: float | None = None
    esr_ohm: float | None = None
    dissipation_factor: float | None = None
    core: str | None = None
    dielectric: str | None = None
    maker_code: str = ""
    quantity: int | None = None
    line: int | None = None
