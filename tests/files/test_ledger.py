"""No row is lost in silence: a mangled one is refused with its line, or counted, or reads as before.

All tables here are invented.
"""

from __future__ import annotations

import random
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import InputError
from xover.files.stock import parse_stock
from xover.files.table_checks import LEAST_ROWS
from xover.files.table_dialect import RawTable, split_table
from xover.files.tables import parse_table
from xover.files.touchstone import TouchstoneData, parse_touchstone
from xover.ledger import Ledger, spans

CASES = sorted(p for p in (Path(__file__).parent / "cases" / "valid").iterdir() if p.suffix in (".txt", ".csv"))
HERTZ = np.geomspace(20.0, 20e3, 60)


def swept(separator: str = ",", decimal: str = ".") -> str:
    """Sixty rows below two lines of words, as an analyser writes them."""
    rows = [
        separator.join(
            f"{x:.3f}".replace(".", decimal) for x in (f, 6 + 20 / (1 + (f / 60 - 60 / f) ** 2), 40.0 - f / 500)
        )
        for f in HERTZ
    ]
    return "\n".join(["* invented", separator.join(("Hz", "ohm", "deg")), *rows, ""])


TOUCHSTONE = "! invented\n# Hz Z RI R 1\n" + "".join(f"{f:.3f} {6 + f / 9e3:.4f} {f / 900:.4f}\n" for f in HERTZ)
DIALECTS = {
    "commas": swept(),
    "blanks": swept(" "),
    "tabs": swept("\t"),
    "semicolons": swept(";"),
    "decimal commas": swept(";", ","),
    "decimal commas and blanks": swept("  ", ","),
    "quotes": re.sub(r"([\d.]+)(?=,|$)", r'"\1"', swept(), flags=re.MULTILINE),
    # A row at 0 Hz is left out in any case: spoiled at the head of a table it may be taken for a comment.
    **{path.name: path.read_text(encoding="utf-8") for path in CASES if "zero-hertz" not in path.name},
}

SLIPS = {
    "a letter before": lambda row: "x" + row,
    "a word before": lambda row: "data " + row,
    "a quote before": lambda row: '"' + row,
    "a hash before": lambda row: "#" + row,
    "a star before": lambda row: "* " + row,
    "a remark's mark before": lambda row: "// " + row,
    "an exclamation mark before": lambda row: "!" + row,
    "a stray unit": lambda row: re.sub(r"(\d)(?=[\s,;\"]|$)", r"\1 Hz", row, count=1),
    "a unit behind": lambda row: row + " deg",
    "another decimal mark": lambda row: row.replace(".", ",") if "." in row else row.replace(",", "."),
    "a column less": lambda row: re.sub(r"(;\s*|\t\s*|,(?=[^;\t]*$)\s*|\s+)[^;\t\s]*$", "", row.rstrip(" \t,;")),
    "a column more": lambda row: (
        row + (";7.5" if ";" in row else "\t7.5" if "\t" in row else ",7.5" if "," in row else " 7.5")
    ),
}


MARKED = ("a hash before", "a star before", "a remark's mark before", "an exclamation mark before")
"""By these a line is plainly a comment."""


def rows_of(text: str, touchstone: bool) -> tuple[dict[int, Any], Ledger]:
    """The numbers of each line that holds a row, and the ledger."""
    if touchstone:
        data: TouchstoneData = parse_touchstone(text)
        values = zip(data.frequency_hz.tolist(), data.impedance_ohm.tolist(), strict=True)
        return dict(zip(data.line.tolist(), values, strict=True)), data.ledger
    raw: RawTable = split_table(text)
    return dict(zip(raw.lines, raw.rows, strict=True)), raw.ledger


def outcome(text: str, mangled: dict[int, str], *, touchstone: bool = False, quantity: Any = "ohm") -> str:
    """What comes of a table some lines of which are written anew: "refused", "counted" or "the same"."""
    before, whole = rows_of(text, touchstone)
    lines = text.split("\n")
    for number, row in mangled.items():
        lines[number - 1] = row
    new = "\n".join(lines)
    try:
        if not touchstone:
            parse_table(new, Path("t.csv"), quantity)
        after, ledger = rows_of(new, touchstone)
    except InputError:
        return "refused"
    assert ledger.lines == whole.lines == len(text.splitlines())
    assert ledger.rows == len(after)
    for number, row in before.items():
        assert number in ledger.not_read or after.get(number) == row, lines[number - 1]
    assert ledger.rows + len(ledger.not_read) == whole.rows + len(whole.not_read)
    assert (ledger.blank, ledger.others) == (whole.blank, whole.others)
    return "counted" if len(ledger.not_read) > len(whole.not_read) else "the same"


def quantity_of(name: str) -> str:
    """What a case is read as."""
    beside = CASES[0].parent / f"{name}.json"
    return "dB" if beside.exists() and '"quantity": "dB"' in beside.read_text(encoding="utf-8") else "ohm"


