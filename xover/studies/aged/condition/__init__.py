"""How far has age moved it: the network found today against the original, part by part and in dB."""

from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, question
from xover.studies.options import EVERYTHING, Frequencies, frequencies
from xover.units import DB, NETWORK, YES

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.aged.condition.study import ConditionStudy


@question(strict="within_limit", plots={"ConditionStudy": "aged.draw_condition"}, shows=EVERYTHING)
def condition(
    speaker: "Speaker",
    *,
    found: Annotated[str | None, Ask("Network as measured today [default: found].", NETWORK)] = None,
    original: Annotated[str | None, Ask("Network as marked [default: original].", NETWORK)] = None,
    assume: Annotated[
        bool, Ask("Ignore what was measured: show what drift usual for each part could do.", YES)
    ] = False,
    limit_db: Annotated[float, Ask("With --strict: how far a drive or the sum may change.", DB, above=0)] = 1.0,
    frequency_hz: Frequencies = None,
) -> "ConditionStudy":
    """How far has age moved it, and which part did it?

    Example: xover condition examples/attic-two-way/left --plot condition.png

    >>> speaker.condition().conclusion
    """
    from xover.judge.safety import warned
    from xover.studies.aged.condition.study import study_condition

    grid = frequencies(frequency_hz)
    answer = study_condition(speaker, grid, found=found, original=original, assume=assume, limit_db=limit_db)
    return warned(answer, speaker, answer.found or answer.original)
