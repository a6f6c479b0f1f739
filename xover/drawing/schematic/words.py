"""What stands beside each part, the drawing in words, and the size, weight, colour and room of each kind of text.

Widths of plain letters stand here as a table, so that a drawing in plain letters needs no font file; any other letter
is looked up in the font itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

from xover.drawing.schematic.geometry import Box, DrawnKind, Point, Role, Text
from xover.drawing.style import (
    HEADING_POINTS,
    INK,
    LABEL_POINTS,
    LIMIT,
    LONG_TITLE_POINTS,
    NOTE_POINTS,
    QUIET,
    cut,
    drawable,
    wrap,
)
from xover.network.network import Network
from xover.network.parts import Capacitor, DriverCard, Inductor, Part, Resistor, shown_value
from xover.quantity import QuantityKind as Unit
from xover.quantity import format_quantity

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


MOST_OF_A_NAME: Final = 14
"""Characters of a name that are drawn; the middle of a longer one is left out."""
ARROW: Final = "→"

_CORELESS: Final = (None, "air", "none")


@dataclass(frozen=True)
class Line:
    """One line beside a symbol."""

    content: str
    role: Role


@dataclass(frozen=True)
class Words:
    """All lines beside a symbol: the first is its name, the second its value (drivers have none)."""

    lines: tuple[Line, ...]

    @property
    def name(self) -> Line:
        """The name."""
        return self.lines[0]

    @property
    def value(self) -> Line | None:
        """The value, if there is one."""
        return next((line for line in self.lines[1:2] if line.role in (Role.VALUE, Role.CHANGED)), None)

    @property
    def rest(self) -> tuple[Line, ...]:
        """Losses, marks and couplings."""
        return self.lines[1 if self.value is None else 2 :]


def name_of(text: str) -> str:
    """A name as it is drawn."""
    return shown(text, MOST_OF_A_NAME)


def kind_of(element: Part | DriverCard) -> DrawnKind:
    """Which symbol an element gets."""
    if isinstance(element, DriverCard):
        return DrawnKind.DRIVER
    if isinstance(element, Resistor):
        return DrawnKind.LAMP if element.is_lamp else DrawnKind.RESISTOR
    if isinstance(element, Inductor):
        return DrawnKind.COIL if element.core in _CORELESS else DrawnKind.CORED_COIL
    return DrawnKind.CAPACITOR


def loss_texts(part: Part) -> dict[str, str]:
    """Losses by their trade names; a loss of zero is not named."""
    if isinstance(part, Inductor):
        return {"DCR": format_quantity(part.dcr_ohm, Unit.RESISTANCE)} if part.dcr_ohm else {}
    if isinstance(part, Capacitor):
        found = {"ESR": format_quantity(part.esr_ohm, Unit.RESISTANCE)} if part.esr_ohm else {}
        return found | ({"df": f"{part.dissipation_factor:.3g}"} if part.dissipation_factor else {})
    if part.is_lamp:
        hot = {} if part.hot_ohm is None else {"hot": format_quantity(part.hot_ohm, Unit.RESISTANCE)}
        return {"lamp,": "cold", **hot}
    return {}


def part_words(part: Part, before: Part | None, is_new: bool, network: Network) -> Words:
    """What stands beside a part.

    Parameters
    ----------
    before : the same part in the other network, or None.
    is_new : whether the other network lacks it.
    """
    value = shown_value(part)
    old = value if before is None else shown_value(before)
    lines = [Line(name_of(part.name), Role.NAME)]
    lines.append(Line(value, Role.VALUE) if old == value else Line(_changed(old, value), Role.CHANGED))
    lines += list(_losses(part, part if before is None else before))
    if is_new:
        lines.append(Line("added", Role.MARK))
    return Words((*lines, *_couplings(part, network)))


def _changed(old: str, new: str) -> str:
    """`6.8 → 8.4 uF`: the unit once where both have it."""
    number, _, unit = old.rpartition(" ")
    return f"{number if new.endswith(' ' + unit) else old} {ARROW} {new}"


def _losses(part: Part, before: Part) -> list[Line]:
    new, old = loss_texts(part), loss_texts(before)
    lines = []
    for name in dict.fromkeys((*new, *old)):
        a, b = old.get(name, "0"), new.get(name, "0")
        role = Role.LOSS if a == b else Role.CHANGED_LOSS
        lines.append(Line(f"{name} {b if a == b else _changed(a, b)}", role))
    return lines


def _couplings(part: Part, network: Network) -> list[Line]:
    lines = []
    for coupling in network.couplings:
        ends = (coupling.first.lower(), coupling.second.lower())
        if part.name.lower() in ends:
            other = coupling.second if part.name.lower() == ends[0] else coupling.first
            lines.append(Line(f"k {coupling.k:.4g} with {name_of(other)}", Role.COUPLING))
    return lines


def driver_words(card: DriverCard, is_reversed: bool) -> Words:
    """What stands beside a driver: what it is called in results, its card, its polarity."""
    card_name = name_of(card.name) if card.driver == card.key else f"{name_of(card.name)}, {name_of(card.driver)}"
    lines = [Line(name_of(card.key), Role.DRIVER), Line(card_name, Role.LOSS)]
    if is_reversed:
        lines.append(Line("reversed", Role.MARK))
    return Words(tuple(lines))


MOST_NAMED = 40
"""Parts that a list below the drawing names; more are counted."""


@dataclass(frozen=True)
class Changes:
    """What differs from another network.

    Attributes
    ----------
    before : parts of the other network by name in small letters; empty without one.
    added : names of the parts that the other network lacks, in small letters.
    notes : lines for below the drawing.
    """

    before: dict[str, Part]
    added: frozenset[str]
    notes: tuple[str, ...]


def find_changes(network: Network, other: Network | None) -> Changes:
    """Compare a network with another of the same speaker, part by part, by name."""
    if other is None:
        return Changes({}, frozenset(), ())
    old = {p.name.lower(): p for p in other.parts}
    new = {p.name.lower(): p for p in network.parts}
    added = [p for name, p in new.items() if name not in old]
    removed = [p for name, p in old.items() if name not in new]
    joined = [
        f"{name_of(p.name)} (was {_ends(old[name])}, is {_ends(p)})"
        for name, p in new.items()
        if name in old and {p.a, p.b} != {old[name].a, old[name].b}
    ]
    before, now = names_of(network, other)
    notes = [f"{before} {ARROW} {now}" + (", where a value differs" if _differ(old, new) else ": no value differs")]
    notes += _list("Added", [_with_value(p) for p in added])
    notes += _list("Removed", [f"{_with_value(p)} from {name_of(p.a)} to {name_of(p.b)}" for p in removed])
    notes += _list("Joined otherwise", joined)
    notes += _list("Drivers joined otherwise", _drivers(network, other))
    notes += _list("Couplings changed", _coupling_changes(network, other))
    return Changes(old, frozenset(p.name.lower() for p in added), tuple(notes))


def names_of(network: Network, other: Network) -> tuple[str, str]:
    """What the other network and this one are called: their files' names where these differ."""
    paths = (other.path, network.path)
    stems = [None if p is None else p.stem for p in paths]
    if stems[0] == stems[1] and all(paths):
        stems = [None if p is None else f"{p.parent.name}/{p.stem}" for p in paths]
    if None in stems or stems[0] == stems[1]:
        return "old value", "new value"
    return f"old value ({name_of(str(stems[0]))})", f"new value ({name_of(str(stems[1]))})"


