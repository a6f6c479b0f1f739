"""The wiring list: the board from pad to pad, and every wire."""

from __future__ import annotations

from xover.bench.wiring import WiringList
from xover.blocks import Block, Head, Items, Section, Text, table
from xover.report.answers import Answers
from xover.report.sections.common import first_up, gone, pictures


def section(answers: Answers) -> Section:
    """Pads, wires, polarity, gauges, where the coils go."""
    blocks: list[Block] = gone(answers, "wiring", "the wiring list")
    w = answers.study("wiring", WiringList)
    if w is not None:
        blocks.append(Text(f"Network '{answers.build.name}'. A pad is a point of the board that the parts share."))
        numbers = {wire.number: wire for wire in w.wires}
        rows = [
            [pad.name, ", ".join(e.words for e in pad.ends) or "-", ", ".join(str(n) for n in pad.wires) or "-"]
            for pad in w.pads
        ]
        blocks.append(table("Pads", ["pad", "soldered to it", "wires"], rows))
        wires = [[str(n), wire.start, wire.end, wire.pair] for n, wire in numbers.items()]
        blocks.append(table("Wires", ["number", "from", "to", "pair (twist it)"], wires))
        blocks.append(Items(tuple(first_up(d.sentence) for d in w.drivers)))
        blocks.append(Head("Coils: turn and distance"))
        if w.coils.pairs:
            blocks.append(Items(tuple(first_up(p.sentence) for p in w.coils.pairs)))
            blocks.append(Text(" ".join(first_up(s.sentence) for s in w.coils.sizes), "quiet"))
        else:
            blocks.append(Text("There are not two coils that could disturb each other."))
        blocks.append(Head("Wire and workmanship"))
        blocks.append(Items(tuple(first_up(s) for s in (*(g.sentence for g in w.gauges), *w.advice))))
        if w.assumptions:
            blocks.append(Text(" ".join(first_up(a) for a in w.assumptions), "quiet"))
    blocks += pictures(answers, "crosstalk")
    return Section("wiring", "Wiring list", tuple(blocks))
