"""Which lines of a measurement table are rows of numbers, and which are comments; quoted numbers without their quotes.

A line of nothing but numbers is a row. Between the rows and at either end of them a line that could be a row gone wrong
stays among them, so that it is refused with its number: no measured row is lost in silence.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import dropwhile
from typing import Literal

from xover.errors import InputError
from xover.files.budget import MOST_ROWS

Separator = Literal[" ", "\t", ",", ";"]

NONFINITE = r"[+-]?(?:nan(?:\(\w*\))?|inf(?:inity)?|1\.#\w+)"
# A line that begins like this is a row, or a row gone wrong, unless words make it a comment at an end of the file.
_ROW_START = re.compile(rf"[+-]?[.,]?[0-9]|{NONFINITE}(?=[\s,;]|$)", re.IGNORECASE)
_ONLY_NUMBERS = re.compile(
    rf"(?:[-+,;\s]++|(?<![\w.]){NONFINITE}(?=[\s,;]|$)|[0-9.,]++(?:e[-+]?[0-9]++)?)++", re.IGNORECASE
)
_NUMBER = re.compile(rf"[+-]?(?:[0-9]++(?:[.,][0-9]*+)?|[.,][0-9]++)(?:e[+-]?[0-9]++)?|{NONFINITE}", re.IGNORECASE)
_DATE_OR_TIME = re.compile(r"\d+([-/.:])\d+\1\d+|\d+:\d\d")
_WORD = re.compile(r"[^\w]*[^\W\d_]+[^\w]*")
_OPEN_QUOTE = re.compile(r"(?=.*[0-9])[\"'][-+0-9.,;eE\"'\s]*")
_MARKS = "*#!;/%"
# What may stand before a row that it spoils: 'x20 6.2 12.5', '> 20 6.2 12.5', 'data 20 6.2 12.5'.
_SLIP = re.compile(r"\A[^\s\d.,;+*#!/%-][^\d.,;+-]{0,19}[,;]?\s*(?=[+-]?[.,]?[0-9])")
_NEAR = 2.5
"""A number within this factor of the next row's can be of the same column."""


@dataclass(frozen=True)
class Line:
    """A line of the file and its number, from 1."""

    number: int
    text: str


@dataclass(frozen=True)
class SortedLines:
    """The lines of a table.

    Attributes
    ----------
    preamble : comment lines before the first row.
    rows : the rows, and lines that must be rows gone wrong.
    sound : those of them that hold nothing but numbers, or all where there is none.
    left_out : what was taken for a comment although it says something between the rows, or goes on with them beyond.
    blank : lines with nothing on them.
    """

    preamble: tuple[Line, ...]
    rows: tuple[Line, ...]
    sound: tuple[Line, ...]
    left_out: tuple[Line, ...]
    blank: int = 0


def sort_lines(text: str, separator_of: Callable[[Sequence[Line]], Separator]) -> SortedLines:
    """Tell rows from comments.

    Parameters
    ----------
    separator_of : what separates the columns of some rows.

    Raises InputError: with the line: no row, too many.
    """
    stripped = (raw.replace("\u2212", "-").strip() for raw in text.split("\n"))
    lines = _unquoted([Line(number, line) for number, line in enumerate(stripped, start=1) if line])
    blank = text.count("\n") + (text[-1:] != "\n") - len(lines)
    for line in lines:
        if line.text[0] in "\"'" and _OPEN_QUOTE.fullmatch(line.text):
            raise InputError("a quote does not close", "close it, or export the table without quotes", line=line.number)
    sound = [i for i, line in enumerate(lines) if is_row(line.text)]
    sound = _undated(sound, lines)
    sound = _undated(sound[::-1], lines)[::-1]
    if len(sound) > 1 and lines[sound[0]].text == str(len(sound) - 1):  # the count of rows
        del lines[sound[0]]
        sound = [i - 1 for i in sound[1:]]
    if not sound:
        rows = [n for n in lines if _ROW_START.match(n.text) and not _DATE_OR_TIME.match(n.text)]
        if not rows:
            raise InputError("holds no row of numbers", "give rows of frequency in Hz, magnitude and phase in degrees")
        return SortedLines(tuple(lines[: lines.index(rows[0])]), tuple(rows), tuple(rows), (), blank)
    if len(sound) > MOST_ROWS:
        raise InputError(
            f"the table has more than {MOST_ROWS} rows", "thin it out", line=lines[sound[MOST_ROWS]].number
        )
    first, last = sound[0], sound[-1]
    row = _Row([lines[i] for i in sound], separator_of)
    heads = {line.text for line in lines[:first]}
    rows, left_out = [], []
    among = lines[first : last + 1]
    if len(among) == len(sound):
        rows, among = among, []
    for line in among:
        if _ROW_START.match(line.text) or row.is_spoiled(line.text):
            rows.append(line)
        elif line.text not in heads and row.is_lost(line.text):
            left_out.append(line)
    head = row.spoiled_beyond(lines[first], lines[:first][::-1])[::-1]
    tail = row.spoiled_beyond(lines[last], lines[last + 1 :])
    before = [line for line in lines[:first] if line not in head]
    behind = [line for line in lines[last + 1 :] if line not in tail]
    left_out = row.lost_beyond(lines[first], before[::-1])[::-1] + left_out + row.lost_beyond(lines[last], behind)
    sound_lines = tuple(lines[i] for i in sound)
    return SortedLines(tuple(lines[:first]), (*head, *rows, *tail), sound_lines, tuple(left_out), blank)


