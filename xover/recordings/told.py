"""Faults of recordings in words: what it is, in which channel, and what to do."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from math import isfinite
from pathlib import Path
from typing import Final

from xover.blocks import Block, fact
from xover.errors import InputError
from xover.figures import hertz
from xover.recordings.faults import Found, RecordingFault


class UnreadableRecordingError(InputError):
    """A recording with a fault that leaves nothing to read; `found` is which."""

    found: Found | None = None

    def spelled_by(self, _spell: Callable[[str], str]) -> UnreadableRecordingError:
        """Itself: no parameter stands in its words."""
        return self


def unreadable(found: Found, path: Path | str) -> UnreadableRecordingError:
    """The error that tells it."""
    problem, remedy = _REFUSED[found.fault]
    if found.fault is RecordingFault.OTHER_SWEEP and found.figure:
        problem = f"holds another sweep than the one that was played: it doubles its frequency in {found.figure:.3g} s"
    if found.fault is RecordingFault.CUT_SWEEP:
        end = "starts" if found.figure < 0.0 else "ends"
        problem = f"{end} in the middle of the sweep" + (
            f": {abs(found.figure):.2g} s of it are missing" if isfinite(found.figure) else ""
        )
    problem, remedy = (text.format(found.figure, found.channel) for text in (problem, remedy))
    error = UnreadableRecordingError(problem, remedy, path)
    error.found = found
    return error


def found_lines(found: Sequence[tuple[str, Found]]) -> Iterator[Block]:
    """The worst of each kind, and in which recordings it is; (name, fault), the name empty where there is one."""
    for fault, words in _WORDS.items():
        those = [(name, one) for name, one in found if one.fault is fault]
        if those:
            worst = max((one for _, one in those), key=lambda one: abs(one.figure) if one.at_hz is None else one.figure)
            more = f", and {len(those) - 1} more" if len(those) > 1 else ""
            where = f"{those[0][0]}{more}: " if those[0][0] else ""
            told = words.format(worst.figure, worst.channel, hertz(worst.at_hz or 0.0))
            yield fact(_label(fault), where + told)


def found_kinds(found: Sequence[tuple[str, Found]]) -> list[str]:
    """Each kind of fault once, in a word."""
    return [_label(fault) for fault in _WORDS if any(one.fault is fault for _, one in found)]


def _label(fault: RecordingFault) -> str:
    return _LABELS.get(fault, fault.value.replace("-", " "))


_LABELS: Final = {RecordingFault.INVERTED: "polarity", RecordingFault.GAIN_BY_LEVEL: "gain"}
"""Where the fault's own word says too much: a microphone may turn the sign over by its nature."""
_WHOLE: Final = "start recording before the sweep plays, stop after it has ended"
_REFUSED: Final[Mapping[RecordingFault, tuple[str, str]]] = {
    RecordingFault.CLIPPED: ("clips in channel {1}", "lower the recording level until its peaks stay below -6 dB"),
    RecordingFault.SILENT: ("is silent in channel {1}", "check the lead and the input of that channel"),
    RecordingFault.SWAPPED: (
        "has microphone and loop-back swapped: channel {1} is uneven as a speaker is, the other as level as a wire",
        "name the microphone's channel by its option, or swap the leads",
    ),
    RecordingFault.NO_LOOP: (
        "has no loop-back in channel {1}: it is {0:.0f} dB uneven, and a cable is level",
        "lead the output straight to that input and record again, or say that there is none",
    ),
    RecordingFault.WRONG_RATE: (
        "runs at another speed than its samples a second: {0:.0f} fits",
        "set player and recorder to one sample rate and record again",
    ),
    RecordingFault.LOW_RATE: (
        "takes too few samples a second for this sweep",
        "record at {0:.0f} a second or more, or play a sweep that ends lower",
    ),
    RecordingFault.STARTS_LATE: (
        "starts late: {0:.2g} s before the sweep are missing, the first of its two markers among them",
        _WHOLE,
    ),
    RecordingFault.ENDS_EARLY: (
        "ends early: {0:.2g} s after the sweep are missing, the last of its two markers among them",
        _WHOLE,
    ),
    RecordingFault.CUT_SWEEP: ("", _WHOLE),
    RecordingFault.OTHER_SWEEP: (
        "holds another sweep than the one that was played: its markers stand elsewhere",
        "name the file that was played, as it was then",
    ),
    RecordingFault.HIDDEN: (
        "holds no markers of a sweep that stand out of the noise",
        "raise the level, or find what is loose; name the file that was played",
    ),
    RecordingFault.NOISY: ("is noise for the most part", "raise the level, or find what is loose"),
}
_WORDS: Final[Mapping[RecordingFault, str]] = {
    RecordingFault.TWO_CLOCKS: "player and recorder run on two clocks, {0:+.0f} ppm apart: allowed for",
    RecordingFault.HUM: "the mains hums at {0:.2f} Hz: taken out; where it is loud, look for a ground loop",
    RecordingFault.NOISY: "{0:.0%} of the rows are blurred by noise: raise the level, or hush what sounds besides",
    RecordingFault.MOVING_GAIN: "channel {1} changes its gain by {0:+.1f} dB: switch off automatic gain, record again",
    RecordingFault.GAIN_BY_LEVEL: (
        "channel {1}: its gain follows the level, by {0:+.1f} dB in the markers: switch off compressor, noise "
        "reduction and automatic gain, record again"
    ),
    RecordingFault.BAND_MISSING: (
        "channel {1} ends at {0:.0f} Hz as if cut off: it went through a lossy format, or a lower sample rate; record "
        "as WAV at one rate throughout"
    ),
    RecordingFault.INVERTED: (
        "the first pressure at the microphone is negative: the driver's leads are swapped, or amplifier or microphone "
        "turn it over, as some do; another driver recorded alike tells which"
    ),
    RecordingFault.RATTLE: (
        "something may rub, buzz or rattle around {2} ({0:.0f} dB lie above the fifth harmonic): a loose part, a leak, "
        "a wire on the cone, a coil that rubs, or a noise from outside. Record again: what comes there again is real"
    ),
    RecordingFault.OVERLOAD: (
        "{0:.0f} dB at {2} in channel {1}: driver, amplifier or input may be driven too hard, as a cone that moves far "
        "in the bass is; play it 10 dB softer and compare"
    ),
}
