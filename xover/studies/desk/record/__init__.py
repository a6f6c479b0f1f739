"""A sweep played and recorded at once, through the system's sound device, where the library for it is installed."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, Unit, question
from xover.studies.options import Progress, quiet
from xover.units import COUNT, YES, listed

if TYPE_CHECKING:
    from xover.studies.desk.record.result import SoundDevices, Take


@question(output="wav", written="Recording written to {path}: 'xover jig' and 'xover response' read it.", watched=True)
def record(
    played: Annotated[
        str | Path | None, Ask("The file to play, as 'xover sweep' wrote it.", Unit("WAV", Path), place=True)
    ] = None,
    *,
    level_set: Annotated[bool, Ask("The amplifier's volts were set by the tone.", YES, "--level-set")] = False,
    tone: Annotated[bool, Ask("Play the tone that sets its level instead, for 30 s.", YES, "--tone")] = False,
    device: Annotated[
        tuple[int, ...],
        Ask("Number of the device in --list, or the recorder's and the player's.", listed(COUNT, "N[,N]")),
    ] = (),
    inputs: Annotated[int, Ask("Inputs to record.", COUNT, low=1, high=8)] = 2,
    listing: Annotated[bool, Ask("List the devices, and play nothing.", YES, "--list")] = False,
    progress: Progress = quiet,
) -> "Take | SoundDevices":
    """Plays a sweep and records the inputs meanwhile.

    First --tone: turn the amplifier up from zero until a meter reads what the sweep's card says. Then --level-set, and
    hands off the volume. The file is played as it is, never louder; an input that clips stops it, and nothing is kept.
    Without -o it is a trial. This needs the library sounddevice (pip install sounddevice, or the extra record)
    and, on Linux, the system's portaudio; playing and recording by any other means does as well.

    Example: xover record sweep.wav --level-set -o woofer.wav

    >>> Path("woofer.wav").write_bytes(xover.record("sweep.wav", level_set=True).wav)
    """
    from xover.studies.desk.record.study import list_devices, record_sweep

    if listing:
        return list_devices()
    return record_sweep(played, device, inputs, tone, level_set, progress)
