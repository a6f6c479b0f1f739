"""Levels of third octaves, as they were read from a phone or a level meter and typed: one CSV.

    # seconds 10; step 0.1; place 0.5 m, tweeter axis; noise periodic
    band Hz, silence, found, again, reversed, woofer, tweeter
    1000,    31.2,    62.4,  62.3,  ...

Bands by their names in ISO 266, in any order; a blank was not read. Columns are named for what played; the words of
`Word` say more. The header tells the separator: comma, semicolon or tab; where it is no comma, or the number stands in
quotes, decimals may have one. A line that begins with # says how it was read: seconds that a level was averaged, step
in which it was shown, place of the phone, phone (fixed: it stayed there for all columns; put back), noise (periodic:
its period read whole times; random), note.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.errors import InputError, nearest_word
from xover.files.atomic import read_text
from xover.files.budget import LEVELS_FILE, LONGEST_NUMBER, MOST_FIELDS
from xover.files.faults import combined
from xover.ledger import Ledger, counted
from xover.readable import Readable
from xover.rules.phone import LEVELS_DB, LONGEST_S, NOMINAL_HZ, SLOW_S, WIDEST_STEP_DB


class Word(StrEnum):
    """Columns that are no driver and no network."""

    SILENCE = "silence"
    """Nothing plays."""
    AGAIN = "again"
    """The column before it once more, the phone taken away and put back."""
    REVERSED = "reversed"
    """The network before it, one driver's wires swapped."""
    RIGHT = "right"
    """The network before it in the other speaker of the pair."""
    QUIETER = "quieter"
    """The network before it, the amplifier turned 10 dB down."""
    KNOWN = "known"
    """A speaker that is known to be even, at the same spot."""


@dataclass(frozen=True, eq=False, repr=False)
class BandTable(Readable):
    """Levels of third octaves.

    Attributes
    ----------
    source : the file. heading : line of its header. band_hz : (n,) names of the bands, rising. columns : (n,) dB each,
        NaN where not read, in the file's order. line : (n,) of each band in the file, from 1.
    seconds : that a level was averaged. step_db : in which it was shown. place : of the phone, in words, or "".
    turned : the driver whose wires were swapped for the column `reversed`, or "".
    fixed : it stayed there for all columns. periodic : the noise repeats and was read over whole periods, so that it
        does not scatter.
    assumed : what the file does not say and was assumed, one sentence each.
    """

    source: str
    heading: int
    band_hz: Float
    columns: Mapping[str, Float]
    line: NDArray[np.int64]
    seconds: float
    step_db: float
    place: str
    turned: str
    fixed: bool
    periodic: bool
    assumed: tuple[str, ...]
    ledger: Ledger

    def __post_init__(self) -> None:
        for array in (self.band_hz, self.line, *self.columns.values()):
            array.flags.writeable = False

    @property
    def again_of(self) -> str | None:
        """The column that `again` repeats; None without one."""
        names = list(self.columns)
        return names[names.index(Word.AGAIN) - 1] if Word.AGAIN in names else None

    @property
    def named(self) -> tuple[str, ...]:
        """Columns that must be networks or drivers."""
        return tuple(name for name in self.columns if name not in list(Word))

    def before(self, word: Word, among: Sequence[str]) -> str | None:
        """Of the columns `among`, the one that a word's column belongs to: the nearest before it, or the first."""
        names = list(self.columns)
        stand = [name for name in names if name in among]
        earlier = [name for name in stand if names.index(name) < names.index(word)]
        return earlier[-1] if earlier else stand[0] if stand else None


_PLAIN = re.compile(r"[+-]?[0-9]++(?:[.,][0-9]++)?")
_THOUSANDS = re.compile(r"[0-9]{1,3},[0-9]{3}")
_SETTING = re.compile(r"([A-Za-z]++)[\s=:]*+(.*)")
_HEADS: Final = ("band", "band hz", "band (hz)", "hz", "frequency", "frequency hz", "frequency (hz)")
_KEYS: Final = ("seconds", "step", "place", "reversed", "phone", "noise", "note")
_SOUND: Final = (".wav", ".m4a", ".mp3", ".aac", ".mp4", ".3gp", ".amr", ".ogg", ".opus", ".caf", ".flac", ".wma")
_FIRST_LINE: Final = "begin it with a line such as: band Hz, silence, found, again"
_NOT_NOMINAL: Final = 0.06
"""A number within this of a band, on the logarithm of two, was meant as that band."""


def read_band_levels(path: Path | str) -> BandTable:
    """Read typed levels of third octaves.

    Raises InputError: with file and line, every faulty line at once: no header, a band that is none of ISO 266 or
    stands twice, a level outside -20 to 140 dB, a line of other length than the header, decimal marks that contradict
    each other, an unknown word behind #, no level at all; a recording instead of a table.
    """
    path = Path(path)
    if path.suffix.lower() in _SOUND:
        remedy = "type the levels that the phone shows as a CSV file; a recording of a sweep is for 'xover response'"
        if path.suffix.lower() != ".wav":
            remedy += ", exported as uncompressed WAV"
        raise InputError("is a recording, not a table of levels", remedy, path)
    return parse_band_levels(read_text(path, LEVELS_FILE), path)


