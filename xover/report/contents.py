"""The sections of the page in their order, formulas and data last; what stands in several places is told once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from xover.blocks import Block, Downloads, Head, Items, Listing, Picture, Section, Text
from xover.drawing.save import csv_row
from xover.report.answers import Answers, NotToldError
from xover.report.page import html_of
from xover.report.sections import bench, decision, proposals, sound
from xover.report.works import Formulas
from xover.report.workshop import NotKnown, attempt

LONGEST_SHOWN: Final = 400
"""Letters of a formula on the page."""


def appendix(answers: Answers, others: Sequence[Section]) -> Iterable[Block]:
    """Formulas with losses left out as text, exact ones and all curves to save."""
    blocks: list[Block] = answers.gone("formulas", "the formulas") + answers.failed("formulas")
    study = answers.study("formulas", Formulas)
    files = [(f"{p.name}.csv", p.title, p.data) for section in others for p in section.pictures if p.data]
    if study is not None:
        blocks.append(Head(f"Formulas of network '{study.network}'"))
        blocks.append(
            Text(
                "Voltage at each driver over the amplifier's, and the load, in s, the parts and the drivers' "
                "impedances Z; losses left out here. The exact ones, losses included, are in formulas.csv."
            )
        )
        left_out: list[str] = []
        for formula in study.formulas:
            said = f" (nearest to {formula.nearest})" if formula.nearest else ""
            if len(formula.ideal) <= LONGEST_SHOWN:
                blocks.append(Listing(f"{formula.name}{said}", formula.ideal))
            else:
                left_out.append(formula.name)
        if left_out:
            blocks.append(Text(f"Too long to show, in formulas.csv: {', '.join(left_out)}."))
        lines = [csv_row(["function", "exact", "without losses"])]
        lines += [csv_row([f.name, f.exact, f.ideal]) for f in study.formulas]
        files.append(("formulas.csv", "Exact transfer functions and load", "".join(lines)))
        numbers = [csv_row(["quantity", "value, SI"]), *(csv_row([n, repr(v)]) for n, v in study.numbers.items())]
        files.append(("numbers.csv", "The values in the formulas", "".join(numbers)))
    blocks.append(Downloads(tuple(files)))
    return blocks


@dataclass(frozen=True)
class Part:
    """A section as it is made: its place in links, its heading, and the function of the answers that tells it."""

    anchor: str
    heading: str
    tell: Callable[[Answers], Iterable[Block]]
    new_page: bool = False


ORDER: Final = (
    Part("decision", "Decision", decision.decision),
    Part("evidence", "What was measured, what assumed", decision.evidence),
    Part("schematic", "Schematic", decision.drawing),
    Part("sound", "Sound", sound.sound),
    Part("load", "Load", sound.load),
    Part("condition", "Condition", sound.condition),
    Part("proposals", "Proposals", proposals.proposals),
    Part("bill", "Bill of materials", proposals.bill),
    Part("wiring", "Wiring list", bench.wiring),
    Part("build", "Build order and checks", bench.build),
    Part("cautions", "Cautions of this case", bench.cautions),
    Part("owner", "For the buyer or the next owner", bench.owner, new_page=True),
)


def all_sections(answers: Answers) -> tuple[Section, ...]:
    """Every section that has something to say, the appendix with the data of all figures last."""
    made = [section_of(part, answers) for part in ORDER]
    told = list(notes_once([section for section in made if section.blocks]))
    last = Part("appendix", "Appendix: formulas and data", lambda a: appendix(a, told))
    return (*told, section_of(last, answers))


def section_of(part: Part, answers: Answers) -> Section:
    """The section by itself: what cannot be told, or shown, is a box in its place, and nobody else's matter."""

    def made() -> Section:
        try:
            blocks = tuple(part.tell(answers))
        except NotToldError as gone:
            blocks = (gone.box,)
        whole = Section(part.anchor, part.heading, blocks, part.new_page)
        html_of(whole)  # what cannot be shown is found here, where a box can still stand in its place
        return whole

    section = attempt(made)
    if isinstance(section, NotKnown):
        return Section(part.anchor, part.heading, (section.box(f"the section '{part.heading}'"),), part.new_page)
    return section


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
