"""Faults of recordings in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from xover.blocks import Block, fact
from xover.recordings.faults import Found, RecordingFault


def found_lines(found: Sequence[tuple[str, Found]]) -> Iterator[Block]:
    """The worst of each kind, and in which recordings it is; (name, fault), the name empty where there is one."""
    for fault, words in _WORDS.items():
        those = [(name, one) for name, one in found if one.fault is fault]
        if those:
            worst = max((one for _, one in those), key=lambda one: abs(one.figure))
            more = f", and {len(those) - 1} more" if len(those) > 1 else ""
            where = f"{those[0][0]}{more}: " if those[0][0] else ""
            yield fact(fault.value.replace("-", " "), where + words.format(worst.figure, worst.channel))


def found_kinds(found: Sequence[tuple[str, Found]]) -> list[str]:
    """Each kind of fault once, in a word."""
    return [fault.value.replace("-", " ") for fault in _WORDS if any(one.fault is fault for _, one in found)]


_WORDS: Final[Mapping[RecordingFault, str]] = {
    RecordingFault.TWO_CLOCKS: "player and recorder run on two clocks, {0:+.0f} ppm apart: allowed for",
    RecordingFault.HUM: "hum of the mains at {0:.2f} Hz, taken out",
    RecordingFault.NOISY: "{0:.0%} of the rows are lost in noise: raise the level",
    RecordingFault.MOVING_GAIN: "channel {1} changes its gain by {0:+.1f} dB: switch off automatic gain, record again",
}
