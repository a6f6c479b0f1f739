"""xover coil: a coil to wind, or one that was taken out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from xover.cli.coil_beside import (
    AngleOption,
    BesideOption,
    DistanceOption,
    RaisedOption,
    beside_coil,
    show_beside,
)
from xover.cli.options import Json, resistance
from xover.cli.show import show_heading, show_item, show_json, show_table, show_warnings
from xover.errors import InputError, OptionError
from xover.quantity import Kind, parse_quantity

if TYPE_CHECKING:
    from xover.parts.coil_design import CoilDesign, WireChoice
    from xover.parts.coil_identify import IdentifiedCoil
    from xover.parts.wire import Wire

_TABLE_MM = (0.5, 0.63, 0.8, 1.0, 1.25, 1.4, 1.6, 2.0, 2.5)
_NEAR = 0.03
_OFF = 0.01
_ASSUMED = (
    "turns are taken as stacked square and the enamel as grade 2 (approximate, from memory): wind a turn or two more, "
    "measure, and take turns off"
)
_RESONANCE = (
    "a winding resonates with its own capacitance far above audio (common practice, no published source): "
    "not computed here"
)


def coil(
    target: Annotated[str | None, typer.Argument(metavar="TARGET", help="Inductance with its unit: 1.8mH.")] = None,
    wire: Annotated[
        str | None, typer.Option("--wire", metavar="SIZE", help="Bare copper's diameter or gauge: 1.0mm, AWG18.")
    ] = None,
    dcr: Annotated[
        str | None, typer.Option("--dcr", metavar="OHM", help="DC resistance at 20 degC: wanted, or measured.")
    ] = None,
    inner: Annotated[
        str | None, typer.Option("--inner", metavar="LENGTH", help="Inner diameter, the former's: 25mm.")
    ] = None,
    length: Annotated[
        str | None, typer.Option("--length", metavar="LENGTH", help="Between the former's cheeks: 20mm.")
    ] = None,
    outer: Annotated[
        str | None, typer.Option("--outer", metavar="LENGTH", help="Outer diameter of a coil that is there, no TARGET.")
    ] = None,
    turns: Annotated[
        str | None, typer.Option("--turns", metavar="N", help="Turns of a coil that is there, no TARGET.")
    ] = None,
    beside: BesideOption = None,
    distance: DistanceOption = None,
    angle: AngleOption = None,
    raised: RaisedOption = None,
    as_json: Json = False,
) -> None:
    """A coil to wind, or one taken apart: wire, size, weight.

    With neither wire nor resistance given, the wire is chosen for 0.4 ohm, 5 % of 8 ohm. A coil that was taken out
    is told from --inner, --outer and --length of its copper, with --turns, --wire, or --wire and the measured --dcr.

    Example: xover coil 1.8mH --wire 1.0mm
    """
    from xover.parts.coil_choice import choose_coil
    from xover.parts.wire import parse_length_m, parse_wire

    chosen = None if wire is None else parse_wire(wire)
    ohm = None if dcr is None else resistance(dcr, "--dcr")
    inner_m, length_m, outer_m = (
        None if text is None else parse_length_m(text, "a length") for text in (inner, length, outer)
    )
    if target is None:
        if beside is not None:
            raise OptionError("--beside places a second coil beside one to wind", "give TARGET, such as 1.8mH")
        _there(inner_m, outer_m, length_m, turns, chosen, ohm, as_json)
        return
    if outer is not None or turns is not None:
        raise OptionError("--outer and --turns describe a coil that is there", "leave them out, or leave TARGET out")
    if chosen is not None and ohm is not None:
        raise OptionError("--wire and --dcr both choose the wire", "leave one of them out")
    inductance_h = _inductance(target)
    design, choice = choose_coil(inductance_h, chosen, ohm, inner_m, length_m)
    second = beside_coil(design, beside, distance, angle, raised)
    others = _others(inductance_h, design, inner_m, length_m)
    result = _result(design, choice, others)
    if as_json:
        show_json({**result, "beside": second} if second is not None else result)
        return
    _show_design(design, result, stated=ohm is not None)
    _show_others(others, design)
    if second is not None:
        show_beside(second)
    show_warnings(result["notes"])


def _inductance(text: str) -> float:
    try:
        return parse_quantity(text, Kind.INDUCTANCE)
    except InputError as error:
        raise OptionError(error.problem, error.remedy) from None


def _result(design: CoilDesign, choice: WireChoice | None, others: list[CoilDesign]) -> dict[str, Any]:
    from xover.parts.coil_design import NEAR_DCR, nested_h
    from xover.parts.inductance import by_formula_h
    from xover.parts.wire import ac_resistance_ratio

    asked = None if choice is None else choice.dcr_ohm
    return {
        **vars(design),
        "nested_inductance_h": nested_h(design),
        "by_formula_h": by_formula_h(design.winding),
        "skin_effect_ratio_20khz": float(ac_resistance_ratio(design.wire_diameter_m, 20e3)),
        "asked_dcr_ohm": asked,
        "dcr_met": None if asked is None else abs(design.dcr_ohm / asked - 1) <= NEAR_DCR,
        "ideal_wire_diameter_m": None if choice is None else choice.ideal_diameter_m,
        "wires": [_row(d) for d in others],
        "notes": _notes(design),
    }


def _others(inductance_h: float, design: CoilDesign, inner_m: float | None, length_m: float | None) -> list[CoilDesign]:
    """The same coil of other usual wires, by diameter, where they make one."""
    from xover.parts.coil_design import design_coil
    from xover.parts.wire import metric_wire

    found = [design]
    for mm in _TABLE_MM:
        wire = metric_wire(mm)
        if abs(wire.diameter_m / design.wire_diameter_m - 1) < 0.01:
            continue
        try:
            found.append(design_coil(inductance_h, wire, inner_m, length_m))
        except OptionError:
            continue  # too heavy, or too thick for the former: not a wire for this coil
    return sorted(found, key=lambda d: d.wire_diameter_m)


def _row(design: CoilDesign) -> dict[str, Any]:
    names = ("wire", "wire_diameter_m", "turns", "dcr_ohm", "mass_kg", "outer_diameter_m", "length_m", "wire_length_m")
    return {name: getattr(design, name) for name in names}


def _notes(design: CoilDesign) -> list[str]:
    notes = []
    if abs(design.error) > _OFF:
        notes.append(
            f"whole turns come no nearer than {100 * design.error:+.1f} %: leave the former's diameter or length open"
        )
    return [*notes, _ASSUMED, _RESONANCE]


def _show_design(design: CoilDesign, result: dict[str, Any], stated: bool) -> None:
    show_heading(f"{_henry(design.target_inductance_h)} air-core coil of {design.wire} copper wire")
    full, rest = design.layers, ""
    if design.last_layer_turns != design.turns_per_layer:
        full, rest = design.layers - 1, f", and {design.last_layer_turns} in the last layer"
    layers = "1 layer" if full == 1 else f"{full} layers"
    show_item("turns", f"{design.turns}: {layers} of {design.turns_per_layer}{rest}")
    show_item("former", f"{_mm(design.inner_diameter_m)} in diameter, {_mm(design.length_m)} between its cheeks")
    show_item("outside", f"{_mm(design.outer_diameter_m)} in diameter")
    show_item(
        "wire",
        f"{design.wire_length_m:.1f} m and the leads; {design.pitch_m * 1e3:.2f} mm over its enamel; "
        f"{_mass(design.mass_kg)} of copper",
    )
    show_item("DC resistance", f"{design.dcr_ohm:.3g} ohm at 20 degC, {design.dcr_80c_ohm:.3g} ohm at 80 degC")
    asked = result["asked_dcr_ohm"]
    if asked is not None:
        show_item("", _about_dcr(design, result, asked, stated))
    skin = result["skin_effect_ratio_20khz"]
    more = f"{100 * (skin - 1):.1f} %" if skin > 1.001 else "below 0.1 %"
    show_item(
        "at 20 kHz",
        f"{more} more by skin effect in the wire alone; inside a coil the other turns add to that "
        "(proximity), and how much is not computed",
    )
    show_item(
        "inductance",
        f"{_henry(design.inductance_h, 4)} ({100 * design.error:+.2f} %), every turn a loop in its place; "
        f"the last turn makes {100 * design.one_turn_h / design.inductance_h:.1f} %",
    )
    show_item(
        "",
        f"{100 * (result['nested_inductance_h'] / design.inductance_h - 1):+.1f} % if each layer nests in the grooves "
        "of the one below",
    )
    for name, value in result["by_formula_h"].items():
        show_item("", f"{name}: {_henry(value, 4)} ({100 * (value / design.inductance_h - 1):+.2f} %)")


def _about_dcr(design: CoilDesign, result: dict[str, Any], asked: float, stated: bool) -> str:
    words = f"{asked:g} ohm" if stated else f"{asked:g} ohm (5 % of 8 ohm, common practice)"
    ratio = design.dcr_ohm / asked
    ideal = result["ideal_wire_diameter_m"]
    between = "" if ideal != ideal else f"; wire of {ideal * 1e3:.2f} mm would meet it in the shape of least copper"
    if not result["dcr_met"] and ratio > 1:
        return (
            f"{words} is out of reach: of the usual wires up to 2.5 mm and coils up to 20 kg this one comes nearest; "
            f"it has {ratio:.3g} times that and {_mass(design.mass_kg)} of copper. A coil with a core would do it"
        )
    if not result["dcr_met"] or ratio < 1 - _NEAR:
        return f"{asked - design.dcr_ohm:.2g} ohm below {words}: add that in series to keep to it{between}"
    if ratio > 1 + _NEAR:
        return f"the usual wire nearest to {words}, {design.dcr_ohm - asked:.2g} ohm above it{between}"
    return f"meets {words} within {100 * _NEAR:.0f} %"


def _show_others(designs: list[CoilDesign], chosen: CoilDesign) -> None:
    show_heading("Other wires")
    rows = [
        (
            f"{'>' if d is chosen else ''} {d.wire}",
            f"{d.dcr_ohm:.3g}",
            f"{100 * d.dcr_ohm / 8:.1f}",
            _mass(d.mass_kg),
            str(d.turns),
            f"{d.outer_diameter_m * 1e3:.0f} x {d.length_m * 1e3:.0f}",
            f"{d.wire_length_m:.1f}",
        )
        for d in designs
    ]
    show_table(["wire", "DCR ohm", "% of 8 ohm", "copper", "turns", "size mm", "wire m"], rows)


def _there(
    inner_m: float | None,
    outer_m: float | None,
    length_m: float | None,
    turns: str | None,
    wire: Wire | None,
    dcr_ohm: float | None,
    as_json: bool,
) -> None:
    from xover.parts.coil_identify import identify_coil

    if inner_m is None or outer_m is None or length_m is None:
        raise OptionError(
            "there is neither an inductance nor a coil's size",
            "give TARGET such as 1.8mH, or --inner, --outer and --length with --turns or --wire",
        )
    found = identify_coil(inner_m, outer_m, length_m, None if turns is None else _turns(turns), wire, dcr_ohm)
    if as_json:
        show_json(found)
        return
    _show_there(found)
    show_warnings([*found.notes, "air core: an iron or ferrite core makes it larger, and this does not see one"])


def _turns(text: str) -> float:
    try:
        return parse_quantity(text, Kind.PLAIN)
    except InputError:
        raise OptionError(f"--turns: '{text[:40]}' is not a number", "give turns such as 180") from None


def _show_there(found: IdentifiedCoil) -> None:
    show_heading(
        f"Air-core coil, copper {_mm(found.inner_diameter_m)} to {_mm(found.outer_diameter_m)} in diameter, "
        f"{_mm(found.length_m)} long"
    )
    about = f"{found.turns:.4g}" if found.turns_from == "counted" else f"about {found.turns:.0f}"
    show_item("inductance", f"{_henry(found.inductance_h, 4)} (evenly filled section, exact, corrected for round wire)")
    if found.turns_high > found.turns_low:
        show_item(
            "",
            f"{_henry(found.inductance_low_h)} to {_henry(found.inductance_high_h)}, as the turns are not known better",
        )
        about += f" ({found.turns_low:.0f} to {found.turns_high:.0f})"
    show_item("turns", f"{about}, by {found.turns_from}" if found.turns_from != "counted" else f"{about}, counted")
    show_item("wire", f"{found.wire_diameter_m * 1e3:.3g} mm of copper, {_from(found.wire_from)}")
    show_item("", f"{found.wire_length_m:.1f} m, {_mass(found.mass_kg)} of copper, some {found.layers} layers")
    measured = "" if found.measured_dcr_ohm is None else f"; measured: {found.measured_dcr_ohm:g} ohm"
    show_item("DC resistance", f"{found.dcr_ohm:.3g} ohm at 20 degC expected{measured}")


def _from(words: str) -> str:
    return "as stated" if words == "stated" else f"by {words}"


def _mm(value_m: float) -> str:
    return f"{value_m * 1e3:.1f}".removesuffix(".0") + " mm"


def _mass(value_kg: float) -> str:
    return f"{value_kg:.2f} kg" if value_kg >= 1 else f"{value_kg * 1e3:.3g} g"


def _henry(inductance_h: float, digits: int = 3) -> str:
    from xover.parts.coil_search import henry

    return henry(inductance_h, digits)
