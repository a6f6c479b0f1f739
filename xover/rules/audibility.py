"""How far a change of level has to go to be heard: the scale that "leave it" is said against, and what it decides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

SOURCE: Final = "common practice, no published source"
PRACTICE: Final = SOURCE

REPEATS_DB: Final = 0.1
"""What a careful measurement repeats to: a refresh, coupling and wires may cost so much; less is not worth a word."""
MATCHED_DB: Final = 0.25
"""What level matching for a listening test asks for: up to this a part is left alone."""
BUILT_DB: Final = 0.3
"""What a refresh should hold as built, parts with their tolerances: level matching, and a little for the parts."""
UNHEARD_DB: Final = 0.5
"""Not heard with music: up to this the voicing is kept."""
HARD_DB: Final = 1.0
"""Hard to hear, in a direct comparison only: what two speakers of a pair, and two builds, may differ by."""
DIRECT_DB: Final = 2.0
"""Heard in a direct comparison; beyond, it is obvious."""


@dataclass(frozen=True)
class Audibility:
    """One step of the scale: changes up to `up_to_db` are `word`."""

    up_to_db: float
    word: str


SCALE: Final = (
    Audibility(REPEATS_DB, "below what a careful measurement repeats to"),
    Audibility(MATCHED_DB, "below what level matching for a listening test asks for"),
    Audibility(UNHEARD_DB, "not heard with music"),
    Audibility(HARD_DB, "hard to hear, in a direct comparison only"),
    Audibility(DIRECT_DB, "heard in a direct comparison"),
    Audibility(float("inf"), "obvious"),
)
"""Broad changes of level over an octave or more; a narrow one must be larger to be heard."""


def audibility(change_db: float) -> str:
    """The step of the scale for a change, whichever its sign; "not known" for NaN."""
    size = abs(change_db)
    return next((step.word for step in SCALE if size <= step.up_to_db), "not known")
