"""L-pad, Zobel, resonance notch, and two whole networks whose numbers were published or computed elsewhere."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from xover.files.netlist import parse_netlist
from xover.network import Solution, build_network, solve

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

BAND = np.geomspace(20, 20000, 200)


def solved(text: str, frequency_hz: Real, **impedance_ohm: Complex) -> Solution:
    """Solve netlist text with drivers given as arrays (n,)."""
    return solve(build_network(parse_netlist(text)), frequency_hz, impedance_ohm)


def flat(ohm: float, frequency_hz: Real) -> Complex:
    return np.full(frequency_hz.shape, ohm, dtype=complex)


# dB, Rs, Rp for 8 ohm, share of the power in Rs, Rp and the driver in per cent: K = 10^(A/20), Rs = Z (K-1)/K,
# Rp = Z/(K-1) (derived; 7.20 and 0.89 ohm for 20 dB and 3.99 ohm for 6 dB are published).
PADS = [
    (1, 0.8700, 65.5639, 10.87, 9.69, 79.43),
    (2, 1.6454, 30.8969, 20.57, 16.34, 63.10),
    (3, 2.3364, 19.3922, 29.21, 20.68, 50.12),
    (4, 2.9523, 13.6777, 36.90, 23.29, 39.81),
    (6, 3.9905, 8.0381, 49.88, 25.00, 25.12),
    (8, 4.8151, 5.2914, 60.19, 23.96, 15.85),
    (10, 5.4702, 3.6998, 68.38, 21.62, 10.00),
    (12, 5.9905, 2.6836, 74.88, 18.81, 6.31),
    (15, 6.5774, 1.7303, 82.22, 14.62, 3.16),
    (20, 7.2000, 0.8889, 90.00, 9.00, 1.00),
]


def pad(rs: float, rp: float) -> Solution:
    f = np.array([1000.0])
    return solved(f"* pad\nR1 in p {rs!r}\nR2 p 0 {rp!r}\nXhigh p 0 tweeter", f, tweeter=flat(8.0, f))


@pytest.mark.parametrize(("attenuation_db", "rs", "rp", "in_rs", "in_rp", "in_driver"), PADS)
def test_pad_table(attenuation_db: float, rs: float, rp: float, in_rs: float, in_rp: float, in_driver: float) -> None:
    solution = pad(rs, rp)
    drive, z = solution.drive["tweeter"][0], solution.impedance_ohm["in"][0]
    assert drive.real > 0
    assert 20 * math.log10(abs(drive)) == pytest.approx(-attenuation_db, abs=1e-3)
    assert z == pytest.approx(8.0, rel=2e-4)
    drawn = (1 / z).real
    shares = [
        100 * abs(solution.current("R1")[0]) ** 2 * rs / drawn,
        100 * abs(solution.current("R2")[0]) ** 2 * rp / drawn,
        100 * abs(drive) ** 2 / 8.0 / drawn,
    ]
    np.testing.assert_allclose(shares, [in_rs, in_rp, in_driver], rtol=0, atol=0.02)


def test_published_pad_for_twenty_decibels() -> None:
    """7.20 and 0.89 ohm for 8 ohm, as printed in a table of pads; the last digits allow 0.01 dB."""
    solution = pad(7.20, 0.89)
    assert solution.drive["tweeter"][0].real == pytest.approx(0.1, rel=2e-3)
    assert solution.impedance_ohm["in"][0] == pytest.approx(8.0, rel=2e-4)


# The example driver: Re = 6, Le = 0.4 mH, fs = 600 Hz, Qms = 2, Qes = 1.
RE, LE, WS, QMS, QES = 6.0, 0.4e-3, 2 * math.pi * 600, 2.0, 1.0
RES, CMES = RE * QMS / QES, QES / (WS * RE)
LCES = 1 / (WS * WS * CMES)


def motional(frequency_hz: Real) -> Complex:
    jw = 2j * math.pi * frequency_hz
    return np.asarray(1 / (1 / RES + 1 / (jw * LCES) + jw * CMES))


def coil(frequency_hz: Real) -> Complex:
    return np.asarray(2j * math.pi * frequency_hz * LE)


def load(cards: str, driver: Complex) -> Complex:
    """Input impedance of the driver straight across the amplifier, with correction cards beside it."""
    return solved(f"* correction\nXlow in 0 woofer\n{cards}", BAND, woofer=driver).impedance_ohm["in"]


ZOBEL = f"R1 in z {RE!r}\nC1 z 0 {LE / RE**2!r}\n"
NOTCH = f"R2 in a {RE * (1 + QES / QMS)!r}\nL2 a b {QES * RE / WS!r}\nC2 b 0 {1 / (WS * RE * QES)!r}\n"


def test_zobel_makes_a_coil_and_a_resistance_plain() -> None:
    """Rz = Re, Cz = Le/Re^2 beside Re + s Le is exactly Re (published rule; exactness derived)."""
    capacitance = LE / RE**2
    assert capacitance == pytest.approx(11.1111e-6, rel=1e-5)
    np.testing.assert_allclose(load(ZOBEL, RE + coil(BAND)), RE, rtol=1e-12)


def test_notch_makes_a_resonance_and_a_resistance_plain() -> None:
    """Rn = Re (1+Qes/Qms), Cn = 1/(ws Re Qes), Ln = Qes Re/ws beside Re + Zp is exactly Re (derived)."""
    np.testing.assert_allclose(
        [RE * (1 + QES / QMS), QES * RE / WS, 1 / (WS * RE * QES)], [9.0, 1.59155e-3, 44.2097e-6], rtol=1e-5
    )
    np.testing.assert_allclose(load(NOTCH, RE + motional(BAND)), RE, rtol=1e-12)


def test_one_dual_branch_cancels_coil_and_resonance_together() -> None:
    """Re + [Cz || series(Re^2/Res, Cmes Re^2, Lces/Re^2)] beside the whole driver is exactly Re (derived)."""
    dual = (
        f"R1 in a {RE!r}\nC1 a 0 {LE / RE**2!r}\n"
        f"R2 a b {RE**2 / RES!r}\nL2 b c {CMES * RE**2!r}\nC2 c 0 {LCES / RE**2!r}\n"
    )
    np.testing.assert_allclose(load(dual, RE + coil(BAND) + motional(BAND)), RE, rtol=1e-12)


@pytest.mark.parametrize(
    ("cards", "lowest", "highest"), [("", 6.009, 50.444), (ZOBEL + NOTCH, 4.313, 6.250)], ids=["bare", "both branches"]
)
def test_modulus_of_the_example_driver(cards: str, lowest: float, highest: float) -> None:
    """200 points, 20 Hz to 20 kHz; derived. The bare driver gets 100 kohm beside it, as a part is needed."""
    z = load(cards or "R9 in 0 100k", RE + coil(BAND) + motional(BAND))
    assert np.all(z.real > 0)
    z = np.abs(z)
    slack = 2e-4 if cards else 6e-4
    assert z.min() == pytest.approx(lowest, rel=slack)
    assert z.max() == pytest.approx(highest, rel=slack)


def test_practical_zobel_is_not_flat() -> None:
    """Rz = 1.25 Re, Cz = Le/Rz^2 on Re = 6, Le = 0.4 mH: at most 7.729 ohm, 7.532 at 20 kHz.

    The rule is common practice, the numbers are derived.
    """
    rz = 1.25 * RE
    z = load(f"R1 in z {rz!r}\nC1 z 0 {LE / rz**2!r}\n", RE + coil(BAND))
    assert np.all(z.real > 0)
    z = np.abs(z)
    assert z.max() == pytest.approx(7.729, rel=2e-4)
    assert z[-1] == pytest.approx(7.532, rel=1e-4)
    assert z[0] == pytest.approx(RE, rel=1e-3)


# IEC 60268-1:1985, figure 2: pink noise to simulated programme signal.
# Level and phase from a nodal formula and from ngspice-39.
PROGRAMME = [
    (20, -17.91052, 141.2070),
    (100, -5.30485, 45.5414),
    (500, -3.96696, -1.4284),
    (1000, -4.29043, -17.6477),
    (5000, -10.20385, -76.9198),
    (20000, -24.94461, -133.9648),
]
PROGRAMME_FILTER = """* IEC 60268-1 figure 2
R1 in a 430
C1 a b 2.2uF
R2 b 0 3.3k
C2 b 0 91nF
R3 b c 330
C3 c d 2.2uF
R4 d 0 3.3k
C4 d 0 68nF
C5 d e 0.47uF
Xload e 0 tweeter
"""


def test_programme_signal_filter() -> None:
    f = np.array([row[0] for row in PROGRAMME], dtype=float)
    drive = solved(PROGRAMME_FILTER, f, tweeter=flat(10e3, f)).drive["tweeter"]
    np.testing.assert_allclose(20 * np.log10(np.abs(drive)), [row[1] for row in PROGRAMME], rtol=0, atol=1e-5)
    np.testing.assert_allclose(np.degrees(np.angle(drive)), [row[2] for row in PROGRAMME], rtol=0, atol=1e-4)


def test_programme_signal_filter_loses_four_decibels() -> None:
    """ "About 4 dB" at 630 Hz by the standard; the third-octave band's mean power gives -4.0198 dB (derived)."""
    band = 1000 * 10 ** (np.linspace(-2.5, -1.5, 201) / 10)
    drive = solved(PROGRAMME_FILTER, band, tweeter=flat(10e3, band)).drive["tweeter"]
    assert np.all(drive.real > 0)
    power = np.abs(drive) ** 2
    mean = float(np.sum((power[1:] + power[:-1]) / 2) / (power.size - 1))
    assert 10 * math.log10(mean) == pytest.approx(-4.0198, abs=2e-4)


