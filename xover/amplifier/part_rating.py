"""Which rating a part needs for the stress it bears, and whether the one on its card will do."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from xover.amplifier.stress import ElementKind, ElementStress
from xover.network import Part
from xover.quantity import Kind, format_quantity
from xover.rules.margins import CAPACITOR_MARGIN, COIL_MARGIN, RESISTOR_MARGIN

# What shops usually have. Common practice, no published source.
USUAL_WATTS: Final = (5.0, 10.0, 20.0, 50.0, 100.0)
USUAL_VOLTS: Final = (50.0, 63.0, 100.0, 160.0, 250.0, 400.0, 630.0)


class RatingVerdict(StrEnum):
    """How a card's rating compares with what the part bears."""

    ENOUGH = "enough"
    THIN = "thin"
    OVER = "over"
    NOT_KNOWN = "not known"


@dataclass(frozen=True)
class PartRating:
    """What a part bears, what it needs and what its card says.

    Attributes
    ----------
    quantity : "power_w" of the programme for a resistor, "voltage_v" at the peak of a full sine for a capacitor,
        "current_a" at the peak of a full sine for a coil (its card's `amps=`, read as the peak that the core stands).
    stress : in that quantity; needed : with the margin; NaN if not known.
    usual : the next usual rating; None for coils, and where none is large enough.
    said : what the card says, or None.
    verdict : enough; thin, when the margin is missing; over, when the stress itself passes the rating.
    sentence : the same in words.
    """

    name: str
    quantity: str
    stress: float
    margin: float
    needed: float
    usual: float | None
    said: float | None
    verdict: RatingVerdict
    sentence: str

    @property
    def broken(self) -> bool:
        """Whether the card's rating is below what is needed."""
        return self.verdict in (RatingVerdict.THIN, RatingVerdict.OVER)


_RATINGS: Final = {
    ElementKind.RESISTOR: ("watts", "power_w", RESISTOR_MARGIN, USUAL_WATTS),
    ElementKind.CAPACITOR: ("volts", "voltage_v", CAPACITOR_MARGIN, USUAL_VOLTS),
    ElementKind.COIL: ("amps", "current_a", COIL_MARGIN, ()),
}


def rate_part(part: Part, stress: ElementStress) -> PartRating | None:
    """Compare a part's card with its stress; None for a lamp, which is meant to get hot."""
    if stress.kind not in _RATINGS:
        return None
    said_as, quantity, margin, usual = _RATINGS[stress.kind]
    bears = {
        "power_w": stress.power_w,
        "voltage_v": stress.sine_voltage_peak_v,
        "current_a": stress.sine_current_peak_a,
    }[quantity]
    needed = margin * bears
    said: float | None = getattr(part, said_as)
    verdict = _verdict(bears, needed, said)
    return PartRating(
        name=part.name,
        quantity=quantity,
        stress=bears,
        margin=margin,
        needed=needed,
        usual=next((u for u in usual if u >= needed), None),
        said=said,
        verdict=verdict,
        sentence=_sentence(part.name, stress.kind, bears, needed, said, verdict),
    )


def _verdict(bears: float, needed: float, said: float | None) -> RatingVerdict:
    if said is None or math.isnan(bears):
        return RatingVerdict.NOT_KNOWN
    if bears > said:
        return RatingVerdict.OVER
    return RatingVerdict.THIN if needed > said else RatingVerdict.ENOUGH


def _sentence(
    name: str, kind: ElementKind, bears: float, needed: float, said: float | None, verdict: RatingVerdict
) -> str:
    if math.isnan(bears):
        return f"{name}: what it bears is not known"
    what = {
        ElementKind.RESISTOR: f"{name} turns {_amount(bears, kind)} into heat",
        ElementKind.CAPACITOR: f"{name} bears {_amount(bears, kind)} at the peak of a full sine",
        ElementKind.COIL: f"{name} carries {_amount(bears, kind)} at the peak of a full sine",
    }[kind]
    with_margin = f", and with the usual margin needs {_amount(needed, kind)}" if needed != bears else ""
    if said is None:
        return f"{what}{with_margin}; its card states no rating"
    end = {
        RatingVerdict.OVER: f"over its rating of {_amount(said, kind)}",
        RatingVerdict.THIN: f"more than its rating of {_amount(said, kind)}",
        RatingVerdict.ENOUGH: f"its rating of {_amount(said, kind)} will do",
    }[verdict]
    return f"{what}, {end}" if verdict is RatingVerdict.OVER else f"{what}{with_margin}: {end}"


def _amount(value: float, kind: ElementKind) -> str:
    if math.isinf(value):
        return "any current" if kind is ElementKind.COIL else "any voltage"
    if kind is ElementKind.COIL:
        return f"{value:.3g} A"
    return format_quantity(value, Kind.POWER if kind is ElementKind.RESISTOR else Kind.VOLTAGE)
