"""A response from a recording of a sweep through a microphone: gated, with its timing where there is a loop-back."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, Unit, question
from xover.units import COUNT, FILE, LENGTH, NUMBER, YES, one_of, or_none

if TYPE_CHECKING:
    from xover.studies.desk.response.study import RecordedResponse


@question(
    output="table",
    plots={"RecordedResponse": "recorded.draw_distortion"},
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
    same_place: Annotated[
        bool, Ask("The microphone stands, and is read, as for the other drivers: --into says one time for all.", YES)
    ] = False,
) -> "RecordedResponse":
    """A driver's response from a recording.

    Levels are relative: they belong together for all drivers that were recorded alike, so leave every control where it
    is. With a cable from output to input beside the microphone the phases of all drivers share one time; without, only
    levels are told. --into with --driver puts the table into a speaker folder and names it in speaker.toml.

    Example: xover response tweeter.wav --played tweeter-sweep.wav --distance 1m --into my-speaker --driver tweeter

    >>> Path("tweeter.csv").write_text(xover.response("tweeter.wav", "sweep.wav").table)
    """
    from xover.studies.desk.response.study import CurveIs, read_recorded

    gate_s = None if gate_ms is None else gate_ms / 1000.0
    sign = None if curve_is is None else CurveIs(curve_is)
    return read_recorded(recording, played, microphone, loop, gate_s, distance_m, curve, sign, same_place)
