"""Schematics on paper: an SVG that a page may hold, PNG and PDF, the same bytes each time."""

import os
import struct
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from xover.drawing.save import save_schematic
from xover.drawing.schematic import Schematic, draw_schematic, lay_out
from xover.errors import InputError, OptionError
from xover.files.netlist import parse_netlist, read_netlist
from xover.network import build_network
from xover.network.parts import Channel, DriverCard, Inductor

ROOT = Path(__file__).parents[2]
SVG = "{http://www.w3.org/2000/svg}"
CIRCUIT = ROOT / "circuits" / "two-way-second-order-full.cir"
HOSTILE = (
    "<script>alert(1)</script>",
    "\"quoted\" & 'quoted'",
    "x" * 10_000,
    "\u202eright to left \u05d0\u05d1\u05d2",
    "new\nline\x00\x1b[31m",
    "$\\frac{1}{2}$",
    "]]>",
    "\ud800",
    "",
)


@pytest.fixture(scope="module")
def schematic():
    return draw_schematic(build_network(read_netlist(CIRCUIT)), title="Full")


def test_svg_can_stand_in_a_page(schematic):
    svg = schematic.svg()
    assert svg.startswith("<svg ")
    root = ElementTree.fromstring(svg)
    layout = schematic.layout
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == root.get("aria-label") == "Full"
    assert root.find(f"{SVG}desc").text == layout.description
    assert "R7 5.6 ohm from p to y" in layout.description
    assert [float(n) for n in root.get("viewBox").split()] == pytest.approx(
        [0, 0, layout.width_pt, layout.height_pt], abs=0.01
    )
    assert float(root.get("width").removesuffix("pt")) == pytest.approx(layout.width_pt, abs=0.01)
    assert float(root.get("height").removesuffix("pt")) == pytest.approx(layout.height_pt, abs=0.01)
    assert not [e for e in root.iter() if "id" in e.attrib or "href" in str(e.attrib)]  # several fit on one page


def test_svg_text_is_text_where_the_layout_says(schematic):
    texts = [
        (t.text, float(t.get("x")), float(t.get("y")))
        for t in ElementTree.fromstring(schematic.svg()).iter(f"{SVG}text")
    ]
    wanted = [(t.content, round(t.at.x, 2), round(t.at.y, 2)) for t in schematic.layout.texts]
    assert texts == [(c, pytest.approx(x, abs=0.006), pytest.approx(y, abs=0.006)) for c, x, y in wanted]
    assert "0.82 mH" in [t[0] for t in texts]


@pytest.mark.parametrize("name", HOSTILE, ids=lambda n: ascii(n)[:12])
def test_hostile_names_are_text_only(name):
    network = build_network(read_netlist(CIRCUIT))
    coil = network.parts[0]
    assert isinstance(coil, Inductor)
    odd = replace(
        network,
        title=name,
        parts=(replace(coil, name="L" + name), *network.parts[1:]),
        drivers=tuple(
            DriverCard("X" + name + d.name, d.plus, d.minus, name + "d", name + d.key) for d in network.drivers
        ),
        channels=(Channel(name, "in", "0"),),
    )
    svg = Schematic(lay_out(odd, network, title=name)).svg()
    root = ElementTree.fromstring(svg.encode("utf-8"))
    known = {"svg", "title", "desc", "rect", "g", "path", "circle", "polygon", "polyline", "text", "ellipse"}
    assert {e.tag.removeprefix(SVG) for e in root.iter()} <= known
    assert not any(key.lower().startswith("on") for e in root.iter() for key in e.attrib)
    lines = [t.text or "" for t in root.iter(f"{SVG}text")]
    assert max(map(len, lines)) < 200
    assert len(svg) < 200_000
    if len(name) < 15 and name.isascii() and name.isprintable():
        assert any(name[:8] in line for line in lines)


