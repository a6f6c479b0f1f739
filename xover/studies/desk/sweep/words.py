"""The card that goes with the signal: how to wire, how loud, what not to do."""

from __future__ import annotations

import shlex
from collections.abc import Iterator

from xover.blocks import Block, Head, Items, Text, fact
from xover.figures import hertz
from xover.quantity import QuantityKind as Unit
from xover.quantity import format_quantity, ohms
from xover.rules.recordings import COARSE_VOLT, GUARD_FARAD, PURPOSES, TRIAL_DB
from xover.studies.desk.sweep.study import Purpose, SignalFile, SignalKind

RESISTOR = "10 ohm, 5 W"
"""Of a jig."""
_JIG = (
    f"Amplifier plus - resistor ({RESISTOR}, its value read with a meter) - driver - amplifier minus.",
    "First input across resistor and driver together, second input across the driver; both grounds at amplifier minus.",
)
_GUARDED = (
    f"Amplifier plus - capacitor ({format_quantity(GUARD_FARAD, Unit.CAPACITANCE)}, film or bipolar: the guard) - "
    f"resistor ({RESISTOR}, its value read with a meter) - tweeter - amplifier minus.",
    "First input behind the capacitor, across resistor and tweeter together; second input across the tweeter; both "
    "grounds at amplifier minus.",
)
_NOT = "Not with a bridged amplifier: its minus is no ground. Keep inputs below their rated volts."
_PLACE = "Microphone on the first input, on the driver's axis; floor and walls farther away than the two are apart."


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
    if signal.purpose is Purpose.TWEETER:
        yield Text("The capacitor keeps thumps away, no sweep: never start lower, never turn up to hear it better.")
    elif signal.signal is not SignalKind.TONE:
        yield Text(_of_tweeters(signal))
    if signal.signal is not SignalKind.TONE:
        yield Text("Protect your ears, and unplug what else hangs on this amplifier.")
    yield Head("How to use it")
    yield Items(tuple(_steps(signal)))


_FOR = {
    Purpose.WOOFER: "the impedance of a woofer",
    Purpose.TWEETER: "the impedance of a tweeter",
    Purpose.SPEAKER: "the impedance of a speaker at its terminals",
    Purpose.MICROPHONE: "a microphone",
}


def _of_tweeters(signal: SignalFile) -> str:
    never = f"Never into a tweeter by itself, as it starts at {hertz(signal.plan.low_hz)}"
    if signal.purpose is not Purpose.MICROPHONE:
        return f"{never}: take --for tweeter for that."
    guard = format_quantity(GUARD_FARAD, Unit.CAPACITANCE)
    preset = PURPOSES[Purpose.TWEETER.value]
    if signal.plan.low_hz < preset.low_hz:
        return (
            f"{never}: for that add --band {preset.low_hz:g}..20k --volts {preset.volt:g}, and put {guard} before it."
        )
    return f"A tweeter by itself takes {preset.volt:g} V of it, behind a capacitor of {guard}."


def _steps(signal: SignalFile) -> Iterator[str]:
    plan = ": what is read needs the plan in it, which a copy from an editor has lost"
    yield f"Play the file as -o writes it{plan if signal.signal is SignalKind.SWEEP else ''}."
    if signal.signal is not SignalKind.NOISE:
        yield from _wiring(signal)
    volt = f"{signal.volt_at_most:g} V"
    if signal.volt_at_most < COARSE_VOLT:
        volt += " (by a meter that shows 10 mV)"
    if signal.signal is SignalKind.TONE:
        yield f"Turn up from zero until a meter on AC volts reads {volt} across the amplifier's terminals; no more."
        return
    yield f"Set the level by the tone first ('{_tone_command(signal)}'): {volt} across the amplifier's terminals."
    if signal.signal is SignalKind.NOISE:
        yield "Read the phone's third octaves over 10 s, still, at one place; the noise repeats itself every 2 s."
        return
    softer = TRIAL_DB - signal.plan.level_db
    if signal.purpose is Purpose.TWEETER and softer <= 80.0:
        yield f"Then a trial with a sweep {TRIAL_DB:g} dB softer (--down {softer:g}): nothing may rattle or click."
    yield "Leave the volume there. Record uncompressed, from before it starts until after it ends, peaks below -6 dB."
    yield "Switch off automatic gain, echo and noise suppression, and every sound effect."
    if signal.purpose is not Purpose.MICROPHONE:
        yield "Then: xover jig recording.wav --played THIS-FILE --resistor 10 -o impedance.csv"
    else:
        yield "Then: xover response recording.wav --played THIS-FILE -o response.csv"


def _wiring(signal: SignalFile) -> Iterator[str]:
    if signal.purpose is Purpose.MICROPHONE:
        if signal.channel == "both":
            yield "One output to the amplifier, the other by a cable straight to the second input: the loop-back."
        else:
            yield f"The {signal.channel} output to the amplifier, and split, to the second input too: the loop-back."
        yield _PLACE
        return
    yield from _GUARDED if signal.purpose is Purpose.TWEETER else _JIG
    if signal.divider_ohm is not None:
        upper, lower = map(ohms, signal.divider_ohm)
        yield f"A divider before each input, {upper} in its lead and {lower} across it: both pairs alike."
    yield _NOT
    if signal.purpose is Purpose.TWEETER:
        yield "Join the tweeter last: set the level with a wire in its place."


def _tone_command(signal: SignalFile) -> str:
    """What writes the tone that is as high as this signal."""
    plan, preset = signal.plan, PURPOSES[signal.purpose.value]
    words = ["xover", "sweep", "--for", signal.purpose.value, "--signal", "tone"]
    if (plan.low_hz, plan.high_hz) != (preset.low_hz, min(preset.high_hz, 0.48 * plan.rate_hz)):
        words += ["--band", f"{plan.low_hz:g}..{plan.high_hz:g}"]
    if plan.level_db != -6.0:
        words += ["--down", f"{-plan.level_db:g}"]
    if signal.volt_at_most != preset.volt:
        words += ["--volts", f"{signal.volt_at_most:g}"]
    if plan.rate_hz != 48_000:
        words += ["--rate", f"{plan.rate_hz}"]
    return shlex.join([*words, "-o", "tone.wav"])
