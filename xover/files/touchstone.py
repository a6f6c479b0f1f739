"""One-port Touchstone files, versions 1.x and 2.x: Z, Y or S parameters as an impedance in ohm.

Source: Touchstone File Format Specification, version 2.1 (IBIS Open Forum), and its versions 1.1
and 2.0. In version 1 Z and Y data are normalised to the R of the option line; from version 2 on
they are in ohm and siemens, and [Reference] bears on S data only.
"""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.errors import InputError
from xover.files.atomic import read_text
from xover.files.budget import LONGEST_NUMBER, MOST_ROWS, TABLE_FILE
from xover.files.table_lines import Line
from xover.ledger import Ledger, counted

_FREQUENCY = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
_PARAMETER = "szyhg"
_FORMAT = ("ri", "ma", "db")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_KEYWORD = re.compile(r"\[([^\]]*)\](.*)")
_BEFORE_ROW = "!# \t*;%/~>|:_?'\"\u00b0"
_NEAR = 2.5
"""A row that goes on with others lies within this factor of the last one's frequency."""
_VERSIONS = ("2.0", "2.1")
# Keywords that change nothing for one port.
_IDLE = ("matrix format", "end information")


@dataclass(frozen=True, eq=False)
class TouchstoneData:
    """A one-port sweep: (n,) each; `line` tells where a row stands in the file.

    left_out : lines that are comments by the format, and hold a row's numbers all the same.
    ledger : what became of every line.
    """

    frequency_hz: Float
    impedance_ohm: Complex
    line: NDArray[np.int64]
    left_out: tuple[Line, ...]
    ledger: Ledger


@dataclass(frozen=True)
class _Options:
    """The option line; the defaults are the specification's."""

    hertz: float = 1e9
    parameter: str = "s"
    form: str = "ma"
    reference_ohm: float = 50.0


@dataclass
class _File:
    """What has been read so far."""

    version: str = "1"
    options: _Options | None = None
    reference_ohm: float | None = None
    awaits_reference: bool = False
    promised: int | None = None
    promised_line: int | None = None
    in_data: bool = False
    in_information: bool = False
    ended: bool = False


def parse_touchstone(text: str, path: Path | None = None) -> TouchstoneData:
    """Read the text of a one-port Touchstone file, its rows in their order.

    An open circuit is allowed at 0 Hz only, and is infinite there.

    Raises InputError: with `path` and line: G or H parameters, several ports, an option line, keyword or number that is
    not understood, another count of rows than [Number of Frequencies].
    """
    try:
        return _rows(text)
    except InputError as error:
        raise error.at(path, None) from None


def is_touchstone(text: str) -> bool:
    """Whether a text begins with [Version], or with an option line that names parameter and format."""
    lines = (line for raw in text.split("\n") if (line := raw.split("!", 1)[0].strip().lower()))
    first = next(lines, "")
    if not first.startswith("#"):
        return re.match(r"\[ *version *\]", first) is not None
    words = set(re.sub(r"\br ++[0-9.e+-]++$", "", first[1:].strip()).split())
    parameters, forms = words & set(_PARAMETER), words & set(_FORMAT)
    return len(parameters) == len(forms) == 1 and words - parameters - forms <= set(_FREQUENCY)


def read_touchstone(path: Path | str) -> TouchstoneData:
    """Read a one-port file. Raises InputError: as `parse_touchstone`."""
    return parse_touchstone(read_text(path, TABLE_FILE), Path(path))


def _rows(text: str) -> TouchstoneData:
    file = _File()
    rows: list[tuple[float, complex, int]] = []
    hidden: list[Line] = []
    blank = 0
    for number, raw in enumerate(text.split("\n"), start=1):
        line = Line(number, raw.split("!", 1)[0].strip())
        blank += not raw.strip()
        if not line.text or file.ended or (line.text[0] == "#" and file.options is not None):
            # Comments, and later option lines, are ignored, says the specification: not so where a row hides in one.
            if _holds_row(raw):
                hidden.append(Line(number, raw.strip()))
            continue
        if line.text.startswith("["):
            _keyword(line, file)
        elif file.in_information:
            continue
        elif line.text.startswith("#"):
            file.options = _option_line(line)
        elif file.awaits_reference:
            _reference(line.text, line, file)
        elif len(rows) == MOST_ROWS:
            raise InputError(f"the file has more than {MOST_ROWS} rows", "thin it out", line=number)
        else:
            rows.append(_row(line, file))
    _check_whole(file, len(rows))
    left_out = _lost(hidden, rows, file.options)
    return TouchstoneData(
        np.array([row[0] for row in rows], dtype=float),
        np.array([row[1] for row in rows], dtype=complex),
        np.array([row[2] for row in rows], dtype=np.int64),
        left_out,
        counted(text, len(rows), [line.number for line in left_out], blank - (text[-1:] == "\n")),
    )


