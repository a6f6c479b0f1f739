"""What is heard off the axis: the sum above, below and to the side, and where its lobe points at each crossover."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Final

from xover.declare import Ask, question
from xover.studies.options import EVERYTHING, HORIZONTAL_DEG, VERTICAL_DEG, Frequencies, Network, frequencies
from xover.units import DEGREES, LENGTH, listed

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.does.angles.study import OffAxisStudy

_ANGLES: Final = listed(DEGREES)


@question(plots={"OffAxisStudy": "does.draw_off_axis"}, shows=EVERYTHING)
def angles(
    speaker: "Speaker",
    network: Network = None,
    *,
    vertical_deg: Annotated[Sequence[float], Ask("Angles above (+) and below (-) the axis.", _ANGLES)] = VERTICAL_DEG,
    horizontal_deg: Annotated[Sequence[float], Ask("Angles to the right (+) and left (-).", _ANGLES)] = HORIZONTAL_DEG,
    distance_m: Annotated[
        float | None, Ask("To the microphone, such as 2m [default: speaker.toml, else 1 m].", LENGTH)
    ] = None,
    frequency_hz: Frequencies = None,
) -> "OffAxisStudy":
    """What is heard above, below and beside the axis?

    Needs position_mm and diameter_mm of every driver. Each is a flat piston in an infinite baffle; a real cabinet does
    otherwise, the more the farther off the axis.

    Example: xover angles examples/attic-two-way/left --vertical -20,-10,0,10,20 --plot angles.svg

    >>> speaker.angles("found").vertical.relative_db  # (angles, n) dB re the axis
    """
    from xover.judge.safety import warned
    from xover.studies.does.angles.study import study_off_axis

    answer = study_off_axis(
        speaker,
        speaker.network_or_default(network),
        frequencies(frequency_hz),
        vertical_deg=vertical_deg,
        horizontal_deg=horizontal_deg,
        distance_m=distance_m,
    )
    return warned(answer, speaker, answer.network)
