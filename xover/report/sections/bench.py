"""What goes to the bench and to the next owner: wiring list, build order, cautions, papers."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from xover.bench.build_steps import BuildOrder, BuildStep
from xover.bench.case_cautions import case_cautions
from xover.bench.dc import Usual
from xover.bench.paperwork import Fate, PaperPart, Paperwork, paperwork
from xover.bench.wiring import WiringList
from xover.blocks import Block, Head, Items, Text, Warn, table
from xover.report.answers import Answers
from xover.report.sections.sound import network_row, network_table
from xover.sentences import capital, sentence
from xover.sound.prediction import Prediction
from xover.studies.bears.stress.study import StressStudy
from xover.studies.does.load.study import LoadStudy


def wiring(answers: Answers) -> Iterable[Block]:
    """Pads, wires, polarity, gauges, where the coils go."""
    blocks: list[Block] = answers.gone("wiring", "the wiring list")
    w = answers.study("wiring", WiringList)
    if w is not None:
        blocks.append(Text(f"Network '{answers.build.name}'. A pad is a point of the board that the parts share."))
        rows = [
            [pad.name, ", ".join(e.words for e in pad.ends) or "-", ", ".join(str(n) for n in pad.wires) or "-"]
            for pad in w.pads
        ]
        blocks.append(table("Pads", ["pad", "soldered to it", "wires"], rows))
        wires = [[str(wire.number), wire.start, wire.end, wire.pair] for wire in w.wires]
        blocks.append(table("Wires", ["number", "from", "to", "pair (twist it)"], wires))
        blocks.append(Items(tuple(sentence(d.sentence) for d in w.drivers)))
        blocks.append(Head("Coils: turn and distance"))
        if w.coils.pairs:
            blocks.append(Items(tuple(sentence(p.sentence) for p in w.coils.pairs)))
            blocks.append(Text(" ".join(sentence(s.sentence) for s in w.coils.sizes), "quiet"))
        else:
            blocks.append(Text("There are not two coils that could disturb each other."))
        blocks.append(Head("Wire and workmanship"))
        blocks.append(Items(tuple(sentence(s) for s in (*(g.sentence for g in w.gauges), *w.advice))))
        if w.assumptions:
            blocks.append(Text(" ".join(sentence(a) for a in w.assumptions), "quiet"))
    blocks += answers.pictures("crosstalk", "board")
    return blocks


NEW: Final = (
    "Tick each step. A reading outside its range means: look for the fault before the next part. Open where ohms are "
    "expected is a bad joint; near 0, or a low reading that stays where it should be open, is a short."
)
OLD: Final = "Nothing is to be built; these are the readings to expect if the board is taken apart and rebuilt."


def build(answers: Answers) -> Iterable[Block]:
    """Section by section, then the whole, then the first power-up."""
    blocks: list[Block] = answers.gone("build", "the build order")
    blocks += answers.failed("build")
    order = answers.study("build", BuildOrder)
    if order is not None:
        new = answers.build.new
        blocks.append(Text(NEW if new else OLD))
        kept = [p.name for p in answers.build.network.parts if new and p in answers.present_network.parts]
        if kept:
            blocks.append(Text(f"Left as soldered: {', '.join(kept)}. Of these only the readings count."))
        for part in order.sections:
            blocks.append(Head(f"{part.number}. {part.name}"))
            if part.reason:
                blocks.append(Text(sentence(part.reason), "quiet"))
            steps = [_step(s) for s in part.steps]
            steps += [sentence(s.sentence) for s in part.sweeps if s.sentence]
            blocks.append(Items(tuple(steps), ticks=True))
        blocks.append(Head("The whole"))
        whole = [sentence(c.sentence) for c in order.whole_dc] + [sentence(s.sentence) for s in order.whole]
        blocks.append(Items(tuple(whole), ticks=True))
        blocks.append(Head("The first time with an amplifier"))
        blocks.append(Items(tuple(f"{sentence(p.what)} Expect: {p.expect}" for p in order.power_up), ticks=True))
        blocks.append(Text(" ".join(sentence(a) for a in order.assumptions), "quiet"))
        if order.unknown:
            blocks.append(Items(tuple(sentence(u) for u in order.unknown)))
    return blocks


def _step(step: BuildStep) -> str:
    checks = (c.reading if all(isinstance(p, Usual) for p in c.proves) else c.sentence for c in step.checks)
    said = [step.before, step.action, *checks, step.note]
    return " ".join(sentence(s) for s in said if s)


def cautions(answers: Answers) -> Iterable[Block]:
    """Only those that apply."""
    names = list(dict.fromkeys((answers.present, answers.build.name)))
    loads = {s.network: s for s in (answers.study("load", LoadStudy), answers.study("built load", LoadStudy)) if s}
    stress = answers.study("stress", StressStudy)
    found = case_cautions(
        answers.speaker,
        names,
        decision=answers.decided_on,
        build=answers.study("build", BuildOrder),
        loads=loads,
        stresses={} if stress is None else {stress.network: stress},
    )
    told = [(c, " ".join(sentence(s) for s in (c.text, c.why) if s)) for c in found]
    warnings = tuple(Warn(str(c.severity), capital(c.heading), words) for c, words in told)
    return warnings


def owner(answers: Answers) -> Iterable[Block]:
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
    if paper.parts:
        columns = ["part", "as marked", "as found", "as fitted", "what became of it"]
        read = answers.found_network is not None
        blocks.append(table("Part by part", columns, [_row(p, read) for p in paper.parts]))
    blocks += _figures(answers)
    blocks += _not_original(paper)
    blocks += [Head("Drivers"), Items(tuple(sentence(s) for s in paper.drivers))]
    blocks += _match(paper)
    blocks += [Head("How sure this is"), Items(tuple(sentence(s) for s in (*paper.uncertainty, *paper.unsure)))]
    blocks.append(Text(sentence(paper.claim)))
    if paper.labels:
        blocks += [
            Head("Labels for the bags of the old parts"),
            Items(tuple(label.text for label in paper.labels), short=True),
        ]
    return blocks


def _row(p: PaperPart, read: bool) -> list[str]:
    """A part in values; `read`: whether the board was read, so that a part that it does not tell was not there."""
    drift = "" if p.drift is None else f" ({100.0 * p.drift:+.0f} %)"
    found = f"{p.found}{drift}" if p.found else "-" if read else "not measured"
    return [p.name, p.marked or "-", found, p.fitted or "-", str(p.fate)]


def _not_original(paper: Paperwork) -> list[Block]:
    """The parts by what became of them, in a line each; the table has the values."""
    said = []
    for fate in (Fate.NEW, Fate.ADDED, Fate.TAKEN_OUT):
        names = [p.name for p in paper.parts if p.fate is fate]
        if names:
            said.append(f"{fate!s}: {', '.join(names)}")
    said += [f"wiring: {words}" for words in paper.wiring]
    return [Head("What is not original"), Items(tuple(sentence(s) for s in said))] if said else []


def _figures(answers: Answers) -> list[Block]:
    """Before and after, as far as they were worked out."""
    rows = []
    now = "as marked" if answers.found is None else "as found"
    for head, before in ((now, ""), ("as fitted", "built ")):
        p, z = answers.study(f"{before}sound", Prediction), answers.study(f"{before}load", LoadStudy)
        if p is not None or z is not None:
            rows.append(network_row(head, p, z))
    return [network_table("Calculated, before and after", rows)] if rows else []


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
    blocks.append(Items(tuple(sentence(d.sentence) for d in m.drivers)))
    return blocks


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100.0 * share:+.0f} %"
