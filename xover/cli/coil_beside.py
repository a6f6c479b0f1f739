"""What `xover coil 1.8mH --beside 0.33mH` shows: how two coils on one board couple.

For cli/coil.py, whose function takes the four options below, each None by default:

    result = beside_coil(design, beside, distance, angle, raised)    -> Beside, or None without --beside
    show_beside(result)                                              terminal
    {"beside": result}                                               JSON, by to_plain

`design` is the first coil's CoilDesign.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Final

import typer

from xover.cli.show import show_heading, show_item, show_table, show_text
from xover.errors import InputError, OptionError
from xover.quantity import Kind, format_quantity, parse_quantity

if TYPE_CHECKING:
    from xover.parts.coil_design import CoilDesign
    from xover.parts.placement import Beside

BesideOption = Annotated[
    str | None, typer.Option("--beside", metavar="L", help="How a second air coil on the same board couples: 0.33mH.")
]
DistanceOption = Annotated[
    str | None,
    typer.Option("--distance", metavar="LENGTH", help="To the second coil, centre to centre along the board: 80mm."),
]
AngleOption = Annotated[
    str | None, typer.Option("--angle", metavar="DEG", help="Lean of the second coil's axis: 90 is at right angles.")
]
RaisedOption = Annotated[
    str | None, typer.Option("--raised", metavar="LENGTH", help="Height of the second coil's centre over the first's.")
]
USUAL_DCR_OHM: Final = 0.4
"""The second coil is wound with the usual wire that comes nearest to this: 5 % of 8 ohm, common practice."""


def beside_coil(
    design: CoilDesign, beside: str | None, distance: str | None, angle: str | None, raised: str | None
) -> Beside | None:
    """Wind a second coil, put it beside the first and work out how they couple; None where none is asked for.

    Parameters
    ----------
    design : the first coil.
    beside : inductance of the second one, wound for least copper with some 0.4 ohm.
    distance : along the board, from centre to centre; None: as close as they go, in whole millimetres.
    angle : in degrees, how far its axis leans away from the first's; None: parallel.
    raised : how far its centre is raised along the first's axis; None: not at all.

    Raises
    ------
    OptionError : an option that cannot be read or has no such coil, a place for no coil, coils in each other.
    """
    if beside is None:
        for option, text in (("--distance", distance), ("--angle", angle), ("--raised", raised)):
            if text is not None:
                raise OptionError(f"{option} places a second coil, and there is none", "add --beside, as 0.33mH")
        return None
    from dataclasses import replace

    from xover.parts.coil_design import design_for_dcr
    from xover.parts.coupling import Pose, least_distance_m
    from xover.parts.placement import beside as study
    from xover.parts.wire import parse_length_m

    try:
        henry = parse_quantity(beside, Kind.INDUCTANCE)
    except InputError as error:
        raise OptionError(f"--beside: {error.problem}", error.remedy) from None
    tilt_deg = 0.0 if angle is None else _degrees(angle)
    raised_m = 0.0 if raised is None else parse_length_m(raised, "a height (--raised)")
    second = design_for_dcr(henry, USUAL_DCR_OHM)
    if distance is None:
        # Rounded up in millimetres, but not for a rounding error.
        least = least_distance_m(design.winding, second.winding, Pose(1.0, 0.0, 0.0, tilt_deg))
        distance_m = math.ceil(1e3 * least - 1e-6) * 1e-3
    else:
        distance_m = parse_length_m(distance, "a distance (--distance)")
    pose = Pose(distance_m, 0.0, raised_m, tilt_deg)
    result = study(design.winding, second.winding, pose, design.inductance_h, second.inductance_h)
    return replace(result, second_coil=second)


def show_beside(result: Beside) -> None:
    """Print it at 80 columns."""
    pose, second = result.pose, result.second_coil
    show_heading(f"Beside it: {format_quantity(result.second_h, Kind.INDUCTANCE)}")
    if second is not None:
        show_item(
            "second coil",
            f"{second.turns} turns of {second.wire} wire, {1e3 * second.inner_diameter_m:.3g}/"
            f"{1e3 * second.outer_diameter_m:.3g} x {1e3 * second.length_m:.3g} mm, {second.dcr_ohm:.2g} ohm",
        )
    place = f"{_mm(math.hypot(pose.x_m, pose.y_m))} mm along the board from centre to centre"
    place += f", raised {_mm(pose.z_m)} mm" if pose.z_m else ""
    place += f", axis at {pose.tilt_deg:g} degrees to the first's" if pose.tilt_deg else ", axes parallel"
    show_item("place", place)
    show_item("coupling", f"k = {_per_cent(result.k)} %, M = {_micro(result.mutual_h)} uH")
    show_item("netlist card", f"{result.card}   (L1 the first coil, L2 the second)")
    show_item(
        "sign",
        "as if both were wound counter-clockwise and began at the card's first node; where that is not known, try "
        "both signs",
    )
    _show_null(result)
    limit = _per_cent(result.limit)
    show_heading(f"Other places, and how far the centres must be apart for less than {limit} %")
    rows = []
    for apart in result.apart:
        near = ["-", "0"] if apart.touching_m is None else [_mm(apart.touching_m), _per_cent(apart.touching_k)]
        if apart.distance_m is None:
            rows.append([apart.arrangement.value, *near, "any", "-"])
        else:
            far = [_mm(v, math.ceil) for v in (apart.distance_m, apart.gap_m or 0.0)]
            rows.append([apart.arrangement.value, *near, *far])
    show_table(["how they stand", "touch at mm", "k %", "apart mm", "gap mm"], rows)
    show_text(
        "Air coils, no steel near: a screw, a magnet or a cored coil changes it. gap: beyond where they touch, "
        "copper to copper."
    )


def _show_null(result: Beside) -> None:
    null = result.null
    lean = "" if null.tilt_deg in (0.0, 90.0) else (" away from" if null.tilt_deg > 0 else " towards")
    words = f"k is zero with its axis at {abs(null.tilt_deg):.0f} degrees"
    words += f", leaning{lean} the first coil" if lean else " to the first's"
    within = "whatever the angle" if null.within_deg >= 90 else f"within {math.floor(null.within_deg)} degrees of that"
    words += f"; {within} it is below {_per_cent(result.limit)} %"
    if not null.clear:
        words += " (here the coils would touch in turning: move it away first)"
    show_item("turned in place", words)


def _degrees(text: str) -> float:
    low = text.strip().lower()
    for unit in ("degrees", "deg", "\N{DEGREE SIGN}"):
        low = low.removesuffix(unit)
    try:
        angle = parse_quantity(low, Kind.PLAIN)
    except InputError as error:
        raise OptionError(f"--angle: {error.problem}", "give degrees, such as 90") from None
    if not -180 <= angle <= 180:
        raise OptionError(f"--angle is {text}", "give degrees from -180 to 180")
    return angle


def _mm(metres: float, rounded: Callable[[float], int] = round) -> str:
    """Whole millimetres; what is below rounding does not count."""
    return f"{rounded(1e3 * metres - 1e-6 * (rounded is math.ceil)):d}"


def _per_cent(k: float) -> str:
    """Two digits; what is below rounding is zero."""
    return "0" if abs(k) < 5e-7 else f"{100 * k:.2g}"


def _micro(henry: float) -> str:
    return "0" if abs(henry) < 5e-12 else f"{1e6 * henry:.3g}"
