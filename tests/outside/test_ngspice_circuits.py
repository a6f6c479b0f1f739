"""Every ready circuit against ngspice: what reaches each driver and what the amplifier sees.

Drivers are lumped models, losses included, the dissipation factor too (ngspice computes the falling
resistance from its own frequency). Agreement is asked relative to each value itself, far into the
stop band, not relative to the largest.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from ngspice_judge import LumpedDriver, ac, ac_decades, lumped, to_ngspice, values_as_read

from xover.files.netlist import Netlist, parse_netlist, read_netlist
from xover.network import Network, build_network, solve

CIRCUITS = sorted((Path(__file__).resolve().parents[2] / "circuits").glob("*.cir"))
BAND = np.geomspace(20.0, 20000.0, 46)

# Invented drivers: the ones that the circuits' notes speak of, and a horn's.
DRIVERS = {
    "woofer": lumped(6.2, 0.7e-3, 45.0, 3.0, 0.5),
    "mid": lumped(6.8, 0.3e-3, 130.0, 2.8, 0.7),
    "tweeter": lumped(5.4, 0.05e-3, 900.0, 2.2, 1.1),
    "horn": lumped(6.5, 0.1e-3, 420.0, 1.8, 1.2),
}

# What the ready circuits leave out: letter codes, readings of loss, a lamp, zero ohm, coils that couple across
# branches, a floating driver, node names that a simulator would compute with, two channels with a part between.
EXTRA = {
    "codes and crosstalk": """* Invented
L1  in w   1.8mH  dcr=0.45 core=iron tol=10%
C1  w  0   10uF   df=0.06@1kHz kind=electrolytic volts=50
Xlow   w 0 woofer
C2  in t   4u7    loss=1.7@1kHz,0.28@10kHz
L2  t  0   0.35mH dcr=0.4 core=air
R1  t  p   2R2    watts=10
R2  p  0   10
Xhigh  0 p tweeter
K1  L1 L2  0.02
.end
""",
    "zero ohm, lamp, odd node names": """* Invented
R0  in a+1  0
L1  a+1 w-2 1mH
C1  w-2 0   3.9uF esr=0.2 df=0.03
Xlow w-2 r/3 woofer
R9  r/3 0   0
R5  in  t#4 kind=lamp cold=1.2 hot=11
C2  t#4 b.5 4.7uF
Xhigh b.5 w-2 tweeter
L2  b.5 0   0.4mH dcr=0.3
.end
""",
    "opposed coupling": """* Invented
L1  in a 1mH   dcr=0.3
L2  a  w 0.5mH dcr=0.2
K1  L1 L2 -0.4
C1  a  0 8.2uF
Xlow w 0 woofer
C2  in t 4.7uF
Xhigh t 0 tweeter
.end
""",
}


def networks() -> list[tuple[str, Network]]:
    ready = [(path.stem, build_network(read_netlist(path))) for path in CIRCUITS]
    return ready + [(name, build_network(parse_netlist(text))) for name, text in EXTRA.items()]


def impedances(frequency_hz: np.ndarray) -> dict[str, np.ndarray]:
    return {name: driver.impedance_ohm(frequency_hz) for name, driver in DRIVERS.items()}


def worst(got: np.ndarray, wanted: np.ndarray) -> float:
    """Largest error of any value relative to that value."""
    return float(np.max(np.abs(got - wanted) / np.abs(wanted)))


def test_the_circuits_are_there() -> None:
    assert len(CIRCUITS) >= 12


@pytest.mark.parametrize(("name", "network"), networks(), ids=[name for name, _ in networks()])
def test_drive_and_load_agree_with_ngspice(name: str, network: Network) -> None:
    deck = to_ngspice(network, DRIVERS)
    judged = ac(deck.cards, BAND, [*deck.drive.values(), *deck.current.values()])
    solution = solve(network, BAND, impedances(BAND))
    assert set(solution.drive) == set(deck.drive)
    assert set(solution.impedance_ohm) == set(deck.current)
    for key, expression in deck.drive.items():
        assert worst(solution.drive[key], judged[expression]) < 1e-6, f"{name}: drive of {key}"
    if len(deck.current) == 1:
        for channel, expression in deck.current.items():
            assert worst(solution.impedance_ohm[channel], 1 / judged[expression]) < 1e-6, f"{name}: load of {channel}"


def silent_but(cards: list[str], loud: int) -> list[str]:
    """The same cards with one channel at one volt and the others at zero."""
    return [
        card if not card.startswith("Vchannel") or card.startswith(f"Vchannel{loud} ") else card.replace("AC 1", "AC 0")
        for card in cards
    ]


TWO_CHANNELS = """* Two channels with a part between them, invented
Vbass   lo 0
Vtreble hi 0
L1 lo w  0.5mH dcr=0.2
Xlow w 0 woofer
R1 w x   4.7
C1 x t   2.2uF df=0.05
C2 hi t  22uF
Xhigh t 0 tweeter
"""


@pytest.mark.parametrize(
    "text",
    [TWO_CHANNELS, TWO_CHANNELS.replace("Vtreble hi 0", "Vtreble hi lift\nR7 lift 0 0.1")],
    ids=["common", "lifted"],
)
def test_channels_are_judged_one_by_one(text: str) -> None:
    """A channel's load holds with the other channel silent; the drive with both at one volt."""
    network = build_network(parse_netlist(text))
    deck = to_ngspice(network, DRIVERS)
    solution = solve(network, BAND, impedances(BAND))
    for loud, channel in enumerate(network.channels):
        outputs = [*deck.drive.values(), deck.current[channel.name]]
        judged = ac(silent_but(deck.cards, loud), BAND, outputs)
        assert worst(solution.impedance_ohm[channel.name], 1 / judged[deck.current[channel.name]]) < 1e-6
        for key, expression in deck.drive.items():
            assert worst(solution.transfer(key, channel.name), judged[expression]) < 1e-6
    both = ac(deck.cards, BAND, list(deck.drive.values()))
    for key, expression in deck.drive.items():
        assert worst(solution.drive[key], both[expression]) < 1e-6


