"""The rows of a measurement table: what separates columns, what marks decimals.

The dialect is worked out from all rows of a file together, never line by line. Where a file can be
read in two ways it is refused with what would make it plain.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from xover.errors import InputError
from xover.files.budget import LONGEST_NUMBER, MOST_FIELDS
from xover.files.table_lines import NONFINITE, Line, Separator, fields_of, is_row, sort_lines, usual
from xover.ledger import Ledger, counted

Decimal = Literal[".", ","]

_NUMBER = {
    ".": re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"),
    ",": re.compile(r"[+-]?[0-9]+(?:,[0-9]+)?(?:[eE][+-]?[0-9]+)?"),
}
_BAD_NUMBER = re.compile(NONFINITE, re.IGNORECASE)
_DIGITS_AND_MARKS = re.compile(r"[-+0-9.,eE]+")
# 12,345 may be a thousand; 0,345 and 12,34 and 1234,567 may not.
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")


@dataclass(frozen=True)
class RawTable:
    """The numbers of a table, before anything is known of their meaning.

    Attributes
    ----------
    preamble : comment lines before the first row.
    rows : (n, columns) numbers as written, NaN and infinity included.
    lines : (n,) line number of each row.
    separator, decimal : the dialect.
    only_whole : no number of the file has a decimal mark.
    left_out : lines that were taken for comments although they look like rows, or stand among them.
    ledger : what became of every line.
    """

    preamble: tuple[Line, ...]
    rows: tuple[tuple[float, ...], ...]
    lines: tuple[int, ...]
    separator: Separator
    decimal: Decimal
    only_whole: bool
    left_out: tuple[Line, ...]
    ledger: Ledger

    @property
    def columns(self) -> int:
        """Number of columns."""
        return len(self.rows[0])


def split_table(text: str) -> RawTable:
    """Split the text of a table into numbers.

    Raises InputError: without path, with the line: no rows, a field that is no number, unequal columns, decimal marks
    that contradict each other or could be thousands separators.
    """
    found = sort_lines(text, _separator)
    lines, separator = found.rows, _separator(found.sound)
    fields = [fields_of(line.text, separator) for line in lines]
    sound = fields if found.rows == found.sound else [fields_of(line.text, separator) for line in found.sound]
    decimal = _decimal(found.sound, sound, separator)
    rows = _plain_numbers(lines, fields) if found.rows == found.sound and decimal == "." else None
    if rows is None:
        rows = tuple(
            tuple(_number(field, column, decimal, line) for column, field in enumerate(row, start=1))
            for line, row in zip(lines, fields, strict=True)
        )
    width = usual([len(row) for row in rows])
    if width > MOST_FIELDS:
        raise InputError(f"has {width} columns", "give frequency, magnitude and phase", line=lines[0].number)
    for line, row in zip(lines, rows, strict=True):
        if len(row) != width:
            like = next(line for line, row in zip(lines, rows, strict=True) if len(row) == width)
            raise InputError(
                f"has {_columns(len(row))} where line {like.number} has {width}",
                "give every row the same columns",
                line=line.number,
            )
    if len(rows[0]) < 2:
        raise InputError("has one column", "give frequency, magnitude and, if measured, phase", line=lines[0].number)
    only_whole = not any(decimal in field for row in fields for field in row)
    numbers = tuple(line.number for line in lines)
    ledger = counted(text, len(rows), [line.number for line in found.left_out], found.blank)
    return RawTable(found.preamble, rows, numbers, separator, decimal, only_whole, found.left_out, ledger)


def _columns(count: int) -> str:
    return f"{count} column" + ("" if count == 1 else "s")


def _separator(lines: Sequence[Line]) -> Separator:
    if any(";" in line.text for line in lines):
        return ";"
    blank: Separator = "\t" if all("\t" in line.text for line in lines) else " "
    if blank == "\t" and any(" " in field.strip() for line in lines for field in line.text.split("\t")):
        blank = " "
    if not any("," in line.text for line in lines):
        return blank
    # The two readings exclude each other on one line: the first needs a blank away from every comma.
    by_blank = [line for line in lines if _all_numbers(line.text.split(), ",")]
    by_comma = [line for line in lines if _all_numbers([f.strip() for f in line.text.rstrip(" \t,").split(",")], ".")]
    if by_blank and by_comma:
        odd = min(by_blank, by_comma, key=len)[0]
        raise InputError(
            "uses the comma otherwise than other rows: as decimal mark here, as separator there, or the reverse",
            "export the table again with one separator",
            line=odd.number,
        )
    if not by_blank and not by_comma:
        odd = next(line for line in lines if "," in line.text)
        if all(_DIGITS_AND_MARKS.fullmatch(token) for token in odd.text.split()):
            raise InputError(
                f"cannot tell whether the comma in '{_short(odd.text)}' separates columns, decimals or thousands",
                "separate the columns with ';' and write no thousands separator",
                line=odd.number,
            )
    return blank if by_blank else ","


def _all_numbers(fields: Sequence[str], decimal: Decimal) -> bool:
    return len(fields) > 1 and all(_NUMBER[decimal].fullmatch(f) or _BAD_NUMBER.fullmatch(f) for f in fields)


def _decimal(lines: Sequence[Line], fields: Sequence[Sequence[str]], separator: Separator) -> Decimal:
    if separator == ",":
        return "."
    with_comma = [line for line in lines if "," in line.text]
    if not with_comma:
        return "."
    numbers = [field for row in fields for field in row if not _BAD_NUMBER.fullmatch(field)]
    for line, row in zip(lines, fields, strict=True):
        if any("." in field for field in row if not _BAD_NUMBER.fullmatch(field)):
            comma = with_comma[0].number
            raise InputError(
                f"has a decimal point where line {comma} has a comma"
                if comma != line.number
                else "mixes commas and points",
                "use one decimal mark in the whole file and no thousands separator",
                line=line.number,
            )
    commas = [field for field in numbers if "," in field]
    if len(commas) < len(numbers) and all(_THOUSANDS.fullmatch(field) for field in commas):
        raise InputError(
            f"'{_short(commas[0])}' may be a thousand or a decimal comma",
            "write a decimal point and no thousands separator",
            line=with_comma[0].number,
        )
    return ","


def _plain_numbers(lines: Sequence[Line], fields: Sequence[Sequence[str]]) -> tuple[tuple[float, ...], ...] | None:
    """The numbers of rows that hold nothing but numbers with points, for speed; None where `_number` must say more.

    In such rows nothing stands that float takes and `_number` does not, but a number that is too long; `sort_lines`
    gives either rows that are all so, or none.
    """
    if not is_row(lines[0].text) or max(len(line.text) for line in lines) > LONGEST_NUMBER:
        return None
    try:
        return tuple(tuple(map(float, row)) for row in fields)
    except ValueError:
        return None


def _number(field: str, column: int, decimal: Decimal, line: Line) -> float:
    if len(field) <= LONGEST_NUMBER and _NUMBER[decimal].fullmatch(field):
        return float(field.replace(",", "."))
    if _BAD_NUMBER.fullmatch(field):
        return float(
            "-inf" if "inf" in field.lower() and field[0] == "-" else "inf" if "inf" in field.lower() else "nan"
        )
    if not field:
        raise InputError(f"column {column} is empty", "fill it in or remove the row", line=line.number)
    raise InputError(
        f"'{_short(field)}' in column {column} is not a number",
        "correct it, or begin the line with '*' if it is a comment",
        line=line.number,
    )


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
