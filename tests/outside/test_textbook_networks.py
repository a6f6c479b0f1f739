"""Textbook networks, built as netlists and held against published tables and closed forms.

Two oracles stand beside each other: numbers typed in at their printed precision, with the source, and
the closed form of the response, H(s) = 1/D(s) with s = j f/fc, high-pass by s -> 1/s. Loads are plain
resistances, given to the solver as a driver's impedance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from xover.files.netlist import parse_netlist
from xover.network import Solution, build_network, solve

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

R = 8.0
SQRT2 = math.sqrt(2.0)
RATIOS = (0.5, 1.0, 2.0, 4.0, 10.0)


@dataclass(frozen=True)
class Alignment:
    """A low-pass ladder's elements from the source (normalised) and its denominator, highest power first."""

    elements: tuple[float, ...]
    denominator: tuple[float, ...]

    def low(self, s: Complex) -> Complex:
        """Response of the low-pass at s = j f/fc."""
        return np.asarray(1 / np.polyval(self.denominator, s))

    def high(self, s: Complex) -> Complex:
        """Response of the high-pass at s = j f/fc."""
        return self.low(1 / s)


_A4 = math.sqrt(4 + 2 * SQRT2)

# Element values: singly terminated LC ladders, Cauer continued fraction (derived; exact forms where they
# are short, B4 from memory of the published poles to 6 digits). Denominators: Butterworth from the poles on
# the unit circle; Linkwitz-Riley as squared Butterworth (S. Linkwitz, JAES 24(1), 1976, from memory);
# second order with Q = 1/sqrt(3) (Bessel) and Q = 1 (Chebyshev).
ALIGNMENTS = {
    "B1": Alignment((1.0,), (1, 1)),
    "B2": Alignment((SQRT2, 1 / SQRT2), (1, SQRT2, 1)),
    "LR2": Alignment((2.0, 0.5), (1, 2, 1)),
    "Bessel2": Alignment((math.sqrt(3), 1 / math.sqrt(3)), (1, math.sqrt(3), 1)),
    "Cheb2": Alignment((1.0, 1.0), (1, 1, 1)),
    "B3": Alignment((3 / 2, 4 / 3, 1 / 2), (1, 2, 2, 1)),
    "B4": Alignment((1.530734, 1.577161, 1.082392, 0.382683), (1, _A4, 2 + SQRT2, _A4, 1)),
    "LR4": Alignment((4 * SQRT2 / 3, 9 * SQRT2 / 8, 2 * SQRT2 / 3, SQRT2 / 4), (1, 2 * SQRT2, 4, 2 * SQRT2, 1)),
}

# Low-pass level in dB at f/fc = 0.5, 1, 2, 4, 10; derived, solved twice (continued fraction and chain matrices).
LEVEL_DB = {
    "B1": (-0.9691, -3.0103, -6.9897, -12.3045, -20.0432),
    "B2": (-0.2633, -3.0103, -12.3045, -24.0993, -40.0004),
    "LR2": (-1.9382, -6.0206, -13.9794, -24.6090, -40.0864),
    "Bessel2": (-1.1810, -4.7712, -13.2222, -24.3616, -40.0436),
    "Cheb2": (0.9018, 0.0000, -11.1394, -23.8202, -39.9568),
    "B3": (-0.0673, -3.0103, -18.1291, -36.1247, -60.0000),
    "B4": (-0.0169, -3.0103, -24.0993, -48.1649, -80.0000),
    "LR4": (-0.5266, -6.0206, -24.6090, -48.1987, -80.0009),
}


def ladder(node: str, driver: str, parts: list[tuple[str, float]], reversed_polarity: bool = False) -> list[str]:
    """Cards of a ladder from `in` to a driver: series and shunt parts in turn, the first in series."""
    cards, at = [], "in"
    for k, (letter, value) in enumerate(parts):
        name = f"{letter}{node}{k}"
        if k % 2 == 0:
            following = f"{node}{k}"
            cards.append(f"{name} {at} {following} {value!r}")
            at = following
        else:
            cards.append(f"{name} {at} 0 {value!r}")
    plus, minus = ("0", at) if reversed_polarity else (at, "0")
    return [*cards, f"X{driver} {plus} {minus} {driver}"]