def test_the_same_bytes_each_time_and_without_matplotlib(schematic, tmp_path):
    """Another process with another order of hashes draws the same; it loads neither matplotlib nor scipy."""
    code = (
        "import sys\n"
        "from xover.files.netlist import parse_netlist, read_netlist\n"
        "from xover.network import build_network\n"
        "from xover.drawing import draw_schematic, save_schematic\n"
        f"drawn = draw_schematic(build_network(read_netlist({str(CIRCUIT)!r})), title='Full')\n"
        "save_schematic(drawn, 'drawn.svg')\n"
        "print([m for m in ('matplotlib', 'scipy') if m in sys.modules])\n"
    )
    environment = os.environ | {"PYTHONHASHSEED": "7", "PYTHONPATH": str(ROOT)}
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
    )
    assert ran.stdout == "[]\n"
    assert (tmp_path / "drawn.svg").read_text(encoding="utf-8") == schematic.svg() + "\n"


def test_png_and_pdf(tmp_path):
    from matplotlib import rcParams

    schematic = draw_schematic(build_network(read_netlist(CIRCUIT.with_name("two-way-first-order.cir"))))

    before = dict.copy(rcParams)
    for name in ("one.png", "two.png", "one.PDF", "two.PDF"):
        save_schematic(schematic, tmp_path / name)
    assert dict.copy(rcParams) == before
    data = (tmp_path / "one.png").read_bytes()
    assert data == (tmp_path / "two.png").read_bytes()
    width, height = struct.unpack(">II", data[16:24])
    assert abs(width - schematic.layout.width_pt / 72 * 150) <= 1
    assert abs(height - schematic.layout.height_pt / 72 * 150) <= 1
    pdf = (tmp_path / "one.PDF").read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert pdf == (tmp_path / "two.PDF").read_bytes()
    assert sorted(os.listdir(tmp_path)) == ["one.PDF", "one.png", "two.PDF", "two.png"]


def test_the_page_draws_what_the_layout_says(schematic):
    from xover.drawing.schematic.paper import make_figure

    (axes,) = make_figure(schematic.layout).axes
    drawn = {
        tuple(float(v) for v in (line.get_xdata()[0], line.get_ydata()[0], *(line.get_xydata()[-1])))
        for line in axes.lines
    }
    for wire in schematic.layout.wires:
        assert (*wire.start, *wire.end) in drawn
    assert [t.get_text() for t in axes.texts] == [t.content for t in schematic.layout.texts]
    assert not any(t.get_parse_math() for t in axes.texts)  # a name such as $x^2$ is no formula


def test_names_and_old_files(schematic, tmp_path):
    with pytest.raises(OptionError, match=r"a\.jpg"):
        save_schematic(schematic, tmp_path / "a.jpg")
    for name in ("a.svg", "a.png"):
        (tmp_path / name).write_text("old")
        with pytest.raises(InputError, match="exists already"):
            save_schematic(schematic, tmp_path / name)
        assert (tmp_path / name).read_text() == "old"
    save_schematic(schematic, tmp_path / "a.svg", force=True)
    assert (tmp_path / "a.svg").read_text(encoding="utf-8").startswith("<svg ")


def test_long_names_that_are_drawn_alike_are_told_apart_by_their_titles():
    names = ("Rtweeter_pad_first_series", "Rtweeter_pad_other_series")
    text = f"* t\n{names[0]} in a 1\n{names[1]} a b 1\nR1 b c 1\nR_1 c d 1\nXs d 0 tweeter\n"
    root = ElementTree.fromstring(draw_schematic(build_network(parse_netlist(text))).svg())
    titles = [g.find(f"{SVG}title").text for g in root.iter(f"{SVG}g") if g.get("class") == "symbol"]
    assert sum(names[0] in t for t in titles) == sum(names[1] in t for t in titles) == 1
    assert {t.partition(",")[0] for t in titles} >= {"R1", "R_1"}
    assert len(set(titles)) == 5
