"""A coil to wind, or one that was taken out; and how a second one beside it couples."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any, Final

from xover.errors import OptionError, named
from xover.parts.coil_design import (
    NEAR_DCR,
    CoilDesign,
    WireChoice,
    design_coil,
    design_for_dcr,
    nested_h,
    wire_for_dcr,
)
from xover.parts.coil_identify import IdentifiedCoil, identify_coil
from xover.parts.coupling import Pose, least_distance_m
from xover.parts.inductance import by_formula_h
from xover.parts.placement import Beside, beside
from xover.parts.wire import Wire, ac_resistance_ratio, metric_wire, parse_wire, usual_wires
from xover.plain import some_of

USUAL_DCR_OHM: Final = 0.4
"""5 % of 8 ohm: common practice, no published source."""
_TABLE_MM: Final = (0.5, 0.63, 0.8, 1.0, 1.25, 1.4, 1.6, 2.0, 2.5)
_OFF: Final = 0.01
"""More than this off the inductance that is asked for is said."""
_ASSUMED: Final = (
    "turns are taken as stacked square and the enamel as grade 2 (approximate, from memory): wind a turn or two more, "
    "measure, and take turns off"
)
_RESONANCE: Final = (
    "a winding resonates with its own capacitance far above audio (common practice, no published source): "
    "not computed here"
)
_IN_TABLE: Final = "wire wire_diameter_m turns dcr_ohm mass_kg outer_diameter_m length_m wire_length_m"


@dataclass(frozen=True)
class SecondPlace:
    """A second coil's inductance, and where it stands: along the board, its lean, its height; None where not said."""

    henry: float | None
    distance_m: float | None
    angle_deg: float | None
    raised_m: float | None