def low_parts(elements: tuple[float, ...], fc: float) -> list[tuple[str, float]]:
    """L = g R/(2 pi f), C = g/(2 pi f R), a coil first."""
    return [
        ("L", g * R / (2 * math.pi * fc)) if k % 2 == 0 else ("C", g / (2 * math.pi * fc * R))
        for k, g in enumerate(elements)
    ]


def high_parts(elements: tuple[float, ...], fc: float) -> list[tuple[str, float]]:
    """The low-pass with s -> 1/s: each coil becomes a capacitor of 1/g, each capacitor a coil of 1/g."""
    swapped = [1 / g for g in elements]
    return [
        ("C", g / (2 * math.pi * fc * R)) if k % 2 == 0 else ("L", g * R / (2 * math.pi * fc))
        for k, g in enumerate(swapped)
    ]


def two_way(low: list[tuple[str, float]], high: list[tuple[str, float]], reversed_polarity: bool = False) -> str:
    """Netlist text of a woofer and a tweeter branch side by side."""
    cards = ladder("w", "woofer", low) + ladder("t", "tweeter", high, reversed_polarity)
    return "\n".join(["* textbook two-way", *cards, ".end"])


def solved(text: str, frequency_hz: Real, **impedance_ohm: float | Complex) -> Solution:
    """Solve netlist text with drivers given as numbers or arrays."""
    z = {
        name: np.broadcast_to(np.asarray(value, dtype=complex), frequency_hz.shape).copy()
        for name, value in impedance_ohm.items()
    }
    return solve(build_network(parse_netlist(text)), frequency_hz, z)


def crossover(name: str, frequency_hz: Real, fc: float, reversed_polarity: bool = False) -> Solution:
    """The alignment's two-way with 8 ohm resistors for drivers."""
    elements = ALIGNMENTS[name].elements
    text = two_way(low_parts(elements, fc), high_parts(elements, fc), reversed_polarity)
    return solved(text, frequency_hz, woofer=R, tweeter=R)


def decibel(value: Complex) -> Real:
    return np.asarray(20 * np.log10(np.abs(value)))


@pytest.mark.parametrize("name", ALIGNMENTS)
def test_ladder_levels_are_those_of_the_table(name: str) -> None:
    """The first frequency lies deep in the pass band, where the drive is the input with its sign."""
    fc = 2500.0
    ratio = np.array([1e-4, *RATIOS])
    low = crossover(name, fc * ratio, fc).drive["woofer"]
    high = crossover(name, fc / ratio, fc).drive["tweeter"]
    for drive in (low, high):
        assert drive[0] == pytest.approx(1, abs=1e-3)
        np.testing.assert_allclose(decibel(drive[1:]), LEVEL_DB[name], rtol=0, atol=1e-4)


@pytest.mark.parametrize("name", ALIGNMENTS)
def test_ladder_responses_are_the_closed_forms(name: str) -> None:
    """Complex, so sign and phase count too; B4 is limited by its six printed digits."""
    fc = 2500.0
    ratio = np.geomspace(0.01, 100, 81)
    s = 1j * ratio
    drive = crossover(name, fc * ratio, fc).drive
    rtol = 1e-5 if name == "B4" else 1e-10
    np.testing.assert_allclose(drive["woofer"], ALIGNMENTS[name].low(s), rtol=rtol)
    np.testing.assert_allclose(drive["tweeter"], ALIGNMENTS[name].high(s), rtol=rtol)


def test_phase_of_the_linkwitz_riley_low_pass() -> None:
    """Table from Bode's gain-phase integral, four printed decimals (Bode 1945 from memory; both columns derived)."""
    fc = 1000.0
    low = crossover("LR4", fc * np.array([0.25, 0.5, 1.0, 2.0, 4.0]), fc).drive["woofer"]
    assert low[2] == pytest.approx(-0.5, rel=1e-12)
    phase = np.degrees(np.unwrap(np.angle(low)))
    phase += 360 * round((-41.3253 - phase[0]) / 360)
    np.testing.assert_allclose(phase, [-41.3253, -86.6277, -180.0, -273.3723, -318.6747], rtol=0, atol=1e-4)


