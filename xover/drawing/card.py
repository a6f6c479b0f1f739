"""The card of a signal: how its bench is wired, drawn as schematics are, over the words of it; one A4 page."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from xover.blocks import Block, Facts, Head, Items
from xover.blocks import Text as Paragraph
from xover.drawing.schematic.geometry import (
    Box,
    DrawnKind,
    GroundSymbol,
    Layout,
    Point,
    Role,
    Socket,
    Symbol,
    Terminal,
    Text,
)
from xover.drawing.schematic.ink import Piece, find_dots, join_pieces
from xover.drawing.schematic.lay_out import RADIUS, ground_box
from xover.drawing.schematic.paper import BRACKET_POINTS, Chain, Lines, Ring, draw_lines, make_figure
from xover.drawing.schematic.words import MINUS, height_pt, wrapped, write
from xover.drawing.style import QUIET
from xover.quantity import QuantityKind, format_quantity, ohms
from xover.rules.recordings import GUARD_FARAD
from xover.studies.desk.sweep.study import Purpose, SignalFile, SignalKind
from xover.studies.desk.sweep.words import RESISTOR, tell

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDE: Final = 595.0
TALL: Final = 842.0
"""A4 in points (ISO 216)."""
MARGIN: Final = 50.0
TOP: Final = 120.0
"""The upper wire of the drawing."""
PART: Final = 56.0
"""A part with its leads."""
GAP: Final = 22.0
"""Between the two ends of an input."""
DRIVER_GAP: Final = 14.0
CONE: Final = 24.5
"""From a driver's ends to the front of its cone."""
DRIVER_X: Final = 490.0
MOST_LINES: Final = 8
SPOTS: Final = {"+": "+", "-": MINUS}


def draw_card(signal: SignalFile) -> Figure:
    """Draw the card of a signal: figure and words, fit to be printed on A4."""
    sheet = lay_out_card(signal)
    figure = make_figure(sheet.layout())
    for lines in sheet.more:
        draw_lines(lines, figure.axes[0])
    return figure


def lay_out_card(signal: SignalFile) -> Sheet:
    """Everything in its place."""
    sheet = Sheet()
    if signal.signal is SignalKind.NOISE:
        below = TOP - 50.0
    elif signal.purpose is Purpose.MICROPHONE:
        below = _draw_room(sheet, signal.channel == "both")
    else:
        below = _draw_jig(sheet, signal)
    _write_down(sheet, tell(signal), below)
    return sheet


class Sheet:
    """What is drawn, piece by piece, in the symbols of schematics; `more` are those that networks have not."""

    def __init__(self) -> None:
        self.more: list[Lines] = []
        self._texts: list[Text] = []
        self._sockets: list[Socket] = []
        self._symbols: list[Symbol] = []
        self._pieces: list[Piece] = []
        self._leads: list[tuple[Point, str]] = []
        self._grounds: list[Point] = []

    def wire(self, node: str, *places: tuple[float, float]) -> None:
        """From point to point, level or upright."""
        self._pieces += [(node, Point(*a), Point(*b)) for a, b in pairwise(places)]

    def part(self, kind: DrawnKind, name: str, value: str, start: tuple[float, float], nodes: tuple[str, str]) -> None:
        """A part that begins at a point and lies to its right, or stands below it where it has no name."""
        x, y = start
        stands = not name
        half = 8.0
        box = Box(x - half, y, x + half, y + PART) if stands else Box(x, y - half, x + PART, y + half)
        self._symbol(name or f"{value} {x:g}", kind, (start, (x, y + PART) if stands else (x + PART, y)), nodes, box)
        if stands:
            self.say(value, x + 12.0, y + PART / 2 + 3.0)
        else:
            self.say(name, x + PART / 2, y - 25.0, Role.NAME, "middle")
            self.say(value, x + PART / 2, y - 13.0, anchor="middle")

    def driver(self, name: str, start: tuple[float, float], plus: str) -> None:
        """A driver whose plus is at a point, its minus below."""
        x, y = start
        box = Box(x, y - 17.5, x + CONE, y + 31.5)
        self._symbol(name, DrawnKind.DRIVER, (start, (x, y + DRIVER_GAP)), (plus, "0"), box)
        self.say(name, x + 12.0, y - 24.0, Role.NAME, "middle")
        self.say("+", x - 3.0, y - 4.0, Role.SIGN, "end")

    def _symbol(
        self, name: str, kind: DrawnKind, places: tuple[tuple[float, float], ...], nodes: tuple[str, str], box: Box
    ) -> None:
        first, last = (Terminal(Point(*p), node) for p, node in zip(places, nodes, strict=True))
        self._symbols.append(Symbol(name, kind, (first, last), box, first.at.x == last.at.x))
        self._leads += [(first.at, first.node), (last.at, last.node)]

    def ring(self, of: str, sign: str, x: float, y: float, node: str) -> None:
        """A terminal of a device."""
        box = Box(x - RADIUS, y - RADIUS, x + RADIUS, y + RADIUS)
        self._sockets.append(Socket(of, sign, Point(x, y), node, box))
        self._leads.append((Point(x, y), node))

    def ground(self, x: float, y: float) -> None:
        """A ground symbol."""
        self._grounds.append(Point(x, y))
        self._leads.append((Point(x, y), "0"))

    def box(self, name: str, box: Box) -> None:
        """A device."""
        left, top, right, bottom = box
        corners = ((left, top), (right, top), (right, bottom), (left, bottom), (left, top))
        self.more.append(Lines("symbol", name, (Chain(tuple(Point(*c) for c in corners)),)))
        self.say(name, (left + right) / 2, top - 6.0, Role.NAME, "middle")

    def say(self, words: str, x: float, y: float, role: Role = Role.VALUE, anchor: str = "start") -> None:
        """A line of text."""
        self._texts.append(write(words, Point(x, y), role, "", anchor))

    def layout(self) -> Layout:
        """What is drawn as schematics are."""
        wires = join_pieces(self._pieces)
        grounds = tuple(GroundSymbol(p, ground_box(p)) for p in self._grounds)
        dots = find_dots(wires, self._leads)
        sockets = tuple(self._sockets)
        return Layout(WIDE, TALL, "", "", tuple(self._symbols), tuple(self._texts), wires, dots, grounds, sockets, ())


