"""Which values that exist come near to the one that is wanted: alone, or two together."""

from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, Unit, question
from xover.studies.options import Stock
from xover.units import COUNT, SHARE, VOLT, WATT, YES, one_of

if TYPE_CHECKING:
    from xover.studies.desk.values.study import ValuesStudy


@question(strict="kept")
def values(
    target: Annotated[
        str, Ask("Value with its unit: 4.73uF, 1.8mH, 6.8ohm, 4R7.", Unit("TARGET", str, exact=True), place=True)
    ],
    *,
    series: Annotated[
        str | None, Ask("E3 to E192 [default: E12].", Unit("NAME", str, offers="series", exact=True))
    ] = None,
    kind: Annotated[
        Literal["capacitor", "resistor", "inductor", "coil"] | None,
        Ask(
            "capacitor, resistor or inductor, where the unit does not tell.",
            one_of("capacitor", "resistor", "inductor", "coil", metavar="KIND"),
        ),
    ] = None,
    pairs: Annotated[bool, Ask("Two parts together as well.", YES)] = False,
    tolerance: Annotated[
        float | None, Ask("Of the parts, such as 5%, where the list does not tell.", SHARE, low=0, high=0.99)
    ] = None,
    stock: Stock = None,
    needed: Annotated[int, Ask("Pieces of each: 2 for a pair of speakers.", COUNT, low=1, high=10_000)] = 1,
    least_v: Annotated[float | None, Ask("Lowest voltage rating, with a list.", VOLT, "--volts", above=0)] = None,
    least_w: Annotated[float | None, Ask("Lowest power rating, with a list.", WATT, "--watts", above=0)] = None,
    dielectric: Annotated[
        Literal["film", "electrolytic"] | None,
        Ask("film or electrolytic, with a list.", one_of("film", "electrolytic", metavar="KIND")),
    ] = None,
    core: Annotated[
        Literal["air", "iron", "ferrite"] | None,
        Ask("air, iron or ferrite, with a list.", one_of("air", "iron", "ferrite", metavar="KIND")),
    ] = None,
    most: Annotated[int, Ask("Pairs to show, 1 to 50.", COUNT, low=1, high=50)] = 5,
    max_error: Annotated[float | None, Ask("How far off it may be, such as 1%.", SHARE, low=0, high=0.99)] = None,
) -> "ValuesStudy":
    """The nearest values that exist, alone or two together.

    Example: xover values 4.73uF --series E12 --pairs --tolerance 5%

    >>> xover.values("4.73uF").nearest.value
    """
    from xover.parts.stock import Wanted, open_stock
    from xover.studies.desk.values.study import Limits, check_wanted, parse_target, study_stock, study_values

    value, part = parse_target(target, kind)
    wanted = Wanted(part, dielectric, core, least_v, least_w, needed)
    check_wanted(wanted, series, stock is not None)
    limits = Limits(tolerance, most, max_error, pairs)
    if stock is None:
        return study_values(value, wanted, series or "E12", limits)
    return study_stock(value, wanted, open_stock(stock), limits)
