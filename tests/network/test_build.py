"""Netlists that are read and netlists that are refused, with the line and the remedy."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import InputError
from xover.files.netlist import parse_netlist
from xover.network import Capacitor, Inductor, build_network, find_sections, solve
from xover.network.cards import CAPACITORS, netlist_text
from xover.parts import kinds

SECOND_ORDER = """* Two-way, second order
L1  in w   1.8mH  dcr=0.45 core=iron tol=10%
C1  w  0   10uF   df=0.06@1kHz kind=electrolytic volts=50
Xlow   w 0 woofer
C2  in t   4u7    esr=0.3
L2  t  0   0.35mH dcr=0.4 core=air
R1  t  p   2.2    watts=10
R2  p  0   10
Xhigh  0 p tweeter          ; plus to 0: reversed polarity
.end
R9 x y 1
"""


def build(text):
    return build_network(parse_netlist(text, Path("board.cir")))


def test_blueprint_example():
    network = build(SECOND_ORDER)
    assert network.title == "Two-way, second order"
    assert [p.name for p in network.parts] == ["L1", "C1", "C2", "L2", "R1", "R2"]
    c1, l1 = network.part("C1"), network.part("l1")
    assert isinstance(c1, Capacitor)
    assert isinstance(l1, Inductor)
    assert (c1.farad, c1.dissipation_factor, l1.henry, l1.dcr_ohm) == (10e-6, 0.06, 1.8e-3, 0.45)
    assert [(d.key, d.plus, d.minus) for d in network.drivers] == [("woofer", "w", "0"), ("tweeter", "0", "p")]
    assert [s.drivers for s in find_sections(network)] == [("Xlow",), ("Xhigh",)]


def test_dissipation_factor_is_a_resistance_that_falls_with_frequency():
    # Blueprint: df/(2 pi f C); 10 uF, 0.06 at 1 kHz: 0.9549297 ohm, and a tenth of it at 10 kHz.
    c1 = build(SECOND_ORDER).part("C1")
    ohms = c1.impedance_ohm(2 * np.pi * np.array([1000.0, 10000.0]))
    assert ohms.real == pytest.approx([0.9549297, 0.09549297], rel=1e-6)
    assert ohms.imag == pytest.approx([-15.9154943, -1.59154943], rel=1e-6)


def test_loss_readings_give_both_terms():
    # Two readings of a new 4.7 uF non-polar part: 1.7 ohm at 1 kHz, 0.28 ohm at 10 kHz. By hand:
    # A (1/1000 - 1/10000) = 1.42, A = 1577.78, fixed = 1.7 - 1.57778 = 0.12222, df = A 2 pi C.
    text = "* t\nC1 in t 4.7uF loss=1.7@1kHz,0.28@10kHz\nXhigh t 0 tweeter\n"
    part = build(text).part("C1")
    assert part.esr_ohm == pytest.approx(0.1222222, rel=1e-6)
    assert part.dissipation_factor == pytest.approx(1577.7778 * 2 * np.pi * 4.7e-6, rel=1e-6)
    comma = build(text.replace("1.7@1kHz,0.28@10kHz", "1,7@1kHz,0,28@10kHz")).part("C1")
    assert (comma.esr_ohm, comma.dissipation_factor) == (part.esr_ohm, part.dissipation_factor)


def test_first_line_that_is_a_part_is_read():
    network = build("C1 in t 4.7uF\nXhigh t 0 tweeter\n")
    assert network.title == ""
    assert [p.name for p in network.parts] == ["C1"]


@pytest.mark.parametrize("title", ["Long two-way second order", "Xylophone horn two way", "Very old speaker board"])
def test_first_line_that_is_words_is_the_title(title):
    assert build(f"{title}\nC1 in t 4.7uF\nXhigh t 0 tweeter\n").title == title


def test_parameters_and_continuation():
    network = build("* t\n.param f0 = 2k r=8 c={1/(2*pi*f0*r)}\nC1 in t {c}\n+ esr = {r/100}\nXhigh t 0 tweeter\n")
    part = network.part("C1")
    assert part.farad == pytest.approx(9.9471839e-6, rel=1e-7)  # 1/(2 pi 2000 8)
    assert part.esr_ohm == pytest.approx(0.08)


def test_a_driver_on_two_cards_is_keyed_by_card():
    network = build("* t\nL1 in w 1mH\nXupper w 0 woofer\nXlower w 0 woofer\nC1 in t 4.7uF\nXhigh t 0 tweeter\n")
    assert [d.key for d in network.drivers] == ["upper", "lower", "tweeter"]


def test_unusual_values_are_kept_when_meant():
    assert build("* t\nC1 in t 15000uF unusual=yes\nXhigh t 0 tweeter\n").part("C1").farad == 0.015


@pytest.mark.parametrize(
    ("card", "problem", "remedy"),
    [
        ("L1 in t 0.02", "L1 is 0.02 without a unit: read as 20 mH", "write 20mH, or 0.02mH if that is meant"),
        ("C1 in t 0.0001", "C1 is 0.0001 without a unit: read as 100 uF", "write 100uF, or 0.0001uF if that is meant"),
        ("C1 in t 0.0000047123", "read as 4.71 uF", "write 4.7123uF, or 0.0000047123uF"),
        ("L1 in t 45mH", "L1 is 45 mH, more than the 30 mH of any usual crossover", "add unusual=yes"),
        ("C1 in t 2200uF", "C1 is 2200 uF, more than the 1000 uF of any usual crossover", "add unusual=yes"),
        ("R1 in t 2.2k", "R1 is 2.2 kohm, more than the 1 kohm of any usual crossover", "add unusual=yes"),
    ],
)
def test_an_odd_value_does_not_pass_in_silence(card, problem, remedy):
    (odd,) = build(f"* t\n{card}\nXhigh t 0 tweeter\n").odd_values
    assert odd.part == card[:2]
    assert problem in odd.problem
    assert remedy in odd.remedy


@pytest.mark.parametrize(
    "card",
    [
        *("L1 in t 1.8e-3", "C1 in t 4.7e-6", "L1 in t 1.8m", "L1 in t 30mH", "C1 in t 1000uF", "R1 in t 4.7"),
        *("R1 in t 1k", "R1 in t 0.6", "L1 in t 45mH unusual=yes", "L1 in t 0.6 unusual=yes", "L1 in t {1.8/1000}"),
    ],
)
def test_values_that_say_their_unit_or_are_usual_pass(card):
    assert build(f"* t\n{card}\nXhigh t 0 tweeter\n").odd_values == ()


def test_a_network_that_is_written_and_read_again_says_nothing_new():
    there = build("* t\nL1 in t 45mH\nC1 t 0 {0.1234567890123456e-5}\nXhigh t 0 tweeter\n")
    again = build(netlist_text(there))
    assert again.part("C1").farad == there.part("C1").farad
    assert again.odd_values == there.odd_values


def test_lamp_is_taken_cold():
    lamp = build("* t\nR1 in t kind=lamp cold=1 hot=10 watts=5\nXhigh t 0 tweeter\n").part("R1")
    assert (lamp.ohm, lamp.is_lamp, lamp.hot_ohm) == (1.0, True, 10.0)


TAIL = "\nXhigh t 0 tweeter\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("* t\nC1 in t 10mF" + TAIL, r"board.cir:2: C1: '10mF' reads as millifarad.*write 10uF"),
        ("* t\nC1 in t 10MFD" + TAIL, r"board.cir:2: C1: .*write 10uF"),
        ("* t\nC1 in t 4.7mH" + TAIL, "inductance where a capacitance belongs"),
        ("* t\nC1 in t 4.7 uF" + TAIL, r"extra word 'uF'.*\(4.7uF\)"),
        ("* t\nR1 in t 4 7" + TAIL, r"extra word '7'; write it as 'R1 node node 2.2', a value without a blank$"),
        ("* t\nC1 in t 20000uF" + TAIL, "outside 1 nF to 10000 uF.*unusual=yes"),
        ("* t\nL1 in t 2H" + TAIL, "L1 is 2000 mH, outside"),
        ("* t\nL1 in t 0.6" + TAIL, r"board.cir:2: L1 is 0.6 without a unit: read as 0.6 H; write 0.6mH"),
        ("* t\nC1 in t 4.7" + TAIL, r"board.cir:2: C1 is 4.7 without a unit: read as 4.7 F; write 4.7uF"),
        ("* t\nR1 in t -2" + TAIL, "a resistance is above zero"),
        ("* t\nC1 in t" + TAIL, "C1 has no value"),
        ("* t\nC1 in" + TAIL, "C1 has too few nodes"),
        ("* t\nC1 in t 4.7uF ers=0.3" + TAIL, "unknown field 'ers'; did you mean esr"),
        ("* t\nC1 in t 4.7uF tol=300%" + TAIL, "tolerance of 300%"),
        ("* t\nC1 in t 4.7uF volts=0" + TAIL, "volts=0"),
        ("* t\nC1 in t 4.7uF df=6@1kHz" + TAIL, "write 6 % as 0.06"),
        ("* t\nC1 in t 4.7uF loss=1.7" + TAIL, "write readings as loss="),
        ("* t\nC1 in t 4.7uF loss=1.7@1kHz esr=1" + TAIL, "keep loss= alone"),
        ("* t\nC1 in t 4.7uF esr=1 esr=2" + TAIL, "'esr' is given twice"),
        ("* t\nC1 in t 4.7uF esr=" + TAIL, "half an assignment"),
        ("* t\nC1 in t {1/0}" + TAIL, "divides by zero"),
        ("* t\nC1 in t {__import__('os')}" + TAIL, "board.cir:2: .*use only numbers"),
        ("* t\nC1 in t {q}" + TAIL, "parameter 'q' is not defined"),
        ("* t\nC1 in t {1" + TAIL, "a brace is not closed"),
        ("* t\n.param a={b} b={a}\nC1 in t {a}" + TAIL, "by way of itself"),
        ("* t\n.param a=1 a=2\nC1 in t 4.7uF" + TAIL, "parameter a is set twice"),
        ("* t\n.ac dec 10 1 10\nC1 in t 4.7uF" + TAIL, "'.ac' is not understood"),
        ("* t\n+ 3\nC1 in t 4.7uF" + TAIL, "continues a line, but there is none"),
        ("* t\nC1 in t 4.7uF\nc1 in t 1uF" + TAIL, "board.cir:3: the name c1 stands already on line 2"),
        ("* t\nQ1 in t 4.7uF" + TAIL, "'Q1' begins no known part"),
        ("* t\nC1 in t 4.7uF\nC2 t t 1uF" + TAIL, "C2 has both ends on node t"),
        ("* t\nC1 in t 4.7uF\nR9 x y 1" + TAIL, "board.cir:3: R9 is unconnected: node x floats"),
        ("* t\nC1 in t 4.7uF\nR9 in 0 0" + TAIL, "channel in is shorted by R9"),
        ("* t\nC1 in t 4.7uF\nR9 t p 0\nR8 t p 0" + TAIL, "R8 .0 ohm. lies parallel"),
        ("* t\nC1 inn t 4.7uF" + TAIL, "nothing is connected to node in"),
        ("* t\nC1 in t 4.7uF\nVa in 0\nVb in 0" + TAIL, "channels a and b share the plus node in"),
        ("* t\nVa lo 0\nVb hi 0\nR1 lo hi 0\nC1 hi t 4.7uF" + TAIL, "joins channel a to another channel"),
        ("* t\nVa in 0 AC 5\nC1 in t 4.7uF" + TAIL, "Va has the value 'AC 5'"),
        ("* t\nVa 0 in\nC1 in t 4.7uF" + TAIL, "plus of channel a is the minus of a channel or ground"),
        ("* t\nL1 in t 1mH\nK1 L1 L2 0.1" + TAIL, "K1 names the coil L2, which is not there"),
        ("* t\nL1 in t 1mH\nL2 t 0 1mH\nK1 L1 L2 1.1" + TAIL, "coupling '1.1'"),
        ("* t\nL1 in t 1mH\nK1 L1 L1 0.1" + TAIL, "K1 couples a coil with itself"),
        ("* t\nL1 in t 1mH\nL2 t 0 1mH\nK1 L1 L2 1\nK2 L2 L1 1" + TAIL, "K2 couples the coils of K1 again"),
        (
            "* t\nL1 in t 1mH\nL2 t 0 1mH\nL3 t 0 1mH\nK1 L1 L2 0.9\nK2 L2 L3 0.9\nK3 L1 L3 -0.9" + TAIL,
            "board.cir:7: the couplings K1, K2, K3 cannot all be",
        ),
        ("* t\nC1 in t 4.7uF\nXtweeter t 0 horn\nXb t 0 horn" + TAIL, "bind a driver twice under the name tweeter"),
        ("* t\nC1 in t 4.7uF\nR1 t 0 8\n", "board.cir: the network has no driver"),
        ("* nothing\n", "holds no part"),
        ("* t\nR1 in t kind=lamp" + TAIL, "lamp without its cold resistance"),
        ("* t\nR1 in t 5 cold=1" + TAIL, "is no lamp"),
        ("* t\nR1 in t kind=lamp cold=9 hot=1" + TAIL, "swap cold and hot"),
    ],
)
def test_refused(text, message):
    with pytest.raises(InputError, match=message):
        build(text)


@settings(max_examples=200)
@given(st.text(alphabet="RLCKXV0123456789 .=+-*/(){}@%,;\nintwpumkFHdfesrloss", max_size=200))
def test_any_text_is_read_or_refused(text):
    try:
        network = build(text)
    except InputError as error:
        message = str(error)
    else:
        message = network.title
    assert "\n" not in message


def test_zero_ohm_link_carries_current_and_changes_nothing():
    f = np.array([100.0, 1000.0, 10000.0])
    plain = build(SECOND_ORDER)
    linked = build(SECOND_ORDER.replace("C2  in t", "R7 in q 0\nC2  q t"))
    z = {"woofer": np.full(3, 8.0), "tweeter": np.full(3, 6.0)}
    one, two = solve(plain, f, z), solve(linked, f, z)
    np.testing.assert_allclose(two.drive["tweeter"], one.drive["tweeter"], rtol=1e-12)
    np.testing.assert_allclose(two.current("R7"), one.current("C2"), rtol=1e-12)


def test_unity_coupling_is_an_ideal_ratio():
    # Autotransformer with k = 1 and equal turns in both halves: the tap stands at half the voltage
    # (ideal transformer, any textbook) whatever the load, as the source holds the whole winding.
    text = "* t\nL1 in tap 10mH\nL2 tap 0 10mH\nK1 L1 L2 1\nXhorn tap 0 horn\n"
    solution = solve(build(text), np.array([20.0, 1000.0, 20000.0]), {"horn": np.full(3, 8 + 3j)})
    np.testing.assert_allclose(solution.drive["horn"], 0.5, rtol=1e-12)


def test_nan_impedance_stays_in_its_own_section():
    z = {"woofer": np.array([8.0, 8.0]), "tweeter": np.array([np.nan, 6.0])}
    solution = solve(build(SECOND_ORDER), np.array([100.0, 1000.0]), z)
    assert np.isfinite(solution.drive["woofer"]).all()
    assert np.isnan(solution.drive["tweeter"]).tolist() == [True, False]
    assert np.isnan(solution.impedance_ohm["in"]).tolist() == [True, False]


def test_channels_with_minus_of_their_own():
    """Two bridged amplifiers: no node is ground, each channel's minus is its own reference."""
    text = "* t\nVbass a b\nVtreble c d\nL1 a w 1mH\nXlow w b woofer\nC1 c t 10uF\nXhigh t d tweeter\n"
    f = np.array([1000.0])
    solution = solve(build(text), f, {"woofer": np.full(1, 8.0), "tweeter": np.full(1, 8.0)})
    w = 2 * np.pi * 1000.0
    assert solution.drive["woofer"][0] == pytest.approx(8 / (8 + 1j * w * 1e-3))
    assert solution.drive["tweeter"][0] == pytest.approx(8 / (8 + 1 / (1j * w * 10e-6)))
    assert solution.impedance_ohm["treble"][0] == pytest.approx(8 + 1 / (1j * w * 10e-6))


