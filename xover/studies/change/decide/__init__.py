"""What to do: which step, cheapest and easiest to undo first, is enough."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

from xover.declare import Ask, question
from xover.rules.triage import STEPS
from xover.studies.options import MostCost, Network, Progress, Seed, Stock, catalogue, frequencies, quiet
from xover.units import FOLDER, NETWORK, YES, listed, one_of

if TYPE_CHECKING:
    from pathlib import Path

    from xover.speaker import Speaker
    from xover.studies.change.decide.study import Decision

OPTIONS = tuple(str(step) for step in STEPS)


@question(
    strict="clean",
    plots={"Decision": "change.draw_decide"},
    write="netlist",
    withheld=("this step builds nothing", "take another step"),
    shows={
        "why": (Ask("Show all steps with their figures, and what would change the answer.", YES), False),
        "every": (Ask("Show every limit and where it comes from, too.", YES, "--all"), False),
    },
)
def decide(
    speaker: "Speaker",
    *,
    found: Network = None,
    original: Annotated[str | None, Ask("Network of the design [default: original].", NETWORK, "--reference")] = None,
    stock: Stock = None,
    mate: Annotated["Path | None", Ask("The other speaker of the pair, for an odd driver.", FOLDER)] = None,
    skip: Annotated[
        Sequence[str],
        Ask("Leave out redesign, or another step; may be repeated.", listed(one_of(*OPTIONS), "STEP"), many=True),
    ] = (),
    take: Annotated[
        str | None, Ask("Step that --write builds [default: the one recommended].", one_of("mend", *OPTIONS))
    ] = None,
    most_cost: MostCost = None,
    seed: Seed = 1,
    progress: Progress = quiet,
    frequency_hz: Any = None,
) -> "Decision":
    """What to do with it: the cheapest step that is enough.

    Goes from what costs nothing and can be taken back to what does not: mend what is broken, leave it, swap two wires,
    a pad, worn parts, an odd driver, bypass, other values, another circuit, another amplifier. [means] in speaker.toml
    says what a pair's parts may cost, how many amplifier channels there are, and whether the old voicing (the sound
    that it had when new) or the most even sound is wanted. With --strict the exit status is 1 if something is broken,
    or the recommended step has a figure that is marginal or fails.

    Example: xover decide examples/attic-two-way/left --stock examples/stock.csv

    >>> speaker.decide(stock="examples/stock.csv").recommendation
    """
    from xover.studies.change.decide.study import study_decide

    return study_decide(
        speaker,
        catalogue(stock),
        found=found,
        original=original,
        mate=mate,
        seed=seed,
        options=tuple(name for name in OPTIONS if name not in skip),
        take=take,
        most_cost=most_cost,
        frequency_hz=frequencies(frequency_hz),
        progress=progress,
    )
