"""What heats the parts at full level, and which ratings do they need?"""

from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, question
from xover.studies.options import EVERYTHING, Frequencies, Network, Spectrum, frequencies
from xover.units import NUMBER, RATING, VOLT

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.bears.stress.study import StressStudy


@question(plots={"StressStudy": "bears.draw_stress"}, strict="within_limits", shows=EVERYTHING)
def stress(
    speaker: "Speaker",
    network: Network = None,
    *,
    power_w: Annotated[
        float | tuple[float, float | None] | None,
        Ask("Amplifier's rating, such as 60W@8 [default: speaker.toml's].", RATING, low=1e-3, high=1e5),
    ] = None,
    load_ohm: float | None = None,
    rms_v: Annotated[
        float | None, Ask("Rms of the programme instead, such as 10.", VOLT, "--volts", low=1e-3, high=1e3)
    ] = None,
    crest: Annotated[float, Ask("Peak over rms of the programme; clipped music has 2.", NUMBER, low=1, high=100)] = 4.0,
    spectrum: Spectrum = "programme",
    frequency_hz: Frequencies = None,
) -> "StressStudy":
    """Watts, volts and amperes in every part: which ratings?

    Example: xover stress examples/attic-two-way/left --network found --power 60W@8 --strict

    >>> speaker.stress("found", power_w=60, load_ohm=8).limits_broken
    """
    from xover.amplifier import programme
    from xover.judge.safety import warned
    from xover.studies.bears.stress.study import study_stress

    if isinstance(power_w, tuple):
        power_w, load_ohm = power_w
    answer = study_stress(
        speaker,
        speaker.network_or_default(network),
        frequencies(frequency_hz),
        power_w=power_w,
        load_ohm=load_ohm,
        rms_v=rms_v,
        crest=crest,
        spectrum=programme.Spectrum(spectrum),
    )
    return warned(answer, speaker, answer.network)