@dataclass(frozen=True, repr=False)
class CoilToWind(CoilDesign):
    """A recipe, how its wire was chosen, and what other wires would make of it.

    Attributes
    ----------
    choice : of the wire; None where it was stated. asked_ohm : the resistance that was asked for, None for the usual.
    others : the same coil of other usual wires and this one, the thinnest first. beside : a second coil; None without.
    """

    choice: WireChoice | None
    asked_ohm: float | None
    others: tuple[CoilDesign, ...]
    beside: Beside | None

    @property
    def nested_inductance_h(self) -> float:
        """With each layer in the grooves of the one below."""
        return nested_h(self)

    @property
    def by_formula_h(self) -> dict[str, float]:
        """Inductance by published formulas, by their names."""
        return by_formula_h(self.winding)

    @property
    def skin_ratio(self) -> float:
        """Resistance at 20 kHz over that for DC, by skin effect in the wire alone."""
        return float(ac_resistance_ratio(self.wire_diameter_m, 20e3))

    @property
    def dcr_met(self) -> bool | None:
        """Whether the resistance comes near to the one asked for; None where a wire was."""
        return None if self.choice is None else abs(self.dcr_ohm / self.choice.dcr_ohm - 1) <= NEAR_DCR

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the recipe rests on."""
        off = f"whole turns come no nearer than {100 * self.error:+.1f} %: leave the former's diameter or length open"
        return (*([off] if abs(self.error) > _OFF else []), _ASSUMED, _RESONANCE)

    def plain(self) -> dict[str, Any]:
        """The recipe, and what else is known of it."""
        own = " ".join(f.name for f in dataclasses.fields(CoilDesign))
        return some_of(
            self,
            f"{own} nested_inductance_h by_formula_h dcr_met",
            skin_effect_ratio_20khz=self.skin_ratio,
            asked_dcr_ohm=None if self.choice is None else self.choice.dcr_ohm,
            ideal_wire_diameter_m=None if self.choice is None else self.choice.ideal_diameter_m,
            wires=[some_of(d, _IN_TABLE) for d in self.others],
            notes=self.warnings,
            **({} if self.beside is None else {"beside": self.beside}),
        )


@dataclass(frozen=True, repr=False)
class CoilTakenOut(IdentifiedCoil):
    """A coil that is there."""

    @property
    def warnings(self) -> tuple[str, ...]:
        """What does not fit, and what is not seen."""
        return (*self.notes, "air core: an iron or ferrite core makes it larger, and this does not see one")


def coil_to_wind(
    inductance_h: float,
    wire: str | None = None,
    dcr_ohm: float | None = None,
    inner_m: float | None = None,
    length_m: float | None = None,
    outer_m: float | None = None,
    turns: float | None = None,
    second: SecondPlace | None = None,
) -> CoilToWind:
    """A recipe for an inductance.

    Parameters
    ----------
    wire : to wind it of. dcr_ohm : wanted instead, at 20 degC; with neither, `USUAL_DCR_OHM`.
    inner_m, length_m : diameter of the former and width between its cheeks, where they are given.
    outer_m, turns : of a coil that is there: they must not be given.

    Raises OptionError: as `design_coil`, `wire_for_dcr` and `beside`, or what does not go together.
    """
    if outer_m is not None or turns is not None:
        raise OptionError(
            f"{named('outer_m')} and {named('turns')} describe a coil that is there",
            f"leave them out, or leave {named('target')} out",
        )
    if wire is not None and dcr_ohm is not None:
        raise OptionError(f"{named('wire')} and {named('dcr_ohm')} both choose the wire", "leave one of them out")
    if wire is not None:
        choice, design = None, design_coil(inductance_h, parse_wire(wire), inner_m, length_m)
    else:
        choice = wire_for_dcr(inductance_h, USUAL_DCR_OHM if dcr_ohm is None else dcr_ohm)
        design = _nearest(choice, inner_m, length_m)
    beside = _beside(design, second) if second is not None else None
    others = _others(inductance_h, design, inner_m, length_m)
    return CoilToWind(**vars(design), choice=choice, asked_ohm=dcr_ohm, others=others, beside=beside)


def _nearest(choice: WireChoice, inner_m: float | None, length_m: float | None) -> CoilDesign:
    """By the shape of least copper; on a former that is given, by trying the usual wires from there on."""
    if inner_m is None and length_m is None:
        return design_coil(choice.inductance_h, choice.nearest)
    # Any other shape has more resistance, so the wire can only be thicker.
    found: list[CoilDesign] = []
    for wire in usual_wires():
        if wire.diameter_m < choice.nearest.diameter_m:
            continue
        try:
            found.append(design_coil(choice.inductance_h, wire, inner_m, length_m))
        except OptionError:
            if not found:
                raise
            break
        if found[-1].dcr_ohm < choice.dcr_ohm:
            break
    return min(found, key=lambda d: max(d.dcr_ohm / choice.dcr_ohm, choice.dcr_ohm / d.dcr_ohm))


def _others(
    inductance_h: float, design: CoilDesign, inner_m: float | None, length_m: float | None
) -> tuple[CoilDesign, ...]:
    """The same coil of other usual wires, by diameter, where they make one."""
    found = [design]
    for wire in map(metric_wire, _TABLE_MM):
        if abs(wire.diameter_m / design.wire_diameter_m - 1) < 0.01:
            continue
        try:
            found.append(design_coil(inductance_h, wire, inner_m, length_m))
        except OptionError:
            continue  # too heavy, or too thick for the former: not a wire for this coil
    return tuple(sorted(found, key=lambda d: d.wire_diameter_m))


def _beside(design: CoilDesign, second: SecondPlace) -> Beside | None:
    """Wind a second coil for least copper, put it beside the first, and work out how they couple; None without one.

    Where no distance is given they stand as close as they go, in whole millimetres; without an angle, parallel.
    """
    if second.henry is None:
        for name in ("distance_m", "angle_deg", "raised_m"):
            if getattr(second, name) is not None:
                place = f"{named(name)} places a second coil, and there is none"
                raise OptionError(place, f"give {named('beside_h')} too, such as 0.33mH")
        return None
    wound = design_for_dcr(second.henry, USUAL_DCR_OHM)
    tilt_deg, distance_m = second.angle_deg or 0.0, second.distance_m
    if distance_m is None:
        # Rounded up in millimetres, but not for a rounding error.
        least = least_distance_m(design.winding, wound.winding, Pose(1.0, 0.0, 0.0, tilt_deg))
        distance_m = math.ceil(1e3 * least - 1e-6) * 1e-3
    pose = Pose(distance_m, 0.0, second.raised_m or 0.0, tilt_deg)
    result = beside(design.winding, wound.winding, pose, design.inductance_h, wound.inductance_h)
    return dataclasses.replace(result, second_coil=wound)


def coil_taken_out(
    inner_m: float | None,
    outer_m: float | None,
    length_m: float | None,
    turns: float | None = None,
    wire: str | None = None,
    dcr_ohm: float | None = None,
    second: SecondPlace | None = None,
) -> CoilTakenOut:
    """A coil by the size of its copper, as `identify_coil`. Raises OptionError: also where too little is given."""
    if second is not None and second.henry is not None:
        raise OptionError(
            f"{named('beside_h')} places a second coil beside one to wind", f"give {named('target')}, such as 1.8mH"
        )
    if inner_m is None or outer_m is None or length_m is None:
        raise OptionError(
            "there is neither an inductance nor a coil's size",
            f"give {named('target')} such as 1.8mH, or {named('inner_m')}, {named('outer_m')} and {named('length_m')} "
            f"with {named('turns')} or {named('wire')}",
        )
    known: Wire | None = None if wire is None else parse_wire(wire)
    return CoilTakenOut(**vars(identify_coil(inner_m, outer_m, length_m, turns, known, dcr_ohm)))
