"""What a phone heard of a change of network, in words."""

from __future__ import annotations

from collections.abc import Iterator

from xover.blocks import Block, Head, Text, plain_table
from xover.figures import db
from xover.sentences import and_words
from xover.sound.heard_change import HeardChange, Told


def heard_sentence(h: HeardChange) -> str:
    """Whether it did what was predicted."""
    off = [o for o in h.octaves if o.told is Told.DIFFERS]
    tells = [o for o in h.octaves if o.told is not Told.CANNOT_TELL]
    if off:
        return f"not as predicted in the octave of {and_words([f'{o.centre_hz:g}' for o in off])} Hz"
    return f"as predicted in the {len(tells)} octaves that tell" if tells else "too unsure to tell in any octave"


def heard_blocks(h: HeardChange) -> Iterator[Block]:
    """Octave by octave, beside what was predicted."""
    yield Head(f"Heard with a phone: '{h.one}' less '{h.other}', {heard_sentence(h)}")
    rows = [
        (f"{o.centre_hz:g}", db(o.predicted_db, 1, True), db(o.measured_db, 1, True), db(o.half_db, 1), f"{o.told:<12}")
        for o in h.octaves
    ]
    yield plain_table(["octave", "predicted dB", "heard dB", "+-", f"{'':<12}"], rows)
    yield Text(
        f"Level as a whole, {db(h.offset_db, 1, True)} dB against the prediction: taken off. Predicted is the drive of "
        "the driver that rules the band: each room adds drivers up in its own way. +-: 95 %, by readings, tolerances "
        "of parts and the drivers beside it; where several play it cannot tell."
    )
