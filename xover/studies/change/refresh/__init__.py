"""Like-for-like replacements that keep the voicing: what to buy, what may stay, and what it does to the sound."""

from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, question
from xover.rules.audibility import REPEATS_DB
from xover.studies.options import Frequencies, Network, Progress, Stock, catalogue, frequencies, quiet
from xover.units import DB, NETWORK, one_of

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.change.refresh.result import RefreshStudy


@question(strict="held", plots={"RefreshStudy": "change.draw_refresh"}, write="netlist")
def refresh(
    speaker: "Speaker",
    *,
    found: Network = None,
    reference: Annotated[str, Ask("Network whose voicing is kept: the design.", NETWORK)] = "original",
    stock: Stock = None,
    replace: Annotated[
        Literal["worn", "all", "needed"],
        Ask(
            "What must go whatever it measures: worn (kinds that wear out), all, or needed (nothing).",
            one_of("worn", "all", "needed"),
            "--renew",
        ),
    ] = "worn",
    capacitors: Annotated[
        Literal["film", "any"], Ask("film, or any: new electrolytics of the list too.", one_of("film", "any"))
    ] = "film",
    tolerance_db: Annotated[
        float, Ask("Largest change of a driver's level, 200 Hz to 20 kHz.", DB, "--within", above=0, high=6)
    ] = REPEATS_DB,
    frequency_hz: Frequencies = None,
    progress: Progress = quiet,
) -> "RefreshStudy":
    """Like-for-like parts that keep the voicing, and their bill.

    Tells which old parts may stay, what to buy for one speaker and for the pair, and what it does to the sound.

    The reference is the design with new parts as they were then, losses included. A film capacitor loses less than
    the electrolytic that it replaces: what it lacks is made up by resistors, where that is heard.

    Example: xover refresh examples/attic-two-way/left --stock examples/stock.csv --write refreshed

    >>> speaker.refresh(stock="examples/stock.csv").bill.lines
    """
    from xover.studies.change.refresh.result import Policy
    from xover.studies.change.refresh.study import refresh as study

    return study(
        speaker,
        catalogue(stock, electrolytics=capacitors == "any"),
        frequencies(frequency_hz),
        found=found,
        reference=reference,
        policy=Policy(replace),
        tolerance_db=tolerance_db,
        progress=progress,
    )
