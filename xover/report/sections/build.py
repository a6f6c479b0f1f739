"""The build order, with the readings to expect on the way."""

from __future__ import annotations

from typing import Final

from xover.bench.build_steps import BuildOrder, BuildStep
from xover.blocks import Block, Head, Items, Section, Text
from xover.report.answers import Answers
from xover.report.sections.common import first_up, gone

ALWAYS: Final = frozenset({"open is a bad joint", "near 0 is a short", "a low reading that stays is a short"})
"""What holds for nearly every reading is told once."""

NEW: Final = (
    "Tick each step. A reading outside its range means: look for the fault before the next part. Open where ohms are "
    "expected is a bad joint; near 0, or a low reading that stays where it should be open, is a short."
)
OLD: Final = "Nothing is to be built; these are the readings to expect if the board is taken apart and rebuilt."


def section(answers: Answers) -> Section:
    """Section by section, then the whole, then the first power-up."""
    blocks: list[Block] = gone(answers, "build", "the build order")
    order = answers.study("build", BuildOrder)
    if order is not None:
        new = answers.build.new
        blocks.append(Text(NEW if new else OLD))
        for part in order.sections:
            blocks.append(Head(f"{part.number}. {part.name}"))
            if part.reason:
                blocks.append(Text(first_up(part.reason), "quiet"))
            steps = [_step(s) for s in part.steps]
            steps += [first_up(s.sentence) for s in part.sweeps if s.sentence]
            blocks.append(Items(tuple(steps), ticks=True))
        blocks.append(Head("The whole"))
        whole = [first_up(c.sentence) for c in order.whole_dc] + [first_up(s.sentence) for s in order.whole]
        blocks.append(Items(tuple(whole), ticks=True))
        blocks.append(Head("The first time with an amplifier"))
        blocks.append(Items(tuple(f"{first_up(p.what)} Expect: {p.expect}" for p in order.power_up), ticks=True))
        blocks.append(Text(" ".join(first_up(a) for a in order.assumptions), "quiet"))
        if order.unknown:
            blocks.append(Items(tuple(first_up(u) for u in order.unknown)))
    return Section("build", "Build order and checks", tuple(blocks))


def _step(step: BuildStep) -> str:
    checks = (c.reading if set(c.proves.split(", ")) <= ALWAYS else c.sentence for c in step.checks)
    said = [step.before, step.action, *checks, step.note]
    return " ".join(first_up(s) for s in said if s)
