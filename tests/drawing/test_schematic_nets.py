"""The drawing says what the netlist says: its connections are read from its lines and held against the cards."""

import re
import sys
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from xover.drawing.schematic import Schematic, draw_schematic
from xover.drawing.schematic.geometry import Point, Wire
from xover.errors import InputError
from xover.files.netlist import parse_netlist, read_netlist
from xover.network import build_network

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "network")]
from random_networks import random_network  # noqa: E402
from schematic_reader import Reader, faults, nets_of  # noqa: E402

ROOT = Path(__file__).parents[2]
FILES = sorted([*(ROOT / "circuits").glob("*.cir"), *(ROOT / "examples").rglob("*.cir")])

ODD = {
    "capacitors and coil in series with small resistors, as refreshed": """
        L1 in w 1.8mH dcr=0.48 core=iron
        C1 w c1x 6.8uF df=0.0005@1kHz
        RC1 c1x 0 0.13
        C1b w c1x2 1.8uF
        RC1b c1x2 0 220
        C2 in t 3.3uF
        C2b in t 0.82uF
        C2b2 in c2x 0.56uF
        RC2 c2x t 22
        L2 t 0 0.33mH
        R1 t p 5.6
        R2 p 0 15
        Xlow w 0 woofer
        Xhigh p 0 tweeter""",
    "channels whose minus is not ground": """
        Vbass bp bm
        Vtreble tp tm
        L1 bp w 1mH
        C1 w bm 10uF
        Xlow w bm woofer
        C2 tp t 4.7uF
        L2 t tm 0.3mH
        Xhigh tm t tweeter
        R9 bm 0 100
        R8 tm 0 100""",
    "one part between two channels": """
        Va in 0
        Vb hi 0
        L1 in w 1mH
        C1 w 0 10uF
        Xlow w 0 woofer
        C2 hi t 4.7uF
        R5 w t 20
        R6 in hi 1k
        Xhigh t 0 tweeter""",
    "bridged T and a driver straight on the amplifier": """
        R1 in a 3
        R2 a b 3
        C1 in b 2uF
        R3 a 0 10
        Xhigh b 0 tweeter
        Xlow in 0 woofer""",
    "lamps, a resistor below a driver, a part that leads nowhere": """
        L1 in w 1mH
        R1 w v 1 kind=lamp cold=1 hot=9
        R2 in t 0 kind=lamp cold=0.5
        C1 t u 4.7uF
        Xlow v 0 woofer
        Xhigh u g tweeter
        R3 g 0 0.5
        C9 u x 1uF""",
    "woofers in series and in parallel": """
        L1 in w 1mH
        Xa w j woofer
        Xb j 0 woofer
        Xc w k woofer
        Xd k 0 woofer
        R2 w j 100
        R3 j 0 100
        C2 in t 3uF
        Xhigh t 0 tweeter""",
    "two branches behind one coil": """
        L1 in a 1mH
        L2 a w 1mH
        C1 w 0 10uF
        Xlow w 0 woofer
        C2 a t 4uF
        R1 t p 2
        R2 p 0 10
        Xhigh p 0 tweeter
        C5 a 0 1uF""",
    "a driver across a bridge": """
        R1 in a 1
        R2 in b 2
        R3 a 0 3
        R4 b 0 4
        Xlow a b woofer
        Xhigh b in tweeter""",
    "rows that cannot all run from left to right": """
        L1 in a 1mH
        L2 a b 1mH
        L3 b c 1mH
        Xlow c 0 woofer
        C1 in d 1uF
        C2 d e 1uF
        C3 e f 1uF
        Xhigh f 0 tweeter
        R1 a f 10
        R2 c d 10
        R3 b e 10""",
}


def network_of(text):
    return build_network(parse_netlist("* odd\n" + "\n".join(line.strip() for line in text.splitlines()) + "\n.end\n"))


def check(network, other=None):
    schematic = draw_schematic(network, other, title=network.title)
    layout = schematic.layout
    assert sorted(s.name for s in layout.symbols) == sorted(e.name for e in (*network.parts, *network.drivers))
    for element in (*network.parts, *network.drivers):
        assert [t.node for t in layout.symbol(element.name).terminals] == [element.a, element.b]
    reader = Reader(schematic.svg())
    assert reader.nets(layout) == nets_of(network)
    assert reader.loose_touches([t.at for s in layout.symbols for t in s.terminals]) == []
    assert faults(layout) == []
    return layout


def test_there_are_networks_to_draw():
    assert len(FILES) >= 30


@pytest.mark.parametrize("path", FILES, ids=lambda p: f"{p.parent.name} {p.stem}")
def test_ready_networks(path):
    layout = check(build_network(read_netlist(path)))
    assert layout.warnings == (), "every ready network is drawn without a crossing"


@pytest.mark.parametrize("folder", ["attic-two-way/left", "studio-three-way", "hall-horn-two-way"])
def test_found_against_original(folder):
    found = ROOT / "examples" / folder / "found.cir"
    original = next(p for p in (found.parent, found.parent.parent) if (p / "original.cir").exists()) / "original.cir"
    check(build_network(read_netlist(found)), build_network(read_netlist(original)))


@pytest.mark.parametrize("name", ODD)
def test_odd_networks(name):
    check(network_of(ODD[name]))


def test_random_networks():
    drawn = crossed = 0
    for seed in range(30):
        try:
            network = build_network(parse_netlist(random_network(Random(seed)).text()))
        except InputError:
            continue
        layout = check(network)
        drawn += 1
        crossed += bool(layout.warnings)
    assert drawn >= 25
    assert 5 < crossed < drawn / 2


