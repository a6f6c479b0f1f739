"""What needs no speaker folder."""

import math

import pytest

import xover


def test_values_stand_in_their_series():
    """IEC 60063: E12 has 4.7 and 5.6, E96 has 4.75; so 4.73 lies nearest to 4.75."""
    assert xover.values("4.73uF").nearest.value == 4.7e-6
    assert xover.values("4.73uF").above.value == 5.6e-6
    assert xover.values("4.73uF", series="E96").nearest.value == 4.75e-6
    assert xover.values("4R7").kind == "resistor"
    pair = xover.values("9.4uF", tolerance=0.05).pairs[0].pair
    assert (pair.values, pair.how) == ((4.7e-6, 4.7e-6), "parallel")


def test_a_list_is_the_only_source(examples):
    study = xover.values("4.7uF", stock=examples / "stock.csv", needed=2)
    assert study.nearest.item is not None
    assert study.nearest.value == 4.7e-6


def test_a_coil_has_the_resistance_of_its_wire():
    """Copper, 1.724e-8 ohm m at 20 degC (IEC 60028): 0.02195 ohm for a metre of 1 mm."""
    coil = xover.coil("1.8mH", wire="1.0mm")
    assert coil.inductance_h == pytest.approx(1.8e-3, rel=0.01)
    assert coil.dcr_ohm == pytest.approx(1.724e-8 * coil.wire_length_m / (math.pi * 0.5e-3**2), rel=2e-3)
    assert xover.coil(1.8e-3, wire="1.0mm") == coil
    assert xover.coil("1.8mH", dcr_ohm=0.8).dcr_ohm > xover.coil("1.8mH").dcr_ohm


def test_a_capacitor_of_two_readings():
    """One that has 0.28 ohm and df 0.05 by construction: R(f) = 0.28 + 0.05/(2 pi f C)."""
    farad = 4.77e-6
    readings = {hz: 0.28 + 0.05 / (2 * math.pi * hz * farad) for hz in (1e3, 10e3)}
    loss = xover.capacitor("4.77uF", esr_ohm=readings)
    assert loss.fixed_ohm == pytest.approx(0.28)
    assert loss.dissipation_factor == pytest.approx(0.05)
    by_q = xover.capacitor(farad, q={1e3: 20.0})
    assert by_q.dissipation_factor == pytest.approx(0.05, rel=1e-3)


def test_a_pad_drops_what_is_asked():
    """The textbook pair for 6 dB and 8 ohm: 8 (1 - 1/k) in series, 8/(k - 1) across, k = 10^(6/20)."""
    k = 10 ** (6 / 20)
    first = xover.pad(6.0, ohm=8.0).designs[0]
    assert first.series_ohm == pytest.approx(8 * (1 - 1 / k), rel=1e-6)
    assert first.parallel_ohm == pytest.approx(8 / (k - 1), rel=1e-6)


def test_an_impedance_by_a_resistor(tmp_path):
    """8 ohm behind 10 ohm: the second channel shows 8/18 of the first."""
    level = 20 * math.log10(8 / 18)
    rows = [f"{20 * 2**n},{level},0" for n in range(10)]
    table = tmp_path / "ratio.csv"
    table.write_text("\n".join(["Hz,dB,deg", *rows]) + "\n", encoding="utf-8")
    study = xover.jig(table, 10.0)
    assert abs(study.impedance_ohm) == pytest.approx([8.0] * 10, rel=1e-3)
    with pytest.raises(xover.OptionError, match="give driver or resistor"):
        xover.jig(table, 10.0, across="both")


def test_the_formula_of_a_topology():
    study = xover.formula("two-way-first-order")
    assert set(study.plain()["transfer"]) == {"woofer", "tweeter"}
    assert any("8 ohm" in words for words in study.warnings)


def test_two_folders_are_compared(examples):
    left, right = examples / "attic-two-way" / "left", examples / "attic-two-way" / "right"
    forth = xover.compare(left, right, match_hz=None)
    back = xover.compare(right, left, match_hz=None)
    assert forth.worst_db == pytest.approx(-back.worst_db)
    assert abs(forth.worst_db) > 0.1


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: xover.values("4.7"), "no unit of a part"),
        (lambda: xover.values("10mF"), "microfarad"),
        (lambda: xover.values("4.7uF", series="E13"), "E13"),
        (lambda: xover.values("4.7uF", most=0), "1 to 50"),
        (lambda: xover.values("4.7uF", needed=2), "name it by stock"),
        (lambda: xover.coil("4.7uF"), "is a capacitance"),
        (lambda: xover.coil("1mH", wire="1mm", dcr_ohm=0.3), "leave one of them out"),
        (lambda: xover.capacitor("4.7uF").fixed_ohm, "no reading"),
        (lambda: xover.capacitor(4.7, df={1e3: 0.05}), "value: 4.7 is out of range; give 0, or 1e-12 to 1 F"),
        (lambda: xover.formula("two-way-frist-order"), "no netlist, topology"),
        (lambda: xover.compare("nowhere", "nowhere"), "nowhere"),
        (lambda: xover.to_json(1j), "cannot be written as JSON"),
        (lambda: xover.new("x", "two-way-frist-order"), "did you mean two-way-first-order"),
    ],
)
def test_a_fault_is_one_line_with_its_remedy(ask, words):
    with pytest.raises(xover.XoverError, match=words) as fault:
        ask()
    assert "\n" not in str(fault.value)
