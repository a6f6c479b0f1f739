"""The page for the buyer or the next owner: as marked, as found, as fitted, and what is not original."""

from __future__ import annotations

from xover.bench.paper_parts import Fate, PaperPart
from xover.bench.paperwork import Paperwork, paperwork
from xover.blocks import Block, Head, Items, Section, Text, table
from xover.report.answers import Answers
from xover.report.sections.common import first_up, network_row
from xover.sound.prediction import Prediction
from xover.studies.does.load.study import LoadStudy


def section(answers: Answers) -> Section:
    """One page in print; it stands by itself."""
    build = answers.build
    paper = paperwork(
        answers.plain_speaker,
        marked=answers.design_network,
        found=answers.found_network,
        fitted=build.network if build.new else None,
        mate=answers.mate,
    )
    blocks: list[Block] = [Text(f"{paper.title}: what was done to its network, for whoever has it next.")]
    if build.new:
        blocks.append(
            Text(f"'As fitted' is what is planned, network '{build.name}': correct by hand what came out otherwise.")
        )
    blocks += _parts(paper)
    blocks += _figures(answers)
    blocks += _not_original(paper)
    blocks += [Head("Drivers"), Items(tuple(first_up(s) for s in paper.drivers))]
    blocks += _match(paper)
    blocks += [Head("How sure this is"), Items(tuple(first_up(s) for s in (*paper.uncertainty, *paper.unsure)))]
    blocks.append(Text(first_up(paper.claim)))
    if paper.labels:
        blocks += [
            Head("Labels for the bags of the old parts"),
            Items(tuple(label.text for label in paper.labels), short=True),
        ]
    return Section("owner", "For the buyer or the next owner", tuple(blocks), new_page=True)


def _parts(paper: Paperwork) -> list[Block]:
    if not paper.parts:
        return []
    rows = [_row(p) for p in paper.parts]
    columns = ["part", "as marked", "as found", "as fitted", "what became of it"]
    return [table("Part by part", columns, rows)]


def _row(p: PaperPart) -> list[str]:
    drift = "" if p.drift is None else f" ({100.0 * p.drift:+.0f} %)"
    return [p.name, p.marked or "-", f"{p.found}{drift}" if p.found else "not measured", p.fitted or "-", str(p.fate)]


def _not_original(paper: Paperwork) -> list[Block]:
    """The parts by what became of them, in a line each; the table has the values."""
    said = []
    for fate in (Fate.NEW, Fate.ADDED, Fate.TAKEN_OUT):
        names = [p.name for p in paper.parts if p.fate is fate]
        if names:
            said.append(f"{fate!s}: {', '.join(names)}")
    named = {p.name for p in paper.parts}
    said += [s for s in paper.not_original if s.split(" ", 1)[0].rstrip(":") not in named]
    if not said:
        return []
    return [Head("What is not original"), Items(tuple(first_up(s) for s in said))]


def _figures(answers: Answers) -> list[Block]:
    """Before and after, as far as they were worked out."""
    rows = []
    for words, sound, load in (("as found", "sound", "load"), ("as fitted", "built sound", "built load")):
        p, z = answers.study(sound, Prediction), answers.study(load, LoadStudy)
        if p is None and z is None:
            continue
        if words == "as found" and answers.found is None:
            words = "as marked"
        rows.append(network_row(words, p, z))
    if not rows:
        return []
    return [
        table(
            "Calculated, before and after", ["network", "sum about its mean, dB", "crossover", "lowest load, ohm"], rows
        )
    ]


def _match(paper: Paperwork) -> list[Block]:
    m = paper.match
    if m is None:
        return [
            Text("The other speaker of the pair was not given (--mate): how well the two match is not told.", "quiet")
        ]
    blocks: list[Block] = [Head("Left against right")]
    blocks.append(Text(f"Against {m.mate}: {m.sentence.rstrip('.')}."))
    rows = [[p.name, p.this or "-", p.other or "-", _percent(p.difference)] for p in m.parts]
    blocks.append(table("The two boards", ["part", "this one", "the other", "difference"], rows, numbers=(3,)))
    blocks.append(Items(tuple(first_up(d.sentence) for d in m.drivers)))
    return blocks


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100.0 * share:+.0f} %"
