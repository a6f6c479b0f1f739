"""Coils to wind: layers, turns and former for an inductance, and the wire for a resistance.

The recipe's inductance is the sum over its turns as loops (`inductance.layered_coil_h`), so it holds for turns stacked
square, each layer's turns right over those below, a pitch of one enamelled diameter apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from xover.errors import OptionError
from xover.parts.coil_search import MOST_KG, Plan, brooks_depth_m, check_mass, free_former, given_former, henry
from xover.parts.inductance import section_h
from xover.parts.wire import (
    THICKEST_M,
    THINNEST_M,
    Winding,
    Wire,
    enamelled_diameter_m,
    mass_kg_per_m,
    resistance_ohm_per_m,
    usual_wires,
)
from xover.readable import Readable

LOWEST_H: Final = 1e-6
HIGHEST_H: Final = 1.0
HOT_C: Final = 80.0


@dataclass(frozen=True, repr=False)
class CoilDesign(Readable):
    """A recipe for a coil and what comes out of it.

    Attributes
    ----------
    target_inductance_h, inductance_h : asked for; attained by this recipe (loop sum).
    error : attained over asked, minus one.
    turns, layers : all of them; the last layer holds `last_layer_turns`, the others `turns_per_layer`.
    inner_diameter_m : of the former. outer_diameter_m : over the last layer.
    length_m : of the winding, between the former's cheeks.
    wire : its name. wire_diameter_m : bare copper. pitch_m : what a turn takes up.
    wire_length_m : of the winding, without leads.
    dcr_ohm, dcr_80c_ohm : at 20 and 80 degC. mass_kg : of the copper.
    one_turn_h : what the last turn adds.
    """

    target_inductance_h: float
    inductance_h: float
    error: float
    turns: int
    layers: int
    turns_per_layer: int
    last_layer_turns: int
    inner_diameter_m: float
    outer_diameter_m: float
    length_m: float
    wire: str
    wire_diameter_m: float
    pitch_m: float
    wire_length_m: float
    dcr_ohm: float
    dcr_80c_ohm: float
    mass_kg: float
    one_turn_h: float

    @property
    def winding(self) -> Winding:
        """The shape as an evenly filled section; a last layer that is half full counts for half its height."""
        inner = self.inner_diameter_m / 2
        return Winding(inner, inner + self.turns / self.turns_per_layer * self.pitch_m, self.length_m, self.turns)


@lru_cache(maxsize=512)
def design_coil(
    inductance_h: float, wire: Wire, inner_diameter_m: float | None = None, length_m: float | None = None
) -> CoilDesign:
    """The recipe for an inductance with a wire: the one of least copper, or the one for a former that is there.

    Without a former the shape is near Brooks's (length = depth, mean radius 1.5 times that), all layers are full and
    the former's diameter is a round number. On a former of given diameter the last layer may be partly filled.

    Parameters
    ----------
    inductance_h : 1 uH to 1 H.
    inner_diameter_m, length_m : of the former, either or both.

    Raises OptionError: outside 1 uH to 1 H, a former that takes no turn, or more than 20 kg of copper.
    """
    _check(inductance_h, wire, inner_diameter_m, length_m)
    pitch = wire.pitch_m
    per_layer = None if length_m is None else int(length_m / pitch + 1e-6)
    if inner_diameter_m is None:
        plan = free_former(inductance_h, wire, per_layer)
    else:
        plan = given_former(inductance_h, wire, inner_diameter_m / 2, per_layer)
    return _design(inductance_h, wire, plan)


def _check_inductance(inductance_h: float) -> None:
    if not LOWEST_H * (1 - 1e-9) <= inductance_h <= HIGHEST_H * (1 + 1e-9):
        raise OptionError(
            f"a coil of {henry(inductance_h)} is outside 1 uH to 1 H",
            "give an inductance such as 1.8mH",
        )


def _check(inductance_h: float, wire: Wire, inner_m: float | None, length_m: float | None) -> None:
    _check_inductance(inductance_h)
    if inner_m is not None and not 2 * wire.pitch_m <= inner_m <= 1.0:
        raise OptionError(
            f"no {wire.name} wire winds onto a former of {inner_m * 1e3:g} mm",
            f"give a diameter from {2e3 * wire.pitch_m:.2g} mm to 1 m",
        )
    if length_m is not None and not wire.pitch_m <= length_m <= 1.0:
        raise OptionError(
            f"a former {length_m * 1e3:g} mm long does not hold one turn of {wire.name} wire or is longer than 1 m",
            f"give a length from {1e3 * wire.pitch_m:.2g} mm to 1 m",
        )
    check_mass(inductance_h, wire, _air_coil_kg(inductance_h, wire), "at least ")


def _design(inductance_h: float, wire: Wire, plan: Plan) -> CoilDesign:
    layers = plan.layers()
    attained = plan.inductance_h(wire)
    length = plan.wire_length_m()
    mass = float(mass_kg_per_m(wire.diameter_m)) * length
    check_mass(inductance_h, wire, mass)
    one_fewer = Plan(plan.turns - 1, plan.per_layer, plan.inner_radius_m, plan.pitch_m)
    return CoilDesign(
        target_inductance_h=inductance_h,
        inductance_h=attained,
        error=attained / inductance_h - 1,
        turns=plan.turns,
        layers=len(layers),
        turns_per_layer=layers[0],
        last_layer_turns=layers[-1],
        inner_diameter_m=2 * plan.inner_radius_m,
        outer_diameter_m=2 * (plan.inner_radius_m + len(layers) * plan.pitch_m),
        length_m=layers[0] * plan.pitch_m,
        wire=wire.name,
        wire_diameter_m=wire.diameter_m,
        pitch_m=plan.pitch_m,
        wire_length_m=length,
        dcr_ohm=float(resistance_ohm_per_m(wire.diameter_m)) * length,
        dcr_80c_ohm=float(resistance_ohm_per_m(wire.diameter_m, HOT_C)) * length,
        mass_kg=mass,
        one_turn_h=attained - (one_fewer.inductance_h(wire) if plan.turns > 1 else 0.0),
    )


def wire_length_of_air_coil_m(inductance_h: float, wire_diameter_m: float) -> float:
    """Wire in Brooks's coil, in closed form: the least for that inductance, without rounding to whole turns."""
    depth = brooks_depth_m(inductance_h, wire_diameter_m)
    turns = (depth / float(enamelled_diameter_m(wire_diameter_m))) ** 2
    return 2 * math.pi * 1.5 * depth * turns


