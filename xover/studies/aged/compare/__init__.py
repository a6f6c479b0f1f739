"""Where do two curves, networks or speakers differ, and is it audible?"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, Unit, question
from xover.rules.audibility import UNHEARD_DB
from xover.rules.bands import JUDGED_HZ
from xover.studies.options import EVERYTHING, Channel, Frequencies, frequencies
from xover.units import BAND, DB, FILE, TEXT, one_of, or_none

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.aged.compare.study import Comparison

_PLACE = Unit("A", str, exact=True)
_OTHER = Unit("B", str, exact=True)
Of = Literal["sum", "impedance"]
Match = Annotated[
    tuple[float, float] | None, Ask("Band over which levels are matched, or none.", or_none(BAND), "--match")
]
Heard = Annotated[
    Path | None, Ask("Levels read with a phone, a column for each of the two networks.", FILE, "--levels")
]
Threshold = Annotated[float, Ask("Differences beyond this are pointed out.", DB, above=0, high=20)]


@question(strict="within_threshold", plots={"Comparison": "aged.draw_comparison"}, shows=EVERYTHING)
def compare(
    first: Annotated[str, Ask("A table, a speaker folder, or FOLDER:NETWORK.", _PLACE, place=True)],
    second: Annotated[str, Ask("What A is held against.", _OTHER, place=True)],
    *,
    of: Annotated[
        Of | None,
        Ask(
            "sum or impedance of a network [default: as the tables, else sum].",
            one_of("sum", "impedance"),
            "--quantity",
        ),
    ] = None,
    match_hz: Match = JUDGED_HZ,
    threshold_db: Threshold = UNHEARD_DB,
    unit: Annotated[
        Literal["dB", "ohm"] | None,
        Ask("dB or ohm, for tables whose header does not say.", one_of("dB", "ohm", metavar="UNIT")),
    ] = None,
    channel: Channel = None,
    frequency_hz: Frequencies = None,
    levels: Heard = None,
) -> "Comparison":
    """Two curves, networks or speakers: the audible difference.

    The difference is A less B. Levels are matched first: their mean difference over a band, evenly weighted over the
    octaves, is taken off. An impedance is compared as it is, in per cent and degrees. Before and after a repair, left
    and right, measured and predicted: whatever holds the same quantity.

    With --levels, what a phone heard of two networks of one speaker stands beside what is predicted of them.

    Example: xover compare examples/attic-two-way/left:found examples/attic-two-way/left:original

    >>> xover.compare("examples/attic-two-way/left", "examples/attic-two-way/right").rms_db
    """
    from xover.studies.aged.compare.study import What, open_operand
    from xover.studies.aged.compare.study import compare as study

    return study(
        open_operand(str(first), unit, channel),
        open_operand(str(second), unit, channel),
        frequencies(frequency_hz),
        what=None if of is None else What(of),
        match_band_hz=match_hz,
        threshold_db=threshold_db,
        levels=levels,
    )


@question(name="compare")
def compare_networks(
    speaker: "Speaker",
    first: Annotated[str, Ask("Name of a network.", TEXT)],
    second: Annotated[str, Ask("Name of the network that it is held against.", TEXT)],
    *,
    of: Annotated[Of, Ask("What of them is compared.", one_of("sum", "impedance"))] = "sum",
    channel: Channel = None,
    match_hz: Match = JUDGED_HZ,
    threshold_db: Threshold = UNHEARD_DB,
    frequency_hz: Frequencies = None,
    levels: Heard = None,
) -> "Comparison":
    """Two networks of this speaker: where do they differ, and is it audible? `xover.compare` takes tables too.

    >>> speaker.compare("found", "original").rms_db
    """
    from xover.studies.aged.compare.study import Predicted, What
    from xover.studies.aged.compare.study import compare as study

    for name in (first, second):
        speaker.network(name)
    return study(
        Predicted(speaker, first, channel),
        Predicted(speaker, second, channel),
        frequencies(frequency_hz),
        what=What(of),
        match_band_hz=match_hz,
        threshold_db=threshold_db,
        levels=levels,
    )