def _draw_jig(sheet: Sheet, signal: SignalFile) -> float:
    """Amplifier, guard, resistor and driver in a row; an input across the last two, one across the last."""
    divided = signal.divider_ohm
    guarded = signal.purpose is Purpose.TWEETER
    rail = TOP + (2 * PART + 22.0 if divided else 96.0)
    edge = MARGIN + 66.0
    sheet.box("amplifier", Box(MARGIN, TOP - 16.0, edge, rail + 16.0))
    for sign, y, node in (("+", TOP, "plus"), ("-", rail, "0")):
        sheet.ring("amplifier", sign, edge, y, node)
        sheet.say(SPOTS[sign], edge - 8.0, y + 3.2, Role.SIGN, "end")
    sheet.say("from the sound", MARGIN + 4.0, (TOP + rail) / 2 - 2.0, Role.NOTE)
    sheet.say("card's output", MARGIN + 4.0, (TOP + rail) / 2 + 8.0, Role.NOTE)
    first = edge + (98.0 if guarded else 28.0)
    node = "plus"
    if guarded:
        guard = format_quantity(GUARD_FARAD, QuantityKind.CAPACITANCE)
        sheet.wire("plus", (edge, TOP), (edge + 20.0, TOP))
        node = "guarded"
        sheet.part(DrawnKind.CAPACITOR, "guard", guard, (edge + 20.0, TOP), ("plus", node))
        sheet.wire(node, (edge + 20.0 + PART, TOP), (first, TOP))
    else:
        sheet.wire(node, (edge, TOP), (first, TOP))
    sheet.wire(node, (first, TOP), (first + 60.0, TOP))
    sheet.part(DrawnKind.RESISTOR, "resistor", RESISTOR, (first + 60.0, TOP), (node, "driver"))
    second = first + 196.0
    sheet.wire("driver", (first + 60.0 + PART, TOP), (DRIVER_X, TOP))
    sheet.driver(signal.purpose.value, (DRIVER_X, TOP), "driver")
    sheet.wire("0", (DRIVER_X, TOP + DRIVER_GAP), (DRIVER_X, rail), (edge, rail))
    sheet.ground(edge + 14.0, rail)
    what = signal.purpose.value
    for place, number, own, across in ((first, 1, node, f"resistor and {what}"), (second, 2, "driver", what)):
        _draw_input(sheet, number, place, rail, own, f"across {across}", divided)
    return rail + 44.0


def _draw_input(
    sheet: Sheet, number: int, x: float, rail: float, node: str, across: str, divided: tuple[float, float] | None
) -> None:
    """Both ends of an input between the upper wire and the rail, behind its divider."""
    tip, high, low = node, TOP + 40.0, TOP + 40.0 + GAP
    if divided is None:
        sheet.wire(node, (x, TOP), (x, high))
    else:
        tip, middle = f"divided {number}", TOP + 10.0 + PART
        upper, lower = map(ohms, divided)
        sheet.wire(node, (x, TOP), (x, TOP + 10.0))
        sheet.part(DrawnKind.RESISTOR, "", upper, (x, TOP + 10.0), (node, tip))
        sheet.part(DrawnKind.RESISTOR, "", lower, (x, middle), (tip, "0"))
        sheet.wire("0", (x, middle + PART), (x, rail))
        x, high, low = x + 72.0, middle + 18.0, middle + 18.0 + GAP
        sheet.wire(tip, (x - 72.0, middle), (x, middle), (x, high))
    sheet.wire("0", (x, low), (x, rail))
    sheet.ring(f"input {number}", "+", x, high, tip)
    sheet.ring(f"input {number}", "-", x, low, "0")
    sheet.say(f"input {number}", x + 8.0, (high + low) / 2.0, Role.NAME)
    sheet.say(across, x + 8.0, (high + low) / 2.0 + 11.0, Role.NOTE)


