"""What an ohmmeter reads, by closed formulas and by every corner of the tolerances."""

import math
from itertools import product

import pytest

from xover.bench.dc import Link, between, dc_check, driver_link, meter_range, part_link, resistance_ohm, sees
from xover.network.parts import Capacitor, Inductor, Resistor


def link(name, a, b, ohm, share=0.0):
    return Link(name, a, b, ohm, ohm * (1 - share), ohm * (1 + share))


def test_series_and_parallel():
    assert resistance_ohm([("a", "b", 1.0), ("b", "c", 2.0)], "a", "c") == pytest.approx(3.0, rel=1e-12)
    assert resistance_ohm([("a", "c", 3.0), ("a", "b", 1.0), ("b", "c", 5.0)], "c", "a") == pytest.approx(
        2.0, rel=1e-12
    )


def test_unbalanced_bridge():
    """Wheatstone bridge of 1, 2, 3, 4 ohm with 5 ohm across, by its node equations and Cramer's rule (by hand).

    For 1 A into a, d grounded: 1.5 Va - Vb - Vc/2 = 1; -Va + 23/15 Vb - Vc/5 = 0; -Va/2 - Vb/5 + 0.95 Vc = 0.
    """
    arms = [("a", "b", 1.0), ("a", "c", 2.0), ("b", "d", 3.0), ("c", "d", 4.0), ("b", "c", 5.0)]
    p, q, r, s, t = 1.5, 23.0 / 15.0, 0.95, 0.5, 0.2
    top = q * r - t * t
    det = p * top - (r + s * t) - s * (t + s * q)
    assert resistance_ohm(arms, "a", "d") == pytest.approx(top / det, rel=1e-12)
    assert 2.3 < top / det < 2.5  # 4 and 6 ohm in parallel are 2.4: the bridge changes little


def test_wires_and_open_circuits():
    assert resistance_ohm([("a", "b", 0.0), ("b", "c", 2.0)], "a", "b") == 0.0
    assert resistance_ohm([("a", "b", 0.0), ("b", "c", 2.0)], "a", "c") == pytest.approx(2.0, rel=1e-12)
    assert math.isinf(resistance_ohm([("a", "b", 1.0), ("c", "d", 2.0)], "a", "d"))
    assert math.isinf(resistance_ohm([("a", "b", math.inf)], "a", "b"))
    assert resistance_ohm(
        [("a", "b", 0.0), ("b", "a", 3.0), ("b", "c", 2.0), ("c", "x", 9.0)], "c", "a"
    ) == pytest.approx(2.0)


def test_the_range_is_that_of_the_worst_corner():
    """Rayleigh: no larger resistor makes a reading smaller, so the ends are all low and all high (every corner)."""
    ohms = {("a", "b"): 5.6, ("b", "0"): 15.0, ("a", "0"): 0.4, ("b", "c"): 3.0, ("c", "0"): 6.0}
    links = [link(f"R{i}", *ends, ohm, 0.1) for i, (ends, ohm) in enumerate(ohms.items())]
    found = between(links, "a", "b")
    corners = [
        resistance_ohm([(k.a, k.b, k.ohm * f) for k, f in zip(links, factors, strict=True)], "a", "b")
        for factors in product((0.9, 1.1), repeat=len(links))
    ]
    assert found.low_ohm == pytest.approx(min(corners), rel=1e-12)
    assert found.high_ohm == pytest.approx(max(corners), rel=1e-12)
    assert found.low_ohm == pytest.approx(0.9 * found.ohm, rel=1e-12)


def test_the_meter_adds_its_own_error():
    """1 % and 0.1 ohm: 10 ohm +-5 % may read 9.5 x 0.99 - 0.1 to 10.5 x 1.01 + 0.1."""
    low, high = meter_range(between([link("R1", "a", "b", 10.0, 0.05)], "a", "b"))
    assert low == pytest.approx(9.305, rel=1e-12)
    assert high == pytest.approx(10.705, rel=1e-12)
    assert meter_range(between([link("R1", "a", "b", 0.05)], "a", "b"))[0] == 0.0


def test_parts_for_direct_current():
    coil = part_link(Inductor("L1", "a", "b", 1e-3, 0.5, losses_stated=True))
    assert (coil.ohm, coil.low_ohm, coil.high_ohm) == (0.5, pytest.approx(0.45), pytest.approx(0.55))
    assert math.isinf(part_link(Capacitor("C1", "a", "b", 1e-6)).ohm)
    five = part_link(Resistor("R1", "a", "b", 100.0, tolerance=0.02))
    assert (five.low_ohm, five.high_ohm) == (pytest.approx(98.0), pytest.approx(102.0))
    silent = part_link(Inductor("L2", "a", "b", 1e-3))
    assert not silent.known
    assert silent.low_ohm == 0.0
    # An air coil of 1 mH of 0.5 mm wire has between 1 and 2 ohm, whoever winds it.
    assert 1.0 < silent.high_ohm < 2.0


def test_a_driver_is_its_voice_coil(attic, folder):
    """The sweep's lowest resistance, the datasheet's Re, or what a meter read, each with its own doubt."""
    card = attic.network("found").drivers[0]
    swept = driver_link(card, attic.drivers["woofer"])
    assert swept.source.startswith("the sweep")
    assert swept.ohm == pytest.approx(attic.drivers["woofer"].impedance.value.real.min(), rel=1e-12)
    speaker = folder("Xlow in 0 woofer\nXhigh in 0 tweeter\n")
    printed = driver_link(card, speaker.drivers["woofer"])
    assert (printed.ohm, printed.low_ohm) == (6.0, pytest.approx(5.4))
    read = folder("Xlow in 0 woofer\n", "[drivers.woofer]\nre_ohm = 5.9\n")
    metered = driver_link(card, read.drivers["woofer"])
    assert (metered.ohm, metered.high_ohm) == (5.9, pytest.approx(5.9 * 1.03))


def test_what_a_reading_tells_of_a_new_part():
    links = [link("R1", "a", "0", 10.0, 0.05)]
    assert sees(links, links[0], ("a", "0")) == (True, True)
    beside = [link("L1", "a", "0", 0.4, 0.1), link("R2", "a", "0", 100.0, 0.05)]
    assert sees(beside, beside[1], ("a", "0")) == (False, True)
    small = [link("L1", "a", "0", 0.1, 0.1)]
    assert sees(small, small[0], ("a", "0")) == (True, False)


def test_a_check_in_words():
    unknown = Link("L1", "a", "b", 0.0, 0.0, 1.4, known=False)
    check = dc_check([unknown], ("a", "b"), ("a", "b"))
    assert not check.known
    assert "no more than 1.5 ohm (a coil there states no DCR)" in check.sentence
    # A coil of unknown resistance elsewhere does not make this reading unknown.
    aside = dc_check([unknown, link("R1", "b", "z", 8.0, 0.05)], ("b", "z"), ("b", "z"), ("open is a bad joint",))
    assert aside.known
    assert aside.sentence == "b to z: 8 ohm (7.4 to 8.6); open is a bad joint"
    assert dc_check([], ("a", "b"), ("a", "b")).sentence == "a to b: open (above 1 Mohm)"
