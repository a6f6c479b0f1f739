"""A coil to wind, or one that was taken out; and how a second one beside it couples."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from xover.blocks import Block, Facts, Head, Text, fact, plain_table
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
from xover.parts.coil_identify import Basis, IdentifiedCoil, identify_coil
from xover.parts.coil_search import henry
from xover.parts.coupling import Pose, least_distance_m
from xover.parts.inductance import by_formula_h
from xover.parts.placement import Beside, beside
from xover.parts.wire import Wire, ac_resistance_ratio, metric_wire, parse_wire, usual_wires
from xover.plain import some_of
from xover.quantity import Kind, format_quantity

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


_NEAR: Final = 0.03
"""A resistance met within this is met; further off by less than a step of the usual wires it is said how far."""


def tell(coil: CoilToWind | CoilTakenOut) -> Iterator[Block]:
    """A recipe, or what a coil is."""
    if isinstance(coil, CoilTakenOut):
        yield from _taken_out(coil)
        return
    yield Head(f"{henry(coil.target_inductance_h)} air-core coil of {coil.wire} copper wire")
    yield Facts(tuple(_recipe(coil)))
    yield Head("Other wires")
    rows = [
        (
            f"{'>' if d.wire == coil.wire else ''} {d.wire}",
            f"{d.dcr_ohm:.3g}",
            f"{100 * d.dcr_ohm / 8:.1f}",
            _mass(d.mass_kg),
            str(d.turns),
            f"{d.outer_diameter_m * 1e3:.0f} x {d.length_m * 1e3:.0f}",
            f"{d.wire_length_m:.1f}",
        )
        for d in coil.others
    ]
    yield plain_table(["wire", "DCR ohm", "% of 8 ohm", "copper", "turns", "size mm", "wire m"], rows)
    if coil.beside is not None:
        yield from _beside_told(coil.beside)


def _recipe(coil: CoilToWind) -> Iterator[tuple[str, str]]:
    full, rest = coil.layers, ""
    if coil.last_layer_turns != coil.turns_per_layer:
        full, rest = coil.layers - 1, f", and {coil.last_layer_turns} in the last layer"
    layers = "1 layer" if full == 1 else f"{full} layers"
    yield "turns", f"{coil.turns}: {layers} of {coil.turns_per_layer}{rest}"
    yield "former", f"{_mm(coil.inner_diameter_m)} in diameter, {_mm(coil.length_m)} between its cheeks"
    yield "outside", f"{_mm(coil.outer_diameter_m)} in diameter"
    wire = f"{coil.wire_length_m:.1f} m and the leads; {coil.pitch_m * 1e3:.2f} mm over its enamel"
    yield "wire", f"{wire}; {_mass(coil.mass_kg)} of copper"
    yield "DC resistance", f"{coil.dcr_ohm:.3g} ohm at 20 degC, {coil.dcr_80c_ohm:.3g} ohm at 80 degC"
    if coil.choice is not None:
        yield "", _about_dcr(coil, coil.choice.dcr_ohm, coil.choice.ideal_diameter_m)
    skin = f"{100 * (coil.skin_ratio - 1):.1f} %" if coil.skin_ratio > 1.001 else "below 0.1 %"
    yield (
        "at 20 kHz",
        f"{skin} more by skin effect in the wire alone; inside a coil the other turns add to that (proximity), and how "
        "much is not computed",
    )
    yield (
        "inductance",
        f"{henry(coil.inductance_h, 4)} ({100 * coil.error:+.2f} %), every turn a loop in its place; "
        f"the last turn makes {100 * coil.one_turn_h / coil.inductance_h:.1f} %",
    )
    nested = 100 * (coil.nested_inductance_h / coil.inductance_h - 1)
    yield "", f"{nested:+.1f} % if each layer nests in the grooves of the one below"
    for name, value in coil.by_formula_h.items():
        yield "", f"{name}: {henry(value, 4)} ({100 * (value / coil.inductance_h - 1):+.2f} %)"


def _about_dcr(coil: CoilToWind, asked: float, ideal_m: float) -> str:
    words = f"{asked:g} ohm" + ("" if coil.asked_ohm is not None else " (5 % of 8 ohm, common practice)")
    ratio = coil.dcr_ohm / asked
    between = f"; wire of {ideal_m * 1e3:.2f} mm would meet it in the shape of least copper"
    between = "" if math.isnan(ideal_m) else between
    if not coil.dcr_met and ratio > 1:
        return (
            f"{words} is out of reach: of the usual wires up to 2.5 mm and coils up to 20 kg this one comes nearest; "
            f"it has {ratio:.3g} times that and {_mass(coil.mass_kg)} of copper. A coil with a core would do it"
        )
    if not coil.dcr_met or ratio < 1 - _NEAR:
        return f"{asked - coil.dcr_ohm:.2g} ohm below {words}: add that in series to keep to it{between}"
    if ratio > 1 + _NEAR:
        return f"the usual wire nearest to {words}, {coil.dcr_ohm - asked:.2g} ohm above it{between}"
    return f"meets {words} within {100 * _NEAR:.0f} %"


def _taken_out(coil: CoilTakenOut) -> Iterator[Block]:
    size = f"{_mm(coil.inner_diameter_m)} to {_mm(coil.outer_diameter_m)} in diameter, {_mm(coil.length_m)} long"
    yield Head(f"Air-core coil, copper {size}")
    counted = coil.turns_from is Basis.COUNTED
    about = f"{coil.turns:.4g}" if counted else f"about {coil.turns:.0f}"
    inductance = f"{henry(coil.inductance_h, 4)} (evenly filled section, exact, corrected for round wire)"
    yield fact("inductance", inductance)
    if coil.turns_high > coil.turns_low:
        span = f"{henry(coil.inductance_low_h)} to {henry(coil.inductance_high_h)}"
        yield fact("", f"{span}, as the turns are not known better")
        about += f" ({coil.turns_low:.0f} to {coil.turns_high:.0f})"
    yield fact("turns", f"{about}, counted" if counted else f"{about}, by {coil.turns_from}")
    by = "as stated" if coil.wire_from is Basis.STATED else f"by {coil.wire_from}"
    yield fact("wire", f"{coil.wire_diameter_m * 1e3:.3g} mm of copper, {by}")
    yield fact("", f"{coil.wire_length_m:.1f} m, {_mass(coil.mass_kg)} of copper, some {coil.layers} layers")
    measured = "" if coil.measured_dcr_ohm is None else f"; measured: {coil.measured_dcr_ohm:g} ohm"
    yield fact("DC resistance", f"{coil.dcr_ohm:.3g} ohm at 20 degC expected{measured}")


def _beside_told(result: Beside) -> Iterator[Block]:
    pose, second = result.pose, result.second_coil
    yield Head(f"Beside it: {format_quantity(result.second_h, Kind.INDUCTANCE)}")
    if second is not None:
        yield fact(
            "second coil",
            f"{second.turns} turns of {second.wire} wire, {1e3 * second.inner_diameter_m:.3g}/"
            f"{1e3 * second.outer_diameter_m:.3g} x {1e3 * second.length_m:.3g} mm, {second.dcr_ohm:.2g} ohm",
        )
    place = f"{_whole_mm(math.hypot(pose.x_m, pose.y_m))} mm along the board from centre to centre"
    place += f", raised {_whole_mm(pose.z_m)} mm" if pose.z_m else ""
    place += f", axis at {pose.tilt_deg:g} degrees to the first's" if pose.tilt_deg else ", axes parallel"
    yield fact("place", place)
    micro = "0" if abs(result.mutual_h) < 5e-12 else f"{1e6 * result.mutual_h:.3g}"
    yield fact("coupling", f"k = {_percent(result.k)} %, M = {micro} uH")
    yield fact("netlist card", f"{result.card}   (L1 the first coil, L2 the second)")
    yield fact(
        "sign",
        "as if both were wound counter-clockwise and began at the card's first node; where that is not known, try "
        "both signs",
    )
    yield fact("turned in place", _null(result))
    limit = _percent(result.limit)
    yield Head(f"Other places, and how far the centres must be apart for less than {limit} %")
    rows = []
    for apart in result.apart:
        near = ["-", "0"] if apart.touching_m is None else [_whole_mm(apart.touching_m), _percent(apart.touching_k)]
        far = ["any", "-"]
        if apart.distance_m is not None:
            far = [_whole_mm(v, math.ceil) for v in (apart.distance_m, apart.gap_m or 0.0)]
        rows.append([apart.arrangement.value, *near, *far])
    yield plain_table(["how they stand", "touch at mm", "k %", "apart mm", "gap mm"], rows)
    yield Text(
        "Air coils, no steel near: a screw, a magnet or a cored coil changes it. gap: beyond where they touch, "
        "copper to copper."
    )


def _null(result: Beside) -> str:
    null = result.null
    lean = "" if null.tilt_deg in (0.0, 90.0) else (" away from" if null.tilt_deg > 0 else " towards")
    words = f"k is zero with its axis at {abs(null.tilt_deg):.0f} degrees"
    words += f", leaning{lean} the first coil" if lean else " to the first's"
    within = "whatever the angle" if null.within_deg >= 90 else f"within {math.floor(null.within_deg)} degrees of that"
    words += f"; {within} it is below {_percent(result.limit)} %"
    return words if null.clear else words + " (here the coils would touch in turning: move it away first)"


def _mm(value_m: float) -> str:
    return f"{value_m * 1e3:.1f}".removesuffix(".0") + " mm"


def _whole_mm(metres: float, rounded: Callable[[float], int] = round) -> str:
    """What is below rounding does not count."""
    return f"{rounded(1e3 * metres - 1e-6 * (rounded is math.ceil)):d}"


def _mass(value_kg: float) -> str:
    return f"{value_kg:.2f} kg" if value_kg >= 1 else f"{value_kg * 1e3:.3g} g"


def _percent(k: float) -> str:
    """Two digits; what is below rounding is zero."""
    return "0" if abs(k) < 5e-7 else f"{100 * k:.2g}"
