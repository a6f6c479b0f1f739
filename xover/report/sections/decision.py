"""The decision first: what to do, why, and what would change it."""

from __future__ import annotations

from xover.blocks import Block, Cell, Facts, Head, Items, Section, Text, table
from xover.quantity import hertz
from xover.report.answers import Answers
from xover.report.sections.common import first_up, gone
from xover.studies.change.decide.criteria import Aspect
from xover.studies.change.decide.option import Option
from xover.studies.change.decide.study import Decision
from xover.studies.change.decide.words import cell, row_head


def section(answers: Answers) -> Section:
    """Leave, refresh, redesign or bypass, side by side."""
    d = answers.decision
    why = [*(("because" if i == 0 else "and", words) for i, words in enumerate(d.reasons)), ("by the rule", d.rule)]
    blocks: list[Block] = [Text(first_up(d.answer), "lead"), Facts(tuple(why))]
    if d.rests_on:
        blocks += [Text("This answer rests on what was not measured:"), Items(d.rests_on)]
    blocks.append(_side_by_side(d))
    blocks.append(
        Text(
            "+ passes, o marginal, x fails, ? no verdict. Sum deviation: half of the range that the sum covers from "
            f"{hertz(d.band_hz[0])} to {hertz(d.band_hz[1])}. Left against right: 97.5 % of pairs keep to it. Cost and "
            f"parts are for one speaker; parts from: {d.source}. Limits are the file's own or common practice, no "
            "published source; 'xover decide' names each.",
            "quiet",
        )
    )
    if d.would_change:
        blocks += [Head("What would change it"), Items(d.would_change)]
    if d.unknown:
        blocks += [Head("What this cannot know"), Items(d.unknown)]
    blocks += gone(answers, "decision", "a figure of the options")
    picture = answers.picture("decision")
    if picture is not None:
        blocks.append(picture)
    return Section("decision", "Decision", tuple(blocks))


def _side_by_side(d: Decision) -> Block:
    names = list(d.options)
    marked = names.index(d.recommendation) + 1 if d.recommendation is not None else None
    rows: list[list[str | Cell]] = [[row_head(a), *(_cell(o, a) for o in d.options.values())] for a in Aspect]
    heads = [f"{n}: recommended" if n == d.recommendation else str(n) for n in names]
    return table("The four options", ["criterion", *heads], rows, marked=marked)


def _cell(option: Option, aspect: Aspect) -> Cell:
    words, verdict = cell(option, aspect)
    return Cell(words or "-", "" if verdict is None else str(verdict))