def _undated(places: list[int], lines: Sequence[Line]) -> list[int]:
    """The places from the first on that is no date or time of day."""
    return list(dropwhile(lambda i: _DATE_OR_TIME.match(lines[i].text), places))


def fields_of(text: str, separator: Separator) -> list[str]:
    """Split a row into fields; separators that close the row make none."""
    if separator == " ":
        return text.split()
    fields = [field.strip() for field in text.split(separator)]
    while len(fields) > 1 and not fields[-1]:
        fields.pop()
    return fields


def usual(counts: Sequence[int]) -> int:
    """The count that stands most often, the first of several."""
    return Counter(counts).most_common(1)[0][0]


def is_row(text: str) -> bool:
    """Whether a line holds nothing but numbers, and what separates them."""
    return _ROW_START.match(text) is not None and _ONLY_NUMBERS.fullmatch(text) is not None


def _is_number(field: str) -> bool:
    return _NUMBER.fullmatch(field) is not None


def _has_digit(field: str) -> bool:
    return any(sign.isdigit() for sign in field)


class _Row:
    """What a row of this file looks like, for lines that are none."""

    def __init__(self, sound: Sequence[Line], separator_of: Callable[[Sequence[Line]], Separator]) -> None:
        self._sound, self._separator_of = sound, separator_of

    @cached_property
    def _separator(self) -> Separator:
        return self._separator_of(self._sound)

    @cached_property
    def _width(self) -> int:
        return usual([len(self._fields(line.text)) for line in self._sound])

    def _fields(self, text: str) -> list[str]:
        return fields_of(text, self._separator)

    def is_spoiled(self, text: str) -> bool:
        """Whether a line between the rows that does not begin with a number must be one of them all the same."""
        empty_first = text[0] == ";" == self._separator and len(self._fields(text)) == self._width
        if text[0] in _MARKS and not empty_first:
            return False
        for fields in (self._fields(text), re.split(r"[\s;,]+", text)):
            numbers, first = sum(map(_is_number, fields)), fields[0]
            if len(fields) == self._width + 1 and numbers == self._width:
                return True
            short = len(first) <= 3 or _has_digit(first)
            enough = numbers >= max(2, self._width - 1) or (short and sum(map(_has_digit, fields)) >= self._width - 1)
            if len(fields) == self._width and enough:
                return True
        return False

    def is_lost(self, text: str) -> bool:
        """Whether a comment between the rows says something that may have been a row: no ruler, no marked words."""
        if text[0] not in _MARKS:
            return any(sign.isalnum() for sign in text)
        rest = text.lstrip(_MARKS + " \t")
        return bool(rest) and (self._is_whole(rest) or self.is_spoiled(rest))

    def _is_whole(self, text: str) -> bool:
        return is_row(text) and len(self._fields(text)) == self._width

    def lost_beyond(self, row: Line, lines: Iterable[Line]) -> list[Line]:
        """Of the comments that lead away from an end of the table, those that go on with it, sound or spoiled."""
        lost, near = [], row.text
        for line in lines:
            rest = _SLIP.sub("", re.sub("[\"']", "", line.text).lstrip(_MARKS + " \t"), count=1)
            fields = self._fields(rest)
            like = rest != line.text and len(fields) == self._width > 1 and self.is_lost("#" + rest)
            if like and self._is_near(rest, near) and (self._is_near(rest, near, 1) or not _is_number(fields[1])):
                lost.append(line)
                near = rest
        return lost

    def spoiled_beyond(self, row: Line, lines: Iterable[Line]) -> list[Line]:
        """Of the lines that lead away from an end of the table, those that must be rows gone wrong."""
        spoiled, near = [], row.text
        for line in lines:
            if _ROW_START.match(line.text):
                gone_wrong, rest = not self._is_remark(line.text, near), line.text
            else:
                rest = _SLIP.sub("", line.text, count=1)
                whole = rest != line.text and self._is_whole(rest)
                gone_wrong = (
                    whole
                    and self._is_near(rest, near)
                    and (len(line.text) - len(rest) <= 3 or self._is_near(rest, near, 1))
                )
            if gone_wrong:
                spoiled.append(line)
                near = rest
        return spoiled

    def _is_remark(self, text: str, near: str) -> bool:
        """Whether a line that begins with a number is words all the same: '2nd run', '1 m on axis', a date."""
        fields = self._fields(text)
        numbers = [_is_number(field) for field in fields]
        if _DATE_OR_TIME.match(text):
            return sum(numbers[1:]) < self._width - 1
        tokens = re.split(r"[\s;,]+", text)
        words = sum(_WORD.fullmatch(token) is not None for token in tokens)
        if words == 0 or sum(map(_has_digit, tokens)) > words + 1:
            return False
        whole = len(fields) == self._width
        run = numbers.index(False) if False in numbers else len(numbers)
        if run >= max(2, self._width - 1) or (whole and sum(numbers) >= self._width - 1):
            return False
        if not whole or not (numbers[0] or all(map(_has_digit, fields))):
            return True
        return not (numbers[0] and self._separator != " ") and not self._is_near(text, near)

    def _is_near(self, text: str, row: str, column: int = 0) -> bool:
        here, there = (_first_number(self._fields(line)[column]) for line in (text, row))
        return here is not None and there is not None and there / _NEAR <= here <= there * _NEAR