# A two-way with losses, computed by a nodal code of its own and by ngspice-39, agreeing to 5e-11:
# frequency, woofer, tweeter, load.
REFERENCE = [
    (50, 0.967820542 - 0.011114616j, -0.000126124 + 0.000247449j, 14.5241823 + 12.7452412j),
    (200, 0.987770613 - 0.372283356j, -0.002029653 + 0.001045713j, 6.0161289 - 0.9150976j),
    (1000, 0.199951248 - 0.470488064j, -0.062483068 + 0.027483427j, 17.5882880 + 9.0612617j),
    (1700, 0.018775175 - 0.369051457j, -0.114303477 + 0.130294096j, 13.7948360 - 14.6904699j),
    (3000, -0.099566202 - 0.149960297j, -0.069205101 + 0.403560054j, 4.4301053 - 5.4130562j),
    (10000, -0.011001412 - 0.014912651j, 0.609936091 + 0.414229248j, 4.6478625 + 0.4272088j),
]
REFERENCE_NETWORK = """* two way
L1 in w 1.8mH dcr=0.3
C1 w z 12uF
R1 z 0 1.5
C2 in a 6.8uF
L2 a 0 0.33mH dcr=0.2
R2 a t 2.2
R3 t 0 12
Xlow w 0 woofer
Xhigh t 0 tweeter
"""


