"""Like-for-like replacements that keep the voicing: what to buy, what may stay, and what it does to the sound."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, question
from xover.studies.options import Frequencies, Network, Progress, Stock, catalogue, frequencies, quiet
from xover.units import DB, FOLDER, NETWORK, YES, one_of

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.change.refresh.result import RefreshStudy


@question(
    strict="held",
    plots={"RefreshStudy": "change.draw_refresh"},
    write="netlist",
    shows={"everything": (Ask("The parts of every step, and the netlist.", YES, "--all"), False)},
)
def refresh(
    speaker: "Speaker",
    *,
    found: Network = None,
    reference: Annotated[str, Ask("Network whose voicing is kept: the design.", NETWORK)] = "original",
    stock: Stock = None,
    replace: Annotated[
        Literal["needed", "worn", "all"],
        Ask(
            "What must go: needed (what has moved by what is heard), worn (all kinds that wear out), or all.",
            one_of("needed", "worn", "all"),
            "--renew",
        ),
    ] = "needed",
    capacitors: Annotated[
        Literal["film", "any"], Ask("film, or any: new electrolytics of the list too.", one_of("film", "any"))
    ] = "film",
    tolerance_db: Annotated[
        float | None,
        Ask(
            "Largest change of a drive by marked values, 200 Hz to 20 kHz; may take more parts.",
            DB,
            "--within",
            above=0,
            high=6,
        ),
    ] = None,
    mate: Annotated[str | Path | None, Ask("The pair's other speaker: both are built alike.", FOLDER)] = None,
    frequency_hz: Frequencies = None,
    progress: Progress = quiet,
) -> "RefreshStudy":
    """Like-for-like parts that keep the voicing, and their bill.

    Tells which old parts may stay, what to buy for one speaker and for the pair, and what it does to the sound; and
    what fewer parts, or more, would come to.

    The reference is the design with new parts as they were then, losses included. What is healthy stays. The pick is
    the fewest parts that, measured and picked, keep within 0.3 dB as built, or within 0.5 dB where no more can be had.

    Example: xover refresh examples/attic-two-way/left --stock examples/stock.csv --write refreshed

    >>> speaker.refresh(stock="examples/stock.csv").bill.lines
    """
    from xover.judge.safety import warned
    from xover.speaker import open_speaker
    from xover.studies.change.refresh.result import Policy
    from xover.studies.change.refresh.study import refresh as study

    answer = study(
        speaker,
        catalogue(stock, electrolytics=capacitors == "any"),
        frequencies(frequency_hz),
        found=found,
        reference=reference,
        policy=Policy(replace),
        tolerance_db=tolerance_db,
        mate=None if mate is None else open_speaker(mate),
        progress=progress,
    )
    return warned(answer, speaker, answer.found or answer.reference)
