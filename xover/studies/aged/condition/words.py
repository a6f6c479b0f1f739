"""What age has done, in sentences: each part, and all together."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from xover.acoustic.audibility import audibility
from xover.quantity import hertz
from xover.sound.candidate_sums import size_of
from xover.sound.changes import Worst
from xover.studies.aged.condition.blame import Blame, PartBlame
from xover.studies.aged.condition.envelope import DriftEnvelope
from xover.studies.aged.condition.parts import PartCondition

LEAVE_IT_DB: Final = 0.25
"""Up to this a part is left alone: the step of the scale that level matching for a listening test asks for."""

WORSE_DB: Final = 0.1
"""From so much more than now a repair is said to make things worse."""


def judged(effect_db: float, leave: str = "leave it") -> str:
    """An effect in words; up to 0.25 dB with the advice to leave the part alone."""
    words = audibility(effect_db)
    return f"{words}: {leave}" if effect_db <= LEAVE_IT_DB else words


def said_change(worst: Worst) -> str:
    """The largest change with its place: "-1.3 dB at 2.1 kHz"."""
    if math.isnan(worst.change):
        return "not known"
    if abs(worst.change) < 0.005:
        return "0 dB"
    digits = 1 if abs(worst.change) >= 0.95 else 2
    return f"{worst.change:+.{digits}f} dB at {hertz(worst.at_hz)}"


def rank_parts(
    parts: tuple[PartCondition, ...], blame: Blame | None, envelope: DriftEnvelope | None
) -> tuple[PartCondition, ...]:
    """Most to blame first; those that have not changed last."""
    order = [p.name.lower() for p in (blame.parts if blame else envelope.parts if envelope else ())]

    def rank(part: PartCondition) -> tuple[bool, int]:
        low = part.name.lower()
        return not (part.changed or low in order), order.index(low) if low in order else len(order)

    return tuple(sorted(parts, key=rank))


def found_sentence(part: PartCondition, blame: Blame | None, of_sum: str) -> str:
    """What a part that was measured has done, and whether to leave it."""
    start = f"{part.name}: {part.state}"
    if not part.changed:
        return f"{start}: leave it"
    own = None if blame is None else blame.of(part.name)
    return start if blame is None or own is None else f"{start}: {effect(own, blame.together, of_sum)}"


def effect(blame: PartBlame, together: Worst, of_sum: str) -> str:
    """What one part has done, and how well that can be heard.

    Said besides: where parts make good for each other, so that putting right this one alone would make things worse.
    """
    key, drive = blame.most_moved
    alone, mended = blame.alone, blame.mended
    words = []
    if not math.isnan(alone.change):
        words.append(f"{said_change(alone)} in the {of_sum}")
    words.append(f"{said_change(drive)} on {key}")
    if size_of(mended) > size_of(alone) and audibility(mended.change) != audibility(alone.change):
        words.append(f"and {said_change(mended)} if it alone were put right")
    said = f"by itself {', '.join(words)}: {judged(blame.effect_db)}"
    if size_of(blame.remains) > size_of(together) + WORSE_DB:
        said += f"; put right alone it leaves {said_change(blame.remains)}, more than there is now"
    return said


def assumed_sentence(part: PartCondition, envelope: DriftEnvelope, of_sum: str) -> str:
    """What a part that was not measured could have done."""
    start = f"{part.name}: {part.shown_original}"
    reach = next((p for p in envelope.parts if p.name == part.name), None)
    if reach is None:
        return f"{start}: {part.kind}, not expected to drift"
    key, drive = reach.most_moved
    words = f"up to {said_change(drive)} on {key}"
    if not math.isnan(reach.lowest.change):
        words = f"{said_change(reach.lowest)} to {said_change(reach.highest)} in the {of_sum}, {words}"
    return f"{start}: by itself could do {words}: {judged(reach.effect_db, 'not worth measuring')}"


def found_conclusion(total: Worst, drives: Mapping[str, Worst], of_sum: str, changed: bool) -> str:
    """All that was measured, in one sentence."""
    if not changed and all(size_of(w) <= 0 for w in (total, *drives.values())):
        return "Nothing has moved: leave it."
    if math.isnan(total.change):
        return f"The {of_sum} is not known: only the drives tell how far age has moved it."
    return f"All together move the {of_sum} by {said_change(total)} at most: {judged(abs(total.change))}."


def assumed_conclusion(envelope: DriftEnvelope, of_sum: str) -> str:
    """All that may be, in one sentence."""
    low, high = envelope.total_lowest, envelope.total_highest
    if math.isnan(low.change):
        return f"Nothing was measured, and the {of_sum} is not known: only the drives tell how far drift could go."
    words = audibility(max(size_of(low), size_of(high)))
    return (
        f"Nothing was measured. Typical drift of all parts could move the {of_sum} by {said_change(low)} to "
        f"{said_change(high)} at most: {words}."
    )