def _differ(old: dict[str, Part], new: dict[str, Part]) -> bool:
    return any(
        (shown_value(old[name]), loss_texts(old[name])) != (shown_value(part), loss_texts(part))
        for name, part in new.items()
        if name in old
    )


def _with_value(part: Part) -> str:
    return f"{name_of(part.name)} {shown_value(part)}"


def _ends(part: Part | DriverCard) -> str:
    return f"{name_of(part.a)} to {name_of(part.b)}"


def _drivers(network: Network, other: Network) -> list[str]:
    old = {d.name.lower(): d for d in other.drivers}
    found = []
    for card in network.drivers:
        was = old.pop(card.name.lower(), None)
        if was is None:
            found.append(f"{name_of(card.key)} (new)")
        elif (was.plus, was.minus) == (card.minus, card.plus):
            found.append(f"{name_of(card.key)} (turned round)")
        elif (was.plus, was.minus) != (card.plus, card.minus):
            found.append(f"{name_of(card.key)} (was {_ends(was)}, is {_ends(card)})")
        elif was.driver != card.driver:
            found.append(f"{name_of(card.name)} (was {name_of(was.driver)}, is {name_of(card.driver)})")
    return found + [f"{name_of(card.key)} (gone)" for card in old.values()]


def _coupling_changes(network: Network, other: Network) -> list[str]:
    old = {c.name.lower(): c for c in other.couplings}
    new = {c.name.lower(): c for c in network.couplings}
    found = []
    for name in dict.fromkeys((*new, *old)):
        a, b = old.get(name), new.get(name)
        before, now = ("none" if c is None else f"{c.k:.4g} {name_of(c.first)} {name_of(c.second)}" for c in (a, b))
        if before != now:
            found.append(f"{name_of((b or a).name)} {before} {ARROW} {now}")  # type: ignore[union-attr]
    return found


def _list(head: str, entries: list[str]) -> list[str]:
    if not entries:
        return []
    more = f", and {len(entries) - MOST_NAMED} more" if len(entries) > MOST_NAMED else ""
    return [f"{head}: {', '.join(entries[:MOST_NAMED])}{more}."]


MOST_DESCRIBED: Final = 120


def describe(network: Network, reversed_: frozenset[str], notes: tuple[str, ...]) -> str:
    """Every part and driver with its value and its nodes, one sentence each.

    Parameters
    ----------
    reversed_ : names of the driver cards that are reversed.
    notes : what else the drawing says.
    """
    said = []
    for channel in network.channels:
        said.append(
            f"Amplifier {name_of(channel.name)}: plus on {name_of(channel.plus)}, minus on {_node(channel.minus)}"
        )
    for part in network.parts:
        losses = "".join(f", {name} {text}" for name, text in loss_texts(part).items())
        said.append(f"{name_of(part.name)} {shown_value(part)} from {_node(part.a)} to {_node(part.b)}{losses}")
    for card in network.drivers:
        polarity = ", reversed" if card.name in reversed_ else ""
        said.append(
            f"Driver {name_of(card.key)} ({name_of(card.name)}): plus on {_node(card.plus)}, "
            f"minus on {_node(card.minus)}{polarity}"
        )
    for coupling in network.couplings:
        said.append(f"{name_of(coupling.first)} and {name_of(coupling.second)} coupled, k {coupling.k:.4g}")
    more = [] if len(said) <= MOST_DESCRIBED else [f"and {len(said) - MOST_DESCRIBED} more"]
    return ". ".join([*said[:MOST_DESCRIBED], *more, *(note.rstrip(".") for note in notes)]) + "."


def _node(name: str) -> str:
    return "ground" if name == "0" else name_of(name)