def parse_band_levels(text: str, path: Path) -> BandTable:
    """Read the text of such a table; `path` serves messages only."""
    faults: list[InputError] = []
    said: dict[str, tuple[str, int]] = {}
    rows: dict[float, tuple[int, list[float]]] = {}
    marks: dict[str, int] = {}
    fine, heading = False, 0
    names: list[str] = []
    try:
        for number, cells, words in _lines(text):
            try:
                if words is not None:
                    _settings(words, number, said)
                elif not names:
                    names, heading = _header(cells), number
                else:
                    fine = fine or any("." in cell or "," in cell for cell in cells[1:])
                    _row(cells, names, number, rows, marks)
            except InputError as error:
                if not names and words is None:
                    raise error.at(path, number) from None
                faults.append(error.at(path, number))
        settings = _settled(said, fine, faults, path)
        if not names:
            raise InputError("the table has no header", _FIRST_LINE)
        if not faults and not any(np.isfinite(row).any() for _, row in rows.values()):
            raise InputError("the table holds no level", "type the levels that were read below the header")
    except InputError as error:
        faults.append(error.at(path, None))
    if faults:
        raise combined(faults)
    bands = sorted(rows)
    levels = np.array([rows[band][1] for band in bands])
    blank = sum(not line.strip() for line in text.removesuffix("\n").split("\n"))
    return BandTable(
        str(path),
        heading,
        np.array(bands),
        MappingProxyType({name: levels[:, i].copy() for i, name in enumerate(names[1:])}),
        np.array([rows[band][0] for band in bands], dtype=np.int64),
        *settings,
        counted(text, len(rows), (), blank),
    )


def _lines(text: str) -> Iterator[tuple[int, list[str], str | None]]:
    """Number and cells of every line that is not empty; of one behind # its words instead."""
    separator = ""
    for number, raw in enumerate(text.split("\n"), start=1):
        line = raw.replace("\u2212", "-").strip()
        bare = line.strip("\"' ,;\t")
        if bare.startswith("#"):
            yield number, [], bare.lstrip("#").strip()
        elif bare:
            separator = separator or next((s for s in ";\t" if s in line), ",")
            try:
                cells = next(csv.reader([raw.strip(" \r")], delimiter=separator, skipinitialspace=True, strict=True))
            except csv.Error:
                remedy = "remove the mark, or double it"
                raise InputError("has a quotation mark that does not pair up", remedy, line=number) from None
            yield number, [" ".join(cell.replace("\u2212", "-").split()) for cell in cells], None


def _header(cells: Sequence[str]) -> list[str]:
    names = [name.lower() if name.lower() in list(Word) else name for name in cells]
    while names and not names[-1]:
        names.pop()
    if len(names) > MOST_FIELDS:
        raise InputError(f"has more than {MOST_FIELDS} columns", "keep what was read")
    if names and _PLAIN.fullmatch(names[0]):
        raise InputError("is a row where the header belongs", _FIRST_LINE)
    if not names or names[0].lower() not in _HEADS:
        raise InputError(
            f"the first column is '{names[0][:40] if names else ''}'", f"it is the band in Hz: {_FIRST_LINE}"
        )
    if len(names) < 2:
        raise InputError("has no column of levels", _FIRST_LINE)
    for i, name in enumerate(names):
        if not name:
            raise InputError(f"column {i + 1} has no name", "name what played: a network, a driver, silence")
        if name.lower() in [other.lower() for other in names[:i]]:
            raise InputError(f"has the column '{name[:40]}' twice", "keep one of them")
        if _PLAIN.fullmatch(name):
            raise InputError(
                f"the column {name[:40]} is named by a number", "name what played, such as found or woofer"
            )
    if Word.AGAIN in names and names[names.index(Word.AGAIN) - 1] in (names[0], Word.SILENCE):
        raise InputError(
            "'again' repeats the column before it, and there is none that played", "move it behind that one"
        )
    return names


def _row(
    cells: list[str],
    names: Sequence[str],
    number: int,
    rows: dict[float, tuple[int, list[float]]],
    marks: dict[str, int],
) -> None:
    while len(cells) > len(names) and not cells[-1]:
        cells = cells[:-1]
    if len(cells) != len(names):
        raise InputError(
            f"has {len(cells)} cells where the header has {len(names)}",
            "leave a level that was not read empty, but keep its separator; decimal commas need semicolons between",
        )
    band = _band(cells[0])
    if band in rows:
        raise InputError(f"has the band {band:g} Hz again, as in line {rows[band][0]}", "keep one of them")
    levels = [_level(cell, name) for cell, name in zip(cells[1:], names[1:], strict=True)]
    for mark, other in (".,", ",."):
        if any(mark in cell for cell in cells):
            if other in marks:
                problem = f"has a decimal {'point' if mark == '.' else 'comma'}, and line {marks[other]} the other mark"
                raise InputError(problem, "use one decimal mark in the whole file")
            marks.setdefault(mark, number)
    rows[band] = (number, levels)


