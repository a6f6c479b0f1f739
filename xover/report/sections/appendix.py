"""Every formula, and the data of every figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from xover.blocks import Block, Downloads, Head, Listing, Section, Text
from xover.drawing.save import csv_row
from xover.report.answers import Answers
from xover.report.page import downloads
from xover.report.sections.common import gone
from xover.report.works import Formulas

LONGEST_SHOWN: Final = 400
"""Letters of a formula on the page."""


def section(answers: Answers, others: Sequence[Section]) -> Section:
    """Formulas with losses left out as text, exact ones and all curves to save."""
    blocks: list[Block] = gone(answers, "formulas", "the formulas")
    study = answers.study("formulas", Formulas)
    files = list(downloads(others))
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
    return Section("appendix", "Appendix: formulas and data", tuple(blocks))
