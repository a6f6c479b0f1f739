"""The lines of every symbol, and the schematic on paper: as SVG, text as text; as a matplotlib figure for PNG and PDF.

Without pyplot, so that no window system is chosen.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree

from xover.drawing.schematic.geometry import DrawnKind, Layout, Point, Role, Symbol, Text
from xover.drawing.schematic.ink import DOT_RADIUS
from xover.drawing.schematic.lay_out import RADIUS
from xover.drawing.schematic.words import FONTS, LETTERS
from xover.drawing.style import INK, PAGE_DPI, QUIET, driver_stroke, look

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


JOINT_RADIUS: Final = 2.1
WIRE_POINTS: Final = 1.2
DRIVER_POINTS: Final = 1.5
BRACKET_POINTS: Final = 0.7
RIM_POINTS: Final = 0.2

_LENGTH: Final = 32.0
_HALF: Final = 8.0
"""Of a resistor's height, and of a capacitor's plates."""
_GAP: Final = 5.76
_BOWS: Final = 4
_CORE_AT: Final = (8.0, 11.84)
_LAMP_RADIUS: Final = 10.0
_GROUND: Final = ((11.2, 7.0), (14.56, 4.9), (17.92, 1.4))
"""Its bars: so far down, so far to each side."""
# A driver's coil and cone: x from its terminals, y from its upper one.
_COIL: Final = ((7.0, -7.0), (7.0, 21.0), (14.0, 21.0), (14.0, -7.0), (7.0, -7.0))
_CONE: Final = ((14.0, -7.0), (24.5, -17.5), (24.5, 31.5), (14.0, 21.0))


@dataclass(frozen=True)
class Chain:
    """Straight lines from point to point."""

    points: tuple[Point, ...]


@dataclass(frozen=True)
class Bow:
    """Half a circle, clockwise from its start to its end."""

    start: Point
    end: Point


@dataclass(frozen=True)
class Ring:
    """A circle; `fill` is a colour or "none"."""

    at: Point
    radius: float
    fill: str = "none"


@dataclass(frozen=True)
class Lines:
    """Lines that belong together.

    Attributes
    ----------
    kind : wire, dot, ground, socket, coupling, or the kind of the symbol.
    name : of the part, driver, channel or node.
    """

    kind: str
    name: str
    strokes: tuple[Chain | Bow | Ring, ...]
    width_pt: float = WIRE_POINTS
    colour: str = INK


def all_lines(layout: Layout) -> Iterator[Lines]:
    """Everything that is drawn with lines, in the order in which it is drawn."""
    for wire in layout.wires:
        yield Lines("wire", wire.node, (Chain((wire.start, wire.end)),))
    for symbol in layout.symbols:
        if symbol.kind is DrawnKind.DRIVER:
            colour = driver_stroke(symbol.index).ink
            yield Lines(symbol.kind.value, symbol.name, tuple(_driver(symbol)), DRIVER_POINTS, colour)
        else:
            yield Lines(symbol.kind.value, symbol.name, tuple(_part(symbol)))
    for ground in layout.grounds:
        x, y = ground.at
        bars = [Chain((Point(x - side, y + down), Point(x + side, y + down))) for down, side in _GROUND]
        yield Lines("ground", "", (Chain((ground.at, Point(x, y + _GROUND[0][0]))), *bars))
    for socket in layout.sockets:
        middle = Point((socket.box.left + socket.box.right) / 2, socket.at.y)
        yield Lines("socket", socket.channel, (Ring(middle, RADIUS, "white"),))
    for dot in layout.dots:
        yield Lines("dot", dot.node, (Ring(dot.at, JOINT_RADIUS, INK),), RIM_POINTS)
    for mark in layout.couplings:
        if mark.bracket:
            yield Lines("coupling", mark.name, (Chain(mark.bracket),), BRACKET_POINTS, QUIET)
        yield Lines("coupling", mark.name, tuple(Ring(dot, DOT_RADIUS, INK) for dot in mark.dots), RIM_POINTS)


def _part(symbol: Symbol) -> Iterator[Chain | Bow | Ring]:
    """A part of two terminals, in the middle between them."""
    first, last = sorted(t.at for t in symbol.terminals)
    middle = Point((first.x + last.x) / 2, (first.y + last.y) / 2)

    def at(along: float, aside: float = 0.0) -> Point:
        """From the middle towards the last terminal, and to the left as one looks there."""
        return Point(
            middle.x + (aside if symbol.vertical else along), middle.y + (along if symbol.vertical else -aside)
        )

    reach = {DrawnKind.CAPACITOR: _GAP / 2, DrawnKind.LAMP: _LAMP_RADIUS}.get(symbol.kind, _LENGTH / 2)
    yield Chain((first, at(-reach)))
    if symbol.kind is DrawnKind.RESISTOR:
        box = ((-reach, _HALF), (reach, _HALF), (reach, -_HALF), (-reach, -_HALF), (-reach, _HALF))
        yield Chain(tuple(at(*corner) for corner in box))
    elif symbol.kind is DrawnKind.CAPACITOR:
        yield from (Chain((at(end, _HALF), at(end, -_HALF))) for end in (-reach, reach))
    elif symbol.kind is DrawnKind.LAMP:
        yield Ring(middle, reach)
        part = reach / 2**0.5
        yield from (Chain((at(-part, -side), at(part, side))) for side in (part, -part))
    else:
        ends = [at(reach * (2 * i / _BOWS - 1)) for i in range(_BOWS + 1)]
        yield from (Bow(*pair) for pair in pairwise(ends))
        if symbol.kind is DrawnKind.CORED_COIL:
            yield from (Chain((at(-reach, aside), at(reach, aside))) for aside in _CORE_AT)
    yield Chain((at(reach), last))


def _driver(symbol: Symbol) -> Iterator[Chain]:
    upper, lower = sorted((t.at for t in symbol.terminals), key=lambda p: p.y)
    left = _COIL[0][0]
    yield Chain((upper, Point(upper.x + left, upper.y)))
    for corners in (_COIL, _CONE):
        yield Chain(tuple(Point(upper.x + x, upper.y + y) for x, y in corners))
    yield Chain((Point(lower.x + left, lower.y), lower))


LARGEST_PIXELS: Final = 16_000
"""Of a side; a very large network is drawn with fewer dots an inch."""
_NAMESPACE: Final = "http://www.w3.org/2000/svg"


def svg_text(layout: Layout) -> str:
    """A whole SVG element, fit to stand in an HTML page or in a file of its own.

    It has a width, a height and a viewBox, so that a style sheet may scale it. Every symbol is a group with the
    class "symbol", the part's name in `data-part` and a title; wires, dots, grounds and sockets have classes too.
    """
    width, height = _number(layout.width_pt), _number(layout.height_pt)
    root = ElementTree.Element(
        "svg",
        {
            "xmlns": _NAMESPACE,
            "width": f"{width}pt",
            "height": f"{height}pt",
            "viewBox": f"0 0 {width} {height}",
            "role": "img",
            "class": "schematic",
            "font-family": FONTS,
        },
    )
    heading = _plain(layout.title) or "Schematic"
    root.set("aria-label", heading)
    ElementTree.SubElement(root, "title").text = heading
    ElementTree.SubElement(root, "desc").text = _plain(layout.description)
    ElementTree.SubElement(root, "rect", {"width": width, "height": height, "fill": "white"})
    symbols = {s.name: s for s in layout.symbols}
    for lines in all_lines(layout):
        group = ElementTree.SubElement(root, "g", _marks(lines.kind, lines.name, symbols))
        if group.get("class") == "symbol":
            ElementTree.SubElement(group, "title").text = _tooltip(layout, lines.name)
        group.extend(_drawn(lines))
    for text in layout.texts:
        root.append(_line(text, symbols))
    ElementTree.indent(root, "")
    return ElementTree.tostring(root, encoding="unicode")


def _drawn(lines: Lines) -> Iterator[ElementTree.Element]:
    """The straight lines as one path, from the first terminal to the last; bows as another; circles."""
    style = f"stroke:{lines.colour};stroke-width:{lines.width_pt};stroke-linecap:round;stroke-linejoin:round;"
    chains = [s for s in lines.strokes if isinstance(s, Chain)]
    bows = [s for s in lines.strokes if isinstance(s, Bow)]
    for path in (chains, bows):
        if path:
            yield ElementTree.Element("path", {"d": " ".join(map(_path, path)), "style": f"{style}fill:none;"})
    for ring in (s for s in lines.strokes if isinstance(s, Ring)):
        place = {"cx": _number(ring.at.x), "cy": _number(ring.at.y), "r": _number(ring.radius)}
        yield ElementTree.Element("circle", place | {"style": f"{style}fill:{ring.fill};"})


def _path(stroke: Chain | Bow) -> str:
    if isinstance(stroke, Bow):
        (x, y), (to_x, to_y) = stroke.start, stroke.end
        radius = _number(math.dist(stroke.start, stroke.end) / 2)
        return f"M {_at(stroke.start)} a {radius} {radius} 0 0 1 {_number(to_x - x)} {_number(to_y - y)}"
    return f"M {' L '.join(map(_at, stroke.points))}"


def _at(point: Point) -> str:
    return f"{_number(point.x)},{_number(point.y)}"


def _marks(kind: str, name: str, symbols: dict[str, Symbol]) -> dict[str, str]:
    if kind in ("wire", "dot", "ground", "socket", "coupling"):
        return {"class": kind} | ({"data-node": _plain(name)} if kind in ("wire", "dot") else {})
    return {"class": "symbol", "data-kind": symbols[name].kind.value, "data-part": _plain(name)}


def _tooltip(layout: Layout, name: str) -> str:
    said = [t.content for t in layout.texts if t.of == name and t.role is not Role.SIGN]
    ends = " to ".join(_plain(t.node) for t in layout.symbol(name).terminals)
    whole = "" if _plain(name) in said else f" ({_plain(name)})"  # where the drawing shortens it
    return f"{', '.join(said)}: {ends}{whole}"


def _line(text: Text, symbols: dict[str, Symbol]) -> ElementTree.Element:
    letters = LETTERS[text.role]
    colour = driver_stroke(symbols[text.of].index).ink if text.role is Role.DRIVER else letters.colour
    line = ElementTree.Element(
        "text",
        {"x": _number(text.at.x), "y": _number(text.at.y), "font-size": _number(letters.points), "fill": colour},
    )
    if text.anchor != "start":
        line.set("text-anchor", text.anchor)
    if letters.bold:
        line.set("font-weight", "bold")
    line.text = text.content
    return line


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _plain(text: str) -> str:
    """One line without the characters that no XML may hold; angle brackets and quotes are escaped on writing."""
    short = text if len(text) <= 20_000 else text[:20_000] + "…"
    return " ".join("".join(c if c.isprintable() else " " for c in short).split())


def make_figure(layout: Layout) -> Figure:
    """The schematic on a page of its own size, 1 point to 1/72 inch."""
    from matplotlib.figure import Figure

    inches = (layout.width_pt / 72.0, layout.height_pt / 72.0)
    with look():
        figure = Figure(figsize=inches, dpi=min(PAGE_DPI, LARGEST_PIXELS / max(inches)))
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_axis_off()
        axes.set_xlim(0.0, layout.width_pt)
        axes.set_ylim(layout.height_pt, 0.0)
        for lines in all_lines(layout):
            draw_lines(lines, axes)
        symbols = {s.name: s for s in layout.symbols}
        for text in layout.texts:
            letters = LETTERS[text.role]
            is_driver = text.role is Role.DRIVER
            axes.text(
                text.at.x,
                text.at.y,
                text.content,
                family=["DejaVu Sans"],
                fontsize=letters.points,
                fontweight="bold" if letters.bold else "normal",
                color=driver_stroke(symbols[text.of].index).ink if is_driver else letters.colour,
                ha={"start": "left", "middle": "center", "end": "right"}[text.anchor],
                va="baseline",
                parse_math=False,
            )
    return figure


def draw_lines(lines: Lines, axes: Axes) -> None:
    """Lines on axes in points."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Arc, Circle

    colour, width = lines.colour, lines.width_pt
    for stroke in lines.strokes:
        if isinstance(stroke, Chain):
            x, y = zip(*stroke.points, strict=True)
            line = Line2D(x, y, color=colour, linewidth=width)
            line.set_solid_capstyle("round")
            line.set_solid_joinstyle("round")
            axes.add_line(line)
        elif isinstance(stroke, Bow):
            (x0, y0), (x1, y1) = stroke.start, stroke.end
            middle, across = ((x0 + x1) / 2, (y0 + y1) / 2), math.dist(stroke.start, stroke.end)
            begins = math.degrees(math.atan2(y0 - middle[1], x0 - middle[0]))
            arc = Arc(middle, across, across, theta1=begins, theta2=begins + 180.0, color=colour, linewidth=width)
            axes.add_patch(arc)
        else:
            ring = Circle(stroke.at, stroke.radius, edgecolor=colour, facecolor=stroke.fill, linewidth=width)
            ring.set_zorder(2.5)  # over the wires that end in it
            axes.add_patch(ring)