def _air_coil_kg(inductance_h: float, wire: Wire) -> float:
    return float(mass_kg_per_m(wire.diameter_m)) * wire_length_of_air_coil_m(inductance_h, wire.diameter_m)


def dcr_of_air_coil(inductance_h: float, wire_diameter_m: float) -> float:
    """Least DC resistance at 20 degC of an air coil of that wire (bare diameter), ohm, in closed form.

    Brooks's coil without rounding: `design_coil` comes out within 3 % of it from 30 turns on.
    """
    return wire_length_of_air_coil_m(inductance_h, wire_diameter_m) * float(resistance_ohm_per_m(wire_diameter_m))


def nested_h(design: CoilDesign) -> float:
    """The same turns with each layer in the grooves of the one below (orthocyclic), sqrt(3)/2 of a pitch higher each.

    A winding by hand lies between this and turns stacked square. The ratio of both evenly filled sections is taken.
    """
    square = design.winding
    depth = design.pitch_m + (square.depth_m - design.pitch_m) * math.sqrt(3) / 2
    nested = Winding(square.inner_radius_m, square.inner_radius_m + depth, square.length_m, square.turns)
    return design.inductance_h * section_h(nested) / section_h(square)


@dataclass(frozen=True)
class WireChoice:
    """Which wire gives a coil its DC resistance.

    Attributes
    ----------
    ideal_diameter_m : that meets it exactly in Brooks's shape; NaN if none from 0.1 to 5 mm does.
    nearest : usual wire whose coil comes nearest, and `nearest_dcr_ohm`, what it has.
    not_above : thinnest usual wire whose coil has no more than asked; None if no usual wire has.
    thickest : usual wire whose coil weighs up to 20 kg.
    possible : whether `nearest` lies within 12 % of what was asked: the steps of the usual diameters allow for that.
    """

    inductance_h: float
    dcr_ohm: float
    ideal_diameter_m: float
    nearest: Wire
    nearest_dcr_ohm: float
    not_above: Wire | None
    thickest: Wire
    possible: bool


NEAR_DCR: Final = 0.12


def wire_for_dcr(inductance_h: float, dcr_ohm: float) -> WireChoice:
    """The wire for an inductance and a DC resistance at 20 degC, by `dcr_of_air_coil`; coils up to 20 kg.

    A coil of one wire has more resistance in any other shape, so thicker wire than asked for can be wound to meet it
    exactly, and thinner wire cannot. Raises OptionError for an inductance outside 1 uH to 1 H or no resistance.
    """
    _check_inductance(inductance_h)
    if not dcr_ohm > 0:
        raise OptionError(f"no coil has a DC resistance of {dcr_ohm:g} ohm", "give one above zero, such as 0.4")
    wires = [w for w in usual_wires() if _air_coil_kg(inductance_h, w) <= MOST_KG]
    dcrs = [dcr_of_air_coil(inductance_h, w.diameter_m) for w in wires]
    nearest = min(range(len(wires)), key=lambda i: abs(math.log(dcrs[i] / dcr_ohm)))
    below = next((w for w, dcr in zip(wires, dcrs, strict=True) if dcr <= dcr_ohm), None)
    return WireChoice(
        inductance_h=inductance_h,
        dcr_ohm=dcr_ohm,
        ideal_diameter_m=_ideal_diameter_m(inductance_h, dcr_ohm),
        nearest=wires[nearest],
        nearest_dcr_ohm=dcrs[nearest],
        not_above=below,
        thickest=wires[-1],
        possible=abs(dcrs[nearest] / dcr_ohm - 1) <= NEAR_DCR,
    )


def _ideal_diameter_m(inductance_h: float, dcr_ohm: float) -> float:
    low, high = THINNEST_M, THICKEST_M
    if not dcr_of_air_coil(inductance_h, high) <= dcr_ohm <= dcr_of_air_coil(inductance_h, low):
        return math.nan
    for _ in range(50):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if dcr_of_air_coil(inductance_h, middle) > dcr_ohm else (low, middle)
    return math.sqrt(low * high)


def design_for_dcr(inductance_h: float, dcr_ohm: float, not_above: bool = False) -> CoilDesign:
    """The recipe with the usual wire (0.25 to 2.5 mm) whose coil comes nearest to a DC resistance at 20 degC.

    Parameters
    ----------
    not_above : take the thinnest wire whose coil has no more than that, the thickest if none has.

    Look at the result's `dcr_ohm`: far from what was asked where no usual wire reaches. Raises OptionError as
    `design_coil` does.
    """
    choice = wire_for_dcr(inductance_h, dcr_ohm)
    return design_coil(inductance_h, (choice.not_above or choice.thickest) if not_above else choice.nearest)
