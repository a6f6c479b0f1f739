"""The card's figure says what the words say: its wires are read back from the drawing, and nothing lies on anything."""

import sys
from pathlib import Path

import pytest

from xover.drawing.card import draw_card, lay_out_card
from xover.drawing.schematic.paper import svg_text
from xover.studies.desk.sweep.study import Purpose, SignalKind, make_signal

sys.path[:0] = [str(Path(__file__).parent)]
from schematic_reader import Reader, faults  # noqa: E402


def card(purpose, *, channel="both", volts=None, kind=SignalKind.SWEEP):
    signal = make_signal(Purpose(purpose), kind, (500.0, 3000.0), 4.0, -6.0, 8000, channel, volts)
    return signal, lay_out_card(signal).layout()


def nets(layout):
    """Sets of ends that the lines join."""
    reader = Reader(svg_text(layout))
    leads = {(s.name, end): tuple(t.at) for s in layout.symbols for end, t in enumerate(s.terminals)}
    leads |= {(s.channel, s.sign): tuple(s.at) for s in layout.sockets}
    assert reader.loose_touches(leads.values()) == []
    return {frozenset(f"{name} {end}" for name, end in net) for net in reader.joined(leads)}


def joined(*rows):
    return {frozenset(row.split(", ")) for row in rows}


def test_a_jig_has_its_inputs_across_both_and_across_the_driver():
    assert nets(card("woofer")[1]) == joined(
        "amplifier +, resistor 0, input 1 +",
        "resistor 1, woofer 0, input 2 +",
        "amplifier -, input 1 -, input 2 -, woofer 1",
    )


def test_a_tweeters_guard_stands_before_the_first_input():
    """So that its impedance is in neither reading."""
    assert nets(card("tweeter")[1]) == joined(
        "amplifier +, guard 0",
        "guard 1, resistor 0, input 1 +",
        "resistor 1, tweeter 0, input 2 +",
        "amplifier -, input 1 -, input 2 -, tweeter 1",
    )


def test_dividers_stand_before_the_inputs_where_the_amplifier_gives_more_than_they_take():
    signal, layout = card("speaker", volts=2.83)
    assert signal.divider_ohm == (10_000.0, 1000.0)  # 0.26 V
    a, b = ([s.name for s in layout.symbols if s.name.startswith(value)] for value in ("10 kohm", "1 kohm"))
    assert nets(layout) == joined(
        f"amplifier +, resistor 0, {a[0]} 0",
        f"{a[0]} 1, {b[0]} 0, input 1 +",
        f"resistor 1, speaker 0, {a[1]} 0",
        f"{a[1]} 1, {b[1]} 0, input 2 +",
        f"amplifier -, input 1 -, input 2 -, speaker 1, {b[0]} 1, {b[1]} 1",
    )


@pytest.mark.parametrize(
    ("channel", "loop"),
    [
        ("both", ("output +, amplifier in", "other output +, input 2 +")),
        ("left", ("output +, amplifier in, input 2 +",)),
    ],
)
def test_a_microphone_has_a_loop_back(channel, loop):
    _, layout = card("microphone", channel=channel)
    assert nets(layout) == joined(*loop, "amplifier +, speaker 0", "amplifier -, speaker 1", "input 1 +")


@pytest.mark.parametrize("purpose", [p.value for p in Purpose])
@pytest.mark.parametrize("kind", SignalKind)
def test_nothing_lies_on_anything_and_all_of_it_is_on_the_page(purpose, kind):
    for volts in (0.3, 2.83)[: 1 if purpose == "tweeter" else 2]:
        _, layout = card(purpose, volts=volts, kind=kind)
        # Wires end within the rings of the sockets.
        assert [f for f in faults(layout) if "runs through socket" not in f] == []
        assert (layout.width_pt, layout.height_pt) == (595.0, 842.0)  # A4, ISO 216
        lowest = max(t.box.bottom for t in layout.texts)
        assert lowest < layout.height_pt - 40.0


def test_it_is_drawn_with_every_word_that_the_terminal_tells():
    from xover.studies.desk.sweep.words import tell

    signal, _ = card("tweeter")
    drawn = " ".join(t.get_text() for t in draw_card(signal).axes[0].texts)
    for item in next(b.items for b in tell(signal) if hasattr(b, "items")):
        assert item in drawn
