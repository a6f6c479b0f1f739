"""The size, weight and colour of each kind of text, and the room that a line takes.

Widths of plain letters stand here as a table, so that a drawing in plain letters needs no font file; any other letter
is looked up in the font itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

from xover.drawing.schematic.geometry import Box, Point, Role, Text
from xover.drawing.style import HEADING_POINTS, INK, LABEL_POINTS, LIMIT, LONG_TITLE_POINTS, NOTE_POINTS, QUIET
from xover.drawing.text import cut, drawable, wrap

FONTS: Final = "'DejaVu Sans', Verdana, Arial, sans-serif"

_EM: Final = 2048
# Advance widths of DejaVu Sans 2.37, blank to tilde, in 1/2048 em.
# fmt: off
_PLAIN: Final = (
    651, 821, 942, 1716, 1303, 1946, 1597, 563, 799, 799, 1024, 1716, 651, 739, 651, 690, 1303, 1303, 1303, 1303,
    1303, 1303, 1303, 1303, 1303, 1303, 690, 690, 1716, 1716, 1716, 1087, 2048, 1401, 1405, 1430, 1577, 1294, 1178,
    1587, 1540, 604, 604, 1343, 1141, 1767, 1532, 1612, 1235, 1612, 1423, 1300, 1251, 1499, 1401, 2025, 1403, 1251,
    1403, 799, 690, 799, 1716, 1024, 1024, 1255, 1300, 1126, 1300, 1260, 721, 1300, 1298, 569, 569, 1186, 569, 1995,
    1298, 1253, 1300, 1300, 842, 1067, 803, 1298, 1212, 1675, 1212, 1212, 1075, 1303, 690, 1303, 1716,
)
_BOLD: Final = (
    713, 934, 1067, 1716, 1425, 2052, 1786, 627, 936, 936, 1071, 1716, 778, 850, 778, 748, 1425, 1425, 1425, 1425,
    1425, 1425, 1425, 1425, 1425, 1425, 819, 819, 1716, 1716, 1716, 1188, 2048, 1585, 1561, 1503, 1700, 1399, 1399,
    1681, 1714, 762, 762, 1587, 1305, 2038, 1714, 1741, 1501, 1741, 1577, 1475, 1397, 1663, 1585, 2259, 1579, 1483,
    1485, 936, 748, 936, 1716, 1024, 1024, 1382, 1466, 1214, 1466, 1389, 891, 1466, 1458, 702, 702, 1362, 702, 2134,
    1458, 1407, 1466, 1466, 1010, 1219, 979, 1458, 1335, 1892, 1321, 1335, 1192, 1458, 748, 1458, 1716,
)
# fmt: on
MINUS: Final = "\u2212"
_SIGNS: Final = {"…": 2048, "→": 1716, MINUS: 1716}

# Above and below the baseline, in em: plain letters, and the tallest and deepest glyphs of the font.
_ASCENT: Final = (0.80, 1.13)
_DESCENT: Final = (0.24, 0.40)
LINE_HEIGHT: Final = 1.18


@dataclass(frozen=True)
class Letters:
    """How a kind of text is written."""

    points: float
    bold: bool = False
    colour: str = INK


LETTERS: Final = {
    Role.TITLE: Letters(LONG_TITLE_POINTS, True),
    Role.NAME: Letters(LABEL_POINTS, True),
    Role.DRIVER: Letters(HEADING_POINTS, True),
    Role.VALUE: Letters(LABEL_POINTS),
    Role.CHANGED: Letters(LABEL_POINTS, True, LIMIT),
    Role.LOSS: Letters(NOTE_POINTS, False, QUIET),
    Role.CHANGED_LOSS: Letters(NOTE_POINTS, False, LIMIT),
    Role.MARK: Letters(NOTE_POINTS, True, LIMIT),
    Role.COUPLING: Letters(NOTE_POINTS),
    Role.SIGN: Letters(LABEL_POINTS, True),
    Role.NODE: Letters(NOTE_POINTS - 0.5, False, QUIET),
    Role.CHANNEL: Letters(NOTE_POINTS, False, QUIET),
    Role.NOTE: Letters(NOTE_POINTS, False, QUIET),
}


def shown(text: str, most: int) -> str:
    """A text as it is drawn: short enough, on one line, in letters that the font has."""
    short = cut(text, most)
    return short if short.isascii() and short.isprintable() else _folded(short)


def _folded(text: str) -> str:
    """Letters beyond ASCII cost a look into the font."""
    plain = "".join(c if c.isprintable() else " " for c in text)
    return plain if all(c.isascii() or c in _SIGNS for c in plain) else drawable(plain)


def width_pt(text: str, letters: Letters) -> float:
    """Width of a line in DejaVu Sans, points."""
    table = _BOLD if letters.bold else _PLAIN
    units = sum(table[ord(c) - 32] if " " <= c <= "~" else _advance(c, letters.bold) for c in text)
    return units * letters.points / _EM


def _advance(letter: str, bold: bool) -> float:
    if letter in _SIGNS:
        return _SIGNS[letter]
    return _font_advance(letter, bold)


@cache
def _font_advance(letter: str, bold: bool) -> float:
    """Advance of a letter that the table lacks, from the font itself, 1/2048 em."""
    from matplotlib.font_manager import FontProperties, findfont, get_font
    from matplotlib.ft2font import LoadFlags

    font = get_font(findfont(FontProperties(family=["DejaVu Sans"], weight="bold" if bold else "normal")))
    return float(font.load_char(ord(letter), flags=LoadFlags.NO_SCALE).horiAdvance) * _EM / font.units_per_EM


def height_pt(role: Role) -> float:
    """From line to line, points."""
    return LETTERS[role].points * LINE_HEIGHT


def write(content: str, at: Point, role: Role, of: str, anchor: str = "start") -> Text:
    """One line of text with the box that it covers; `at` lies on the baseline."""
    letters = LETTERS[role]
    width = width_pt(content, letters)
    left = at.x - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
    row = 0 if all(c.isascii() or c in _SIGNS for c in content) else 1
    top, bottom = at.y - _ASCENT[row] * letters.points, at.y + _DESCENT[row] * letters.points
    return Text(content, at, anchor, role, of, Box(left, top, left + width, bottom))


def wrapped(text: str, role: Role, width: float, most_lines: int) -> list[str]:
    """Lines of a paragraph that are no wider than `width` points."""
    return wrap(text, lambda line: width_pt(line, LETTERS[role]) <= width, most_lines)
