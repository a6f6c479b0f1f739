"""Which two resistors bring a driver down, or stand in for its old level control?"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, question
from xover.studies.options import EVERYTHING, Network
from xover.units import DB, DRIVER, FOLDER, HZ, OHM, SHARE, WATT, one_of

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.desk.pad.study import PadStudy


@question(opens=False, shows=EVERYTHING)
def pad(
    speaker: Annotated[
        "str | Path | Speaker | None", Ask("Speaker folder, or its speaker.toml.", FOLDER, place=True)
    ] = None,
    driver: Annotated[str | None, Ask("Driver to bring down, by its name there.", DRIVER, place=True)] = None,
    *,
    down_db: Annotated[float | None, Ask("How far down.", DB, above=0, high=60)] = None,
    control: Annotated[
        Literal["rheostat", "potentiometer", "l-pad"] | None,
        Ask(
            "Old control: rheostat, potentiometer or l-pad.",
            one_of("rheostat", "potentiometer", "l-pad", metavar="KIND"),
        ),
    ] = None,
    track_ohm: Annotated[float | None, Ask("Its whole track; of an L-pad, its rated impedance.", OHM, above=0)] = None,
    setting: Annotated[
        float | None, Ask("Where it stands, 0 to 1; a rheostat at 1 has its whole track in.", SHARE, low=0, high=1)
    ] = None,
    read_series_ohm: Annotated[
        float | None, Ask("Instead: ohmmeter from its input to the driver's plus.", OHM, low=0)
    ] = None,
    read_other_ohm: Annotated[
        float | None, Ask("And from driver's plus to minus; rheostat: end to end.", OHM, low=0)
    ] = None,
    nominal_ohm: Annotated[
        float | None, Ask("Nominal impedance; alone it stands for the driver.", OHM, "--ohm", above=0)
    ] = None,
    input_w: Annotated[float | None, Ask("Power into the pad, to be split up.", WATT, "--watts", above=0)] = None,
    network: Network = None,
    low_hz: Annotated[
        float | None, Ask("Lowest frequency that counts [default: where it plays].", HZ, "--from")
    ] = None,
    high_hz: Annotated[float | None, Ask("Highest.", HZ, "--to")] = None,
) -> "PadStudy":
    """Resistors that pad a driver, or replace its level control.

    Example: xover pad examples/attic-two-way/left tweeter --down 4

    Example: xover pad --control rheostat --track 16 --setting 0.4 --ohm 8
    """
    from xover.speaker import Speaker, open_speaker
    from xover.studies.desk.pad.study import study_pad, what_is_wanted

    what = what_is_wanted(down_db, control, track_ohm, setting, read_series_ohm, read_other_ohm)
    opened = speaker if speaker is None or isinstance(speaker, Speaker) else open_speaker(speaker)
    return study_pad(what, opened, driver, network, (low_hz, high_hz), nominal_ohm, input_w)
