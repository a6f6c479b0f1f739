"""The rows of a measurement table: which lines are rows, what separates columns, what marks decimals.

The dialect is worked out from all rows of a file together, never line by line. Where a file can be
read in two ways it is refused with what would make it plain.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from xover.errors import InputError

MOST_ROWS = 1_000_000

Separator = Literal[" ", "\t", ",", ";"]
Decimal = Literal[".", ","]

_NONFINITE = r"[+-]?(?:nan(?:\(\w*\))?|inf(?:inity)?|1\.#\w+)"
# A line that begins like this is a row, or a row gone wrong; it is never skipped in silence.
_ROW_START = re.compile(rf"[+-]?[.,]?[0-9]|{_NONFINITE}(?=[\s,;]|$)", re.IGNORECASE)
_QUOTED_ROW = re.compile(r"(?=.*[0-9])[\"'][-+0-9.,;eE\"'\s]*")
# Before the first row, a line that begins with a date or a time is a comment.
_DATE_OR_TIME = re.compile(r"\d+([-/.:])\d+\1\d+|\d+:\d\d")
_NUMBER = {
    ".": re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"),
    ",": re.compile(r"[+-]?[0-9]+(?:,[0-9]+)?(?:[eE][+-]?[0-9]+)?"),
}
_BAD_NUMBER = re.compile(_NONFINITE, re.IGNORECASE)
_DIGITS_AND_MARKS = re.compile(r"[-+0-9.,eE]+")
# 12,345 may be a thousand; 0,345 and 12,34 and 1234,567 may not.
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")


@dataclass(frozen=True)
class Line:
    """A line of the file and its number, from 1."""

    number: int
    text: str


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
    """

    preamble: tuple[Line, ...]
    rows: tuple[tuple[float, ...], ...]
    lines: tuple[int, ...]
    separator: Separator
    decimal: Decimal
    only_whole: bool

    @property
    def columns(self) -> int:
        """Number of columns."""
        return len(self.rows[0])


def split_table(text: str) -> RawTable:
    """Split the text of a table into numbers.

    Raises InputError: without path, with the line: no rows, a field that is no number, unequal columns, decimal marks
    that contradict each other or could be thousands separators.
    """
    preamble, lines = _rows_and_comments(text)
    separator = _separator(lines)
    fields = [_fields(line, separator) for line in lines]
    decimal = _decimal(lines, fields, separator)
    rows = tuple(
        tuple(_number(field, column, decimal, line) for column, field in enumerate(row, start=1))
        for line, row in zip(lines, fields, strict=True)
    )
    for line, row in zip(lines, rows, strict=True):
        if len(row) != len(rows[0]):
            raise InputError(
                f"has {_columns(len(row))} where line {lines[0].number} has {len(rows[0])}",
                "give every row the same columns",
                line=line.number,
            )
    if len(rows[0]) < 2:
        raise InputError("has one column", "give frequency, magnitude and, if measured, phase", line=lines[0].number)
    only_whole = not any(decimal in field for row in fields for field in row)
    return RawTable(preamble, rows, tuple(line.number for line in lines), separator, decimal, only_whole)


def _columns(count: int) -> str:
    return f"{count} column" + ("" if count == 1 else "s")


def _rows_and_comments(text: str) -> tuple[tuple[Line, ...], list[Line]]:
    preamble: list[Line] = []
    rows: list[Line] = []
    for number, raw in enumerate(text.split("\n"), start=1):
        stripped = raw.replace("\u2212", "-").strip()
        if not stripped:
            continue
        if _ROW_START.match(stripped) and (rows or not _DATE_OR_TIME.match(stripped)):
            rows.append(Line(number, stripped))
            if len(rows) > MOST_ROWS:
                raise InputError(f"the table has more than {MOST_ROWS} rows", "thin it out", line=number)
        elif _QUOTED_ROW.fullmatch(stripped):
            raise InputError("the numbers stand in quotes", "export the table without quotes", line=number)
        elif not rows:
            preamble.append(Line(number, stripped))
    if not rows:
        raise InputError("holds no row of numbers", "give rows of frequency in Hz, magnitude and phase in degrees")
    return tuple(preamble), rows


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


def _fields(line: Line, separator: Separator) -> list[str]:
    if separator == " ":
        return line.text.split()
    fields = [field.strip() for field in line.text.split(separator)]
    if len(fields) > 1 and not fields[-1]:
        fields.pop()  # a separator closes the row
    return fields


def _decimal(lines: Sequence[Line], fields: Sequence[Sequence[str]], separator: Separator) -> Decimal:
    if separator == ",":
        return "."
    with_comma = [line for line, row in zip(lines, fields, strict=True) if any("," in field for field in row)]
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


def _number(field: str, column: int, decimal: Decimal, line: Line) -> float:
    if _NUMBER[decimal].fullmatch(field):
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
