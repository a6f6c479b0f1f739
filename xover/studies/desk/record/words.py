"""A take in words, the list of devices, and the meter that is looked at meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from xover.blocks import Block, Head, Text, fact, table
from xover.curve import Float
from xover.figures import hertz
from xover.studies.desk.record.result import SoundDevices, Take

_MARKS: Final = 10
_MARK_DB: Final = 6.0
"""A meter of ten marks shows 60 dB."""
_LOWEST_DB: Final = -99.0
_LONGEST_NAME: Final = 38


def tell(got: Take | SoundDevices) -> Iterator[Block]:
    """What came in, or what there is."""
    if isinstance(got, SoundDevices):
        rows = [
            [
                str(d.number),
                d.name[:_LONGEST_NAME],
                f"{d.inputs}{'*' * d.usual[0]}",
                f"{d.outputs}{'*' * d.usual[1]}",
                f"{d.rate_hz:.0f}",
            ]
            for d in got.devices
        ]
        yield table("", ["device", "name", "inputs", "outputs", "rate"], rows)
        yield Text("* is taken where none is named. Recorder and player in one device have one clock: best.")
        return
    name = Path(got.played).name
    if got.tone_hz is not None:
        yield Head(f"{name}: its tone of {hertz(got.tone_hz)}, {got.length_s:.0f} s")
    else:
        yield Head(f"{name}: played, {got.length_s:.1f} s recorded")
    for number, level in enumerate(got.peak_db, 1):
        yield fact(f"input {number}", f"peaks at {level:.1f} dB re full scale")
    if got.tone_hz is not None:
        yield Text("Once the meter reads what the sweep's card says, leave the volume there and add --level-set.")


def counting(seconds: int, only_tone: bool) -> str:
    """Before the sound."""
    return f"tone in {seconds} s: is the amplifier down?" if only_tone else f"sound in {seconds} s, Ctrl-C stops it"


def metered(level_db: Float) -> str:
    """Levels of the inputs: bars where there is room, else numbers."""
    if len(level_db) > 2:
        return " ".join(f"{max(level, _LOWEST_DB):.0f}" for level in level_db) + " dB"
    return "  ".join(
        f"in {number} {'#' * max(0, round(_MARKS + level / _MARK_DB)):.<{_MARKS}} {max(level, _LOWEST_DB):.0f} dB"
        for number, level in enumerate(level_db, 1)
    )


def silent(number: int) -> str:
    """An input in which nothing came."""
    return f"input {number} is as good as silent: check its lead, its gain and which input it is"