def resonant(frequency_hz: Real, re: float, le: float, r: float, c: float, inductance: float) -> Complex:
    jw = 2j * math.pi * frequency_hz
    return np.asarray(re + jw * le + 1 / (1 / r + jw * c + 1 / (jw * inductance)))


def test_reference_two_way() -> None:
    f = np.array([row[0] for row in REFERENCE], dtype=float)
    solution = solved(
        REFERENCE_NETWORK,
        f,
        woofer=resonant(f, 6, 0.4e-3, 30, 300e-6, 20e-3),
        tweeter=resonant(f, 4.5, 0.05e-3, 8, 60e-6, 0.5e-3),
    )
    for got, column, digits in (
        (solution.drive["woofer"], 1, 9),
        (solution.drive["tweeter"], 2, 9),
        (solution.impedance_ohm["in"], 3, 7),
    ):
        expected = np.array([row[column] for row in REFERENCE])
        # Half a unit in the last printed digit of each component.
        np.testing.assert_allclose(got.real, expected.real, rtol=0, atol=0.6 * 10.0**-digits)
        np.testing.assert_allclose(got.imag, expected.imag, rtol=0, atol=0.6 * 10.0**-digits)


def test_reference_two_way_with_losses_spelled_out_and_the_tweeter_turned() -> None:
    """DCR as a resistor of its own changes nothing; a reversed driver changes only its own sign."""
    f = np.array([row[0] for row in REFERENCE], dtype=float)
    text = REFERENCE_NETWORK.replace("L1 in w 1.8mH dcr=0.3", "R8 in y 0.3\nL1 y w 1.8mH")
    text = text.replace("L2 a 0 0.33mH dcr=0.2", "L2 a v 0.33mH\nR9 v 0 0.2")
    text = text.replace("Xhigh t 0", "Xhigh 0 t")
    solution = solved(
        text,
        f,
        woofer=resonant(f, 6, 0.4e-3, 30, 300e-6, 20e-3),
        tweeter=resonant(f, 4.5, 0.05e-3, 8, 60e-6, 0.5e-3),
    )
    np.testing.assert_allclose(solution.drive["woofer"], [row[1] for row in REFERENCE], rtol=0, atol=1e-9)
    np.testing.assert_allclose(solution.drive["tweeter"], [-row[2] for row in REFERENCE], rtol=0, atol=1e-9)
    np.testing.assert_allclose(solution.impedance_ohm["in"], [row[3] for row in REFERENCE], rtol=0, atol=1e-7)
