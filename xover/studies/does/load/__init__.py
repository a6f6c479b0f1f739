"""What does the amplifier see, and may it?"""

from typing import TYPE_CHECKING

from xover.declare import question
from xover.studies.options import EVERYTHING, Frequencies, Network, OutputOhm, frequencies

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.does.load.study import LoadStudy


@question(plots={"LoadStudy": "does.draw_load"}, strict="within_limits", shows=EVERYTHING)
def load(
    speaker: "Speaker", network: Network = None, *, frequency_hz: Frequencies = None, output_ohm: OutputOhm = None
) -> "LoadStudy":
    """What does the amplifier see, and may it?

    Example: xover load examples/attic-two-way/left --network found --strict

    >>> speaker.load("found").channels["in"].reading.minimum_ohm
    """
    from xover.judge.safety import warned
    from xover.studies.does.load.study import study_load

    answer = study_load(speaker, speaker.network_or_default(network), frequencies(frequency_hz), output_ohm=output_ohm)
    return warned(answer, speaker, answer.network)
