"""The sections of the page, in their order."""

from __future__ import annotations

from typing import Final

from xover.blocks import Section
from xover.report.answers import Answers
from xover.report.notes import notes_once
from xover.report.sections import (
    appendix,
    bill,
    build,
    cautions,
    condition,
    decision,
    drawing,
    evidence,
    load,
    owner,
    proposals,
    sound,
    wiring,
)

ORDER: Final = (
    decision,
    evidence,
    drawing,
    sound,
    load,
    condition,
    proposals,
    bill,
    wiring,
    build,
    cautions,
    owner,
)


def all_sections(answers: Answers) -> tuple[Section, ...]:
    """Every section that has something to say, the appendix with the data of all figures last."""
    made = [part.section(answers) for part in ORDER]
    told = list(notes_once([section for section in made if section.blocks]))
    return (*told, appendix.section(answers, told))
