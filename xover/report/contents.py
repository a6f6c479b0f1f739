"""The sections of the page in their order; a note that stands in several places is told once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from xover.blocks import Block, Items, Picture, Section, Text
from xover.report.answers import Answers
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


def notes_once(sections: Sequence[Section]) -> Iterator[Section]:
    """The same sections, each note of a figure left out where the page has told it before."""
    told: set[str] = set()
    for section in sections:
        for block in section.blocks:
            told |= {_plain(words) for words in _said(block)}
        yield replace(section, blocks=tuple(_with_new_notes(block, told) for block in section.blocks))


def _with_new_notes(block: Block, told: set[str]) -> Block:
    if not isinstance(block, Picture):
        return block
    told.add(_plain(block.reading))
    new = tuple(note for note in block.notes if _plain(note) not in told)
    told |= {_plain(note) for note in new}
    return replace(block, notes=new)


def _said(block: Block) -> tuple[str, ...]:
    if isinstance(block, Items):
        return block.items
    return (block.words,) if isinstance(block, Text) else ()


def _plain(words: str) -> str:
    return words.strip().rstrip(".").lower()
