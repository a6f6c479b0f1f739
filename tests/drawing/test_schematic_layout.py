"""The drawing follows the habits of the trade, and says beside each part what the netlist says of it."""

import sys
from pathlib import Path

import pytest

from xover.drawing.schematic import lay_out
from xover.drawing.schematic.geometry import DrawnKind, Role
from xover.drawing.schematic.paper import Chain, all_lines
from xover.drawing.schematic.words import LETTERS, shown
from xover.files.netlist import parse_netlist, read_netlist
from xover.network import build_network

sys.path.insert(0, str(Path(__file__).parent))
from schematic_reader import faults

ROOT = Path(__file__).parents[2]


def circuit(name):
    return build_network(read_netlist(ROOT / "circuits" / f"{name}.cir"))


def network_of(*cards):
    return build_network(parse_netlist("\n".join(["* test", *cards, ".end"])))


def words(layout, name):
    return [t.content for t in layout.texts if t.of == name]


def ends(layout, name):
    return [t.at for t in layout.symbol(name).terminals]


def test_series_parts_lie_on_top_and_shunts_stand_on_the_rail():
    layout = lay_out(circuit("two-way-second-order-l-pad"))
    for name in ("L1", "C2", "R1"):
        left, right = ends(layout, name)
        assert left.y == right.y, name
        assert left.x < right.x, name
    for name in ("C1", "L2", "R2"):
        upper, lower = ends(layout, name)
        assert upper.x == lower.x, name
        assert upper.y < lower.y, name
    assert ends(layout, "C2")[0].y == ends(layout, "R1")[0].y < ends(layout, "R2")[0].y


def test_drivers_stand_at_the_right_below_each_other():
    for name in ("three-way-second-order-full", "two-way-second-order-full", "two-way-bi-amp"):
        layout = lay_out(circuit(name))
        drivers = [s for s in layout.symbols if s.kind is DrawnKind.DRIVER]
        others = [s for s in layout.symbols if s.kind is not DrawnKind.DRIVER]
        assert len({d.box.left for d in drivers}) == 1 < len(drivers), name
        assert max(o.box.right for o in others) < drivers[0].box.left, name


def test_sections_lie_below_each_other_each_with_its_ground():
    layout = lay_out(circuit("three-way-second-order"))
    tops = [ends(layout, name)[0].y for name in ("L1", "C2", "C4")]
    assert tops == sorted(set(tops))
    assert len(tops) == 3
    assert len(layout.grounds) == 3 + 1  # and the amplifier's
    first = [s for s in layout.symbols if s.name in ("L1", "C1", "Xlow")]
    assert max(s.box.bottom for s in first) < tops[1]


def test_the_amplifier_stands_at_the_left():
    layout = lay_out(circuit("two-way-bi-amp"))
    assert [(s.channel, s.sign, s.node) for s in layout.sockets] == [
        ("bass", "+", "lo"),
        ("bass", "-", "0"),
        ("treble", "+", "hi"),
        ("treble", "-", "0"),
    ]
    assert max(s.box.right for s in layout.sockets) < min(s.box.left for s in layout.symbols)
    assert "amplifier bass" in words(layout, "bass")


def test_a_trap_stands_as_one_leg():
    layout = lay_out(circuit("two-way-second-order-notch"))
    legs = [ends(layout, name) for name in ("R1", "L3", "C3")]
    assert len({p.x for leg in legs for p in leg}) == 1
    heights = [p.y for leg in legs for p in leg]
    assert heights == sorted(heights)


def test_parts_beside_a_series_part_lie_above_it():
    layout = lay_out(circuit("two-way-woofer-trap"))
    (coil, _), (capacitor, _), (resistor, _) = (ends(layout, name) for name in ("L2", "C2", "R1"))
    assert resistor.y < capacitor.y < coil.y


def test_a_driver_between_two_nodes_stands_between_their_rows():
    layout = lay_out(circuit("two-way-series-second-order"))
    plus, minus = ends(layout, "Xhigh")
    assert ends(layout, "C1")[0].y < minus.y < plus.y < ends(layout, "L1")[0].y
    first_order = lay_out(circuit("two-way-series-first-order"))
    assert ends(first_order, "Xhigh")[1].y < ends(first_order, "Xlow")[0].y
    assert ends(first_order, "Xhigh")[0].x == ends(first_order, "Xlow")[0].x


