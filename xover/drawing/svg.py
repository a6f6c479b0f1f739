"""A figure as a piece of SVG that stands in a page of HTML.

It holds drawing and text alone: no declaration, no reference to anything outside or inside, no style sheet, no date.
Its two ids begin with the name that it is given. Every path is one element and every line of text is one; lines are cut
at the edge of their panel instead of clipped, points that lie on the way between their neighbours are left out, and
coordinates are hundredths of a point. This module loads matplotlib, for the base class of what it draws on.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from matplotlib.backend_bases import GraphicsContextBase, RendererBase
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.path import Path
from matplotlib.transforms import Affine2D, Bbox
from numpy.typing import NDArray

from xover.drawing.style import height_points, look, width_points

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties
    from matplotlib.text import Text
    from matplotlib.transforms import Transform

FONTS: Final = "DejaVu Sans, Verdana, sans-serif"
POINTS: Final = 72.0
_NAME: Final = re.compile(r"[A-Za-z][A-Za-z0-9_-]*\Z")
_LETTERS: Final = {int(Path.MOVETO): "m", int(Path.LINETO): "l", int(Path.CURVE3): "q", int(Path.CURVE4): "c"}
_POINTS_OF: Final = {"m": 1, "l": 1, "q": 2, "c": 3}
_ANCHORS: Final = {"left": "start", "center": "middle", "right": "end"}
BOLD: Final = 600
CUT: Final = 1.0
"""matplotlib cuts a path that much outside the frame that it is given."""
_CAPS: Final = {"projecting": "square"}


def figure_svg(figure: Figure, *, name: str, title: str, description: str) -> str:
    """Write a figure as one `<svg>` element, well-formed as XML and as HTML.

    It has a viewBox in points and no size: the page gives it one. To those who do not see it, it is an image of the
    title and the description.

    Parameters
    ----------
    name : what its ids begin with; a letter, then letters, digits, `-` and `_`; different for each figure of a page.
    title, description : any text; control characters become blanks.

    Raises ValueError: the name cannot be an id.
    """
    if not _NAME.match(name):
        raise ValueError(f"{name!r} cannot be an id")
    width, height = (float(inches) * POINTS for inches in figure.get_size_inches())
    renderer = SvgRenderer(width, height)
    dpi = figure.dpi
    with look():
        try:
            figure.set_dpi(POINTS)
            figure.draw(renderer)
        finally:
            figure.set_dpi(dpi)
    ids = f"{name}-title", f"{name}-description"
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {number(width)} {number(height)}" role="img" '
            f'aria-labelledby="{ids[0]} {ids[1]}" font-family="{FONTS}">',
            f'<title id="{ids[0]}">{plain_text(title)}</title>',
            f'<desc id="{ids[1]}">{plain_text(description)}</desc>',
            *renderer.elements,
            "</svg>",
        ]
    )


def plain_text(text: str) -> str:
    """Text between two tags: what XML cannot hold, and what would turn the direction of what follows, is a blank."""
    return escape("".join(c if c.isprintable() else " " for c in text))


def attributes(**given: Any) -> str:
    """Attributes of an element in the order given, `_` for `-`; those that are None are left out."""
    return "".join(f" {key.replace('_', '-')}={quoteattr(str(v))}" for key, v in given.items() if v is not None)


@lru_cache(maxsize=4096)
def number(value: float) -> str:
    """A number with two decimals at most: 3, 3.5, 0.07."""
    return hundredths(round(value * 100.0))


def hundredths(value: int) -> str:
    """So many hundredths, as short as it can be written: 3, -.5, .07."""
    whole, part = divmod(abs(value), 100)
    text = f"{whole}" if not part else f"{whole or ''}.{part:02d}".rstrip("0")
    return f"-{text}" if value < 0 else text


class SvgRenderer(RendererBase):
    """Collects elements. One unit is a point (1/72 inch), y grows downward.

    Attributes
    ----------
    elements : in the order in which they were drawn.
    """

    def __init__(self, width: float, height: float) -> None:
        super().__init__()
        self.width, self.height = width, height
        self.elements: list[str] = []
        self._down = Affine2D().scale(1.0, -1.0).translate(0.0, height)

    def get_canvas_width_height(self) -> tuple[float, float]:
        """Size, points."""
        return self.width, self.height

    def points_to_pixels(self, points: Any) -> Any:
        """A pixel is a point."""
        return points

    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> tuple[float, float, float]:
        """Size of a line from the advances of its characters; all lines of one size are equally high."""
        del ismath
        points, bold = prop.get_size_in_points(), _is_bold(prop)
        return width_points(s, points, bold), *height_points(points, bold)

    def draw_path(self, gc: GraphicsContextBase, path: Path, transform: Transform, rgbFace: Any = None) -> None:
        """One path, cut at the edge of its panel."""
        filled = rgbFace is not None and (len(rgbFace) < 4 or rgbFace[3] > 0.0)
        width = float(gc.get_linewidth())
        stroked = width > 0.0 and gc.get_rgb()[3] > 0.0
        shape = self._shape(gc, path, transform, filled)
        if not shape or not (filled or stroked):
            return
        style: dict[str, Any] = {"fill": "none"}
        if filled:
            face = 1.0 if len(rgbFace) < 4 else rgbFace[3]
            opacity = gc.get_alpha() if gc.get_forced_alpha() else face
            style = {"fill": to_hex(rgbFace), "fill_opacity": None if opacity == 1.0 else number(opacity)}
        if stroked:
            opacity = gc.get_alpha() if gc.get_forced_alpha() else gc.get_rgb()[3]
            _, dashes = gc.get_dashes()
            style |= {
                "stroke": to_hex(gc.get_rgb()),
                "stroke_width": number(width),
                "stroke_opacity": None if opacity == 1.0 else number(opacity),
                "stroke_dasharray": None
                if dashes is None
                else " ".join(number(float(d)) for d in np.ravel(np.asarray(dashes, dtype=float))),
                "stroke_linejoin": "round" if gc.get_joinstyle() == "round" else None,
                "stroke_linecap": None if gc.get_capstyle() == "butt" else _CAPS.get(gc.get_capstyle(), "round"),
            }
        self.elements.append(f'<path{attributes(**style)} d="{shape}"/>')

    def draw_text(
        self,
        gc: GraphicsContextBase,
        x: float,
        y: float,
        s: str,
        prop: FontProperties,
        angle: float,
        ismath: Any = False,
        mtext: Text | None = None,
    ) -> None:
        """One line of text. It is held where it was aligned, as another font may be wider.

        Of a text of several lines, which comes without `mtext`, each line is held at its middle: only names on lines
        have several, and they are centred.
        """
        del ismath
        points = prop.get_size_in_points()
        align = "center" if mtext is None else str(mtext.get_horizontalalignment())
        anchor = _ANCHORS[align]
        x += {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * width_points(s, points, _is_bold(prop))
        place = attributes(
            x=number(x),
            y=number(y),
            transform=f"rotate({number(-angle)} {number(x)} {number(y)})" if angle else None,
            font_size=number(points),
            font_weight="bold" if _is_bold(prop) else None,
            fill=to_hex(gc.get_rgb()),
            text_anchor=None if anchor == "start" else anchor,
        )
        self.elements.append(f"<text{place}>{plain_text(s)}</text>")

    def _shape(self, gc: GraphicsContextBase, path: Path, transform: Transform, filled: bool) -> str:
        """The commands of a path."""
        clip = gc.get_clip_rectangle()
        codes = np.asarray(() if path.codes is None else path.codes)
        curved = bool(np.isin(codes, (Path.CURVE3, Path.CURVE4)).any())
        frame = None
        if clip is not None and filled and codes.size:
            whole = path.transformed(transform)
            inside = whole.get_extents()
            if not all(clip.contains(x, y) for x, y in ((inside.x0, inside.y0), (inside.x1, inside.y1))):
                path, transform = whole.clip_to_bbox(Bbox.from_extents(*clip.extents)), Affine2D()
        elif clip is not None and not filled:
            left, foot, right, head = clip.x0, self.height - clip.y1, clip.x1, self.height - clip.y0
            frame = (left + CUT, foot + CUT, right - CUT, head - CUT)
        cleaned = path.cleaned(transform + self._down, remove_nans=True, clip=frame, simplify=not curved, curves=True)
        return path_commands(np.asarray(cleaned.vertices, dtype=float), np.asarray(cleaned.codes))


def path_commands(vertices: NDArray[np.float64], codes: NDArray[np.uint8]) -> str:
    """A path in relative commands, from rounded places, so that no error adds up.

    Parameters
    ----------
    vertices : (m, 2). codes : (m,) of matplotlib's path.
    """
    places = np.rint(np.nan_to_num(vertices) * 100.0).astype(int).tolist()
    kinds = codes.tolist()
    out: list[str] = []
    last, here, at = "", [0, 0], 0
    start = here
    while at < len(kinds):
        if kinds[at] == Path.STOP:
            break
        if kinds[at] == Path.CLOSEPOLY:
            out.append("z")
            here, last, at = start, "z", at + 1
            continue
        letter = _LETTERS[kinds[at]]
        points = places[at : at + _POINTS_OF[letter]]
        at += _POINTS_OF[letter]
        if letter == "l" and points[0] == here and last == "l":
            continue
        # After a move, pairs are taken for lines by themselves.
        said = "" if letter == last or (letter == "l" and last == "m") else letter
        for x, y in points:
            right, down = hundredths(x - here[0]), hundredths(y - here[1])
            gap = "" if said or (right.startswith("-") or not out) else " "
            out.append(f"{said}{gap}{right}{'' if down.startswith('-') else ' '}{down}")
            said = ""
        here, last = points[-1], letter
        if letter == "m":
            start = here
    return "".join(out)


def _is_bold(prop: FontProperties) -> bool:
    weight = prop.get_weight()
    return weight >= BOLD if isinstance(weight, int) else weight in ("bold", "heavy", "black")
