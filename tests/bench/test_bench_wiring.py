"""The wiring list: every end on its pad, polarity as the netlist has it, wire and distances by other means."""

import math

import numpy as np
import pytest

from xover.bench.copper import coil_layout, gauge, loss_budget_ohm, wire_advice
from xover.bench.wiring import is_reversed, pad_names, wiring_list
from xover.curve import log_grid
from xover.errors import OptionError
from xover.files.netlist import parse_netlist
from xover.network import build_network
from xover.parts.coil_design import design_for_dcr
from xover.parts.coupling import Pose, geometric_mean_h, mutual_inductance
from xover.parts.wire import Winding
from xover.plain import to_plain
from xover.studies.bears.crosstalk.stray import Couple
from xover.studies.bears.crosstalk.study import study_crosstalk


def coupling_factor(first, second, pose, first_h, second_h):
    """k = M / sqrt(L1 L2), with its sign."""
    return mutual_inductance(first, second, pose).henry / geometric_mean_h(first_h, second_h)


def net(cards):
    return build_network(parse_netlist("* invented\n" + cards))


@pytest.fixture(scope="module")
def board(attic):
    return wiring_list(attic.network("found"), attic)


def test_every_part_end_is_on_its_pad(attic, board):
    """The network can be read back from the pads and the wires alone."""
    network = attic.network("found")
    at = {}
    for pad in board.pads:
        for end in pad.ends:
            at[end.part, end.which] = pad.node
    assert at == {(p.name, w): n for p in network.parts for w, n in (("start", p.a), ("end", p.b))}
    landed = {n: pad.node for pad in board.pads for n in pad.wires}
    ends = {(w.start, w.end): landed[w.number] for w in board.wires}
    for card in network.drivers:
        told = {
            pole: next(n for (_, end), n in ends.items() if end == f"{card.key} {pole}") for pole in ("plus", "minus")
        }
        assert told == {"plus": card.plus, "minus": card.minus}
    assert [w.number for w in board.wires] == list(range(1, 7))
    assert [(w.start, w.end) for w in board.wires[:2]] == [
        ("amplifier plus", "pad in"),
        ("amplifier minus", "the minus rail"),
    ]


def test_a_reversed_driver_is_said_to_be_so(hall):
    polarity = {p.key: p for p in wiring_list(hall.network("original"), hall).drivers}
    assert polarity["horn"].is_reversed
    assert not polarity["woofer"].is_reversed
    assert polarity["horn"].sentence == (
        "horn: plus to the minus rail, minus to pad p: reversed on purpose, as the netlist says"
    )
    assert polarity["woofer"].sentence == "woofer: plus to pad w, minus to the minus rail"


@pytest.mark.parametrize(
    ("cards", "key", "turned"),
    [
        ("L1 in m 1mH\nC1 in t 5uF\nXhigh m t tweeter\nC2 m 0 5uF\nL2 m w 1mH\nXlow w 0 woofer\n", "tweeter", True),
        ("L1 in m 1mH\nC1 in t 5uF\nXhigh t m tweeter\nC2 m 0 5uF\nL2 m w 1mH\nXlow w 0 woofer\n", "tweeter", False),
        ("Xhigh in m tweeter\nL1 in m 1mH\nXlow m 0 woofer\nC1 m 0 5uF\n", "tweeter", False),
        ("Xa in m woofer\nXb m 0 woofer\n", "a", False),
        ("Xa in m woofer\nXb 0 m woofer\n", "b", True),
        ("C1 in a 5uF\nC2 in b 5uF\nR1 a 0 8\nR2 b 0 8\nXlow a b woofer\n", "woofer", None),
    ],
)
def test_reversed_in_series_networks(cards, key, turned):
    """Which side of a driver faces the amplifier's minus, where neither terminal lies on it."""
    network = net(cards)
    assert is_reversed(network, network.driver_card(key)) is turned


def test_channels_are_kept_apart(started):
    speaker = started("two-way-bi-amp")
    w = wiring_list(speaker.network("found"), speaker)
    rails = {p.name: p for p in w.pads if "rail" in p.name}
    assert set(rails) == {"minus rail of bass", "minus rail of treble"}
    assert [e.part for e in rails["minus rail of treble"].ends] == ["R1"]
    assert not rails["minus rail of bass"].ends
    for wire in w.wires:
        assert wire.channel in wire.pad or wire.pad in ("lo", "hi", "t")
    assert any("take every jumper" in a for a in w.advice)
    assert any("joined, they short" in a for a in w.advice)


def test_a_part_between_two_channels_leaves_one_rail():
    network = net("Vb lo 0\nVt hi 0\nXlow lo 0 woofer\nC1 hi t 10uF\nR1 t lo 100\nXhigh t 0 tweeter\n")
    assert not pad_names(network).owner
    names = pad_names(net("Vb lo lo-\nVt hi hi-\nXlow lo lo- woofer\nXhigh hi hi- tweeter\n"))
    assert names.of("lo-", "Xlow") == "minus rail of b"
    assert names.of("hi-") == "minus rail of t"