@pytest.mark.parametrize(
    ("card", "message"),
    [
        ("C1 in t 1uF kind=flim", "C1 has kind=flim; did you mean film?"),
        ("R1 in t 1 kind=lmap", "R1 has kind=lmap; did you mean lamp?"),
        ("L1 in t 1mH core=irn", "L1 has core=irn; did you mean iron?"),
        ("L1 in t 1mH core=zzzz", "write air, none, iron, steel, ferrite or powder"),
        ("C1 in t 1uF evidence=measurd", "did you mean measured?"),
        ("R1 in t 1 kind=", "half an assignment"),
    ],
)
def test_words_of_a_card_are_known(card, message):
    with pytest.raises(InputError, match=message.replace("?", r"\?")):
        build(f"* t\n{card}{TAIL}")


def test_words_of_a_card_are_read_in_any_case():
    network = build("* t\nC1 in t 1uF kind=FILM evidence=Measured\nL1 t 0 1mH core=Air\nXhigh t 0 tweeter\n")
    assert (network.part("C1").kind, network.part("C1").evidence, network.part("L1").core) == (
        "film",
        "measured",
        "air",
    )


def test_every_word_for_a_capacitor_says_what_it_is_made_of():
    assert set(CAPACITORS) == set(kinds.CAPACITORS)


