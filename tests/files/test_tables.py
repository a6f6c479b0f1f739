"""Tables as curves, what depends on extension and evidence, and properties that hold for any table."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from xover.curve import Curve, Evidence, Unit
from xover.errors import InputError
from xover.files import table_lines
from xover.files.tables import MeasurementTable, parse_table, read_impedance, read_response, read_table

CASES = Path(__file__).parent / "cases" / "valid"
FEW_FILES = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])


def test_impedance_curve() -> None:
    curve, warnings = read_impedance(CASES / "blank.txt", Evidence.DATASHEET)
    assert [w.startswith("no row between 160 and 500 Hz") for w in warnings] == [True]
    assert curve.unit is Unit.OHM
    assert curve.evidence is Evidence.DATASHEET
    assert curve.has_phase
    assert curve.source.endswith("blank.txt")
    # 32.5 ohm at -4.5 degrees: 32.5 cos 4.5 = 32.39982, 32.5 sin 4.5 = 2.54994 (derived by hand)
    assert curve.value[2].real == pytest.approx(32.39982, rel=1e-6)
    assert curve.value[2].imag == pytest.approx(-2.54994, rel=1e-5)


def test_impedance_without_phase() -> None:
    curve, _ = read_impedance(CASES / "two-columns.csv", Evidence.MEASURED)
    assert not curve.has_phase
    np.testing.assert_array_equal(curve.value, [6.2, 7.5, 32.5, 9.1, 6.8, 7.4, 13.6, 27.5])


def test_response_curve() -> None:
    curve, warnings = read_response(CASES / "response-zero-hertz.txt", Evidence.MEASURED)
    assert "0 Hz is left out" in warnings[0]
    assert curve.unit is Unit.PASCAL_20U
    assert curve.lowest_hz == 20.0
    # -12.25 dB is a factor of 10^(-12.25/20) = 0.244062; -200 degrees is 160 degrees (derived by hand)
    assert abs(curve.value[1]) == pytest.approx(0.244062, rel=1e-5)
    assert np.degrees(np.angle(curve.value[1])) == pytest.approx(160.0, rel=1e-9)


def test_touchstone_by_extension(tmp_path: Path) -> None:
    rows = "".join(f"{f} {r} {x}\n" for f, r, x in zip(range(100, 900, 100), range(5, 13), range(-4, 4), strict=True))
    for suffix in (".s1p", ".Z1P", ".y1p"):
        path = tmp_path / ("a" + suffix)
        path.write_text("# Hz Z RI R 1\n" + rows)
        curve, warnings = read_impedance(path, Evidence.MEASURED)
        assert warnings == ()
        assert curve.value[1] == 6 - 3j
        assert curve.frequency_hz[1] == 200.0
        with pytest.raises(InputError, match="a Touchstone file holds an impedance, not a response; name a table"):
            read_response(path, Evidence.MEASURED)


def test_touchstone_keeps_the_rules_of_a_table(tmp_path: Path) -> None:
    path = tmp_path / "a.z1p"
    rows = [f"{f} 8 -{f / 100}" for f in range(100, 900, 100)]
    path.write_text("\n".join(["# Hz Z RI R 1", "0 8 0", *rows, rows[-1]]))
    curve, warnings = read_impedance(path, Evidence.MEASURED)
    assert curve.frequency_hz.size == 8
    assert "line 2: the row at 0 Hz is left out" in warnings[0]
    assert "line 11: 1 repeated row is merged" in warnings[1]
    for bad, message in (
        (["# Hz Z RI R 1", *rows[:7]], r"a\.z1p:8: has 7 usable rows, where 8 are the least"),
        (["# Hz Z RI R 1", *rows, "900 0 0"], r"a\.z1p:10: the impedance 0 ohm is not above 0"),
        (["# Hz Z RI R 1", *rows, "50 8 0"], r"a\.z1p:10: the frequency falls from 800 to 50 Hz"),
        (["# Z RI R 1", *rows], r"a\.z1p:2: the sweep begins at 1e\+11 Hz.*Touchstone file that names none is in GHz"),
    ):
        path.write_text("\n".join(bad))
        with pytest.raises(InputError, match=message):
            read_impedance(path, Evidence.MEASURED)
    path.write_text("\n".join(["# Hz Z RI R 1", *rows, "900 -8 1"]))
    _, warnings = read_impedance(path, Evidence.MEASURED)
    assert "line 10: an impedance phase of 172.9 degrees is beyond 90" in warnings[0]


def test_most_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table_lines, "MOST_ROWS", 9)
    text = "\n".join(f"{f} 8 0" for f in range(100, 1100, 100))
    with pytest.raises(InputError, match=r"t\.csv:10: the table has more than 9 rows; thin it out"):
        parse_table(text, Path("t.csv"), "ohm")


def test_a_table_cannot_be_changed() -> None:
    table = read_table(CASES / "blank.txt", "ohm")
    with pytest.raises(ValueError, match="read-only"):
        table.magnitude[0] = 1.0


# Values that every dialect can carry exactly; not all whole, or commas would be ambiguous.
tables = st.integers(8, 30).flatmap(
    lambda n: st.tuples(
        st.lists(st.integers(500, 400_000), min_size=n, max_size=n, unique=True).map(sorted),
        st.lists(st.integers(20_001, 2_000_000), min_size=n, max_size=n),
        st.lists(st.integers(-9_000, 9_000), min_size=n, max_size=n),
    )
)


def write_number(value: int, places: int, decimal: str) -> str:
    text = f"{abs(value):0{places + 1}d}"
    return ("-" if value < 0 else "") + text[:-places] + decimal + text[-places:]


@given(
    rows=tables,
    dialect=st.sampled_from(
        [(" ", "."), ("   ", ","), ("\t", "."), ("\t", ","), (",", "."), (", ", "."), (";", "."), ("; ", ",")]
    ),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    header=st.booleans(),
)
@FEW_FILES
def test_round_trip(tmp_path: Path, rows: Any, dialect: tuple[str, str], encoding: str, end: str, header: bool) -> None:
    separator, decimal = dialect
    lines = ["* Größe des Gehäuses: 40 l"]
    # A header also says "deg", so that small phases are not taken for radians.
    lines += [separator.join(["Hz", "ohm", "deg"])] if header else []
    for f, m, p in zip(*rows, strict=True):
        lines.append(
            separator.join([write_number(f, 1, decimal), write_number(m, 4, decimal), write_number(p, 2, decimal)])
        )
    path = tmp_path / "table.txt"
    path.write_bytes(end.join(lines).encode(encoding))
    expected = [np.array(column) / scale for column, scale in zip(rows, (10.0, 1e4, 100.0), strict=True)]
    assume(header or np.abs(expected[2]).max() > 6.3)  # smaller ones may rightly be refused as radians
    table = read_table(path, "ohm")
    assert table.phase_deg is not None
    for got, wanted in zip((table.frequency_hz, table.magnitude, table.phase_deg), expected, strict=True):
        np.testing.assert_allclose(got, wanted, rtol=1e-13)


SOUND = (CASES / "semicolon-decimal-comma.csv").read_bytes()


@given(data=st.binary(max_size=300), quantity=st.sampled_from(["ohm", "dB"]))
@FEW_FILES
def test_any_bytes_give_a_table_or_an_input_error(tmp_path: Path, data: bytes, quantity: Any) -> None:
    check_only_input_errors(tmp_path, data, quantity)


@given(
    changes=st.lists(st.tuples(st.integers(0, len(SOUND) - 1), st.integers(0, 255)), max_size=6),
    cut=st.integers(0, len(SOUND)),
    quantity=st.sampled_from(["ohm", "dB"]),
)
@FEW_FILES
def test_mangled_bytes_give_a_table_or_an_input_error(tmp_path: Path, changes: Any, cut: int, quantity: Any) -> None:
    data = bytearray(SOUND)
    for at, byte in changes:
        data[at] = byte
    check_only_input_errors(tmp_path, bytes(data[:cut]), quantity)


@given(
    numbers=st.lists(
        st.tuples(
            *[st.sampled_from(["0", "1", "-1", "1e308", "-1e308", "5e-324", "1e999", "nan", "20", "1e5", "8,5", ""])]
            * 3
        ),
        max_size=12,
    ),
    separator=st.sampled_from([" ", ",", ";", "\t"]),
    header=st.sampled_from(["", "kHz;kohm;rad", "Hz,dB,deg", "rad/s ohm deg"]),
)
@FEW_FILES
def test_extreme_numbers_give_a_table_or_an_input_error(
    tmp_path: Path, numbers: Any, separator: str, header: str
) -> None:
    text = "\n".join([header, *(separator.join(row) for row in numbers)])
    check_only_input_errors(tmp_path, text.encode(), "ohm")
    check_only_input_errors(tmp_path, text.encode(), "dB")


def check_only_input_errors(folder: Path, data: bytes, quantity: Any) -> None:
    path = folder / "mangled.txt"
    path.write_bytes(data)
    result: Curve | InputError
    try:
        table = read_table(path, quantity)
        result = (read_impedance if quantity == "ohm" else read_response)(path, Evidence.MEASURED)[0]
    except InputError as error:
        result = error
    if isinstance(result, InputError):
        assert str(result).startswith(str(path))
        assert str(result).isprintable()
    else:
        assert isinstance(table, MeasurementTable)
        assert table.frequency_hz.size >= 8
        assert np.all(np.isfinite(result.value))