def _draw_room(sheet: Sheet, both: bool) -> float:
    """Sound card, amplifier, speaker and microphone, with the loop-back."""
    edge, first, second = MARGIN + 84.0, TOP + 112.0, TOP + 70.0
    loop = TOP + 42.0 if both else TOP
    sheet.box("sound card", Box(MARGIN, TOP - 16.0, edge, first + 16.0))
    out = "other output" if both else "output"
    ends = [("output", "output", TOP), ("input 2", out, second), ("input 1", "microphone", first)]
    for name, node, y in [*ends, (out, out, loop)] if both else ends:
        sheet.ring(name, "+", edge, y, node)
        sheet.say(name, edge - 8.0, y + 3.2, anchor="end")
    sheet.wire(out, (edge, loop), (edge + 20.0, loop), (edge + 20.0, second), (edge, second))
    sheet.say("loop-back:", edge + 28.0, (TOP + 42.0 + second) / 2.0)
    sheet.say("a cable", edge + 28.0, (TOP + 42.0 + second) / 2.0 + 11.0)
    amplifier = Box(edge + 66.0, TOP - 16.0, edge + 136.0, TOP + 30.0)
    sheet.box("amplifier", amplifier)
    sheet.wire("output", (edge, TOP), (amplifier.left, TOP))
    speaker = amplifier.right + 50.0
    for sign, y, node in (("+", TOP, "plus"), ("-", TOP + DRIVER_GAP, "0")):
        sheet.wire(node, (amplifier.right, y), (speaker, y))
        sheet.ring("amplifier", sign, amplifier.right, y, node)
        sheet.say(SPOTS[sign], amplifier.right - 8.0, y + 3.2, Role.SIGN, "end")
    sheet.ring("amplifier", "in", amplifier.left, TOP, "output")
    sheet.driver("speaker", (speaker, TOP), "plus")
    x, y, radius, cone = WIDE - MARGIN - 20.0, TOP + DRIVER_GAP / 2, 8.0, speaker + CONE
    face = x - radius
    sheet.more.append(
        Lines("symbol", "microphone", (Ring(Point(x, y), radius), _line(face, y - radius, face, y + radius)))
    )
    sheet.say("microphone", x, TOP - 24.0, Role.NAME, "middle")
    sheet.wire("microphone", (x, y + radius), (x, first), (edge, first))
    at = TOP + 52.0
    ticks = [_line(end, at - 4.0, end, at + 4.0) for end in (cone, face)]
    sheet.more.append(Lines("coupling", "", (_line(cone, at, face, at), *ticks), BRACKET_POINTS, QUIET))
    sheet.say("distance, such as 1 m", (cone + face) / 2, at - 5.0, anchor="middle")
    sheet.say("floor and walls farther away", (cone + face) / 2, at + 12.0, Role.NOTE, "middle")
    return first + 44.0


def _line(x0: float, y0: float, x1: float, y1: float) -> Chain:
    return Chain((Point(x0, y0), Point(x1, y1)))


def _write_down(sheet: Sheet, blocks: Iterable[Block], below: float) -> None:
    """The first heading over the drawing, all else under it."""
    y = MARGIN
    for number, block in enumerate(blocks):
        match block:
            case Head():
                y = _lines(sheet, block.words, y + (12.0 if number else 0.0), Role.TITLE)
                y = y if number else below
            case Facts():
                for label, words in block.pairs:
                    y = _lines(sheet, words, y, hang=70.0, mark=label)
            case Items():
                for item in block.items:
                    y = _lines(sheet, item, y, hang=12.0, mark="-")
            case Paragraph():
                y = _lines(sheet, block.words, y + 4.0, Role.NAME)
            case _:
                pass


def _lines(sheet: Sheet, words: str, y: float, role: Role = Role.VALUE, hang: float = 0.0, mark: str = "") -> float:
    """A paragraph, its mark before it; gives where the next begins."""
    if mark:
        sheet.say(mark, MARGIN, y + height_pt(role) + 1.5, role)
    for line in wrapped(words, role, WIDE - 2 * MARGIN - hang, MOST_LINES):
        y += height_pt(role) + 1.5
        sheet.say(line, MARGIN + hang, y, role)
    return y + 4.0