def test_the_resistance_that_costs_a_tenth_of_a_decibel():
    """8 (10^(0.1/20) - 1) = 0.0926 ohm into 8 ohm; and what is found takes exactly that off any load."""
    assert loss_budget_ohm(np.array([8.0 + 0j]))[0] == pytest.approx(0.0926355, rel=1e-5)
    z = np.array([4.0 + 3.0j, 3.0 - 5.0j, 30.0 + 2.0j])
    taken = 20.0 * np.log10(np.abs(1.0 + loss_budget_ohm(z, 0.5) / z))
    assert taken == pytest.approx(0.5, rel=1e-9)
    assert np.isinf(loss_budget_ohm(np.array([np.inf + 0j]))[0])
    assert np.isnan(loss_budget_ohm(np.array([np.nan + 0j]))[0])


def test_gauges_by_the_table():
    """ASTM B258 (from memory): AWG 18 is 1.024 mm, 0.823 mm2 and 6.385 ohm per 1000 ft of one wire at 20 degC."""
    one = gauge(18, 0.0926355)
    assert one.area_mm2 == pytest.approx(0.823, rel=1e-3)
    assert one.pair_ohm_per_m == pytest.approx(2 * 6.385 / 304.8, rel=2e-3)
    assert one.longest_m == pytest.approx(0.0926355 / (2 * 6.385 / 304.8), rel=2e-3)


def test_wire_is_judged_where_the_driver_plays(attic):
    advice = {a.use: a for a in wire_advice(attic.network("found"), attic, log_grid(20.0, 20_000.0, 24))}
    assert set(advice) == {"amplifier leads", "woofer's pair", "tweeter's pair"}
    tweeter = advice["tweeter's pair"]
    assert tweeter.at_hz > 800.0  # not at 20 Hz, where its impedance is lowest and nothing reaches it
    assert tweeter.thinnest is not None
    assert tweeter.thinnest.longest_m >= 1.0
    thinner = tweeter.gauges[tweeter.gauges.index(tweeter.thinnest) - 1]
    assert thinner.longest_m < 1.0
    assert f"{tweeter.thinnest.name} (" in tweeter.sentence


def test_the_distance_keeps_the_sum(attic):
    """At the distance told, the coupling is the one allowed, and that moves the sum by a tenth of a decibel."""
    network = attic.network("found")
    coils = {"L1": design_for_dcr(1.8e-3, 0.48), "L2": design_for_dcr(0.33e-3, 0.38)}
    layout = coil_layout(network, attic, coils)
    (pair,) = layout.pairs
    assert not pair.side_touches
    assert pair.side_by_side_m > 0.0601
    one, other = coils["L1"], coils["L2"]
    at = Pose(pair.side_by_side_m, 0.0, 0.0)
    k = coupling_factor(one.winding, other.winding, at, one.inductance_h, other.inductance_h)
    assert abs(k) == pytest.approx(pair.k_allowed, rel=2e-3)
    case = study_crosstalk(attic, "found", log_grid(20.0, 20_000.0, 12), [Couple("L1", "L2", pair.k_allowed)]).cases
    assert max(abs(c.total.change) for c in case) == pytest.approx(layout.limit_db, rel=0.02)
    assert f"{math.ceil(1e3 * pair.side_by_side_m):d} mm between centres" in pair.sentence
    assert "L1 has a core: a guide only" in pair.sentence


def test_a_rim_that_faces_a_coil_does_not_couple():
    """The advice where there is no room: by symmetry k is zero; with its face to the other coil it is not."""
    flat, edge = Winding(0.0125, 0.0275, 0.02, 100.0), Winding(0.01, 0.02, 0.01, 60.0)
    place = {"x_m": 0.06, "y_m": 0.0, "z_m": 0.01}
    rim = coupling_factor(flat, edge, Pose(**place, tilt_deg=90.0, azimuth_deg=90.0), 1e-3, 3e-4)
    face = coupling_factor(flat, edge, Pose(**place, tilt_deg=90.0, azimuth_deg=0.0), 1e-3, 3e-4)
    assert abs(rim) < 1e-9 < 1e-3 < abs(face)


def test_where_a_coil_has_no_size_a_placeholder_is_named(attic, board):
    words = " ".join(board.assumptions)
    assert "L1: has a core, so a placeholder stands for it, 55 mm across and 20 mm long" in words
    assert "L2: as an air coil of its DCR would be wound" in words
    with pytest.raises(OptionError, match="the network has no part L9"):
        wiring_list(attic.network("found"), attic, coils={"L9": Winding(0.01, 0.02, 0.01, 60.0)})


def test_advice_is_for_this_board(board, started):
    words = " ".join(board.advice)
    assert "keep woofer's pair away from L2, the coil before tweeter" in words
    assert "C1 and C2: a non-polar electrolytic goes in either way round" in words
    assert "R1 and R2: stand the resistors off the board" in words
    assert "L2: no steel screw" in words
    assert "L1 has a core" in words
    speaker = started("two-way-series-first-order")
    plain = " ".join(wiring_list(speaker.network("found"), speaker).advice)
    assert "electrolytic" not in plain
    assert "resistor" not in plain
    assert "stack" not in plain
    assert to_plain(board)["wires"][4]["end"] == "tweeter plus"
