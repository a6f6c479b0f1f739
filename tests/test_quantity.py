"""Values as people write them. Expected numbers: SPICE3 scale factors and IEC 60062 letter codes, typed in."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.errors import InputError
from xover.quantity import QuantityKind, format_quantity, parse_fraction, parse_quantity, spice_value

R, C, L, F, P = (
    QuantityKind.RESISTANCE,
    QuantityKind.CAPACITANCE,
    QuantityKind.INDUCTANCE,
    QuantityKind.FREQUENCY,
    QuantityKind.PLAIN,
)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("1", P, 1.0),
        ("1k", R, 1000.0),
        ("1K", R, 1000.0),
        ("1meg", R, 1e6),
        ("1MEGOHM", R, 1e6),
        ("1m", R, 1e-3),
        ("1M", R, 1e-3),
        ("1kohm", R, 1000.0),
        ("1000Hz", F, 1000.0),
        ("10V", QuantityKind.VOLTAGE, 10.0),
        ("10VOLTS", QuantityKind.VOLTAGE, 10.0),
        ("2.2e-1", R, 0.22),
        ("6.8E3", R, 6800.0),
        ("2u", C, 2e-6),
        ("2U", C, 2e-6),
        ("3n", C, 3e-9),
        ("4p", C, 4e-12),
        ("4u7", C, 4.7e-6),
        ("4n7F", C, 4.7e-9),
        ("2R2", R, 2.2),
        ("R47", R, 0.47),
        ("4k7", R, 4700.0),
        ("2m2", L, 2.2e-3),
        ("0,33 mH", L, 0.33e-3),
        ("4,7uF", C, 4.7e-6),
        ("4.7 µF", C, 4.7e-6),
        ("4.7 μF", C, 4.7e-6),
        ("8 Ω", R, 8.0),
        ("8 \u2126", R, 8.0),
        ("0,330mH", L, 0.33e-3),
        ("2.2n", C, 2.2e-9),
        (".5", R, 0.5),
        ("5.", R, 5.0),
    ],
)
def test_reads(text, kind, value):
    assert parse_quantity(text, kind) == value


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        ("10mF", C, "write 10uF"),
        ("10MFD", C, "write 10uF"),
        ("10 MFD", C, "write 10uF"),
        ("10MF", C, "microfarad"),
        ("10m", C, "write 10uF"),
        ("4m7", C, "write 4.7uF"),
        ("10F", C, "femtofarad"),
        ("33mmF", C, "picofarad; write 33pF"),
        ("1MHz", F, "milli in SPICE; write 1MEG or 1000k"),
        ("2M2", R, "1e6 in the IEC code, 1e-3 in SPICE"),
        ("4.7uF", L, "capacitance where an inductance belongs"),
        ("4.7mH", R, "inductance where a resistance belongs"),
        ("8ohm", C, "resistance where a capacitance belongs"),
        ("4R7", C, "resistance where a capacitance belongs"),
        ("1H5", C, "does not fit a capacitance"),
        ("1,000uF", C, "write 1000uF or 1.000uF"),
        ("1.000,5", R, "mixes commas and points"),
        ("1kk", R, "unknown unit 'kk'"),
        ("1x", R, "unknown unit 'x'"),
        ("4z7", R, "unknown code letter 'z'"),
        ("", R, "is empty"),
        ("nan", R, "not a resistance"),
        ("inf", R, "not a resistance"),
        ("1e999", R, "too large"),
        ("__import__('os')", R, "not a resistance"),
    ],
)
def test_refuses(text, kind, message):
    with pytest.raises(InputError, match=message.replace("(", r"\(")):
        parse_quantity(text, kind)


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (4.7e-6, C, "4.7 uF"),
        (0.1e-6, C, "0.1 uF"),
        (4.7e-9, C, "4.7 nF"),
        (2200e-6, C, "2200 uF"),
        (0.33e-3, L, "0.33 mH"),
        (8e-6, L, "8 uH"),
        (0.1, L, "100 mH"),
        (2.2, R, "2.2 ohm"),
        (0.0, R, "0 ohm"),
        (4700.0, R, "4.7 kohm"),
        (3000.0, F, "3 kHz"),
        (999.96, F, "1 kHz"),
        (0.0004, R, "0.0004 ohm"),
    ],
)
def test_writes_as_a_shop_does(value, kind, text):
    assert format_quantity(value, kind) == text


def test_fraction():
    assert parse_fraction("10%") == 0.1
    assert parse_fraction("0.06") == 0.06


@given(st.floats(1e-12, 1e9))
def test_spice_value_round_trip_is_exact(value):
    assert parse_quantity(spice_value(value), P) == value


@given(st.floats(1e-9, 1e-2))
def test_formatting_keeps_three_digits(value):
    back = parse_quantity(format_quantity(value, C).replace(" ", ""), C) if value < 0.999e-3 else value
    assert back == pytest.approx(value, rel=6e-3)


@given(st.text(max_size=30), st.sampled_from(list(QuantityKind)))
def test_any_text_is_read_or_refused_in_one_line(text, kind):
    try:
        said = repr(parse_quantity(text, kind))
    except InputError as error:
        said = str(error)
    assert "\n" not in said
    assert said
