"""A coil in words: the recipe, other wires, a second coil beside it; or what one that was taken out is."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Final

from xover.blocks import Block, Facts, Head, Text, fact, plain_table
from xover.parts.coil_identify import Basis
from xover.parts.coil_search import henry
from xover.parts.placement import Beside
from xover.quantity import QuantityKind, format_quantity
from xover.studies.desk.coil.study import CoilTakenOut, CoilToWind

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
        yield from _beside(coil.beside)


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


def _beside(result: Beside) -> Iterator[Block]:
    pose, second = result.pose, result.second_coil
    yield Head(f"Beside it: {format_quantity(result.second_h, QuantityKind.INDUCTANCE)}")
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
