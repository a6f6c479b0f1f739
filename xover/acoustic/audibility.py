"""How far a change of level has to go to be heard: the scale that "leave it" is said against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

SOURCE: Final = "common practice, no published source"


@dataclass(frozen=True)
class Audibility:
    """One step of the scale: changes up to `up_to_db` are `word`."""

    up_to_db: float
    word: str


SCALE: Final = (
    Audibility(0.1, "below what a careful measurement repeats to"),
    Audibility(0.25, "below what level matching for a listening test asks for"),
    Audibility(0.5, "not heard with music"),
    Audibility(1.0, "hard to hear, in a direct comparison only"),
    Audibility(2.0, "heard in a direct comparison"),
    Audibility(float("inf"), "obvious"),
)
"""Broad changes of level over an octave or more; a narrow one must be larger to be heard."""


def audibility(change_db: float) -> str:
    """The step of the scale for a change, whichever its sign; "not known" for NaN."""
    size = abs(change_db)
    return next((step.word for step in SCALE if size <= step.up_to_db), "not known")
