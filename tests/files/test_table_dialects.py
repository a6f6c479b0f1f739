"""Tables as instruments write them: whatever the dialect, the same numbers come back, and no row is lost in silence.

All tables here are invented.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from xover.curve import Float
from xover.errors import InputError
from xover.files.tables import parse_table
from xover.files.touchstone import parse_touchstone

PATH = Path("t.csv")
ROWS = [
    (20.0, 6.2, 12.5),
    (31.5, 7.5, 31.0),
    (50.0, 32.5, -4.5),
    (80.0, 9.1, -35.2),
    (125.0, 6.8, 3.1),
    (200.0, 7.4, 18.4),
    (315.0, 9.6, 35.6),
    (500.0, 13.5, 48.9),
]


def text_of(rows: Any, separator: str = " ") -> str:
    return "\n".join(separator.join(f"{x:g}" for x in row) for row in rows)


def check(text: str, rows: Any = ROWS, quantity: Any = "ohm") -> tuple[str, ...]:
    """Read a table, hold it against its numbers, and return what was said of it."""
    table = parse_table(text, PATH, quantity)
    frequency_hz, magnitude, phase_deg = np.array(rows).T
    assert table.phase_deg is not None
    np.testing.assert_allclose(table.frequency_hz, frequency_hz, rtol=1e-12)
    np.testing.assert_allclose(table.magnitude, magnitude, rtol=1e-9)
    np.testing.assert_allclose(table.phase_deg, phase_deg, rtol=1e-9, atol=1e-9)
    return table.warnings


def written(value: int, places: int, decimal: str) -> str:
    digits = f"{abs(value):0{places + 1}d}"
    return ("-" if value < 0 else "") + digits[:-places] + decimal + digits[-places:]


@st.composite
def tables(draw: Any) -> tuple[list[str], list[str], Float, int]:
    """Header lines, rows of text, the numbers, and how many lines stand before the rows."""
    count = draw(st.integers(8, 25))
    steps = draw(st.lists(st.integers(5, 90), min_size=count, max_size=count))
    hertz = np.cumsum([draw(st.integers(5_000, 20_000))] + [10 * s for s in steps[1:]])
    sizes = draw(st.lists(st.integers(20_001, 900_000), min_size=count, max_size=count))
    angles = draw(st.lists(st.integers(-8_999, 8_999), min_size=count, max_size=count))
    separator = draw(st.sampled_from([" ", "   ", "\t", ";", "; ", ",", ", "]))
    quote = draw(st.sampled_from(["", '"', "'", "some"]))
    commas = [".", ","] if separator.strip() != "," or quote == '"' else ["."]
    decimal = draw(st.sampled_from(commas))
    parts = draw(st.sampled_from([None, ("Re (ohm)", "Im (ohm)"), ("R", "X"), ("Real(Z)", "Imag(Z)"), ("Z'", "-Z''")]))
    header = draw(st.sampled_from([None, ("Hz", "ohm", "deg"), ("Frequency", "Impedance", "Phase (deg)")]))
    header = ("Freq (Hz)", *parts) if parts else header
    lines = draw(
        st.lists(st.sampled_from(["* invented", "2nd run", "1 m on axis", "no words", "17.05.2024 18:20"]), max_size=3)
    )
    rows = []
    for f, m, p in zip(hertz, sizes, angles, strict=True):
        fields = [written(int(f), 2, decimal), written(m, 4, decimal), written(p, 2, decimal)]
        marks = [("", "", ""), ("", '"', "")][quote == "some"] if quote in ("", "some") else (quote,) * 3
        if quote == "some" and (separator.strip() == "," and decimal == ","):
            marks = ('"',) * 3
        rows.append(separator.join(f"{mark}{field}{mark}" for mark, field in zip(marks, fields, strict=True)))
    if header is not None:
        lines.append((separator if separator != " " else "  ").join(header))
    numbers = np.array([hertz / 100.0, np.array(sizes) / 1e4, np.array(angles) / 100.0]).T
    if parts:
        value = numbers[:, 1] + 1j * numbers[:, 2] * (-1 if parts[1].startswith("-") else 1)
        numbers[:, 1], numbers[:, 2] = np.abs(value), np.degrees(np.angle(value))
    if draw(st.booleans()):
        rows.reverse()
    assume(header is not None or np.abs(numbers[:, 2]).max() > 6.3)  # smaller ones may rightly be refused as radians
    return lines, rows, numbers, len(lines)


@given(table=tables())
@settings(max_examples=200)
def test_any_dialect_reads_back_the_same_numbers(table: Any) -> None:
    lines, rows, numbers, _ = table
    said = check("\n".join([*lines, *rows]), numbers)
    turned = rows[0].strip("\"'").split(".")[0].split(",")[0] != str(int(numbers[0, 0]))
    assert any("turned round" in words for words in said) or not turned


@given(table=tables(), at=st.floats(0, 1), slip=st.sampled_from(["x", "M ", "> ", "~", "ab", "O\t", "2nd ", "12:30 "]))
@settings(max_examples=100)
def test_a_row_with_a_slip_before_it_is_refused_wherever_it_stands(table: Any, at: float, slip: str) -> None:
    lines, rows, _, before = table
    row = min(int(at * len(rows)), len(rows) - 1)
    rows[row] = slip + rows[row]
    with pytest.raises(InputError) as caught:
        parse_table("\n".join([*lines, *rows]), PATH, "ohm")
    assert str(caught.value).startswith(f"t.csv:{before + row + 1}: ")


@pytest.mark.parametrize(
    "line",
    [
        "2nd run",
        "1 m on axis",
        "1 m on axis, Freq (Hz), Z (ohm), Phase (deg)",
        "2.83 V at 1 m",
        "48000 Hz, 65536 points, 3 averages",
        "16 bit",
        "8 ohm woofer, box of 40 l",
        "3-way tweeter",
        "2024-05-17 18:20:01",
        "17/5/2024 18:20",
        "12:30 sweep",
        "1/2 octave smoothing",
        "1) first sweep",
        "5,5 ohm DC",
    ],
)
@pytest.mark.parametrize("end", ["head", "foot"])
@pytest.mark.parametrize("separator", [" ", ";", ","])
def test_a_first_word_that_begins_with_a_digit(line: str, end: str, separator: str) -> None:
    text = text_of(ROWS, separator)
    assert check(f"{line}\n{text}" if end == "head" else f"{text}\n{line}") == ()


@pytest.mark.parametrize(
    ("spoiled", "words"),
    [
        ("x80 9.1 -35.2", "'x80' in column 1 is not a number"),
        ("M 80 9.1 -35.2", "'M' in column 1 is not a number"),
        ("80 9.1 err", "'err' in column 3 is not a number"),
        ("80 ovl ovl", "'ovl' in column 2 is not a number"),
        ("80 9.1", "has 2 columns where line"),
        ("8O 9.1 -35.2", "'8O' in column 1 is not a number"),
        ("80/9.1/-35.2", "'80/9.1/-35.2' in column 1 is not a number"),
        ("80 9.1 -35.2 here", "'here' in column 4 is not a number"),
    ],
)
@pytest.mark.parametrize("row", [0, 3, 7])
def test_a_row_that_cannot_be_read_is_refused_with_its_line(spoiled: str, words: str, row: int) -> None:
    near = f"{ROWS[row][0]:g}"
    lines = text_of(ROWS).split("\n")
    lines[row] = spoiled.replace("80", near).replace("8O", near.replace("0", "O"))
    with pytest.raises(InputError) as caught:
        parse_table("\n".join(["* invented", *lines]), PATH, "ohm")
    assert str(caught.value).startswith(f"t.csv:{row + 2}: ")
    assert words.replace("80", near).replace("8O", near.replace("0", "O")) in str(caught.value)


@pytest.mark.parametrize("spoiled", ["bad 9.1 -35.2", "--- 9.1 -35.2", "overload 9.1 -35.2", "Hz80 9.1 err"])
def test_a_row_between_others_whose_frequency_is_lost_is_refused(spoiled: str) -> None:
    lines = text_of(ROWS).split("\n")
    lines[3] = spoiled
    with pytest.raises(InputError, match=r"^t\.csv:4: '.*' in column 1 is not a number"):
        parse_table("\n".join(lines), PATH, "ohm")
    lines = text_of(ROWS, ";").split("\n")
    lines[3] = ";9.1;-35.2"
    with pytest.raises(InputError, match=r"^t\.csv:4: column 1 is empty"):
        parse_table("\n".join(lines), PATH, "ohm")


@pytest.mark.parametrize("first", [0, 188, 376])
def test_rows_behind_a_letter_do_not_vanish(first: int) -> None:
    f = np.geomspace(20, 20000, 575)
    lines = text_of(zip(f, 6 + f / 1000, np.degrees(np.arctan(f / 6000)), strict=True)).split("\n")
    lines[first : first + 199] = ["n" + line for line in lines[first : first + 199]]
    place = first + 1 if first else 1
    with pytest.raises(InputError, match=rf"^t\.csv:{place}: 'n[0-9.]+' in column 1 is not a number"):
        parse_table("\n".join(lines), PATH, "ohm")


@pytest.mark.parametrize("row", [0, 4, 7])
@pytest.mark.parametrize("before", ["data ", "row: ", "2nd ", "12:30 ", '"'])
def test_words_before_a_row_do_not_take_it_away(row: int, before: str) -> None:
    lines = text_of(ROWS).split("\n")
    lines[row] = before + lines[row]
    with pytest.raises(InputError, match=rf"^t\.csv:{row + 2}: "):
        parse_table("\n".join(["Range 20 20000 575", *lines]), PATH, "ohm")
    assert check("Range 20 20000 575\n" + text_of(ROWS) + "\nResonance 50 32 0") == ()


def test_what_is_left_out_between_the_rows_is_said() -> None:
    lines = text_of(ROWS).split("\n")
    lines[4:4] = ["--------", "overload", "# a note", "# 90 9 -30", ""]
    (said,) = check("\n".join(lines))
    assert said == "lines 6, 8: 'overload' and the like stand among the rows: they were left out as comments"


def test_numbers_in_quotes() -> None:
    for text in ('"20","6.2","12.5"', "'20'\t'6.2'\t'12.5'", '"20";6.2;"12.5"', '"20,6.2,12.5"'):
        rows = [text.replace("20", f"{f:g}").replace("6.2", f"{m:g}").replace("12.5", f"{p:g}") for f, m, p in ROWS]
        assert check("\n".join(rows)) == ()
    rows = [text_of([row], ";").replace(".", ",").replace(";", '","') for row in ROWS]
    heading = '"Freq, Hz","Z, ohm","Phase, deg"'
    assert check("\n".join([heading, *(f'"{row}"' for row in rows)])) == ()
    # Fields without a comma need no quotes: 20,"6,2",12 beside 21,7,12.
    some = [",".join(f'"{x:g}"'.replace(".", ",") if x % 1 else f"{x:g}" for x in row) for row in ROWS]
    assert check("\n".join(some)) == ()


@pytest.mark.parametrize(
    "heads",
    [
        ("Real", "Imag"),
        ("R", "X"),
        ("Re(Z)", "Im(Z)"),
        ("Z'", "Z''"),
        ("Re [ohm]", "-Im [ohm]"),
        ("Resistance", "Reactance"),
        ("Z_re (kohm)", "Z_im (kohm)"),
        ("Rs (ohm)", "Xs (ohm)"),
    ],
)
def test_parts_by_their_heading(heads: tuple[str, str]) -> None:
    scale, sign = 1e-3 if "kohm" in heads[0] else 1.0, -1 if heads[1].startswith("-") else 1
    rows = []
    for f, m, p in ROWS:
        value = scale * m * np.exp(1j * np.radians(p))
        rows.append(f"{f:g};{value.real:.15g};{sign * value.imag:.15g}")
    assert check("\n".join([f"Freq;{heads[0]};{heads[1]}", *rows])) == ()
    assert (
        check(
            "\n".join(
                [
                    f"Freq;{heads[0].split()[0]};{heads[1].split()[0]}",
                    "Hz;" + ("kohm;kohm" if scale < 1 else "ohm;ohm"),
                    *rows,
                ]
            )
        )
        == ()
    )
    swapped = [f"{x};{r};{f};9" for f, r, x in (row.split(";") for row in rows)]
    assert check("\n".join([f"{heads[1]};{heads[0]};Hz;n", *swapped])) == ()


def test_parts_of_a_response() -> None:
    level = [(f, 80.0 + m, 20 * p) for f, m, p in ROWS]
    wrapped = [(f, m, (p + 180) % 360 - 180) for f, m, p in level]
    for unit, one in (("Pa", 20e-6), ("mPa", 20e-3), ("", 1.0)):
        rows = []
        for f, m, p in level:
            value = one * 10 ** (m / 20) * np.exp(1j * np.radians(p))
            rows.append(f"{f:g},{value.real:.15g},{value.imag:.15g}")
        brackets = f" ({unit})" if unit else ""
        said = check("\n".join([f"Hz,Real{brackets},Imag{brackets}", *rows]), wrapped, "dB")
        assert said == (() if unit else ("the real and imaginary parts name no unit: 0 dB is where they make 1",))
        with pytest.raises(
            InputError, match=r"t\.csv:1: column 2 is headed 'Re \(V\)', where a part of a sound pressure"
        ):
            parse_table("\n".join(["Hz,Re (V),Im (V)", *rows]), PATH, "dB")
    with pytest.raises(
        InputError, match=r"t\.csv:1: column 2 is headed 'Re \(Pa\)', where an impedance in ohm is wanted"
    ):
        parse_table("\n".join(["Hz,Re (Pa),Im (Pa)", *rows]), PATH, "ohm")
    with pytest.raises(InputError, match=r"t\.csv:1: column 2 is headed 'R', where a part of a sound pressure"):
        parse_table("\n".join(["Hz,R,X", *rows]), PATH, "dB")


def test_magnitude_and_phase_are_taken_where_the_parts_stand_beside_them() -> None:
    rows = [(f, 1.0, 2.0, m, p) for f, m, p in ROWS]
    assert check("Hz,Re,Im,|Z| (ohm),Phase (deg)\n" + text_of(rows, ",")) == ()


@pytest.mark.parametrize("header", ["Hz;Re (ohm);deg", "Hz;ohm;Im (ohm)", "Hz;Re;Re"])
def test_half_of_the_parts_is_refused(header: str) -> None:
    with pytest.raises(InputError, match=r"t\.csv:1: the header names a real or imaginary part \('(Re|Im)"):
        parse_table(header + "\n" + text_of(ROWS, ";"), PATH, "ohm")


def test_falling_rows_are_turned_round_and_said() -> None:
    (said,) = check(text_of(ROWS[::-1]))
    assert said == "the rows run from 500 down to 20 Hz and were turned round"
    (said, merged) = check(text_of([*ROWS[::-1], ROWS[0], (0, 6, 0)]))[1:]
    assert "0 Hz is left out" in check(text_of([*ROWS[::-1], (0, 6, 0)]))[0]
    assert "turned round" in said
    assert "line 8: 1 repeated row is merged" in merged
    with pytest.raises(InputError, match=r"t\.csv:8: the frequency falls"):
        parse_table(text_of([*ROWS[1:], ROWS[0]]), PATH, "ohm")
    with pytest.raises(InputError, match=r"t\.csv:7: has 7 usable rows"):
        parse_table(text_of([*ROWS[1:][::-1], (0, 6, 0)]), PATH, "ohm")


def test_holes_are_named_and_an_even_grid_has_none() -> None:
    rows = [row for row in ROWS if row[0] not in (80.0, 125.0)]
    (said,) = check(text_of([*rows, (501, 13, 48), (502, 13, 48)]), [*rows, (501, 13, 48), (502, 13, 48)])
    assert said.startswith("no row between 50 and 200 Hz: a hole of more than an octave")
    even = [(round(0.73 * i, 1), 8 + 0.01 * i, 0.1 * i) for i in range(1, 200)]
    assert even[1][0] / even[0][0] > 2
    assert check("Hz ohm deg\n" + text_of(even), even) == ()


def test_long_runs_of_blanks_take_no_time() -> None:
    blanks = " " * 200_000
    start = time.monotonic()
    check(f"* a comment{blanks}(of blanks){blanks}x\n1 m{blanks}on axis\n" + text_of(ROWS))
    with pytest.raises(InputError, match="does not belong in a one-port file"):
        parse_touchstone(f"[{blanks}x{blanks}y{blanks}]{blanks}z\n# Hz Z RI R 1\n1 2 3\n", PATH)
    with pytest.raises(InputError, match="a keyword lacks its"):
        parse_touchstone(f"[{blanks}x{blanks}y\n# Hz Z RI R 1\n1 2 3\n", PATH)
    assert time.monotonic() - start < 3.0


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("Freq;Rs;Ls", "column 2 is headed 'Rs' where magnitude in ohm belongs"),
        ("Freq;Z;THD", "column 3 is headed 'THD' where phase in degrees belongs"),
        ("Hz;L (mH);deg", "column 2 is headed 'L (mH)' where magnitude in ohm belongs"),
        ("Hz;dBohm;deg", "column 2 is headed 'dBohm', where an impedance in ohm is wanted"),
    ],
)
def test_a_column_of_something_else_is_refused(header: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_table(f"{header}\n{text_of(ROWS, ';')}", PATH, "ohm")
    assert str(caught.value).startswith(f"t.csv:1: {words}")


def test_what_is_taken_on_trust_is_said() -> None:
    said = check("Frequency response, near field, 1 m\n" + text_of(ROWS, ","))
    assert said == ()  # a sentence is no header
    (said_of_word,) = check("Freq;Betr.;deg\n" + text_of(ROWS, ";"))
    assert said_of_word == "column 2 is headed 'Betr.' and was read as magnitude in ohm"
    table = parse_table("Winkel;Hz;ohm\n" + text_of([(p, f, m) for f, m, p in ROWS], ";"), PATH, "ohm")
    assert table.warnings == ("no column is headed as phase: only frequency and magnitude were read",)


def test_a_column_that_counts_the_rows_is_no_frequency() -> None:
    rows = [(i, f, 8 + i, 0.1 * i) for i, f in enumerate(np.geomspace(20, 20000, 300))]
    with pytest.raises(InputError, match=r"t\.csv:1: column 1 counts the rows and column 2 rises like a frequency"):
        parse_table(text_of(rows), PATH, "ohm")
    expected = np.array([[float(f"{x:g}") for x in row[1:]] for row in rows])
    assert check("No Hz ohm deg\n" + text_of(rows), expected) == ()


def test_odd_ends_of_a_table() -> None:
    assert check("8\n" + text_of(ROWS)) == ()  # the count of rows
    with pytest.raises(InputError, match=r"t\.csv:1: has 1 column where line 2 has 3"):
        parse_table("9\n" + text_of(ROWS), PATH, "ohm")
    assert check("Freq;Z;Phase;;\n" + text_of(ROWS, ";").replace("\n", ";;\n")) == ()
    lines = text_of(ROWS).split("\n")
    assert check("\n".join(["Freq Z Phase", *lines[:4], "Freq Z Phase", *lines[4:]])) == ()  # a page's head again
    for header, scale in (("Hz;ohm;gon", 1 / 0.9), ("Hz;ohm;turns", 1 / 360), ("f/Hz;|Z|/\u03a9;\u03b8/\u00b0", 1.0)):
        rows = "\n".join(f"{f:g};{m:g};{scale * p:.15g}" for f, m, p in ROWS)
        assert check(f"{header}\n{rows}") == ()
    assert check("f;\u03c6;|Z|\n" + text_of([(f, p, m) for f, m, p in ROWS], ";")) == ()


def test_a_column_of_uncertainty_is_taken_for_nothing_else() -> None:
    """Behind the phase, in its place, before it, or without its unit: the other columns stay what they are."""
    rows = [(*row, 0.5 + i) for i, row in enumerate(ROWS)]
    for head in ("frequency Hz,impedance ohm,phase deg,uncertainty (%)", "Hz,ohm,deg,Uncertainty (%)"):
        assert check(f"{head}\n{text_of(rows, ',')}") == ()
        table = parse_table(f"{head}\n{text_of(rows[::-1], ',')}", PATH, "ohm")
        assert table.stated_share is not None
        np.testing.assert_allclose(table.stated_share, [(0.5 + i) / 100.0 for i in range(len(ROWS))])
    check(f"Hz,ohm,deg,uncertainty\n{text_of(rows, ',')}")
    assert parse_table(f"Hz,ohm,deg,uncertainty\n{text_of(rows, ',')}", PATH, "ohm").stated_share is None
    first = [(f, m, u, p) for f, m, p, u in rows]
    check(f"Hz,ohm,uncertainty %,deg\n{text_of(first, ',')}")
    bare = parse_table(f"Hz,ohm,uncertainty (%)\n{text_of([(f, m, u) for f, m, _, u in rows], ',')}", PATH, "ohm")
    assert bare.phase_deg is None
    odd = [(*row, u) for row, u in zip(ROWS, (1, -1, 2, 3, 4, 5, 6, 7), strict=True)]
    stated = parse_table(f"Hz,ohm,deg,uncertainty (%)\n{text_of(odd, ',')}", PATH, "ohm").stated_share
    assert stated is not None
    assert np.isnan(stated).tolist() == [False, True] + [False] * 6