def _band(text: str) -> float:
    bare = text.lower().removesuffix("hz").rstrip()
    kilo = bare.endswith("k")
    bare = bare.removesuffix("k").rstrip()
    if not _PLAIN.fullmatch(bare) or len(bare) > LONGEST_NUMBER:
        raise InputError(f"'{text[:40]}' is no band", "write its name in Hz, such as 1000, or '#' before a remark")
    if _THOUSANDS.fullmatch(bare) and not kilo:
        raise InputError(f"'{bare}' may be a thousand or a decimal comma", "write no thousands separator")
    hz = round(float(bare.replace(",", ".")) * (1000.0 if kilo else 1.0), 6)
    if hz in NOMINAL_HZ:
        return hz
    near = min(NOMINAL_HZ, key=lambda band: abs(np.log2(max(abs(hz), 1e-9) / band)))
    close = hz > 0 and abs(np.log2(hz / near)) < _NOT_NOMINAL
    raise InputError(
        f"{text[:40]} is no third octave of ISO 266",
        f"write {near:g} if that is meant" if close else "the bands are 20, 25, 31.5, 40, 50, 63, 80, 100 and so on",
    )


def _level(text: str, name: str) -> float:
    if not text:
        return float("nan")
    bare = text[:-2].rstrip() if text.lower().endswith("db") else text
    if not _PLAIN.fullmatch(bare) or len(bare) > LONGEST_NUMBER:
        remedy = "write a level in dB, such as 62.4; leave the cell empty where it was not read"
        raise InputError(f"'{text[:40]}' in column {name[:40]} is no number", remedy)
    level = float(bare.replace(",", "."))
    low, high = LEVELS_DB
    if not low <= level <= high:
        raise InputError(f"{text[:40]} dB in column {name[:40]} is no level", f"it lies from {low:g} to {high:g} dB")
    return level


def _settings(words: str, number: int, said: dict[str, tuple[str, int]]) -> None:
    """Take what a line behind # says, such as 'seconds 10; step 0.1'."""
    for part in words.split(";"):
        found = _SETTING.match(part.strip())
        key, value = (found[1].lower(), found[2]) if found else (part.strip(), "")
        if not key:
            continue
        if key not in _KEYS:
            near = nearest_word(key, _KEYS)
            meant = f"did you mean '{near}'?" if near else f"the words are {', '.join(_KEYS)}"
            raise InputError(f"has the unknown word '{key[:40]}' behind #", f"{meant} a remark begins with '# note'")
        if key == "note":
            continue
        if not value.strip():
            raise InputError(f"'{key}' says nothing", f"write it as in: # {key} {_EXAMPLES[key]}")
        if key in said:
            raise InputError(f"says '{key}' again, as line {said[key][1]}", "keep one of them")
        said[key] = (value.strip(), number)


_EXAMPLES: Final = {
    "seconds": "10",
    "step": "0.1",
    "place": "0.5 m, tweeter axis",
    "reversed": "tweeter",
    "phone": "fixed",
    "noise": "periodic",
}


def _settled(
    said: Mapping[str, tuple[str, int]], fine: bool, faults: list[InputError], path: Path
) -> tuple[float, float, str, str, bool, bool, tuple[str, ...]]:
    """Seconds, step, place, the driver turned, whether the phone stayed and the noise is periodic; what was assumed."""
    assumed = []
    seconds, step = SLOW_S, 0.1 if fine else 1.0
    noise, line = said.get("noise", ("", 0))
    phone, phone_line = said.get("phone", ("put back", 0))
    try:
        if "seconds" in said:
            seconds = _amount("seconds", *said["seconds"], LONGEST_S, ("seconds", "s"))
        elif noise != "periodic":
            assumed.append(f"each level was averaged for {SLOW_S:g} s, as it does not say: '# seconds 10'")
        if "step" in said:
            step = _amount("step", *said["step"], WIDEST_STEP_DB, ("db",))
        else:
            assumed.append(f"levels were shown in steps of {step:g} dB, as they are written: '# step {step:g}'")
        if phone not in ("fixed", "put back"):
            raise InputError(f"the phone is '{phone[:40]}'", "write fixed or put back", line=phone_line)
        if noise not in ("", "periodic", "random"):
            raise InputError(f"the noise is '{noise[:40]}'", "write periodic or random", line=line)
        if not noise:
            assumed.append("the noise was random, as it does not say: '# noise periodic'")
    except InputError as error:
        faults.append(error.at(path, None))
    place, turned = (said.get(key, ("", 0))[0][:200] for key in ("place", "reversed"))
    return seconds, step, place, turned, phone == "fixed", noise == "periodic", tuple(assumed)


def _amount(key: str, text: str, line: int, most: float, units: Sequence[str]) -> float:
    bare = text.lower()
    for unit in units:
        bare = bare.removesuffix(unit).rstrip()
    value = float(bare.replace(",", ".")) if _PLAIN.fullmatch(bare) and len(bare) <= LONGEST_NUMBER else -1.0
    if not 0.0 < value <= most:
        raise InputError(f"{key} is '{text[:40]}'", f"write a number above 0, up to {most:g}", line=line)
    return value