@pytest.mark.parametrize("value", ["1e308", "-1e308", "5e-324", "1e-300", "1e40", "1e-40"])
@pytest.mark.parametrize(
    "card",
    [
        *("R1 in t {}", "R1 in t {} unusual=yes", "L1 in t {}", "L1 in t {} unusual=yes", "C1 in t {} unusual=yes"),
        *("C1 in t {}", "R1 in t {{{}}}", "C1 in t 1uF esr={}", "C1 in t 1uF df={}", "C1 in t 1uF df=0.1@{}"),
        *("C1 in t 1uF loss={}@1k", "C1 in t 1uF loss=1@{}", "C1 in t 1uF volts={}", "L1 in t 1mH dcr={}"),
        *("L1 in t 1mH amps={}", "R1 in t 1 watts={}", "R1 in t 1 tol={}", "R1 in t kind=lamp cold={}"),
        *("R1 in t kind=lamp cold=1 hot={}", "L1 in t 1mH\nL2 t 0 1mH\nK1 L1 L2 {}", ".param a={}\nR1 in t {{a*1}}"),
    ],
)
def test_no_field_of_a_card_takes_a_number_out_of_range(card, value):
    with pytest.raises(InputError, match=r"board\.cir:[2-4]: "):
        build(f"* t\n{card.format(value)}{TAIL}")
