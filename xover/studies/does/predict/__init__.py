"""What reaches each driver, and what is the sum? Worked out in `sound/prediction.py`."""

from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, question
from xover.studies.options import EVERYTHING, Frequencies, Network, OutputOhm, frequencies
from xover.units import BAND

if TYPE_CHECKING:
    from xover.sound.prediction import Prediction
    from xover.speaker import Speaker


@question(plots={"Prediction": "levels.draw_prediction"}, shows=EVERYTHING)
def predict(
    speaker: "Speaker",
    network: Network = None,
    *,
    frequency_hz: Frequencies = None,
    band_hz: Annotated[
        tuple[float, float] | None, Ask("Band of level and deviation [default: 200..20k].", BAND)
    ] = None,
    output_ohm: OutputOhm = None,
) -> "Prediction":
    """What reaches each driver, and what is the sum?

    Example: xover predict examples/attic-two-way/left --network found --plot sum.png

    >>> speaker.predict("found").total.level_db  # (n,) dB for 2.83 V at 1 m
    """
    from xover.judge.safety import warned
    from xover.sound.prediction import predict as study

    name = speaker.network_or_default(network)
    answer = study(speaker, name, frequencies(frequency_hz), band_hz=band_hz, output_ohm=output_ohm or 0.0)
    return warned(answer, speaker, answer.network)
