"""Figures for a page: small, whole by themselves, and safe whatever a user typed."""

import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import numpy as np
import pytest
from matplotlib.path import Path

from xover.drawing import draw_prediction
from xover.drawing.labels import LineLabel, write_labels
from xover.drawing.page import Panel, inline_page, level_axis, make_page
from xover.drawing.style import INK, cut, look
from xover.drawing.svg import attributes, figure_svg, hundredths, number, path_commands, plain_text

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = [
    "<script>alert(1)</script>",
    "\"double\" and 'single' & </svg><img src=x onerror=alert(1)>",
    "one line\nand another\r\tand \x00\x0b\x1b[31m",
    "\u202eright to left\u202c \u05d0\u05d1\u05d2 \u0627\u0644",
    "x" * 10_000,
    "]]> <!-- -- --> <![CDATA[ &amp; &#x3c;",
    "surrogate \ud800 and noncharacter \uffff",
]


class Tags(HTMLParser):
    """Elements, ids and text as an HTML parser sees them."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.ids, self.words, self.faults = [], [], [], []
        self._open = []
        self.feed(text)
        self.close()
        assert not self._open

    def handle_starttag(self, tag, attrs):
        self._open.append(tag)
        self.handle_startendtag(tag, attrs)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.ids += [v for k, v in attrs if k == "id"]
        assert not [k for k, _ in attrs if k.startswith("on") or "href" in k], tag

    def handle_endtag(self, tag):
        assert self._open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def svg(results):
    return figure_svg(draw_prediction(results.prediction("studio")), name="sum", title="The sum", description="It <is>")


def test_it_stands_in_a_page(svg):
    root = ET.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    assert root.attrib["viewBox"] == "0 0 576 504"  # 8 by 7 inches
    assert root.attrib["role"] == "img"
    assert not {"width", "height", "style", "class"} & set(root.attrib)
    title, description = list(root)[:2]
    assert (title.tag, title.text) == (f"{SVG}title", "The sum")
    assert (description.tag, description.text) == (f"{SVG}desc", "It <is>")
    assert root.attrib["aria-labelledby"].split() == [title.attrib["id"], description.attrib["id"]]
    assert svg.startswith("<svg ")
    assert svg.endswith("</svg>")


def test_nothing_in_it_leads_outside(svg):
    assert {e.tag.removeprefix(SVG) for e in ET.fromstring(svg).iter()} == {"svg", "title", "desc", "path", "text"}
    without = svg.replace('xmlns="http://www.w3.org/2000/svg"', "", 1)
    assert not re.search(r"http|url\(|href|<\?|<!|metadata|@import|Matplotlib", without, re.IGNORECASE)
    assert len(svg) < 60_000


def test_ids_begin_with_the_name(svg, results):
    other = figure_svg(results.load_figure("studio").figure, name="load-2", title="", description="")
    assert Tags(svg).ids == ["sum-title", "sum-description"]
    assert Tags(other).ids == ["load-2-title", "load-2-description"]


@pytest.mark.parametrize("name", ["", "2", "a b", 'a"', "a<", "ä", "a\n", "-a"])
def test_a_name_that_is_no_id_is_refused(results, name):
    with pytest.raises(ValueError, match="cannot be an id"):
        figure_svg(results.load_figure("studio").figure, name=name, title="", description="")


def test_text_stays_text_in_its_place(svg):
    root = ET.fromstring(svg)
    assert root.attrib["font-family"] == "DejaVu Sans, Verdana, sans-serif"
    texts = {e.text: e.attrib for e in root.iter(f"{SVG}text")}
    assert {"sum", "mid", "20k", "frequency, Hz", "Level, dB re 20 µPa", "Studio three-way (invented)"} <= set(texts)
    title = texts["Studio three-way (invented)"]
    assert (title["font-size"], title["font-weight"]) == ("13", "bold")
    assert float(title["x"]) == pytest.approx(0.55 * 72, abs=0.01)
    # Numbers of the frequency axis are held at their middle, those of the other at their right end.
    assert texts["20k"]["text-anchor"] == "middle"
    assert float(texts["20k"]["x"]) == pytest.approx((8.0 - 0.25) * 72, abs=0.01)
    assert texts["90"]["text-anchor"] == "end"
    # Both lines of a name of several are held at one middle.
    assert texts["409 Hz"]["x"] == texts["null 27 dB"]["x"]
    assert float(texts["409 Hz"]["y"]) < float(texts["null 27 dB"]["y"])


def test_the_figure_is_not_changed(results):
    figure = results.load_figure("studio").figure
    first = figure_svg(figure, name="a", title="", description="")
    assert figure.dpi == 150
    assert figure_svg(figure, name="a", title="", description="") == first


@pytest.mark.parametrize("text", HOSTILE, ids=lambda t: ascii(t[:12]))
def test_hostile_text_is_text(text):
    """In the title and the description, in the figure's own title, heading and notes, and as the name of a line."""
    with look():
        figure, (axes,) = make_page(text, [text], [text], [Panel(text, 1.0)], np.array([20.0, 20_000.0]))
        level_axis(axes, 40.0, 90.0)
        (line,) = axes.plot([20.0, 20_000.0], [60.0, 70.0], label=text)
        write_labels(axes, [LineLabel(cut(text, 60), (line,), INK)])
    assert len(figure.texts) >= 3
    svg = figure_svg(figure, name="a", title=text, description=text)
    shown = "".join(c if c.isprintable() else " " for c in text)
    root = ET.fromstring(svg.encode("utf-8"))
    assert [e.text for e in list(root)[:2]] == [shown, shown]
    assert {e.tag.removeprefix(SVG) for e in root.iter()} == {"svg", "title", "desc", "path", "text"}
    page = Tags(f"<!doctype html><body>{svg}</body>")
    assert set(page.tags) == {"body", "svg", "title", "desc", "path", "text"}
    assert shown in page.words
    assert len(svg) < 60_000 + 2 * len(text)


