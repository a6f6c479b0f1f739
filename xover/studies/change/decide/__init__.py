"""Leave, refresh, redesign or bypass, side by side from the same data."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

from xover.declare import Ask, question
from xover.studies.options import MostCost, Network, Progress, Seed, Stock, catalogue, frequencies, quiet
from xover.units import NETWORK, listed, one_of

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.change.decide.study import Decision

OPTIONS = ("leave", "refresh", "redesign", "bypass")


@question(strict="clean", plots={"Decision": "change.draw_decide"})
def decide(
    speaker: "Speaker",
    *,
    found: Network = None,
    original: Annotated[str | None, Ask("Network of the design [default: original].", NETWORK, "--reference")] = None,
    stock: Stock = None,
    skip: Annotated[
        Sequence[str],
        Ask("Leave out redesign, or another; may be repeated.", listed(one_of(*OPTIONS), "OPTION"), many=True),
    ] = (),
    most_cost: MostCost = None,
    seed: Seed = 1,
    progress: Progress = quiet,
    frequency_hz: Any = None,
) -> "Decision":
    """Leave, refresh, redesign or bypass, side by side.

    Every criterion is shown with its figure and its limit; the rule that recommends is told, and what would change it.
    With --strict the exit status is 1 if the recommended option has a criterion that is marginal or fails.

    Example: xover decide examples/attic-two-way/left --stock examples/stock.csv

    >>> speaker.decide(stock="examples/stock.csv").answer
    """
    from xover.studies.change.decide.study import study_decide

    return study_decide(
        speaker,
        catalogue(stock),
        found=found,
        original=original,
        seed=seed,
        options=tuple(name for name in OPTIONS if name not in skip),
        most_cost=most_cost,
        frequency_hz=frequencies(frequency_hz),
        progress=progress,
    )
