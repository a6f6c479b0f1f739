"""A coil that was taken out: its inductance from its size, and its turns, wire and resistance from each other."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from xover.errors import OptionError, named
from xover.parts.inductance import section_h, wire_correction_h
from xover.parts.wire import THICKEST_M, THINNEST_M, Winding, Wire, bare_diameter_m, mass_kg_per_m, resistance_ohm_per_m

NESTED: Final = math.sqrt(3) / 2
"""Height of a layer over the pitch where each layer lies in the grooves of the one below."""
LOOSE: Final = 0.90
"""What a careless winding holds of the turns that fit stacked square: common practice, no published source."""
CROWDED: Final = 1.02
"""More copper than the tightest packing holds, by this, is a fault of the numbers and not of the ruler."""


class Basis(StrEnum):
    """What turns or wire follow from."""

    COUNTED = "counted"
    STATED = "stated"
    RESISTANCE = "resistance"
    WIRE = "wire and size"
    TURNS = "turns and size"


@dataclass(frozen=True)
class IdentifiedCoil:
    """What a coil's size says, at 20 degC.

    Attributes
    ----------
    turns, turns_from : how many, and what they follow from.
    turns_low, turns_high : what the winding may hold.
    wire_diameter_m, wire_from : bare copper, and what it follows from.
    inductance_h, inductance_low_h, inductance_high_h : by those turns. Air core.
    layers : as many as turns stacked square would make.
    dcr_ohm : by the wire, NaN for a wire that is not known.
    measured_dcr_ohm : None where none was given.
    notes : what does not fit, in sentences.
    """

    inductance_h: float
    inductance_low_h: float
    inductance_high_h: float
    turns: float
    turns_low: float
    turns_high: float
    turns_from: Basis
    layers: int
    inner_diameter_m: float
    outer_diameter_m: float
    length_m: float
    wire_diameter_m: float
    wire_from: Basis
    pitch_m: float
    wire_length_m: float
    dcr_ohm: float
    measured_dcr_ohm: float | None
    mass_kg: float
    notes: tuple[str, ...]


def identify_coil(
    inner_diameter_m: float,
    outer_diameter_m: float,
    length_m: float,
    turns: float | None = None,
    wire: Wire | None = None,
    dcr_ohm: float | None = None,
) -> IdentifiedCoil:
    """A coil by its winding's size and one or two of: turns counted, wire, resistance measured.

    Turns by resistance, where wire and resistance are known, are sharper than those by packing: the wire's length is
    the resistance over its resistance per metre, and a turn's mean length follows from the size.

    Parameters
    ----------
    inner_diameter_m, outer_diameter_m, length_m : of the copper, not of the former's cheeks.
    dcr_ohm : at about 20 degC.

    Raises OptionError: sizes that make no winding, too little known, or more copper than fits.
    """
    _check_sizes(inner_diameter_m, outer_diameter_m, length_m, turns, dcr_ohm)
    depth = (outer_diameter_m - inner_diameter_m) / 2
    section = depth * length_m
    mean_turn_m = math.pi * (inner_diameter_m + outer_diameter_m) / 2
    notes: list[str] = []
    if turns is not None:
        count, low, high, turns_from = turns, turns, turns, Basis.COUNTED
    elif wire is not None:
        square = section / wire.pitch_m**2
        low, high = LOOSE * square, square / NESTED
        count, turns_from = square, Basis.WIRE
        if dcr_ohm is not None:
            count = dcr_ohm / float(resistance_ohm_per_m(wire.diameter_m)) / mean_turn_m
            if not low <= count <= high:
                notes.append(
                    f"{dcr_ohm:g} ohm make {count:.0f} turns of that wire, and its size makes {low:.0f} to {high:.0f}: "
                    "measure the bare copper and the resistance again"
                )
            # Wire is drawn to 1 % in diameter or so, and 2.5 K are 1 %: the resistance knows turns to some 3 %.
            low, high, turns_from = 0.97 * count, 1.03 * count, Basis.RESISTANCE
    else:
        raise OptionError(
            "neither the turns nor the wire are known",
            f"give {named('turns')}, or {named('wire')} with or without {named('dcr_ohm')}",
        )
    bare, wire_from = _wire(count, section, mean_turn_m, wire, dcr_ohm)
    pitch = math.sqrt(section / count)
    if wire is None and dcr_ohm is not None and not math.isnan(bare):
        by_size = bare_diameter_m(pitch)
        if not math.isnan(by_size) and abs(bare / by_size - 1) > 0.12:
            notes.append(
                f"the resistance makes a wire of {bare * 1e3:.2f} mm, a turn's space one of {by_size * 1e3:.2f} mm: "
                "loose winding, tape between the layers, or turns miscounted"
            )
    _check_room(count, bare, section)
    length = count * mean_turn_m
    dcr = float(resistance_ohm_per_m(bare)) * length
    if wire is not None and turns is not None and dcr_ohm is not None and abs(dcr_ohm / dcr - 1) > 0.06:
        notes.append(
            f"{turns:g} turns of that wire have {dcr:.3g} ohm at 20 degC and {dcr_ohm:g} were measured: "
            "the turns, the wire or a joint is not as stated"
        )

    def inductance(n: float) -> float:
        winding = Winding(inner_diameter_m / 2, outer_diameter_m / 2, length_m, n)
        correction = 0.0 if math.isnan(bare) else wire_correction_h(winding, math.sqrt(section / n), bare)
        return section_h(winding) + correction

    return IdentifiedCoil(
        inductance_h=inductance(count),
        inductance_low_h=inductance(low),
        inductance_high_h=inductance(high),
        turns=count,
        turns_low=low,
        turns_high=high,
        turns_from=turns_from,
        layers=max(1, round(depth / pitch)),
        inner_diameter_m=inner_diameter_m,
        outer_diameter_m=outer_diameter_m,
        length_m=length_m,
        wire_diameter_m=bare,
        wire_from=wire_from,
        pitch_m=pitch,
        wire_length_m=length,
        dcr_ohm=dcr,
        measured_dcr_ohm=dcr_ohm,
        mass_kg=float(mass_kg_per_m(bare)) * length,
        notes=tuple(notes),
    )


def _wire(
    turns: float, section_m2: float, mean_turn_m: float, wire: Wire | None, dcr_ohm: float | None
) -> tuple[float, Basis]:
    if wire is not None:
        return wire.diameter_m, Basis.STATED
    if dcr_ohm is not None:
        one_metre = float(resistance_ohm_per_m(1.0))  # of wire one metre thick
        return math.sqrt(one_metre * turns * mean_turn_m / dcr_ohm), Basis.RESISTANCE
    return bare_diameter_m(math.sqrt(section_m2 / turns)), Basis.TURNS


def _check_sizes(inner_m: float, outer_m: float, length_m: float, turns: float | None, dcr_ohm: float | None) -> None:
    sizes = f"{inner_m * 1e3:g} mm inside, {outer_m * 1e3:g} mm outside, {length_m * 1e3:g} mm long"
    if not 0 < inner_m < outer_m <= 1.0 or not 0 < length_m <= 1.0:
        raise OptionError(f"no winding is {sizes}", "give the copper's diameters, the outer above the inner, up to 1 m")
    if outer_m - inner_m < 2 * THINNEST_M or length_m < THINNEST_M:
        raise OptionError(f"a winding {sizes} is thinner than any wire", "measure it again, 0.1 mm is the least")
    if turns is not None and not 1 <= turns <= 100_000:
        raise OptionError(f"{turns:g} turns make no coil", "count from 1 to 100000")
    if dcr_ohm is not None and not dcr_ohm > 0:
        raise OptionError(f"no coil has a DC resistance of {dcr_ohm:g} ohm", "give one above zero, such as 0.4")


def _check_room(turns: float, bare_m: float, section_m2: float) -> None:
    """The tightest packing of circles fills pi/(2 sqrt 3) of a plane."""
    if math.isnan(bare_m):
        raise OptionError(f"{turns:g} turns leave no room for copper in that winding", "count or measure again")
    share = turns * math.pi / 4 * bare_m**2 / section_m2
    if share > CROWDED * math.pi / (2 * math.sqrt(3)):
        raise OptionError(
            f"{turns:.0f} turns of {bare_m * 1e3:.3g} mm fill {100 * share:.0f} % of that winding; the most is 91 %",
            "measure the size, the wire or the resistance again",
        )
    if not THINNEST_M <= bare_m <= THICKEST_M:
        raise OptionError(
            f"a wire of {bare_m * 1e3:.3g} mm would follow, outside 0.1 to 5 mm",
            "count, or measure the resistance, again",
        )
