"""The signal for measuring at home: a sweep, a tone to set the level by, or noise for a phone."""

from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, question
from xover.units import BAND, COUNT, DB, NUMBER, VOLT, one_of

if TYPE_CHECKING:
    from xover.studies.desk.sweep.study import SignalFile

_PURPOSES = ("woofer", "tweeter", "speaker", "microphone")
_SIGNALS = ("sweep", "tone", "noise")
_SIDES = ("both", "left", "right")


@question(output="wav", written="Signal written to {path}.", plots={"SignalFile": "card.draw_card"})
def sweep(
    *,
    purpose: Annotated[
        Literal["woofer", "tweeter", "speaker", "microphone"],
        Ask(
            "What it is for: impedance of a woofer, of a tweeter, of a speaker at its terminals; or a microphone.",
            one_of(*_PURPOSES),
            "--for",
        ),
    ] = "woofer",
    signal: Annotated[
        Literal["sweep", "tone", "noise"],
        Ask("What is played: sweep, tone (to set the level by), noise (for a phone).", one_of(*_SIGNALS)),
    ] = "sweep",
    band_hz: Annotated[
        tuple[float, float] | None, Ask("Ends of the sweep [default: by purpose].", BAND, "--band")
    ] = None,
    seconds: Annotated[float, Ask("Length of the sweep.", NUMBER, low=1, high=120)] = 10.0,
    down_db: Annotated[float, Ask("Peak below full scale [default: 6].", DB, low=0, high=80)] = 6.0,
    volts: Annotated[
        float | None,
        Ask("Rms at the amplifier's terminals, for the card [default: by purpose].", VOLT, low=0.01, high=7),
    ] = None,
    rate: Annotated[int, Ask("Samples a second.", COUNT, low=8000, high=192_000)] = 48_000,
    side: Annotated[
        Literal["both", "left", "right"], Ask("Which channel of the file holds it, the other silent.", one_of(*_SIDES))
    ] = "both",
) -> "SignalFile":
    """A sweep to measure with, as a WAV file, and how to use it.

    --plot draws the card: how to wire it, how loud, what not to do. Set the level with the tone first, by a voltmeter
    across the amplifier's terminals. A sweep is loud where you do not expect it: start low. Play it and record with
    whatever you have, uncompressed; then 'xover jig' reads the recording.

    Example: xover sweep --for tweeter -o tweeter-sweep.wav --plot tweeter-card.png

    >>> Path("sweep.wav").write_bytes(xover.sweep(purpose="woofer").wav)
    """
    from xover.studies.desk.sweep.study import Purpose, SignalKind, make_signal

    return make_signal(Purpose(purpose), SignalKind(signal), band_hz, seconds, 0.0 - down_db, rate, side, volts)