def test_a_large_tangle_is_drawn_whole():
    cards = [
        f"L{i} n{i // 2} n{i} 1mH\nR{i} n{i} n{i * 7 % 23 + 1 if i * 7 % 23 + 1 != i else 24} 10" for i in range(2, 30)
    ]
    layout = check(network_of("\n".join([*cards, "L1 in n1 1mH", "Xlow n20 0 woofer", "Xhigh n28 0 tweeter"])))
    assert any("cross" in warning for warning in layout.warnings)


def test_a_long_ladder_stays_one_row():
    cards = [f"L{i} n{i - 1} n{i} 1mH\nC{i} n{i} 0 10uF" for i in range(1, 21)]
    layout = check(network_of("\n".join(["R1 in n0 1", *cards, "Xlow n20 0 woofer"])))
    assert len({layout.symbol(f"L{i}").terminals[0].at.y for i in range(1, 21)}) == 1


# -- the reader itself notices what is wrong ---------------------------------------------------------------------


@pytest.fixture
def drawn():
    network = build_network(read_netlist(ROOT / "circuits" / "two-way-second-order-l-pad.cir"))
    layout = draw_schematic(network).layout
    assert Reader(Schematic(layout).svg()).nets(layout) == nets_of(network)
    return network, layout


def test_a_moved_wire_is_noticed(drawn):
    network, layout = drawn
    for i, wire in list(enumerate(layout.wires))[::2]:
        away = Wire(Point(wire.start.x + 3, wire.start.y + 3), Point(wire.end.x + 3, wire.end.y + 3), wire.node)
        wrong = replace(layout, wires=(*layout.wires[:i], away, *layout.wires[i + 1 :]))
        assert Reader(Schematic(wrong).svg()).nets(wrong) != nets_of(network), wire


def test_a_missing_wire_dot_or_ground_is_noticed(drawn):
    network, layout = drawn
    for kind in ("wires", "dots", "grounds"):
        whole = getattr(layout, kind)
        assert len(whole) >= 3
        for i in range(0, len(whole), 3):
            wrong = replace(layout, **{kind: (*whole[:i], *whole[i + 1 :])})
            assert Reader(Schematic(wrong).svg()).nets(layout) != nets_of(network), whole[i]


def test_a_dropped_or_moved_part_is_noticed(drawn):
    network, layout = drawn
    first, *rest = layout.symbols
    with pytest.raises(AssertionError, match="L1 is not drawn"):
        Reader(Schematic(replace(layout, symbols=tuple(rest))).svg()).nets(layout)
    without = replace(layout, symbols=tuple(rest))
    assert Reader(Schematic(without).svg()).nets(without) != nets_of(network)
    shifted = replace(first, terminals=tuple(replace(t, at=Point(t.at.x, t.at.y + 4)) for t in first.terminals))
    with pytest.raises(AssertionError, match="not drawn to"):
        Reader(Schematic(replace(layout, symbols=(shifted, *rest))).svg()).nets(layout)
    twice = replace(layout, symbols=(first, *layout.symbols))
    with pytest.raises(AssertionError, match="twice"):
        Reader(Schematic(twice).svg())


def test_a_crossing_joins_only_with_a_dot():
    network = network_of(ODD["rows that cannot all run from left to right"])
    schematic = draw_schematic(network)
    layout = schematic.layout
    level = [w for w in layout.wires if w.is_level]
    upright = [w for w in layout.wires if not w.is_level]
    points = [
        Point(b.start.x, a.start.y)
        for a in level
        for b in upright
        if a.node != b.node and a.start.x < b.start.x < a.end.x and b.start.y < a.start.y < b.end.y
    ]
    assert points
    joined = replace(layout, dots=(*layout.dots, replace(layout.dots[0], at=points[0])))
    assert Reader(Schematic(joined).svg()).nets(joined) != nets_of(network)


def test_overlaps_are_noticed(drawn):
    _, layout = drawn
    first, second, *rest = layout.texts
    assert any("lies on" in f for f in faults(replace(layout, texts=(replace(first, box=second.box), second, *rest))))
    wire = next(w for w in layout.wires if w.is_level)
    on_wire = first.box._replace(top=wire.start.y - 5, bottom=wire.start.y + 5, left=wire.start.x, right=wire.end.x)
    assert any("runs through text" in f for f in faults(replace(layout, texts=(replace(first, box=on_wire),))))
    through = Wire(Point(0.0, layout.symbols[0].box.top + 3), Point(400.0, layout.symbols[0].box.top + 3), "x")
    assert any("runs through symbol" in f for f in faults(replace(layout, wires=(through,))))
    outside = first.box._replace(right=layout.width_pt + 1)
    assert any("leaves the page" in f for f in faults(replace(layout, texts=(replace(first, box=outside),))))


def test_a_wire_shown_in_the_svg_alone_is_read(drawn):
    """The reader goes by the lines that are drawn, not by the layout beside them."""
    network, layout = drawn
    svg = Schematic(layout).svg()
    bent = re.sub(r'(<g class="wire"[^>]*>\s*<path d="M )([\d.]+)', lambda m: f"{m[1]}{float(m[2]) + 5}", svg, count=1)
    assert bent != svg
    assert Reader(svg).nets(layout) == nets_of(network)
    assert Reader(bent).nets(layout) != nets_of(network)