def _fields(raw: str) -> list[str]:
    """What a comment holds from its first number on, another comment behind left off."""
    return raw.lstrip(_BEFORE_ROW).split("!", 1)[0].split()


def _holds_row(raw: str) -> bool:
    """Whether a comment holds three fields that are numbers, one of which may have been spoiled."""
    fields = _fields(raw)
    return len(fields) == 3 and all(any(c.isdigit() for c in f) for f in fields) and sum(map(_is_number, fields)) >= 2


def _is_number(field: str) -> bool:
    return len(field) <= LONGEST_NUMBER and _NUMBER.fullmatch(field) is not None


def _lost(
    hidden: Sequence[Line], rows: Sequence[tuple[float, complex, int]], options: _Options | None
) -> tuple[Line, ...]:
    """Of the rows that comments hold, those among the rows that were read, and those that go on with them beyond."""
    scale = (options or _Options()).hertz
    (first_hz, _, first), (last_hz, _, last) = rows[0], rows[-1]
    lost = {line.number: line for line in hidden if first < line.number < last}
    for near, side, beyond in (
        (first_hz, -1.0, [line for line in hidden[::-1] if line.number < first]),
        (last_hz, 1.0, [line for line in hidden if line.number > last]),
    ):
        rising = side if first_hz <= last_hz else -side
        for line in beyond:
            first_field = _fields(line.text)[0]
            hz = float(first_field) * scale if _is_number(first_field) else math.nan
            if hz > 0.0 and near > 0.0 and 1.0 < (hz / near) ** rising <= _NEAR:
                lost[line.number], near = line, hz
    return tuple(lost[number] for number in sorted(lost))


def _check_whole(file: _File, count: int) -> None:
    if count == 0:
        raise InputError("holds no row of data", "give rows of frequency and two numbers after the option line")
    if file.version != "1" and file.promised is None:
        raise InputError("[Number of Frequencies] is missing", f"add '[Number of Frequencies] {count}'")
    if file.promised is not None and file.promised != count:
        raise InputError(
            f"[Number of Frequencies] says {file.promised}, but there are {count} rows",
            "check that the file is whole",
            line=file.promised_line,
        )


def _keyword(line: Line, file: _File) -> None:
    match = _KEYWORD.fullmatch(line.text)
    if match is None:
        raise InputError("a keyword lacks its ']'", "write it as '[Network Data]'", line=line.number)
    name, value = " ".join(match[1].lower().split()), match[2].strip()
    if file.in_information and name != "end information":
        return
    if name == "version":
        _version(value, line, file)
    elif name == "number of ports":
        if value != "1":
            raise InputError(
                f"the file has {value[:20] or 'no number of'} ports", "give a one-port file", line=line.number
            )
    elif name == "number of frequencies":
        if not re.fullmatch("[0-9]{1,7}", value):
            raise InputError(f"'{value[:20]}' is not a number of frequencies", "write a count", line=line.number)
        file.promised, file.promised_line = int(value), line.number
    elif name == "reference":
        file.awaits_reference = True
        if value:
            _reference(value, line, file)
    elif name == "network data":
        file.in_data = True
    elif name in ("begin information", "end information"):
        file.in_information = name == "begin information"
    elif name == "end":
        file.ended = True
    elif name not in _IDLE:
        raise InputError(
            f"the keyword [{match[1].strip()[:40]}] does not belong in a one-port file", "remove it", line=line.number
        )


def _version(value: str, line: Line, file: _File) -> None:
    if value not in _VERSIONS:
        raise InputError(f"the version '{value[:20]}' is not known", "write 2.0 or 2.1", line=line.number)
    file.version = value


