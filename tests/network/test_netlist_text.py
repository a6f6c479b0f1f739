from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import InputError
from xover.files.netlist import parse_netlist, read_netlist
from xover.network import Capacitor, Inductor, Resistor, build_network
from xover.network.cards import netlist_text, part_text

ROOT = Path(__file__).parents[2]
NETLISTS = sorted([*(ROOT / "circuits").glob("*.cir"), *(ROOT / "examples").rglob("*.cir")])


def read_back(network):
    return build_network(parse_netlist(netlist_text(network)))


@pytest.mark.parametrize("path", NETLISTS, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_reads_back_as_the_same_network(path):
    network = build_network(read_netlist(path))
    again = read_back(network)
    for what in ("title", "notes", "parts", "drivers", "channels", "couplings"):
        assert getattr(again, what) == getattr(network, what)


def test_a_card_keeps_its_own_words_only_while_they_are_true():
    network = build_network(read_netlist(ROOT / "examples" / "attic-two-way" / "left" / "found.cir"))
    old = network.part("C1")
    assert part_text(old) == "C1 w 0 8.4uF loss=2.1@1kHz,0.56@10kHz kind=electrolytic volts=50"
    # A quarter more capacitance: the readings would give another dissipation factor.
    changed = replace(old, farad=10.5e-6)
    text = part_text(changed)
    assert "loss=" not in text
    assert "kind=electrolytic" in text
    again = build_network(parse_netlist(f"{text}\nXlow w 0 woofer\nL1 in w 1mH\n")).part("C1")
    assert (again.farad, again.esr_ohm, again.dissipation_factor) == (10.5e-6, old.esr_ohm, old.dissipation_factor)


@settings(max_examples=60)
@given(
    ohm=st.just(0.0) | st.floats(1e-12, 1e5),
    henry=st.floats(1e-6, 1.0),
    farad=st.floats(1e-9, 1e-2),
    loss=st.just(0.0) | st.floats(1e-12, 2.0),
)
def test_every_value_comes_back_to_the_last_bit(ohm, henry, farad, loss):
    parts = (
        Resistor("R1", "in", "a", ohm),
        Inductor("L1", "a", "b", henry, dcr_ohm=loss),
        Capacitor("C1", "b", "0", farad, esr_ohm=loss, dissipation_factor=loss),
    )
    base = build_network(parse_netlist("R1 in a 1\nL1 a b 1mH\nC1 b 0 1uF\nXd b 0 woofer\n"))
    for part, back in zip(parts, read_back(replace(base, parts=parts)).parts, strict=True):
        for what in ("ohm", "henry", "farad", "dcr_ohm", "esr_ohm", "dissipation_factor"):
            assert getattr(back, what, None) == getattr(part, what, None)


@pytest.mark.parametrize("less", [5e-324, 1e-300, 9e-13])
def test_less_than_can_be_read_is_written_as_none(less):
    """A fit may leave it; the netlist is read again."""
    base = build_network(parse_netlist("R1 in a 1\nL1 a b 1mH\nC1 b 0 1uF\nXd b 0 woofer\n"))
    parts = (
        Resistor("R1", "in", "a", less),
        Inductor("L1", "a", "b", 1e-3, dcr_ohm=less),
        Capacitor("C1", "b", "0", 1e-6, esr_ohm=less, dissipation_factor=less),
    )
    link, coil, cap = read_back(replace(base, parts=parts)).parts
    assert (link.ohm, coil.dcr_ohm, cap.esr_ohm, cap.dissipation_factor) == (0.0, 0.0, 0.0, 0.0)


def test_hostile_notes_stay_notes():
    base = build_network(parse_netlist("L1 in a 1mH\nXd a 0 woofer\n"))
    hostile = replace(base, title="one\nR9 in 0 1", notes=("two\r\n.end", "* three"))
    again = read_back(hostile)
    assert again.parts == base.parts
    assert len(again.notes) == 2


def test_what_a_part_has_become_stands_on_its_card():
    network = build_network(parse_netlist("C1 in a 10uF tol=0.1 volts=50V note=kept loss=2@1kHz\nXd a 0 woofer\n"))
    old = network.part("C1")
    assert isinstance(old, Capacitor)
    assert (old.tolerance, old.volts, old.losses_at_hz, old.losses_stated) == (0.1, 50.0, (1000.0,), True)
    assert part_text(old) == "C1 in a 10uF tol=0.1 volts=50V note=kept loss=2@1kHz"
    changed = replace(old, tolerance=None, volts=63.0, kind="film")
    assert part_text(changed) == "C1 in a 10uF volts=63 note=kept loss=2@1kHz kind=film"


def test_a_part_of_no_card_is_written_whole():
    lamp = Resistor("R1", "a", "b", 1.0, True, 10.0, watts=5.0, tolerance=0.2)
    assert part_text(lamp) == "R1 a b 1 kind=lamp cold=1.0 hot=10.0 tol=20% watts=5"
    coil = Inductor("L1", "a", "b", 1e-3, 0.4, core="air", amps=3.5)
    assert part_text(coil) == "L1 a b 1mH dcr=0.4 core=air amps=3.5"


@pytest.mark.parametrize("text", ["nonsense", "0", "-2A"])
def test_a_coil_s_amperes_are_read_with_its_card(text):
    with pytest.raises(InputError, match="amps") as caught:
        build_network(parse_netlist(f"L1 in a 1mH amps={text}\nXd a 0 woofer\n"))
    assert caught.value.line == 1