# Phase of low-pass over high-pass in degrees, sum at fc, reversed sum at fc (dB, None for a null), lowest and
# highest power sum in dB, and Zin/R at fc: derived, over 0.01 fc..100 fc. "-6 dB at the cut-off, sum 0 dB, all-pass"
# is also stated by D. Bohn, RaneNote 160, 2005.
SUMS: dict[str, tuple[float, float | None, float | None, float, float, float]] = {
    "B1": (270.0, 0.0, 0.0, 0.0, 0.0, 1.0),
    "B2": (180.0, None, 3.0103, 0.0, 0.0, 1.0),
    "LR2": (180.0, None, 0.0, -3.0103, -0.001, 2.0),
    "B3": (90.0, 0.0, 0.0, 0.0, 0.0, 1.0),
    "B4": (0.0, 3.0103, None, 0.0, 0.0, 1.0),
    "LR4": (0.0, 0.0, None, -3.0103, 0.0, 2.0),
    "Bessel2": (180.0, None, 1.2494, -1.7609, 0.0, 1.5),
}


@pytest.mark.parametrize("name", SUMS)
def test_branches_add_at_the_crossover_as_tabled(name: str) -> None:
    phase, normal_db, reversed_db, _, _, _ = SUMS[name]
    fc = 2000.0
    at_fc = np.array([fc])
    drive = crossover(name, at_fc, fc).drive
    turned = crossover(name, at_fc, fc, reversed_polarity=True).drive
    assert drive["woofer"][0] == pytest.approx(ALIGNMENTS[name].low(1j), rel=1e-5)
    between = np.degrees(np.angle(drive["woofer"] / drive["tweeter"]))
    assert math.cos(math.radians(between[0] - phase)) == pytest.approx(1, abs=1e-9)
    assert decibel(drive["woofer"])[0] == pytest.approx(decibel(drive["tweeter"])[0], abs=1e-4)
    for total, wanted in (
        (drive["woofer"] + drive["tweeter"], normal_db),
        (turned["woofer"] + turned["tweeter"], reversed_db),
    ):
        if wanted is None:
            assert abs(total[0]) < 1e-5 * abs(drive["woofer"][0])
        else:
            assert decibel(total)[0] == pytest.approx(wanted, abs=1e-4)


@pytest.mark.parametrize("name", SUMS)
def test_power_sum_stays_in_the_tabled_range(name: str) -> None:
    _, _, _, lowest, highest, _ = SUMS[name]
    fc = 2000.0
    f = fc * np.geomspace(0.01, 100, 401)
    drive = crossover(name, f, fc).drive
    assert drive["woofer"][0] == pytest.approx(1, abs=0.03)
    power_db = 10 * np.log10(np.abs(drive["woofer"]) ** 2 + np.abs(drive["tweeter"]) ** 2)
    assert power_db.min() == pytest.approx(lowest, abs=2e-4)
    assert power_db.max() == pytest.approx(highest, abs=1e-3)


@pytest.mark.parametrize(
    ("name", "reversed_polarity", "numerator", "denominator"),
    [
        ("B1", False, (1,), (1,)),
        ("B1", True, (-1, 1), (1, 1)),
        ("B2", True, (-1, 0, 1), (1, SQRT2, 1)),
        ("LR2", True, (-1, 1), (1, 1)),
        ("B3", False, (1, -1, 1), (1, 1, 1)),
        ("B3", True, (-1, 1), (1, 1)),
        ("LR4", False, (1, -SQRT2, 1), (1, SQRT2, 1)),
    ],
)
def test_sum_is_its_closed_form(
    name: str, reversed_polarity: bool, numerator: tuple[float, ...], denominator: tuple[float, ...]
) -> None:
    """All-pass sums and the one that is not (B2 reversed); algebra, derived."""
    fc = 1800.0
    ratio = np.geomspace(0.01, 100, 61)
    drive = crossover(name, fc * ratio, fc, reversed_polarity).drive
    total = drive["woofer"] + drive["tweeter"]
    expected = np.polyval(numerator, 1j * ratio) / np.polyval(denominator, 1j * ratio)
    # B2's own zero at fc is the only place where a relative tolerance says nothing.
    np.testing.assert_allclose(total, expected, rtol=1e-10, atol=1e-12)


@pytest.mark.parametrize(
    ("name", "reversed_polarity", "delay_s"),
    [
        ("LR4", False, 0.4501582e-3),
        ("LR2", True, 0.3183099e-3),
        ("B3", False, 0.3183099e-3),
        ("B3", True, 0.3183099e-3),
    ],
)
def test_delay_of_the_sum_at_low_frequencies(name: str, reversed_polarity: bool, delay_s: float) -> None:
    """2 sqrt2/w0 and 2/w0 for fc = 1 kHz (derived); 1 Hz is low enough for seven digits less the square of 1/1000."""
    f = np.array([1.0])
    drive = crossover(name, f, 1000.0, reversed_polarity).drive
    total = drive["woofer"] + drive["tweeter"]
    assert total[0] == pytest.approx(1, abs=1e-2)
    phase = np.angle(total)
    assert -phase[0] / (2 * math.pi * f[0]) == pytest.approx(delay_s, rel=2e-6)