def _first_number(field: str) -> float | None:
    found = re.match(r"[0-9]+(?:[.,][0-9]*)?(?:e[+-]?[0-9]+)?", field.lstrip("+-"), re.IGNORECASE)
    return float(found[0].replace(",", ".")) if found else None


def _unquoted(lines: Sequence[Line]) -> list[Line]:
    """The same lines without the quotes round their fields.

    Where commas within quotes mark decimals and commas between them separate columns, a semicolon separates instead.
    """
    if not any('"' in line.text or "'" in line.text for line in lines):
        return list(lines)
    split = [_quoted_parts(line.text) for line in lines]
    both = any(
        parts and _comma_between(parts[0::2]) and any("," in p for p in map(_number_of, parts[1::2])) for parts in split
    )
    made = []
    for line, parts in zip(lines, split, strict=True):
        text = line.text
        if parts and not any(part.strip() for part in parts[0::2]) and len(parts) == 3:
            text = parts[1].strip()  # the whole line stands in quotes
        elif parts:
            inner = [_number_of(part) or re.sub("[,;\t]", " ", part.strip()) for part in parts[1::2]]
            outer = [part.replace(",", ";") if both else part for part in parts[0::2]]
            text = outer[0] + "".join(i + o for i, o in zip(inner, outer[1:], strict=True))
        elif both and is_row(text):
            text = text.replace(",", ";")
        if text:
            made.append(Line(line.number, text.strip()))
    return made


def _number_of(part: str) -> str:
    """The number in quotes, or nothing."""
    return part.strip() if _is_number(part.strip()) else ""


def _comma_between(outside: Sequence[str]) -> bool:
    """Whether a comma stands beside a quote."""
    ends = [part.strip()[:1] for part in outside[1:]] + [part.strip()[-1:] for part in outside[:-1]]
    return "," in ends


def _quoted_parts(text: str) -> list[str] | None:
    """Outside, inside, outside ... of the quotes of a line that can be a row or a heading; None of any other."""
    mark = '"' if '"' in text and text[0] != "'" else "'"
    parts = text.split(mark)
    if len(parts) < 3 or len(parts) % 2 == 0:
        return None
    begins = text[0] in "\"'" or _ROW_START.match(text) is not None
    return parts if begins or all(map(_number_of, parts[1::2])) else None
