"""Is what was typed and measured sound?"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, question
from xover.studies.options import EVERYTHING
from xover.units import FOLDER

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.desk.check.study import CheckStudy


@question(strict="safe", told_in="study", shows=EVERYTHING)
def check(
    speaker: "Speaker",
    *,
    mate: Annotated[str | Path | None, Ask("The pair's other speaker: its drivers beside these.", FOLDER)] = None,
) -> "CheckStudy":
    """Is what I typed and measured sound?

    Reads every file of the folder and lists what is wrong or doubtful, the gravest first. A limit is broken where
    something forbids switching on. Each driver's resonance, its peak and its coil are held against its datasheet, its
    twin in this cabinet and its mate in the other: a set fluid, a rub, a leak, another driver show there.

    Example: xover check examples/attic-two-way/left

    >>> [finding.text for finding in speaker.check().findings]
    """
    from xover.speaker import open_speaker
    from xover.studies.desk.check.study import study_check

    return study_check(speaker, None if mate is None else open_speaker(mate))
