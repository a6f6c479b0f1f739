"""A response from a recording of a sweep through a microphone: gated, with its timing where there is a loop-back."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, Unit, question
from xover.errors import OptionError, named
from xover.units import COUNT, DB, FILE, HZ, LENGTH, NUMBER, VOLT, YES, one_of, or_none

if TYPE_CHECKING:
    from xover.studies.desk.response.result import RecordedResponse


@question(
    output="table",
    plots={"RecordedResponse": "recorded.draw_recorded"},
    curve="response",
    then="delay {folder} --finished {file}",
    written="Response written to {path}: name it as response = of a driver in speaker.toml.",
)
def response(
    recording: Annotated[str | Path, Ask("The microphone's recording.", Unit("WAV", Path), place=True)],
    played: Annotated[str | Path, Ask("The file that was played, as 'xover sweep' wrote it.", FILE)],
    *,
    microphone: Annotated[int, Ask("Its channel in the recording, from 1.", COUNT, low=1, high=8)] = 1,
    loop: Annotated[
        int | None,
        Ask("Channel of the loop-back cable, or none [default: the other of two].", or_none(COUNT), low=1, high=8),
    ] = 0,
    gate_ms: Annotated[
        float | None,
        Ask("Milliseconds to let through [default: up to the first reflection].", NUMBER, low=0.5, high=500),
    ] = None,
    distance_m: Annotated[
        float, Ask("From the driver to the microphone; levels are told for 1 m.", LENGTH, low=0.01, high=20)
    ] = 1.0,
    curve: Annotated[str | Path | None, Ask("The microphone's own file: Hz, dB.", FILE)] = None,
    curve_is: Annotated[
        Literal["response", "correction"] | None,
        Ask("What that file holds: its response, taken off, or a correction, added.", one_of("response", "correction")),
    ] = None,
    diameter_m: Annotated[
        float | None,
        Ask("Of the cone, to the middle of its surround: near field.", LENGTH, low=0.01, high=1),
    ] = None,
    near: Annotated[
        str | Path | None,
        Ask("Recording close to the cone, joined below the far field [default: RECORDING is one].", FILE),
    ] = None,
    port: Annotated[str | Path | None, Ask("Recording at the port's mouth, by the same controls.", FILE)] = None,
    port_diameter_m: Annotated[float | None, Ask("Of the port.", LENGTH, "--port-diameter", low=0.005, high=1)] = None,
    baffle_m: Annotated[
        float | None, Ask("Width of the baffle, whose step is put into the near field.", LENGTH, low=0.05, high=5)
    ] = None,
    splice_hz: Annotated[
        float | None, Ask("Where near and far field are joined [default: 300].", HZ, "--splice", low=50, high=2000)
    ] = None,
    calibrator: Annotated[
        str | Path | None, Ask("Recording of a level calibrator on the microphone, all gains as they are.", FILE)
    ] = None,
    calibrator_level_db: Annotated[float, Ask("Its level re 20 uPa.", DB, low=0, high=140)] = 94.0,
    volts: Annotated[
        float | None,
        Ask("Volts at the terminals while the sweep's tone sounds: absolute levels.", VOLT, low=0.01, high=100),
    ] = None,
    same_place: Annotated[
        bool, Ask("The microphone stands, and is read, as for the other drivers: --into says one time for all.", YES)
    ] = False,
) -> "RecordedResponse":
    """A driver's response from a recording.

    Levels are relative: they belong together for all drivers that were recorded alike, so leave every control where it
    is. --calibrator with --volts makes them absolute, for 2.83 V at 1 m. With a cable from output to input beside the
    microphone the phases of all drivers share one time; without, only levels are told. --into with --driver puts the
    table into a speaker folder and names it in speaker.toml.

    A gate says nothing of the bass. --near, recorded with the microphone close to the cone, does: with --diameter and
    --baffle it is joined to the far field. With --diameter alone the recording itself is such a near field.

    Example: xover response tweeter.wav --played tweeter-sweep.wav --distance 1m --into my-speaker --driver tweeter

    >>> Path("tweeter.csv").write_text(xover.response("tweeter.wav", "sweep.wav").table)
    """
    from xover.studies.desk.response.near import Close
    from xover.studies.desk.response.study import Calibrated, CurveIs, read_recorded

    gate_s = None if gate_ms is None else gate_ms / 1000.0
    sign = None if curve_is is None else CurveIs(curve_is)
    if diameter_m is None and any(given is not None for given in (near, port, baffle_m)):
        raise OptionError("a near field needs the size of the cone", f"give {named('diameter_m')}")
    if (port is None) != (port_diameter_m is None):
        raise OptionError(f"{named('port')} and {named('port_diameter_m')} only serve together", "give both")
    if near is not None and baffle_m is None:
        raise OptionError(
            f"{named('near')} joins the far field over the baffle's step, and {named('baffle_m')} is not given",
            f"give its width; or the near field alone, in place of the recording and without {named('near')}",
        )
    if splice_hz is not None and near is None:
        raise OptionError(f"{named('splice_hz')} has nothing to join", f"give {named('near')}")
    if (calibrator is None) != (volts is None):
        raise OptionError(
            f"{named('calibrator')} and {named('volts')} only serve together",
            "one tells the microphone's level, the other what the speaker was given",
        )
    close = calibrated = None
    if diameter_m is not None:
        close = Close(diameter_m, near, port, port_diameter_m, baffle_m, splice_hz)
    if calibrator is not None and volts is not None:
        calibrated = Calibrated(calibrator, calibrator_level_db, volts)
    return read_recorded(
        recording, played, microphone, loop, gate_s, distance_m, curve, sign, same_place, close, calibrated
    )
