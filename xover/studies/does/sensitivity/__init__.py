"""Which part matters: what a small change of each part does to every driver, to the sum and to the load."""

from typing import TYPE_CHECKING

from xover.declare import question
from xover.studies.options import EVERYTHING, Frequencies, Network, frequencies

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.does.sensitivity.study import SensitivityStudy


@question(plots={"SensitivityStudy": "does.draw_sensitivity"}, shows=EVERYTHING)
def sensitivity(speaker: "Speaker", network: Network = None, *, frequency_hz: Frequencies = None) -> "SensitivityStudy":
    """Which part matters, and where?

    Example: xover sensitivity examples/attic-two-way/left --network found --plot parts.png

    >>> [part.sentence for part in speaker.sensitivity("found").parts[:3]]
    """
    from xover.judge.safety import warned
    from xover.studies.does.sensitivity.study import study_sensitivity

    answer = study_sensitivity(speaker, speaker.network_or_default(network), frequencies(frequency_hz))
    return warned(answer, speaker, answer.network)
