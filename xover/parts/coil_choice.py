"""Which wire a coil is wound of: as stated, or the usual one that comes nearest to a resistance."""

from __future__ import annotations

from typing import Final

from xover.errors import OptionError
from xover.parts.coil_design import CoilDesign, WireChoice, design_coil, wire_for_dcr
from xover.parts.wire import Wire, usual_wires

USUAL_DCR_OHM: Final = 0.4
"""5 % of 8 ohm: common practice, no published source."""


def choose_coil(
    inductance_h: float,
    wire: Wire | None = None,
    dcr_ohm: float | None = None,
    inner_m: float | None = None,
    length_m: float | None = None,
) -> tuple[CoilDesign, WireChoice | None]:
    """A coil to wind.

    Parameters
    ----------
    wire : to wind it of. dcr_ohm : wanted instead; with neither, `USUAL_DCR_OHM`.
    inner_m, length_m : diameter of the former and width between its cheeks, where they are given.

    Returns
    -------
    The coil, and how its wire was chosen; None where it was stated.

    Raises
    ------
    OptionError : as `design_coil` and `wire_for_dcr`, or both `wire` and `dcr_ohm` are given.
    """
    if wire is not None:
        if dcr_ohm is not None:
            raise OptionError("both a wire and a resistance are given", "leave one of them out")
        return design_coil(inductance_h, wire, inner_m, length_m), None
    choice = wire_for_dcr(inductance_h, USUAL_DCR_OHM if dcr_ohm is None else dcr_ohm)
    return _nearest(choice, inner_m, length_m), choice


def _nearest(choice: WireChoice, inner_m: float | None, length_m: float | None) -> CoilDesign:
    """By the shape of least copper; on a former that is given, by trying the usual wires from there on."""
    if inner_m is None and length_m is None:
        return design_coil(choice.inductance_h, choice.nearest)
    # Any other shape has more resistance, so the wire can only be thicker.
    found: list[CoilDesign] = []
    fault: OptionError | None = None
    for wire in usual_wires():
        if wire.diameter_m < choice.nearest.diameter_m:
            continue
        try:
            found.append(design_coil(choice.inductance_h, wire, inner_m, length_m))
        except OptionError as error:
            fault = fault or error
            break
        if found[-1].dcr_ohm < choice.dcr_ohm:
            break
    if not found:
        assert fault is not None
        raise fault
    return min(found, key=lambda d: max(d.dcr_ohm / choice.dcr_ohm, choice.dcr_ohm / d.dcr_ohm))