def test_bi_amp_circuit_channel_by_channel() -> None:
    network = build_network(read_netlist(next(path for path in CIRCUITS if path.stem == "two-way-bi-amp")))
    deck = to_ngspice(network, DRIVERS)
    solution = solve(network, BAND, impedances(BAND))
    np.testing.assert_allclose(solution.drive["woofer"], 1.0, rtol=1e-12)
    for loud, channel in enumerate(network.channels):
        judged = ac(silent_but(deck.cards, loud), BAND, [deck.current[channel.name]])
        assert worst(solution.impedance_ohm[channel.name], 1 / judged[deck.current[channel.name]]) < 1e-6


@pytest.mark.parametrize("frequency_hz", [100.0, 1000.0, 7000.0])
def test_dissipation_factor_is_that_resistance_at_each_frequency(frequency_hz: float) -> None:
    """The judge's own handling of df, checked with a plain resistor of df/(2 pi f C) at single frequencies."""
    df, farad = 0.06, 10e-6
    f = np.array([frequency_hz])
    text = "* df\nR1 in a 4.7\nC1 a 0 10uF df=0.06@1kHz\nXhigh a 0 tweeter"
    network = build_network(parse_netlist(text))
    solution = solve(network, f, impedances(f))
    deck = to_ngspice(network, DRIVERS)
    by_expression = ac(deck.cards, f, [deck.drive["tweeter"]])[deck.drive["tweeter"]]
    series = df / (2 * math.pi * frequency_hz * farad)
    plain = [
        "V1 in 0 AC 1",
        "R1 in a 4.7",
        f"C1 a b {farad!r}",
        f"R2 b 0 {series!r}",
        *DRIVERS["tweeter"].cards("d", "a", "0"),
    ]
    by_resistor = ac(plain, f, ["v(a)"])["v(a)"]
    np.testing.assert_allclose(by_expression, by_resistor, rtol=1e-12)
    np.testing.assert_allclose(solution.drive["tweeter"], by_resistor, rtol=1e-9)


@pytest.mark.parametrize("path", CIRCUITS, ids=[path.stem for path in CIRCUITS])
def test_a_simulator_reads_the_same_values_from_the_file(path: Path) -> None:
    """The first four words of each R, L and C line go to ngspice as they stand in the file."""
    netlist: Netlist = read_netlist(path)
    lines = path.read_text(encoding="utf-8").splitlines()
    cards = [" ".join(line.split()[:4]) for line in lines if line[:1] in ("R", "L", "C")]
    read = values_as_read(cards)
    network = build_network(netlist)
    assert len(read) == len(network.parts)
    for part in network.parts:
        value = getattr(part, {"R": "ohm", "L": "henry", "C": "farad"}[part.name[0]])
        assert read[part.name.lower()] == pytest.approx(value, rel=1e-12)


def test_judge_on_a_divider_that_needs_no_simulator() -> None:
    """The harness itself: frequencies come back exactly, signs and both runs agree with a formula."""
    cards = ["V1 in 0 AC 1", "R1 in a 8", "C1 a 0 10e-6"]
    f = np.array([123.456789, 1989.4367886486918])
    judged = ac(cards, f, ["v(a)", "-i(v1)"])
    expected = 1 / (1 + 2j * np.pi * f * 8 * 10e-6)
    np.testing.assert_allclose(judged["v(a)"], expected, rtol=1e-12)
    np.testing.assert_allclose(judged["-i(v1)"], (1 - expected) / 8, rtol=1e-12)
    grid, swept = ac_decades(cards, 5, 20.0, 20000.0, ["v(a)"])
    assert grid.size == 16
    np.testing.assert_allclose(swept["v(a)"], 1 / (1 + 2j * np.pi * grid * 8 * 10e-6), rtol=1e-12)


def test_judge_refuses_to_go_on_after_a_fault() -> None:
    with pytest.raises(RuntimeError, match="no such vector"):
        ac(["V1 in 0 AC 1", "R1 in 0 1"], [1000.0], ["v(nowhere)"])


def test_lumped_driver_is_its_own_circuit() -> None:
    """The driver model's formula against its cards."""
    driver: LumpedDriver = DRIVERS["tweeter"]
    cards = ["V1 in 0 AC 1", *driver.cards("d", "in", "0")]
    np.testing.assert_allclose(1 / ac(cards, BAND, ["-i(v1)"])["-i(v1)"], driver.impedance_ohm(BAND), rtol=1e-11)