@pytest.mark.parametrize("name", SUMS)
def test_load_at_the_crossover(name: str) -> None:
    fc = 2500.0
    z = crossover(name, np.array([fc]), fc).impedance_ohm["in"]
    assert z[0] == pytest.approx(SUMS[name][5] * R, rel=1e-5)


@pytest.mark.parametrize(
    ("name", "lowest", "highest"),
    [("B1", 1, 1), ("B2", 1, 1), ("B3", 1, 1), ("B4", 1, 1), ("LR2", 1.0002, 2), ("LR4", 0.9994, 2)],
)
def test_range_of_the_load(name: str, lowest: float, highest: float) -> None:
    """Butterworth branches present exactly R at every frequency, Linkwitz-Riley ones up to 2 R; derived."""
    fc = 2500.0
    z = crossover(name, fc * np.geomspace(0.01, 100, 401), fc).impedance_ohm["in"] / R
    assert np.all(z.real > 0)
    assert np.abs(z).min() == pytest.approx(lowest, abs=6e-5)
    assert np.abs(z).max() == pytest.approx(highest, abs=6e-5)
    if lowest == highest:
        np.testing.assert_allclose(z, 1, rtol=2e-6)


# Published constants, L = k R/f and C = k/(f R), as printed. Sources: [1] "Two-way Network Design Formulas";
# [2] "Some Cross Over Equations"; [3] "Two Way Fourth Order Network Equations", citing V. Dickason, The Loudspeaker
# Design Cookbook, 4th ed. 1991. The Bessel row of [1] prints .0912 for the exact .0919 and is no oracle.
PUBLISHED = [
    ("B1", "[1][2]", (".159",), (".159",)),
    ("B2", "[1]", (".2251", ".1125"), (".1125", ".2251")),
    ("LR2", "[1][2]", (".3183", ".0796"), (".0796", ".3183")),
    ("Cheb2", "[1]", (".1592", ".1592"), (".1592", ".1592")),
    ("B3", "[2]", (".2387", ".2122", ".0796"), (".1061", ".1194", ".3183")),
    ("B4", "[3]", (".2437", ".2509", ".1723", ".0609"), (".1040", ".1009", ".1470", ".4159")),
    ("LR4", "[2][3]", (".3000", ".2533", ".1500", ".0563"), (".0844", ".1000", ".1688", ".4501")),
]


@pytest.mark.parametrize(("name", "source", "low", "high"), PUBLISHED, ids=[row[0] for row in PUBLISHED])
def test_published_constants_give_the_alignment(
    name: str, source: str, low: tuple[str, ...], high: tuple[str, ...]
) -> None:
    """Within what one unit in the last printed digit of each constant can do (sensitivities stay below 2)."""
    assert source.startswith("[")
    fc = 3000.0
    ratio = np.array([0.1, *RATIOS])
    low_k, high_k = [float(k) for k in low], [float(k) for k in high]
    woofer = [("L", k * R / fc) if i % 2 == 0 else ("C", k / (fc * R)) for i, k in enumerate(low_k)]
    tweeter = [("C", k / (fc * R)) if i % 2 == 0 else ("L", k * R / fc) for i, k in enumerate(high_k)]
    drive = solved(two_way(woofer, tweeter), fc * ratio, woofer=R, tweeter=R).drive
    for driver, printed, expected in (
        ("woofer", low, ALIGNMENTS[name].low(1j * ratio)),
        ("tweeter", high, ALIGNMENTS[name].high(1j * ratio)),
    ):
        tolerance = 2 * sum(10.0 ** -(len(k) - 1) / float(k) for k in printed)
        np.testing.assert_allclose(drive[driver], expected, rtol=tolerance)


