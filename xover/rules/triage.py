"""The order in which an experienced restorer tries things, and from when a step is worth taking.

All of it is common practice, no published source.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from xover.rules.audibility import DIRECT_DB, HARD_DB, UNHEARD_DB


class Rung(StrEnum):
    """The steps, cheapest and easiest to undo first; what is unsafe or broken comes before all of them."""

    NONE_YET = "none yet"
    MEND = "mend"
    LEAVE = "leave"
    REWIRE = "rewire"
    TRIM = "trim"
    REFRESH = "refresh"
    DRIVER = "driver"
    BYPASS = "bypass"
    REVALUE = "revalue"
    REDESIGN = "redesign"
    AMPLIFIER = "amplifier"


STEPS: Final = tuple(Rung)[2:]
"""Those that are options, in their order."""


class Wants(StrEnum):
    """What a speaker is held against."""

    VOICING = "voicing"
    """The sound that it had when new."""
    SOUND = "sound"
    """An even sum."""


VOICING_STEP_DB: Final = UNHEARD_DB
"""Nearer to the old voicing by more than this is worth a few coins; by the next one, amplifiers and an evening."""
SOUND_STEP_DB: Final = HARD_DB
"""A more even sum, where that is what is wanted, or where it costs next to nothing."""
UNASKED_STEP_DB: Final = DIRECT_DB
"""Where nobody asked for another sound, one that costs an evening and money must be heard at once."""
KEEPS_VOICING: Final = frozenset({Rung.LEAVE, Rung.REFRESH, Rung.DRIVER, Rung.BYPASS, Rung.AMPLIFIER})
"""Steps that can bring the old voicing back; the others are there to change it."""
FEW_PARTS: Final = 2
"""What is hard to hear is worth no more parts than these."""
CHEAP: Final = frozenset({Rung.LEAVE, Rung.REWIRE, Rung.TRIM, Rung.REFRESH})
"""Steps of an hour and a few coins."""

RULE: Final = (
    "Take the first step, cheapest and easiest to undo first, after which no later one within your means gives "
    "something that is heard and surely known"
)

MINUTES: Final = {
    Rung.MEND: (20, 15),
    Rung.LEAVE: (0, 0),
    Rung.REWIRE: (10, 0),
    Rung.TRIM: (20, 10),
    Rung.REFRESH: (30, 10),
    Rung.DRIVER: (30, 0),
    Rung.BYPASS: (60, 10),
    Rung.REVALUE: (30, 10),
    Rung.REDESIGN: (120, 15),
    Rung.AMPLIFIER: (10, 0),
}
"""Minutes for one speaker, and for each part of it."""
UNDO: Final = {
    Rung.MEND: "yes",
    Rung.LEAVE: "nothing to undo",
    Rung.REWIRE: "swap back",
    Rung.TRIM: "take the pad out",
    Rung.REFRESH: "old parts back",
    Rung.DRIVER: "yes",
    Rung.BYPASS: "network back",
    Rung.REVALUE: "old parts back",
    Rung.REDESIGN: "old board back",
    Rung.AMPLIFIER: "yes",
}


def step_db(rung: Rung, target: Wants, said: bool) -> float:
    """By how much a step must better the one before it to be worth taking; `said`: the owner asked for this target."""
    if target is Wants.VOICING:
        return VOICING_STEP_DB if rung in CHEAP or rung is Rung.DRIVER else SOUND_STEP_DB
    return SOUND_STEP_DB if said or rung in CHEAP else UNASKED_STEP_DB