@pytest.mark.parametrize(
    ("name", "reversed_"),
    [
        ("two-way-second-order", {"Xhigh"}),
        ("two-way-third-order", set()),
        ("three-way-second-order", {"Xmid"}),
        ("two-way-series-second-order", {"Xhigh"}),
        ("two-way-series-first-order", set()),
    ],
)
def test_reversed_drivers_are_said_and_their_plus_is_below(name, reversed_):
    """Which are reversed: as the comments of these netlists say."""
    layout = lay_out(circuit(name))
    for symbol in (s for s in layout.symbols if s.kind is DrawnKind.DRIVER):
        assert symbol.is_reversed == (symbol.name in reversed_)
        assert ("reversed" in words(layout, symbol.name)) == (symbol.name in reversed_)
        plus, minus = (t.at for t in symbol.terminals)
        assert (plus.y > minus.y) == (symbol.name in reversed_)
        (sign,) = (t for t in layout.texts if t.of == symbol.name and t.role is Role.SIGN)
        assert sign.content == "+"
        assert abs(sign.at.y - plus.y) < 4 < abs(sign.at.y - minus.y)
        assert sign.box.right < plus.x


def test_an_autotransformer_is_one_winding_with_dots_and_a_bracket():
    layout = lay_out(circuit("two-way-horn-swamped"))
    assert len({p.x for name in ("L3", "L4", "L5") for p in ends(layout, name)}) == 1
    assert [(m.coils, m.k) for m in layout.couplings] == [
        (("L3", "L4"), 0.998),
        (("L4", "L5"), 0.998),
        (("L3", "L5"), 0.998),
    ]
    for mark in layout.couplings:
        for coil, dot in zip(mark.coils, mark.dots, strict=True):
            first, last = ends(layout, coil)
            assert abs(dot.y - first.y) < abs(dot.y - last.y)
        assert len(mark.bracket) == 4
        assert mark.bracket[1].x < ends(layout, "L3")[0].x
    assert "k 0.998 with L4" in words(layout, "L3")
    assert layout.symbol("L3").kind is DrawnKind.CORED_COIL


def test_what_feeds_a_winding_lies_on_the_row():
    layout = lay_out(circuit("two-way-horn-autotransformer"))
    left, right = ends(layout, "C1")
    assert left.y == right.y
    assert len({p.x for name in ("L2", "L3") for p in ends(layout, name)}) == 1


def test_a_coil_turned_round_has_its_dot_at_the_other_end():
    cards = ("L1 in w 1mH", "L2 0 w 1mH", "K1 L1 L2 -0.05", "Xlow w 0 woofer")
    layout = lay_out(network_of(*cards))
    (mark,) = layout.couplings
    first, last = ends(layout, "L2")
    assert first.y > last.y
    assert abs(mark.dots[1].y - first.y) < abs(mark.dots[1].y - last.y)
    assert "k -0.05 with L1" in words(layout, "L2")


def test_values_and_losses_stand_beside_the_parts():
    layout = lay_out(
        network_of(
            "L1 in w 0.82mH dcr=0.35",
            "C1 w 0 4.7uF esr=0.12 df=0.04@1kHz",
            "R1 w v 0",
            "R2 in t 1 kind=lamp cold=1 hot=9",
            "Xlow v 0 woofer",
            "Xhigh t 0 woofer",
        )
    )
    assert words(layout, "L1") == ["DCR 0.35 ohm", "L1", "0.82 mH"]
    assert words(layout, "C1") == ["C1", "4.7 uF", "ESR 0.12 ohm", "df 0.04"]
    assert sorted(words(layout, "R1")) == ["0 ohm", "R1"]
    assert sorted(words(layout, "R2")) == ["1 ohm", "R2", "hot 9 ohm", "lamp, cold"]
    assert layout.symbol("R2").kind is DrawnKind.LAMP
    assert words(layout, "Xlow") == ["+", "low", "Xlow, woofer"]
    for symbol in layout.symbols:
        own = [t.box for t in layout.texts if t.of == symbol.name]
        middle = (symbol.box.left + symbol.box.right) / 2, (symbol.box.top + symbol.box.bottom) / 2
        for box in own:
            assert abs((box.left + box.right) / 2 - middle[0]) < 75
            assert abs((box.top + box.bottom) / 2 - middle[1]) < 45


# -- against another network --------------------------------------------------------------------------------------

BEFORE = ("L1 in w 1mH dcr=0.3", "C1 w 0 10uF df=0.05@1kHz", "R1 w 0 8", "Xlow w 0 woofer", "C2 in t 4.7uF")
AFTER = ("L1 in w 1mH dcr=0.3", "C1 w x 12uF esr=0.2", "R3 x 0 0.5", "Xlow 0 w woofer", "C2 in t 4.7uF")
TAIL = ("L2 t 0 0.33mH", "Xhigh t 0 tweeter")


def test_old_and_new_value_where_they_differ():
    layout = lay_out(network_of(*AFTER, *TAIL), network_of(*BEFORE, *TAIL))
    assert words(layout, "C1") == ["C1", "10 → 12 uF", "ESR 0 → 0.2 ohm", "df 0.05 → 0"]
    assert sorted(words(layout, "L1")) == ["1 mH", "DCR 0.3 ohm", "L1"]
    assert "added" in words(layout, "R3")
    roles = {t.content: t.role for t in layout.texts if t.of == "C1"}
    assert roles["10 → 12 uF"] is Role.CHANGED
    notes = [t.content for t in layout.texts if t.role is Role.NOTE]
    assert notes == [
        "old value → new value, where a value differs",
        "Added: R3 0.5 ohm.",
        "Removed: R1 8 ohm from w to 0.",
        "Joined otherwise: C1 (was w to 0, is w to x).",
        "Drivers joined otherwise: woofer (turned round).",
    ]
    assert min(t.box.top for t in layout.texts if t.role is Role.NOTE) > max(s.box.bottom for s in layout.symbols)
    assert faults(layout) == []