@pytest.mark.parametrize("slip", SLIPS)
def test_a_third_of_the_rows_in_every_dialect(slip: str) -> None:
    for name, text in DIALECTS.items():
        rows, _ = rows_of(text, False)
        picked = random.Random(name).sample(sorted(rows), max(1, len(rows) // 3))
        lines = text.split("\n")
        found = outcome(text, {n: SLIPS[slip](lines[n - 1]) for n in picked}, quantity=quantity_of(name))
        # Of a case of few rows two thirds are too few.
        marked = slip in MARKED and len(rows) - len(picked) >= LEAST_ROWS
        assert found == ("counted" if marked else "refused"), name


@pytest.mark.parametrize("slip", SLIPS)
def test_a_third_of_the_rows_of_a_touchstone_file(slip: str) -> None:
    rows, _ = rows_of(TOUCHSTONE, True)
    lines = TOUCHSTONE.split("\n")
    picked = random.Random(slip).sample(sorted(rows), len(rows) // 3)
    found = outcome(TOUCHSTONE, {n: SLIPS[slip](lines[n - 1]) for n in picked}, touchstone=True)
    assert found == ("counted" if slip in ("a hash before", "an exclamation mark before") else "refused")


@pytest.mark.parametrize("number", [3, 62])
def test_a_commented_row_at_either_end_is_counted(number: int) -> None:
    for text, touchstone in ((swept(), False), (TOUCHSTONE, True)):
        row = text.split("\n")[number - 1]
        assert outcome(text, {number: "# " + row}, touchstone=touchstone) == "counted"


LETTERS = "xqHzO#!*%\"'/~>|:_?\u00b0\u2126"
"""Neither digits nor signs, marks and the letter of an exponent: they make another number of one, which nobody sees."""


def scribbled(text: str, seed: int, touchstone: bool = False) -> dict[int, str]:
    """Some rows with letters written into them, anywhere."""
    draw = random.Random(seed)
    rows, _ = rows_of(text, touchstone)
    lines = text.split("\n")
    made = {}
    for number in draw.sample(sorted(rows), draw.randint(1, max(1, len(rows) // 3))):
        row = lines[number - 1]
        for _ in range(draw.randint(1, 3)):
            at = draw.choice((0, 0, draw.randint(0, len(row))))
            row = row[:at] + draw.choice(LETTERS) * draw.randint(1, 2) + row[at:]
        made[number] = row
    return made


@given(st.sampled_from(sorted(DIALECTS)), st.integers(0, 2**32))
@settings(max_examples=150)
def test_scribbled_rows_are_refused_or_counted(name: str, seed: int) -> None:
    text = DIALECTS[name]
    outcome(text, scribbled(text, seed), quantity=quantity_of(name))


@given(st.integers(0, 2**32))
@settings(max_examples=60)
def test_scribbled_rows_of_a_touchstone_file_are_refused_or_counted(seed: int) -> None:
    made = scribbled(TOUCHSTONE, seed, touchstone=True)
    # Behind an exclamation mark stands a comment: what is left before it is a row's own numbers, or none.
    outcome(TOUCHSTONE, {n: row for n, row in made.items() if "!" not in row[1:]}, touchstone=True)


def test_what_does_not_read_is_told_with_its_lines() -> None:
    lines = swept().split("\n")
    for number in (10, 12, 13, 14, 20, 30, 40, 50, 60):
        lines[number - 1] = "#" + lines[number - 1]
    table = parse_table("\n".join(lines), Path("t.csv"), "ohm")
    assert table.ledger.not_read == (10, 12, 13, 14, 20, 30, 40, 50, 60)
    assert table.ledger.rows == table.frequency_hz.size == 51
    assert table.warnings[0].startswith("lines 10, 12-14, 20, 30, 40 and 2 more: '#")


def test_spans() -> None:
    assert spans([12, 13, 14, 20]) == "12-14, 20"
    assert spans([]) == ""
    assert spans(range(1, 30, 2), 5) == "1, 3, 5, 7, 9 and 10 more"
    assert spans([1, 3, 5, 7], 3) == "1, 3, 5, 7"


STOCK = (Path(__file__).parents[2] / "examples" / "stock.csv").read_text(encoding="utf-8")


@pytest.mark.parametrize("slip", [slip for slip in SLIPS if slip not in ("a hash before", "a unit behind")])
def test_no_mangled_line_of_a_stock_list_is_passed_over(slip: str) -> None:
    """A line behind # is a comment there, as the format says; the last column is a count, or empty."""
    lines = STOCK.split("\n")
    parts = [n for n, line in enumerate(lines) if line.count(",") == 11 and "." in line]
    for place in random.Random(slip).sample(parts, 20):
        new = SLIPS[slip](lines[place])
        with pytest.raises(InputError, match=rf"^stock\.csv:{place + 1}: "):
            parse_stock("\n".join([*lines[:place], new, *lines[place + 1 :]]), Path("stock.csv"))