def one_line(y):
    grid = np.geomspace(20.0, 20_000.0, y.size)
    with look():
        figure, (axes,) = make_page("", [], [], [Panel("", 1.0)], grid)
        level_axis(axes, 40.0, 90.0)
        axes.plot(grid, y, color="#123456", linewidth=1.5)
    svg = figure_svg(figure, name="a", title="", description="")
    (path,) = [e for e in ET.fromstring(svg).iter(f"{SVG}path") if e.attrib.get("stroke") == "#123456"]
    return figure, axes, path.attrib


def places(commands):
    """(m, 2) absolute places of a path of moves and lines."""
    assert set(re.findall(r"[a-z]", commands)) <= {"m", "l"}
    numbers = [float(n) for n in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", commands)]
    return np.cumsum(np.reshape(numbers, (-1, 2)), axis=0)


def test_a_line_runs_where_it_should():
    y = 65.0 + 15.0 * np.sin(np.linspace(0.0, 9.0, 400))
    figure, axes, path = one_line(y)
    drawn = places(path["d"])
    wanted = axes.lines[-1].get_transform().transform(axes.lines[-1].get_xydata()) * 72.0 / figure.dpi
    wanted[:, 1] = figure.get_size_inches()[1] * 72.0 - wanted[:, 1]
    assert drawn[0] == pytest.approx(wanted[0], abs=0.01)
    assert drawn[-1] == pytest.approx(wanted[-1], abs=0.01)
    # What is left out lies on the way: nowhere farther off than a quarter of a point, straight up.
    assert np.interp(wanted[:, 0], drawn[:, 0], drawn[:, 1]) == pytest.approx(wanted[:, 1], abs=0.25)
    assert 20 < len(drawn) < 400
    assert path["stroke-width"] == "1.5"
    assert path["fill"] == "none"


def test_a_line_ends_at_the_panel_and_keeps_its_gaps():
    y = np.linspace(20.0, 120.0, 300)
    y[140:160] = np.nan
    figure, axes, path = one_line(y)
    frame = axes.get_window_extent()
    height = figure.get_size_inches()[1] * 72.0
    drawn = places(path["d"]) * figure.dpi / 72.0
    drawn[:, 1] = height * figure.dpi / 72.0 - drawn[:, 1]
    assert drawn[:, 1].min() == pytest.approx(frame.y0, abs=0.1)
    assert drawn[:, 1].max() == pytest.approx(frame.y1, abs=0.1)
    assert path["d"].count("m") == 2


def test_relative_commands_do_not_drift():
    rng = np.random.default_rng(3)
    at = rng.uniform(0.0, 500.0, size=(2000, 2))
    codes = np.full(2000, Path.LINETO, dtype=np.uint8)
    codes[0] = Path.MOVETO
    drawn = places(path_commands(at, codes))
    assert np.abs(drawn - at).max() <= 0.00501


@pytest.mark.parametrize(
    ("vertices", "codes", "wanted"),
    [
        ([[1, 2], [3, 2.5], [3, 2.5], [0, 0]], [1, 2, 2, 0], "m1 2 2 .5"),
        ([[0, 0], [1, 0], [1, 1], [0, 0]], [1, 2, 2, 79], "m0 0 1 0 0 1z"),
        ([[0, 0], [1, -1], [2, 0]], [1, 3, 3], "m0 0q1-1 2 0"),
        ([[10, 0], [10, 1], [11, 2], [12, 2]], [1, 4, 4, 4], "m10 0c0 1 1 2 2 2"),
        ([[0, 0], [1, 0], [5, 5], [6, 5]], [1, 2, 1, 2], "m0 0 1 0m4 5 1 0"),
        ([[0, 0], [1, 1], [0, 0], [2, 2], [3, 2]], [1, 2, 79, 1, 2], "m0 0 1 1zm2 2 1 0"),
    ],
)
def test_commands_of_a_path(vertices, codes, wanted):
    got = path_commands(np.array(vertices, dtype=float), np.array(codes, dtype=np.uint8))
    assert got == wanted


@pytest.mark.parametrize(
    ("value", "text"), [(3.0, "3"), (3.5, "3.5"), (0.07, ".07"), (-0.5, "-.5"), (0.004, "0"), (-1.239, "-1.24")]
)
def test_numbers_are_short(value, text):
    assert number(value) == text
    assert float(text) == pytest.approx(value, abs=0.00501)


def test_numbers_stay_what_they_are():
    for value in (*range(-250, 251), 57_600, -57_601):
        assert round(float(hundredths(value)) * 100) == value


def test_attributes_are_quoted():
    assert attributes(a='"<', stroke_width=None, font_size="9") == ' a=\'"&lt;\' font-size="9"'
    assert plain_text("a<b>\n&") == "a&lt;b&gt; &amp;"


@pytest.mark.parametrize("name", ["bi-amp", "studio"])
def test_inline_levels_can_be_read(results, drawn, name):
    """On 6 inches too no words lie on words, and none leave the page."""
    with inline_page():
        figure = draw_prediction(results.prediction(name))
    drawn(figure).assert_legible(18)
