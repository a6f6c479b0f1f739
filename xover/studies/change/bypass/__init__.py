"""Each driver on its own amplifier channel, behind an electronic crossover: is it safe, and what does it need?"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any

from xover.declare import Ask, question
from xover.studies.options import Network, frequencies
from xover.units import DB, HZ, SLOPE, YES, by_name, rising

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.change.bypass.result import BypassStudy


@question(
    strict="unbroken",
    plots={"BypassStudy": "bypass.draw_bypass"},
    shows={
        "everything": (Ask("Tell all: loads, old network, sums, map, capacitor, watts, notes.", YES, "--all"), False)
    },
)
def bypass(
    speaker: "Speaker",
    network: Network = None,
    *,
    corners_hz: Annotated[
        Sequence[float] | None, Ask("Corners, lowest first [default: speaker.toml's].", rising(HZ), "--frequency")
    ] = None,
    slope: Annotated[str | None, Ask("Slope such as LR4 or B3 [default: speaker.toml's].", SLOPE)] = None,
    sample_rate_hz: Annotated[
        float, Ask("Sample rate of the electronic crossover.", HZ, low=44_100.0, high=768_000.0)
    ] = 48_000.0,
    amplifier_gain_db: Annotated[
        Mapping[str, float] | None,
        Ask("Voltage gain of a channel's amplifier; may be repeated.", by_name(DB, "CHANNEL"), "--gain", many=True),
    ] = None,
    frequency_hz: Any = None,
) -> "BypassStudy":
    """Each driver on its own channel: safe? What does it need?

    The network taken out is 'original' where there is one. With --strict the exit status is 1 if something forbids
    switching on, or a load lies below what its amplifier allows.

    Example: xover bypass examples/attic-two-way/left --frequency 3k --slope LR4 --plot bypass.png

    >>> speaker.bypass(corners_hz=[3000], slope="LR4").verdict
    """
    from xover.studies.change.bypass.study import study_bypass

    return study_bypass(
        speaker,
        network,
        frequencies(frequency_hz),
        corners_hz=None if corners_hz is None else tuple(corners_hz),
        slope=slope,
        sample_rate_hz=sample_rate_hz,
        amplifier_gain_db=amplifier_gain_db,
    )
