"""When each driver sounds, how loud and which way round: read from recordings of drivers together."""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

from xover.declare import Ask, Unit, question
from xover.rules.bands import MICROPHONE_HZ
from xover.studies.options import EVERYTHING, Network
from xover.units import BAND, NUMBER

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.does.delay.result import DelayStudy


def _recording(text: str) -> tuple[Path, str]:
    """A file, and behind an @ the drivers that play; a file whose own name has an @ is one."""
    file, sign, drivers = text.rpartition("@")
    return (Path(file), drivers) if sign and not os.path.exists(text) else (Path(text), "")


_RECORDING: Final = Unit("FILE[@DRIVERS]", _recording)


@question(shows=EVERYTHING, numbers="keys")
def delay(
    speaker: "Speaker",
    *,
    bare: Annotated[
        Sequence[Any], Ask("Recording of drivers in parallel, no network.", _RECORDING, "--bare", many=True)
    ] = (),
    finished: Annotated[Sequence[Any], Ask("Recording through the network.", _RECORDING, "--finished", many=True)] = (),
    network: Network = None,
    band_hz: Annotated[tuple[float, float], Ask("Where recordings count.", BAND, "--band")] = MICROPHONE_HZ,
    most_delay_us: Annotated[
        float | None,
        Ask("Delays to try, us [default: 1000, with measured phase 3000].", NUMBER, "--most-delay", low=50, high=5000),
    ] = None,
) -> "DelayStudy":
    """When does each driver sound, how loud and which way round?

    Holds recordings of drivers that play together, bare in parallel or through the network, with phase or without,
    against the record of each driver alone, and tells delay, level and polarity of each against the first. Behind an
    @ stand the drivers that play, one with its wires swapped after a minus: both.csv@woofer,-tweeter. Without, all
    play as they are wired. Bare, sweep softly and from 300 Hz up: nothing keeps the bass from a tweeter, and the load
    is that of all drivers in parallel. --write puts what is told into speaker.toml.

    Example: xover delay examples/attic-two-way/left --finished examples/attic-two-way/left/whole-found.csv

    >>> speaker.delay(finished="examples/attic-two-way/left/whole-found.csv").headline
    """
    from xover.studies.does.delay.study import study_delay

    return study_delay(speaker, bare, finished, network, band_hz, most_delay_us)
