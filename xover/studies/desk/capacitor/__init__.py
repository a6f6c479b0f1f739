"""What a capacitor loses, what a meter's reading of it means, and which voltage it must stand."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Final, Literal

from xover.declare import Ask, question
from xover.units import FARAD, HZ, NUMBER, OHM, SHARE, WATT, at, one_of

if TYPE_CHECKING:
    from xover.studies.desk.capacitor.study import CapacitorStudy

Readings = Mapping[float, float] | Sequence[tuple[float, float]] | None
"""By frequency in Hz; or pairs of reading and frequency."""
METER_HZ: Final = 1000.0
THROUGH_OHM: Final = 10_000.0


@question()
def capacitor(
    value: Annotated[
        str | float, Ask("Marked, or measured at 1 kHz: 4.7uF.", replace(FARAD, metavar="VALUE"), place=True)
    ],
    *,
    esr_ohm: Annotated[Readings, Ask("Series resistance reading; may be repeated.", at(OHM, HZ), many=True)] = None,
    df: Annotated[
        Readings, Ask("Dissipation factor reading, 0.05 or 5%; likewise.", at(SHARE, HZ, "X@HZ"), many=True)
    ] = None,
    q: Annotated[Readings, Ask("Quality factor reading; likewise.", at(NUMBER, HZ, "Q@HZ"), many=True)] = None,
    kind: Annotated[
        Literal["electrolytic", "paper", "oil", "polyester", "film"] | None,
        Ask(
            "electrolytic, paper, oil, polyester or film.",
            one_of("electrolytic", "paper", "oil", "polyester", "film", metavar="KIND"),
        ),
    ] = None,
    meter: Annotated[
        Literal["lcr", "lcr-parallel", "constant-current", "rc"] | None,
        Ask(
            "lcr, lcr-parallel, constant-current (multimeter) or rc.",
            one_of("lcr", "lcr-parallel", "constant-current", "rc", metavar="KIND"),
        ),
    ] = None,
    reading_f: Annotated[str | float | None, Ask("What that meter shows; without: what it should show.", FARAD)] = None,
    meter_hz: Annotated[float, Ask("Frequency of an LCR meter.", HZ, "--meter-hz")] = METER_HZ,
    through_ohm: Annotated[float, Ask("Resistor of an RC timing to 63 %.", OHM, above=0)] = THROUGH_OHM,
    amplifier: Annotated[
        tuple[float, float] | None,
        Ask("Its rating, such as 60W@8: voltage to ask for.", at(WATT, OHM, "W@OHM")),
    ] = None,
    bypass_f: Annotated[str | float | None, Ask("Small film capacitor across it, such as 0.1uF.", FARAD)] = None,
) -> "CapacitorStudy":
    """Loss over frequency, what a meter means, which voltage.

    Example: xover capacitor 4.77uF --esr 1.7@1kHz --esr 0.28@10kHz --meter constant-current --reading 5.41uF

    >>> xover.capacitor("4.77uF", esr_ohm={1000: 1.7, 10_000: 0.28}).esr_ohm([100, 20_000])
    """
    from xover.errors import OptionError, named
    from xover.parts.capacitor_loss import ReadingKind
    from xover.studies.desk.capacitor.study import farad, meter_of, readings_of, study_capacitor

    if reading_f is not None and meter is None:
        raise OptionError(f"{named('reading_f')} needs the meter that showed it", f"give {named('meter')}, such as lcr")
    if meter_hz != METER_HZ and meter not in ("lcr", "lcr-parallel"):
        raise OptionError(f"{named('meter_hz')} is of an LCR meter", f"give {named('meter')} lcr, or leave it out")
    if through_ohm != THROUGH_OHM and meter != "rc":
        raise OptionError(f"{named('through_ohm')} is of an RC timing", f"give {named('meter')} rc, or leave it out")
    readings = (
        *readings_of("esr_ohm", ReadingKind.ESR, esr_ohm),
        *readings_of("df", ReadingKind.DISSIPATION_FACTOR, df),
        *readings_of("q", ReadingKind.QUALITY, q),
    )
    return study_capacitor(
        farad("value", value),
        readings,
        kind=kind,
        meter=None if meter is None else meter_of(meter, meter_hz, through_ohm),
        reading_f=None if reading_f is None else farad("reading_f", reading_f),
        amplifier=amplifier,
        bypass_f=None if bypass_f is None else farad("bypass_f", bypass_f),
    )
