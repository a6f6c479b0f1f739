"""When does a protection lamp bite, and what if it is taken out?"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, question
from xover.studies.options import EVERYTHING, Network, Spectrum
from xover.units import VOLT

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.bears.lamps.study import LampStudy


@question(shows=EVERYTHING)
def lamps(
    speaker: "Speaker",
    network: Network = None,
    *,
    volts: Annotated[
        Sequence[float],
        Ask("Rms of the programme; may be repeated [default: 1, 10 and 20].", VOLT, many=True, low=1e-3, high=1e3),
    ] = (1.0, 10.0, 20.0),
    spectrum: Spectrum = "programme",
) -> "LampStudy":
    """When does a protection lamp bite? What if it goes?

    Example: xover lamps examples/attic-two-way/left --network found --volts 1 --volts 10

    >>> speaker.lamps("found", volts=[1, 10]).levels
    """
    from xover.amplifier import programme
    from xover.judge.safety import warned
    from xover.studies.bears.lamps.study import study_lamps

    name = speaker.network_or_default(network)
    answer = study_lamps(speaker, name, tuple(volts), spectrum=programme.Spectrum(spectrum))
    return warned(answer, speaker, answer.network)
