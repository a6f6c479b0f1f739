"""A coil to wind, or one that was taken out; and how a second one beside it couples."""

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, Unit, question
from xover.units import DEGREES, HENRY, LENGTH, NUMBER, OHM

if TYPE_CHECKING:
    from xover.studies.desk.coil.study import CoilTakenOut, CoilToWind


@question(told_in="study")
def coil(
    target: Annotated[
        str | float | None,
        Ask("Inductance with its unit: 1.8mH.", replace(HENRY, metavar="TARGET"), place=True),
    ] = None,
    *,
    wire: Annotated[
        str | None, Ask("Bare copper's diameter or gauge: 1.0mm, AWG18.", Unit("SIZE", str, exact=True))
    ] = None,
    dcr_ohm: Annotated[float | None, Ask("DC resistance at 20 degC: wanted, or measured.", OHM, above=0)] = None,
    inner_m: Annotated[float | None, Ask("Inner diameter, the former's: 25mm.", LENGTH)] = None,
    length_m: Annotated[float | None, Ask("Between the former's cheeks: 20mm.", LENGTH)] = None,
    outer_m: Annotated[float | None, Ask("Outer diameter of a coil that is there, no TARGET.", LENGTH)] = None,
    turns: Annotated[float | None, Ask("Turns of a coil that is there, no TARGET.", NUMBER)] = None,
    beside_h: Annotated[
        float | None, Ask("How a second air coil on the same board couples: 0.33mH.", HENRY, "--beside")
    ] = None,
    distance_m: Annotated[
        float | None, Ask("To the second coil, centre to centre along the board: 80mm.", LENGTH)
    ] = None,
    angle_deg: Annotated[
        float | None, Ask("Lean of the second coil's axis: 90 is at right angles.", DEGREES, low=-180, high=180)
    ] = None,
    raised_m: Annotated[float | None, Ask("Height of the second coil's centre over the first's.", LENGTH)] = None,
) -> "CoilToWind | CoilTakenOut":
    """A coil to wind, or one taken apart: wire, size, weight.

    With neither wire nor resistance given, the wire is chosen for 0.4 ohm, 5 % of 8 ohm. A coil that was taken out
    is told from inner and outer diameter and length of its copper, with its turns, its wire, or wire and measured
    resistance.

    Example: xover coil 1.8mH --wire 1.0mm

    >>> xover.coil("1.8mH", wire="1.0mm").turns
    """
    from xover.studies.desk.coil.study import SecondPlace, coil_taken_out, coil_to_wind

    place = SecondPlace(beside_h, distance_m, angle_deg, raised_m)
    if target is None:
        return coil_taken_out(inner_m, outer_m, length_m, turns, wire, dcr_ohm, place)
    henry = HENRY.read(target) if isinstance(target, str) else target
    return coil_to_wind(henry, wire, dcr_ohm, inner_m, length_m, outer_m, turns, place)
