"""Does the build do what was predicted, and if not, which part or wire is to blame? And what differs between a pair?"""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, question
from xover.errors import OptionError, named
from xover.rules.bands import MICROPHONE_HZ
from xover.studies.options import EVERYTHING, Channel, Network, Noise, chosen
from xover.units import BAND, DB, FILE, YES

if TYPE_CHECKING:
    from xover.curve import Curve
    from xover.speaker import Speaker
    from xover.studies.aged.verify.result import PairStudy, VerifyStudy

Impedance = Annotated["str | Path | Curve", Ask("Sweep at the speaker's terminals, ohm.", FILE, "--impedance")]
Band = Annotated[tuple[float, float], Ask("Where the impedance counts.", BAND, "--band")]


@question(opens=True)
def pair(
    speaker: "Speaker",
    impedance: Impedance,
    other: Annotated[
        "str | Path | Curve", Ask("Sweep of the other speaker of the pair: what differs?", FILE, "--against")
    ],
    *,
    network: Network = None,
    channel: Channel = None,
    noise: Noise = None,
    band_hz: Band = (20.0, 20_000.0),
) -> "PairStudy":
    """What differs between the two speakers of a pair: parts, or a driver? The other is taken to be built alike.

    >>> speaker.pair("left.csv", "right.csv").headline
    """
    from xover.studies.aged.verify.pairing import explain_pair
    from xover.studies.given import impedance_curve

    name = chosen(speaker, network)
    (first, notes), (second, more) = impedance_curve(impedance), impedance_curve(other)
    study = explain_pair(speaker, name, first, second, channel=channel, band_hz=band_hz, noise=noise)
    return replace(study, warnings=(*notes, *more, *study.warnings))


@question(
    strict="agrees",
    shows=EVERYTHING,
    plots={"VerifyStudy": "aged.draw_verification", "PairStudy": "aged.draw_pair"},
    instead=("other", pair),
)
def verify(
    speaker: "Speaker",
    impedance: Impedance,
    *,
    network: Network = None,
    response: Annotated["str | Path | Curve | None", Ask("Level of the whole speaker, dB.", FILE)] = None,
    third_octaves: Annotated[bool, Ask("The response is a level for each third octave.", YES)] = False,
    levels: Annotated[
        Path | None, Ask("Levels read with a phone: a column for this network, one for another.", FILE)
    ] = None,
    channel: Channel = None,
    noise: Noise = None,
    response_noise_db: Annotated[
        float | None, Ask("Of a third octave [default: 0.5, with averages 1].", DB, above=0, high=20)
    ] = None,
    band_hz: Band = (20.0, 20_000.0),
    response_band_hz: Annotated[tuple[float, float], Ask("Where the response counts.", BAND)] = MICROPHONE_HZ,
) -> "VerifyStudy":
    """Does the build do what was predicted? Which part, if not?

    Holds the sweep of a finished speaker, and its sound if given, against the prediction of a network, allowing for
    the tolerance of every part, for the noise of the sweep, for the gain and the leads of the jig, and for drivers that
    have changed a little since they were measured. If that does not explain it, every single fault is tried: open,
    shorted, wrong by a decade, another value, swapped, a driver dead or reversed.

    Levels of a phone show a change of network, whatever the room: with --levels it is held against the prediction too.

    With --against it asks of a pair what differs between the two: parts, or a driver.

    Example: xover verify examples/attic-two-way/left --network original --impedance
    examples/attic-two-way/left/terminals-rebuilt.csv

    >>> speaker.verify("examples/attic-two-way/left/terminals-rebuilt.csv", network="original").headline
    """
    from xover.studies.aged.verify.study import verify as study
    from xover.studies.given import impedance_curve, response_curve

    if third_octaves and response is None:
        raise OptionError(f"{named('third_octaves')} has no response to speak of", f"give {named('response')}")
    name = chosen(speaker, network)
    swept, notes = impedance_curve(impedance)
    heard, said = (None, ()) if response is None else response_curve(response)
    found = study(
        speaker,
        name,
        swept,
        response=heard,
        third_octaves=third_octaves,
        levels=levels,
        channel=channel,
        noise=noise,
        response_sigma_db=response_noise_db,
        band_hz=band_hz,
        response_band_hz=response_band_hz,
    )
    return replace(found, warnings=(*notes, *said, *found.warnings))