# Part values for 8 ohm as a builder would write them, and the frequency: derived, five digits.
WORKED = {
    "B1": (2000, ("0.6366mH",), ("9.9472uF",)),
    "B2": (2000, ("0.9003mH", "7.0337uF"), ("7.0337uF", "0.9003mH")),
    "LR2": (2000, ("1.2732mH", "4.9736uF"), ("4.9736uF", "1.2732mH")),
    "B3": (3000, ("0.6366mH", "8.8419uF", "0.2122mH"), ("4.4210uF", "0.3183mH", "13.2629uF")),
    "B4": (
        2000,
        ("0.9745mH", "15.6883uF", "0.6891mH", "3.8066uF"),
        ("6.4983uF", "0.4036mH", "9.1900uF", "1.6636mH"),
    ),
    "LR4": (
        2500,
        ("0.9603mH", "12.6607uF", "0.4802mH", "2.8135uF"),
        ("4.2202uF", "0.3201mH", "8.4405uF", "1.4405mH"),
    ),
}


@pytest.mark.parametrize("name", WORKED)
def test_worked_values_in_millihenry_and_microfarad(name: str) -> None:
    fc, low, high = WORKED[name]
    cards = []
    for node, driver, values in (("w", "woofer", low), ("t", "tweeter", high)):
        at = "in"
        for k, value in enumerate(values):
            name_of_part = ("L" if value.endswith("H") else "C") + f"{node}{k}"
            to = f"{node}{k}" if k % 2 == 0 else "0"
            cards.append(f"{name_of_part} {at} {to} {value}")
            at = to if k % 2 == 0 else at
        cards.append(f"X{driver} {at} 0 {driver}")
    ratio = np.array([0.5, 1.0, 2.0])
    drive = solved("\n".join(["* worked", *cards]), fc * ratio, woofer=R, tweeter=R).drive
    np.testing.assert_allclose(drive["woofer"], ALIGNMENTS[name].low(1j * ratio), rtol=1e-3)
    np.testing.assert_allclose(drive["tweeter"], ALIGNMENTS[name].high(1j * ratio), rtol=1e-3)


def test_linkwitz_riley_at_two_and_a_half_kilohertz_as_a_simulator_gave_it() -> None:
    """ngspice-39 on the exact values: both branches -0.5, load 16 ohm, sum 1 an octave below."""
    solution = crossover("LR4", np.array([1250.0, 2500.0]), 2500.0)
    w, t, z = solution.drive["woofer"], solution.drive["tweeter"], solution.impedance_ohm["in"]
    np.testing.assert_allclose([w[1], t[1], z[1]], [-0.5, -0.5, 16.0], rtol=1e-12, atol=1e-12)
    assert abs(w[0] + t[0]) == pytest.approx(1.0, rel=1e-12)


def test_series_networks_into_resistors() -> None:
    """Dual of the parallel network. First order: branches add up to one and the load is R. Second order with
    C = a/(w R) and L = R/(a w): branches 1/(1 + (2/a) s + s^2), load R (1 + (2/a) s + s^2)/(1 + a s + s^2); derived.
    """
    fc = 3000.0
    ratio = np.geomspace(0.05, 20, 41)
    s = 1j * ratio
    coil, capacitor = R / (2 * math.pi * fc), 1 / (2 * math.pi * fc * R)
    first = f"* series 1\nXhigh in m tweeter\nL1 in m {coil!r}\nXlow m 0 woofer\nC1 m 0 {capacitor!r}"
    solution = solved(first, fc * ratio, woofer=R, tweeter=R)
    np.testing.assert_allclose(solution.drive["woofer"], 1 / (1 + s), rtol=1e-11)
    np.testing.assert_allclose(solution.drive["tweeter"], s / (1 + s), rtol=1e-11)
    np.testing.assert_allclose(solution.impedance_ohm["in"], R, rtol=1e-11)
    for a in (1.0, SQRT2, 2.0):
        second = (
            f"* series 2\nL1 in m {coil / a!r}\nC1 in t {capacitor * a!r}\nXhigh m t tweeter\n"
            f"C2 m 0 {capacitor * a!r}\nL2 m w {coil / a!r}\nXlow w 0 woofer"
        )
        solution = solved(second, fc * ratio, woofer=R, tweeter=R)
        d = 1 + (2 / a) * s + s * s
        np.testing.assert_allclose(solution.drive["woofer"], 1 / d, rtol=1e-11)
        np.testing.assert_allclose(solution.drive["tweeter"], -(s * s) / d, rtol=1e-11)
        np.testing.assert_allclose(solution.impedance_ohm["in"], R * d / (1 + a * s + s * s), rtol=1e-11)
