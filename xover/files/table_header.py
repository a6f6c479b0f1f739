"""The header of a measurement table: which column is which, and in which unit.

A header that names units is believed. Sentences that only happen to hold a unit are not headers.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from xover.errors import InputError
from xover.files.table_dialect import RawTable
from xover.files.table_headings import (
    BOTH_PARTS,
    COMMENT_MARKS,
    Heading,
    Role,
    is_another_quantity,
    paired_letters,
    plain,
    read_heading,
    units_in_order,
)
from xover.files.table_lines import Line

Quantity = Literal["ohm", "dB"]


@dataclass(frozen=True)
class Columns:
    """Where the three quantities stand and how to bring them to Hz, ohm or dB, and degrees.

    Attributes
    ----------
    frequency, magnitude, phase : column numbers from 0; phase is None where there is none.
    frequency_scale, magnitude_scale, phase_scale : factors to Hz, ohm (1 for dB) and degrees.
    frequency_declared, magnitude_declared, phase_declared : the header named the unit.
    uncertainty : column of the uncertainty in percent; None without one.
    named : the header named every one of the three columns.
    parts : magnitude and phase are the columns of a real and an imaginary part, and their factors those to ohm, or to
        the pressure of which 1 is 0 dB.
    warnings : what was taken on trust.
    """

    frequency: int
    magnitude: int
    phase: int | None
    frequency_scale: float = 1.0
    magnitude_scale: float = 1.0
    phase_scale: float = 1.0
    frequency_declared: bool = False
    magnitude_declared: bool = False
    phase_declared: bool = False
    named: bool = False
    parts: bool = False
    uncertainty: int | None = None
    warnings: tuple[str, ...] = ()


_FREQUENCY_SCALE = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "rad/s": 1.0 / (2.0 * math.pi)}
_OHM_SCALE = {"ohm": 1.0, "kohm": 1e3}
# Of a part of a response: 0 dB is 20 uPa, or 1 where it is a ratio.
_PRESSURE_SCALE = {"pa": 1.0 / 20e-6, "mpa": 1e-3 / 20e-6, "v/v": 1.0}
_PHASE_SCALE = {"deg": 1.0, "rad": 180.0 / math.pi, "gon": 0.9, "turn": 360.0}

# A frequency rises by more than this over a sweep, a magnitude that only rises does not.
_WIDE_BAND = 10.0
# What a header says where the phases of several records share no zero of time; common practice, no published source.
_TIME = r"(?:(?:timing|time)[ -]?(?:ref(?:erence)?|base)|loop[ -]?back)\b"
_DENIES = re.compile(
    rf"\b(?:no|not|without|lacks)(?: (?:an?|any|the|common|shared|acoustic|electrical))* {_TIME}"
    rf"|{_TIME}(?: channel)?(?: ?[:=] ?|(?: (?:is|was))? )(?:no|none|off|not|disabled|false|absent|missing)\b"
    r"(?!\.? ?[0-9])|\bnot time[ -]referenced\b"
)
# What `response` writes above a table that no calibrator has scaled.
_RELATIVE = re.compile(r"\blevels?(?: is| are)? relative\b(?! to\b)")


def read_header(raw: RawTable, quantity: Quantity) -> Columns:
    """Work out the columns of a table from its header, or from the usual order without one.

    Raises InputError: without path, with the header's line: a unit that contradicts the wanted quantity, a real part
    without an imaginary one, no magnitude or several that could be meant; columns without a header that can be read in
    two ways.
    """
    found = _headings(raw)
    if found is None:
        return _usual_order(raw)
    line, headings = found
    try:
        columns = _columns(headings, raw, quantity)
    except InputError as error:
        raise error.at(None, line) from None
    stated = [i for i, h in enumerate(headings) if h is not None and h.role is Role.UNCERTAINTY and h.unit == "%"]
    return replace(columns, uncertainty=stated[0]) if len(stated) == 1 else columns


def relative_level(raw: RawTable) -> Line | None:
    """The header line that says that the level is relative, or None."""
    return next((line for line in raw.preamble if _RELATIVE.search(plain(line.text))), None)


def denied_reference(raw: RawTable) -> Line | None:
    """The header line that says that the sweep has no time reference, or None; its phase holds no known delay."""
    for line in raw.preamble:
        if _DENIES.search(" ".join(plain(line.text).replace('"', " ").split())):
            return line
    return None


def _usual_order(raw: RawTable) -> Columns:
    """Frequency, magnitude, phase; whole numbers between commas are looked at twice."""
    warnings: tuple[str, ...] = ()
    if raw.separator == "," and raw.only_whole and raw.columns >= 4 and raw.columns % 2 == 0:
        raise InputError(
            "the commas may separate columns or mark decimals: no number has a decimal point",
            "write decimal points, or head the columns 'Hz,ohm,deg' or 'Hz,dB,deg'",
            line=raw.lines[0],
        )
    if _counts_the_rows(raw):
        raise InputError(
            "column 1 counts the rows and column 2 rises like a frequency",
            "leave the count out, or head the columns, such as 'No Hz ohm deg'",
            line=raw.lines[0],
        )
    if raw.separator == "," and raw.only_whole and raw.columns == 3 and all(row[2] >= 0 for row in raw.rows):
        warnings = ("no number has a decimal point: each comma was read as the end of a column",)
    return Columns(0, 1, 2 if raw.columns > 2 else None, warnings=warnings)


def _counts_the_rows(raw: RawTable) -> bool:
    first = raw.rows[0][0]
    counts = first in (0.0, 1.0) and all(row[0] == first + i for i, row in enumerate(raw.rows))
    rises = all(a[1] < b[1] for a, b in itertools.pairwise(raw.rows))
    return counts and rises and raw.columns > 2 and raw.rows[-1][1] > _WIDE_BAND * max(raw.rows[0][1], 1.0)


def _headings(raw: RawTable) -> tuple[int, tuple[Heading | None, ...]] | None:
    """Merge the header lines (names in one, units in the next); None where there is no header."""
    merged: list[Heading | None] = [None] * raw.columns
    last = 0
    for line in raw.preamble:
        headings = _line_headings(line, raw)
        if headings is None:
            continue
        last = line.number
        for i, new in enumerate(headings[: raw.columns]):
            merged[i] = _better(merged[i], new)
    known = [h.role for h in merged if h is not None]
    return (last, tuple(merged)) if Role.FREQUENCY in known else None


def _better(old: Heading | None, new: Heading | None) -> Heading | None:
    """Of two headings over one column keep the one that says more; the lower line wins a draw."""
    if old is None or new is None:
        return new or old
    part = new if new.is_part else old if old.is_part else None
    if part is not None:
        return replace(part, unit=part.unit or new.unit or old.unit)
    if new.unit or (not old.unit and new.role is not Role.OTHER):
        return new
    return old


def _line_headings(line: Line, raw: RawTable) -> list[Heading | None] | None:
    """Headings of one line, one per column, or None where the line is a mere comment."""
    text = line.text.lstrip(COMMENT_MARKS).rstrip(COMMENT_MARKS.strip("'\""))
    fields = _split(text, raw)
    if fields is not None:
        headings = paired_letters(fields) or [read_heading(field) for field in fields]
        known = [h for h in headings if h is not None and h.role is not Role.OTHER]
        begins = bool(known) and known[0].role is Role.FREQUENCY and headings[0] is known[0]
        words = [len(field.split()) for field in fields]
        marked = begins and raw.separator != " " and words[0] == 1 and max(words) <= 2  # 'Freq;Rs;Ls'
        if len(known) == raw.columns or marked or (len(known) >= 2 and (begins or any(h.unit for h in known))):
            return headings
    units = units_in_order(plain(text))
    if raw.columns == 3 and len(units) >= 2 and units[-1].unit != "dB" and BOTH_PARTS.search(plain(text)):
        return [units[0], replace(units[1], role=Role.REAL), replace(units[-1], role=Role.IMAGINARY)]
    roles = [unit.role for unit in units]
    if len(roles) >= 2 and roles == [Role.FREQUENCY, Role.MAGNITUDE, Role.PHASE][: len(roles)]:
        return list(units)
    return None


def _split(text: str, raw: RawTable) -> list[str] | None:
    """Split a header line into as many fields as there are columns, or None."""
    tries = [text.split(mark) for mark in (raw.separator, ";", "\t", ",") if mark != " " and mark in text]
    tries += [re.split(r"\s{2,}|\t", text), re.sub(r"(?<!\s)\s+([(\[/])\s*", r"\1", text).split()]
    for fields in tries:
        while len(fields) > raw.columns and not fields[-1].strip():
            fields.pop()
        if len(fields) == raw.columns:
            return [field.strip(" \t\"'" if field.strip()[:1] in ("'", '"') else " \t") for field in fields]
    return None


def _columns(headings: Sequence[Heading | None], raw: RawTable, quantity: Quantity) -> Columns:
    parts = _parts(headings)
    if parts is not None:
        return _columns_of_parts(headings, parts, quantity)
    frequency, magnitude, phase = _places(headings, raw)
    warnings: list[str] = []
    f, m, p = headings[frequency], headings[magnitude], None if phase is None else headings[phase]
    magnitude_scale = _magnitude_scale(m, magnitude, quantity)
    for column, heading, wanted, name in (
        (magnitude, m, f"magnitude in {quantity}", f"'{'impedance' if quantity == 'ohm' else 'level'} ({quantity})'"),
        (phase or 0, p, "phase in degrees", "'phase (deg)'"),
    ):
        if heading is None or heading.role is not Role.OTHER:
            continue
        headed = f"column {column + 1} is headed '{heading.text[:40]}'"
        if is_another_quantity(heading):
            raise InputError(f"{headed} where {wanted} belongs", f"name it {name} or remove it")
        warnings.append(f"{headed} and was read as {wanted}")
    if phase is None and raw.columns > 2:
        warnings.append("no column is headed as phase: only frequency and magnitude were read")
    f_unit, p_unit = f.unit if f else None, p.unit if p else None
    return Columns(
        frequency,
        magnitude,
        phase,
        frequency_scale=_FREQUENCY_SCALE[f_unit] if f_unit else 1.0,
        magnitude_scale=magnitude_scale,
        phase_scale=_PHASE_SCALE[p_unit] if p_unit else 1.0,
        frequency_declared=f_unit is not None,
        magnitude_declared=m is not None and m.unit is not None,
        phase_declared=p_unit is not None,
        named=p is not None and p.role is Role.PHASE and m is not None and m.role is Role.MAGNITUDE,
        warnings=tuple(warnings),
    )


def _parts(headings: Sequence[Heading | None]) -> tuple[int, int, int] | None:
    """Columns of frequency, real and imaginary part; None where the header names no part, or the polar form as well."""
    at: dict[Role, list[int]] = {role: [] for role in Role}
    for column, heading in enumerate(headings):
        if heading is not None:
            at[heading.role].append(column)
    of_parts = at[Role.REAL] + at[Role.IMAGINARY]
    if not of_parts or (at[Role.MAGNITUDE] and at[Role.PHASE]):
        return None
    for role in (Role.FREQUENCY, Role.REAL, Role.IMAGINARY):
        if len(at[role]) != 1:
            heading = headings[of_parts[0]]
            count = "several columns" if at[role] else "no column"
            raise InputError(
                f"the header names a real or imaginary part ('{heading.text[:40] if heading else ''}') and {count} as "
                f"{role.value}",
                "keep frequency with one real and one imaginary part, or with magnitude and phase",
            )
    return at[Role.FREQUENCY][0], at[Role.REAL][0], at[Role.IMAGINARY][0]


def _columns_of_parts(headings: Sequence[Heading | None], places: tuple[int, int, int], quantity: Quantity) -> Columns:
    frequency, real, imaginary = (h for h in (headings[place] for place in places) if h is not None)
    scales = [_part_scale(part, place, quantity) for part, place in zip((real, imaginary), places[1:], strict=True)]
    relative = quantity == "dB" and not (real.unit or imaginary.unit)
    return Columns(
        *places,
        frequency_scale=_FREQUENCY_SCALE[frequency.unit] if frequency.unit else 1.0,
        magnitude_scale=scales[0],
        phase_scale=-scales[1] if imaginary.negative else scales[1],
        frequency_declared=frequency.unit is not None,
        magnitude_declared=True,
        phase_declared=True,
        named=True,
        parts=True,
        warnings=("the real and imaginary parts name no unit: 0 dB is where they make 1",) if relative else (),
    )


def _part_scale(part: Heading, column: int, quantity: Quantity) -> float:
    if quantity == "ohm":
        return _magnitude_scale(part, column, quantity)
    unit = part.unit or part.implies
    if unit is not None and unit not in _PRESSURE_SCALE:
        raise InputError(
            f"column {column + 1} is headed '{part.text[:40]}', where a part of a sound pressure in Pa is wanted",
            "check that the right file is named" if unit in _OHM_SCALE else "export level in dB and phase",
        )
    return 1.0 if unit is None else _PRESSURE_SCALE[unit]


def _places(headings: Sequence[Heading | None], raw: RawTable) -> tuple[int, int, int | None]:
    """Column numbers: the usual order where the header allows it, else the order that it names."""
    usual = (Role.FREQUENCY, Role.MAGNITUDE, Role.PHASE)[: raw.columns]
    fits = all(h is None or h.role in (role, Role.OTHER) for role, h in zip(usual, headings, strict=False))
    named_first = headings[0] is None or headings[0].role is Role.FREQUENCY
    elsewhere = any(h is not None and h.role in usual[1:] for h in headings[3:])
    third = headings[2] if raw.columns > 2 else None
    if fits and named_first and not (elsewhere and third is not None and third.role is Role.OTHER):
        return 0, 1, 2 if raw.columns > 2 else None
    places = {role: [i for i, h in enumerate(headings) if h is not None and h.role is role] for role in usual}
    for role in (Role.FREQUENCY, Role.MAGNITUDE):
        if len(places.get(role, [])) != 1:
            count = "no column" if not places.get(role) else "several columns"
            raise InputError(f"the header names {count} as {role.value}", "keep frequency, magnitude and phase only")
    phases = places.get(Role.PHASE, [])
    if len(phases) > 1:
        raise InputError("the header names several columns as phase", "keep frequency, magnitude and phase only")
    return places[Role.FREQUENCY][0], places[Role.MAGNITUDE][0], phases[0] if phases else None


def _magnitude_scale(heading: Heading | None, column: int, quantity: Quantity) -> float:
    unit = None if heading is None else heading.unit or heading.implies
    if heading is None or unit is None or unit == quantity:
        return 1.0
    if quantity == "ohm" and unit in _OHM_SCALE:
        return _OHM_SCALE[unit]
    wanted = "an impedance in ohm" if quantity == "ohm" else "a level in dB"
    raise InputError(
        f"column {column + 1} is headed '{heading.text[:40]}', where {wanted} is wanted",
        "check that the right file is named" if unit in ("dB", *_OHM_SCALE) else f"export the magnitude in {quantity}",
    )
