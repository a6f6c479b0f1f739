"""The card that goes with the signal: how to wire, how loud, what not to do."""

from __future__ import annotations

import shlex
from collections.abc import Iterator

from xover.blocks import Block, Head, Items, Text, fact
from xover.figures import hertz
from xover.studies.desk.sweep.study import Purpose, SignalFile, SignalKind

_WIRING = (
    "Amplifier plus - resistor (10 ohm, 5 W, its value read with a meter) - driver - amplifier minus.",
    "First input across resistor and driver together, second input across the driver; both grounds at amplifier minus.",
    "Not with a bridged amplifier: its minus is no ground. Keep inputs below their rated volts.",
)


def tell(signal: SignalFile) -> Iterator[Block]:
    """What it is, and the card."""
    plan = signal.plan
    what = {SignalKind.SWEEP: "A sweep", SignalKind.TONE: "A tone that sets the level"}
    noise = "Pink noise for a phone's third octaves"
    yield Head(noise if signal.signal is SignalKind.NOISE else f"{what[signal.signal]} for {_FOR[signal.purpose]}")
    if signal.signal is SignalKind.TONE:
        yield fact("tone", f"{hertz(signal.tone_hz)}, {signal.length_s:.0f} s")
    else:
        yield fact("band", f"{hertz(plan.low_hz)} to {hertz(plan.high_hz)}, {signal.length_s:.1f} s in all")
    yield fact(
        "level", f"{plan.level_db:g} dB re full scale, {plan.rate_hz} samples a second, channel {signal.channel}"
    )
    yield Head("How to use it")
    yield Items(tuple(_steps(signal)))
    if signal.purpose is Purpose.TWEETER:
        yield Text("A tweeter without its capacitor has no guard: never start lower, never turn up to hear it better.")
    elif signal.signal is not SignalKind.TONE:
        yield Text(
            f"Never into a tweeter by itself, as it starts at {hertz(plan.low_hz)}: take --for tweeter for that."
        )
    if signal.signal is not SignalKind.TONE:
        yield Text("Protect your ears, and unplug what else hangs on this amplifier.")


_FOR = {
    Purpose.WOOFER: "the impedance of a woofer",
    Purpose.TWEETER: "the impedance of a tweeter",
    Purpose.SPEAKER: "the impedance of a speaker at its terminals",
    Purpose.MICROPHONE: "a microphone",
}


def _steps(signal: SignalFile) -> Iterator[str]:
    plan = "; it carries its plan, which what you export from it has lost" if signal.signal is SignalKind.SWEEP else ""
    yield f"Play the file that -o writes itself{plan}."
    if signal.purpose is not Purpose.MICROPHONE and signal.signal is not SignalKind.NOISE:
        yield from _WIRING
    volt = f"{signal.volt_at_most:g} V"
    if signal.signal is SignalKind.TONE:
        yield f"Turn up from zero until a meter on AC volts reads {volt} across the amplifier's terminals; no more."
        return
    same = shlex.join(["xover", "sweep", "--for", signal.purpose.value, "--signal", "tone", "-o", "tone.wav"])
    yield f"Set the level by the tone first ('{same}'): {volt} across the amplifier's terminals."
    if signal.signal is SignalKind.NOISE:
        yield "Read the phone's third octaves over 10 s, still, at one place; the noise repeats itself every 2 s."
        return
    yield "Leave the volume there. Record uncompressed, from before it starts until after it ends, peaks below -6 dB."
    yield "Switch off automatic gain, echo and noise suppression, and every sound effect."
    if signal.purpose is not Purpose.MICROPHONE:
        yield "Then: xover jig recording.wav --played THIS-FILE --resistor 10 -o impedance.csv"
    else:
        yield "Then: xover response recording.wav --played THIS-FILE -o response.csv"