def test_the_legend_names_the_two_networks():
    folder = ROOT / "examples" / "studio-three-way"
    found, original = (build_network(read_netlist(folder / f"{name}.cir")) for name in ("found", "original"))
    layout = lay_out(found, original)
    assert "old value (original) → new value (found), where a value differs" in [t.content for t in layout.texts]
    assert "33 → 41 uF" in words(layout, "C1")
    turned = lay_out(original, found)
    assert "41 → 33 uF" in words(turned, "C1")
    assert "old value (found) → new value (original), where a value differs" in [t.content for t in turned.texts]


def test_the_same_network_has_nothing_to_compare():
    network = circuit("two-way-second-order")
    layout = lay_out(network, network)
    assert not any("→" in t.content and t.of for t in layout.texts)
    assert "old value → new value: no value differs" in [t.content for t in layout.texts]


# -- letters ------------------------------------------------------------------------------------------------------


def test_boxes_hold_their_texts_as_the_font_draws_them():
    """Widths and heights by the font itself, hinting off, kerning on: matplotlib's own DejaVu Sans."""
    from matplotlib.font_manager import FontProperties, findfont, get_font
    from matplotlib.ft2font import LoadFlags

    layouts = [lay_out(circuit("two-way-second-order-full"), circuit("two-way-second-order"), title="WAVY Ünïcode Äq")]
    layouts += [lay_out(circuit("two-way-horn-swamped"), title="AV To Wa fi ffi {}|~ @#% Ωµ מ")]
    seen = 0
    for text in (t for layout in layouts for t in layout.texts):
        letters = LETTERS[text.role]
        weight = "bold" if letters.bold else "normal"
        font = get_font(findfont(FontProperties(family=["DejaVu Sans"], weight=weight)))
        font.set_size(letters.points, 72 * 16)
        font.set_text(text.content, 0.0, flags=LoadFlags.NO_HINTING)
        wide, tall = (side / 64 / 16 for side in font.get_width_height())
        descent = font.get_descent() / 64 / 16
        assert wide <= text.box.right - text.box.left + 0.35, text
        assert wide >= 0.8 * (text.box.right - text.box.left) - 2, text
        assert descent <= text.box.bottom - text.at.y + 0.1, text
        assert tall - descent <= text.at.y - text.box.top + 0.1, text
        seen += 1
    assert seen > 100


def test_long_names_are_cut_in_the_middle():
    assert shown("C" + "x" * 10_000 + "end", 14) == "Cxxxxxx…xxxend"
    assert shown("two\nlines\x00", 14) == "two lines "
    assert shown("\u202ereversed", 14) == " reversed"
    long = "n" * 60
    layout = lay_out(network_of(f"L1 in {long} 1mH", f"C{'9' * 60} {long} 0 1uF", f"Xlow {long} 0 {'w' * 60}"))
    assert faults(layout) == []
    assert layout.width_pt < 500
    assert layout.warnings == ("3 long names are shortened in the drawing",)
    assert all(len(t.content) <= 40 for t in layout.texts)


def test_the_description_lists_every_part():
    layout = lay_out(circuit("two-way-horn-swamped"))
    for sentence in (
        "L1 2.2 mH from in to w, DCR 0.4 ohm",
        "R1 10 ohm from top to ground",
        "Driver horn (Xhigh): plus on ground, minus on t6, reversed",
        "L3 and L5 coupled, k 0.998",
        "Amplifier in: plus on in, minus on ground",
    ):
        assert sentence in layout.description


@pytest.mark.parametrize("path", sorted((ROOT / "circuits").glob("*.cir")), ids=lambda p: p.stem)
def test_a_symbol_joins_its_terminals_and_stays_in_its_box(path):
    layout = lay_out(build_network(read_netlist(path)))
    drawn = {lines.name: lines for lines in all_lines(layout) if lines.kind in {k.value for k in DrawnKind}}
    assert len(drawn) == len(layout.symbols)
    for symbol in layout.symbols:
        chains = [s.points for s in drawn[symbol.name].strokes if isinstance(s, Chain)]
        assert {chains[0][0], chains[-1][-1]} == {t.at for t in symbol.terminals}
        box = symbol.box
        for x, y in (point for points in chains for point in points):
            assert box.left - 0.01 <= x <= box.right + 0.01, symbol.name
            assert box.top - 0.01 <= y <= box.bottom + 0.01, symbol.name
