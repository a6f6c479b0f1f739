"""What do the levels that a phone shows say of a speaker, and what do they not?"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, Unit, question
from xover.studies.options import EVERYTHING, Network
from xover.units import FILE

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.aged.phone.result import PhoneStudy


@question(shows=EVERYTHING, strict="sound")
def phone(
    speaker: "Speaker",
    levels: Annotated[
        str | Path, Ask("Levels of third octaves, typed as a CSV file.", Unit("LEVELS", Path), place=True)
    ],
    *,
    network: Network = None,
    right: Annotated[str | Path | None, Ask("A table of the other speaker of the pair.", FILE)] = None,
) -> "PhoneStudy":
    """What do levels read from a phone say, and how surely?

    Play pink noise ('xover sweep --signal noise') and type the third octaves shown. Columns are networks and drivers of
    the folder, and silence, again (the phone put back), quieter (10 dB down), reversed (one driver's wires swapped),
    right (the other speaker), known (an even speaker at the same spot). Phone and volume stay as they are from column
    to column. It tells what changed, whether that is what was predicted, whether a driver is turned round, and how loud
    drivers are against each other. It never corrects a treble. --strict ends with status 1 where something is off.

        # seconds 10; step 0.1; place 0.5 m, tweeter axis; noise periodic
        band Hz, silence, found, again, quieter, reversed, original
        1000,    31.2,    62.4,  62.3,  ...

    Example: xover phone examples/attic-two-way/left examples/attic-two-way/left/phone-levels.csv

    >>> speaker.phone("examples/attic-two-way/left/phone-levels.csv").headline
    """
    from xover.studies.aged.phone.study import study_phone

    return study_phone(speaker, levels, network, right)