def _reference(value: str, line: Line, file: _File) -> None:
    numbers = [_number(token, line) for token in value.split()]
    if len(numbers) != 1 or not numbers[0] > 0.0 or math.isinf(numbers[0]):
        raise InputError("[Reference] needs one resistance above 0 ohm", "write '[Reference] 50'", line=line.number)
    file.reference_ohm, file.awaits_reference = numbers[0], False


def _option_line(line: Line) -> _Options:
    """Read `# <frequency unit> <parameter> <format> R <n>`, any of them absent, in any order but R n."""
    hertz, parameter, form, reference = None, None, None, None
    tokens = line.text[1:].lower().split()
    while tokens:
        token = tokens.pop(0)
        if token in _FREQUENCY and hertz is None:
            hertz = _FREQUENCY[token]
        elif len(token) == 1 and token in _PARAMETER and parameter is None:
            parameter = token
        elif token in _FORMAT and form is None:
            form = token
        elif token == "r" and tokens and reference is None:
            reference = _number(tokens.pop(0), line)
            if not reference > 0.0 or math.isinf(reference):
                raise InputError("R must be above 0 ohm", "write 'R 50', or 'R 1' for plain ohms", line=line.number)
        else:
            raise InputError(
                f"'{token[:20]}' in the option line is not understood or stands twice",
                "write it as '# Hz Z RI R 1'",
                line=line.number,
            )
    if parameter in ("g", "h"):
        raise InputError(
            f"{parameter.upper()} parameters need two ports", "give Z, Y or S parameters of one port", line=line.number
        )
    default = _Options()
    return _Options(
        hertz or default.hertz,
        parameter or default.parameter,
        form or default.form,
        reference or default.reference_ohm,
    )


def _row(line: Line, file: _File) -> tuple[float, complex, int]:
    if file.options is None:
        raise InputError(
            "data stand before the option line", "begin the file with a line such as '# Hz Z RI R 1'", line=line.number
        )
    if file.version != "1" and not file.in_data:
        raise InputError("data stand before [Network Data]", "add the keyword above them", line=line.number)
    numbers = [_number(token, line) for token in line.text.split()]
    if len(numbers) != 3:
        raise InputError(
            f"has {len(numbers)} numbers where a one-port row has 3",
            "give frequency and one pair; a file of more ports does not fit",
            line=line.number,
        )
    frequency_hz = numbers[0] * file.options.hertz
    if frequency_hz < 0.0 or not all(math.isfinite(x) for x in (frequency_hz, *numbers)):
        raise InputError("holds a number that is below 0 Hz or not finite", "correct the row", line=line.number)
    return frequency_hz, _impedance(numbers[1:], frequency_hz, file, file.options, line), line.number


def _impedance(pair: Sequence[float], frequency_hz: float, file: _File, options: _Options, line: Line) -> complex:
    """One value in ohm; an open circuit is infinite at 0 Hz and an error elsewhere."""
    value = _complex(pair, options.form, line)
    scale = options.reference_ohm if file.version == "1" else 1.0
    if options.parameter == "z":
        top, bottom = value * scale, complex(1.0)
    elif options.parameter == "y":
        top, bottom = complex(scale), value
    else:
        top, bottom = (file.reference_ohm or options.reference_ohm) * (1.0 + value), 1.0 - value
    impedance = complex(math.inf) if bottom == 0 else top / bottom
    if not cmath.isfinite(impedance) and frequency_hz > 0.0:
        raise InputError("an open circuit has no finite impedance", "remove or correct the row", line=line.number)
    return impedance if cmath.isfinite(impedance) else complex(math.inf)


def _complex(pair: Sequence[float], form: str, line: Line) -> complex:
    if form == "ri":
        return complex(*pair)
    if form == "db" and abs(pair[0]) > 6000.0:
        raise InputError(f"{pair[0]:g} dB is out of all range", "check the format in the option line", line=line.number)
    magnitude = 10.0 ** (pair[0] / 20.0) if form == "db" else pair[0]
    return cmath.rect(magnitude, math.radians(pair[1]))


def _number(token: str, line: Line) -> float:
    if not _is_number(token):
        raise InputError(f"'{token[:40]}' is not a number", "correct the row", line=line.number)
    return float(token)
