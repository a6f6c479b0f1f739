"""Is what was typed and measured sound?"""

from typing import TYPE_CHECKING

from xover.declare import question
from xover.studies.options import EVERYTHING

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.desk.check.study import CheckStudy


@question(strict="safe", told_in="study", shows=EVERYTHING)
def check(speaker: "Speaker") -> "CheckStudy":
    """Is what I typed and measured sound?

    Reads every file of the folder and lists what is wrong or doubtful, the gravest first. A limit is broken where
    something forbids switching on.

    Example: xover check examples/attic-two-way/left

    >>> [finding.text for finding in speaker.check().findings]
    """
    from xover.studies.desk.check.study import study_check

    return study_check(speaker)
