"""Values as people write them. Expected numbers: SPICE3 scale factors and IEC 60062 letter codes, typed in."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.errors import InputError
from xover.quantity import RANGES, QuantityKind, format_quantity, parse_fraction, parse_quantity, spice_value

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
        ("47R", R, 47.0),
        ("10mohm", R, 0.01),
        ("-0.0", R, 0.0),
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
        ("1e308", R, "no resistance that can be read; give 0, or 1 pohm to 1 Gohm"),
        ("5e-324", R, "no resistance that can be read"),
        ("1e308", P, "give 0, or 1e-30 to 1e[+]30"),
        ("1e9Hz", F, "no frequency that can be read; give 0.1 Hz to 1 MHz"),
        ("1000000", L, "without a unit is read as 1e[+]06 H; write a value such as"),
        ("4.7", C, "without a unit is read as 4.7 F; write 4.7uF"),
        ("4.7e-6F", C, "write 4.7uF$"),
        ("4f7", C, "femtofarad in SPICE.*write 4.7uF$"),
        ("0.005F", C, "write 0.005uF (or 5000uF if it is in farad)"),
        ("1e308mF", C, "write a value such as"),
        ("10Mohm", R, "milliohm in SPICE; write 10MEG (or 10m if"),
        ("100mHz", F, "milli in SPICE; write a value such as"),
        ("1meter", F, "is a length where a frequency belongs"),
        ("-1,234", P, "write -1234 or -1.234"),
        ("\u0664.\u0667", R, "not a resistance"),
        ("__import__('os')", R, "not a resistance"),
    ],
)
def test_refuses(text, kind, message):
    with pytest.raises(InputError, match=message.replace("(", r"\(").replace(")", r"\)")):
        parse_quantity(text, kind)


# What may be meant by the letters behind a number, typed in: its size in SI.
MEANT = {
    C: {
        **{"F": (1e-6, 1.0), "fd": (1e-6, 1.0), "farad": (1e-6, 1.0), "mF": (1e-6, 1e-3), "MFD": (1e-6, 1e-3)},
        **{"MF": (1e-6, 1e-3), "m": (1e-6, 1e-3), "mmF": (1e-12,), "MMFD": (1e-12,), "uuF": (1e-12,), "": (1e-6, 1.0)},
        **{"uF": (1e-6,), "nF": (1e-9,), "pF": (1e-12,), "n": (1e-9,), "u": (1e-6,), "µF": (1e-6,)},
    },
    L: {"": (1e-3, 1.0), "mH": (1e-3,), "MH": (1e-3,), "uH": (1e-6,), "H": (1.0,), "henry": (1.0,)},
    R: {
        **{"": (1.0,), "R": (1.0,), "ohm": (1.0,), "k": (1e3,), "MEG": (1e6,), "megohm": (1e6,), "mohm": (1e-3,)},
        **{"Mohm": (1e6, 1e-3), "MΩ": (1e6, 1e-3), "mΩ": (1e-3,), "kΩ": (1e3,)},
    },
    F: {"": (1.0,), "Hz": (1.0,), "kHz": (1e3,), "MHz": (1e6,), "M": (1e6,), "MEGHz": (1e6,)},
}


def offered(remedy):
    """The values that a remedy would have written."""
    return (
        re.findall(r"[0-9.]+(?:MEG|[a-zA-Z]+)", remedy)
        if remedy.startswith("write") and "such as" not in remedy
        else []
    )


@given(st.data())
def test_a_remedy_that_offers_a_value_offers_what_was_meant(data):
    """For each number and all letters: what is read is meant, and so is each value of a remedy, read in its turn."""
    kind = data.draw(st.sampled_from(list(MEANT)))
    letters = data.draw(st.sampled_from(list(MEANT[kind])))
    digits = data.draw(st.sampled_from(["{:g}", "{:.4e}", "{:.8f}"]))
    number = digits.format(data.draw(st.sampled_from([1.0, 2.2, 4.7, 6.8123])) * 10.0 ** data.draw(st.integers(-12, 8)))
    meant = [float(number) * scale for scale in MEANT[kind][letters]]
    if letters in ("F", "fd", "farad"):  # what no crossover has is not meant
        meant = [value for value in meant if value == 0 or 0.99e-9 < value < 1.01e-2]
    near = [pytest.approx(value, rel=1e-12, abs=0) for value in meant]
    refused = None
    try:
        assert parse_quantity(number + letters, kind) in near
    except InputError as error:
        refused = error
    assert refused is None or all(parse_quantity(value, kind) in near for value in offered(refused.remedy))


@pytest.mark.parametrize(
    ("text", "kind", "values"),
    [
        *[("4M7", C, [4.7e-6, 4.7e-3]), ("4m7", C, [4.7e-6, 4.7e-3]), ("4f7", C, [4.7e-6]), ("4M7", L, [4.7e-3])],
        *[("4M7", R, [4.7e6, 4.7e-3]), ("1e-3F", C, [1e-9, 1e-3]), ("2.2e-9farad", C, [2.2e-9]), ("1e6F", C, [])],
        *[
            ("0.47MHz", F, [0.47e6, 0.47e6]),
            ("5MHz", F, []),
            ("330mmF", C, [330e-12]),
            ("1234.5678F", C, [1234.5678e-6]),
        ],
    ],
)
def test_remedies_offer(text, kind, values):
    with pytest.raises(InputError) as refused:
        parse_quantity(text, kind)
    assert [parse_quantity(value, kind) for value in offered(refused.value.remedy)] == pytest.approx(values)


@pytest.mark.parametrize("kind", list(QuantityKind))
@pytest.mark.parametrize("size", [5e-324, 1e-300, 1e-40, 1e40, 1e300, 1.7e308])
@pytest.mark.parametrize("sign", ["", "-"])
def test_nothing_out_of_range_is_read(kind, size, sign):
    with pytest.raises(InputError, match=r"can be read|without a unit"):
        parse_quantity(f"{sign}{size!r}", kind)
    for end in RANGES[kind]:
        assert parse_quantity(f"{sign}{end!r}", kind) == float(f"{sign}{end!r}")


def test_what_is_not_finite_is_written_as_unknown():
    assert [format_quantity(v, F) for v in (float("nan"), float("inf"))] == ["unknown", "unknown"]


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
