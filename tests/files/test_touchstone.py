"""One-port Touchstone files: the specification's own example, every format by algebra, every refusal."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.curve import Evidence
from xover.errors import InputError
from xover.files.tables import read_impedance, read_response
from xover.files.touchstone import is_touchstone, read_touchstone
from xover.files.touchstone import parse_touchstone as parse_rows

# Touchstone File Format Specification: the same one-port Z data in version 1 (normalised to 75 ohm)
# and in version 2 (in ohm, with a [Reference] that does not rescale it).
VERSION_1 = """! 1-port Z-parameter file
# MHz Z MA R 75
100 0.99  -4
200 0.80  -22
300 0.707 -45
400 0.40  -62
500 0.01  -89
"""
VERSION_2 = """[Version] 2.0
# MHz Z MA
[Number of Ports] 1
[Number of Frequencies] 5
[Reference] 20.0
[Network Data]
100 74.25 -4
200 60 -22
300 53.025 -45
400 30 -62
500 0.75 -89
[End]
"""


def parse_touchstone(text: str, path: Path | None = None) -> tuple[np.ndarray, np.ndarray]:
    data = parse_rows(text, path)
    return data.frequency_hz, data.impedance_ohm


# 75 ohm times the polar values of the example, written out to five places.
EXAMPLE_OHM = [
    74.06913 - 5.17942j,
    55.63103 - 22.47640j,
    37.49434 - 37.49434j,
    14.08415 - 26.48843j,
    0.01309 - 0.74989j,
]


@pytest.mark.parametrize("text", [VERSION_1, VERSION_2], ids=["version 1", "version 2"])
def test_example_of_the_specification(text: str) -> None:
    frequency_hz, impedance_ohm = parse_touchstone(text)
    np.testing.assert_allclose(frequency_hz, [1e8, 2e8, 3e8, 4e8, 5e8], rtol=1e-12)
    np.testing.assert_allclose(impedance_ohm.real, np.real(EXAMPLE_OHM), rtol=0, atol=5.1e-6)
    np.testing.assert_allclose(impedance_ohm.imag, np.imag(EXAMPLE_OHM), rtol=0, atol=5.1e-6)


def test_defaults_of_the_option_line() -> None:
    # GHz S MA R 50: S = 0.2 at 0 degrees is 50 * 1.2 / 0.8 = 75 ohm.
    frequency_hz, impedance_ohm = parse_touchstone("#\n1 0.2 0\n")
    assert frequency_hz[0] == 1e9
    assert impedance_ohm[0] == pytest.approx(75.0, rel=1e-12)


@pytest.mark.parametrize(
    "option",
    ["# Hz Z RI R 1", "#R 1 RI Z Hz", "  # ri hz r 1 z ! note", "# HZ z Ri r 1.0e0", "# Hz Z RI R 1\n# GHz S DB R 75"],
)
def test_order_case_and_later_option_lines(option: str) -> None:
    frequency_hz, impedance_ohm = parse_touchstone(f"! start\n\n{option}\n20 6 1 ! first\n40 7 -2\n")
    np.testing.assert_array_equal(frequency_hz, [20.0, 40.0])
    np.testing.assert_array_equal(impedance_ohm, [6 + 1j, 7 - 2j])


@pytest.mark.parametrize(("unit", "hertz"), [("Hz", 20.0), ("kHz", 2e4), ("MHz", 2e7), ("GHz", 2e10)])
def test_frequency_units(unit: str, hertz: float) -> None:
    assert parse_touchstone(f"# {unit} Z RI R 1\n20 6 1\n")[0][0] == pytest.approx(hertz, rel=1e-12)


Z = 12.0 - 7.0j
# The same impedance in each parameter, by its definition.
PARAMETERS = {
    ("1", "Z"): Z / 4.0,  # normalised to R 4
    ("1", "Y"): 4.0 / Z,
    ("1", "S"): (Z - 4.0) / (Z + 4.0),
    ("2.0", "Z"): Z,
    ("2.0", "Y"): 1.0 / Z,
    ("2.0", "S"): (Z - 9.0) / (Z + 9.0),  # [Reference] 9 in place of R
}
FORMATS = {
    "RI": lambda v: (v.real, v.imag),
    "MA": lambda v: (abs(v), np.degrees(np.angle(v))),
    "DB": lambda v: (20 * np.log10(abs(v)), np.degrees(np.angle(v))),
}


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize(("version", "parameter"), PARAMETERS)
def test_parameters_and_formats(version: str, parameter: str, form: str) -> None:
    a, b = FORMATS[form](PARAMETERS[version, parameter])
    row = f"20 {a!r} {b!r}".replace("np.float64(", "").replace(")", "")
    head = f"# Hz {parameter} {form} R 4\n"
    if version != "1":
        head = f"[Version] 2.0\n{head}[Number of Ports] 1\n[Number of Frequencies] 1\n[Reference]\n9\n[Network Data]\n"
    _, impedance_ohm = parse_touchstone(head + row)
    assert impedance_ohm[0].real == pytest.approx(12.0, rel=1e-12)
    assert impedance_ohm[0].imag == pytest.approx(-7.0, rel=1e-12)


def test_version_2_without_reference_takes_r() -> None:
    text = "[Version] 2.1\n# Hz S RI R 4\n[Number of Ports] 1\n[Number of Frequencies] 1\n[Network Data]\n20 0.2 0\n"
    assert parse_touchstone(text)[1][0] == pytest.approx(6.0, rel=1e-12)  # 4 * 1.2 / 0.8


def test_what_version_2_allows_besides() -> None:
    text = """[version] 2.0
# Hz Z RI
[NUMBER OF PORTS] 1
[Number of Frequencies] 1
[Matrix Format] Full
[Begin Information]
Free words, even [Frobnicate] and # 1 2 3
[End Information]
[network data]
20 6 1
[End]
30 words after the end
"""
    frequency_hz, impedance_ohm = parse_touchstone(text)
    assert frequency_hz.tolist() == [20.0]
    assert impedance_ohm.tolist() == [6 + 1j]


def test_open_circuit_at_zero_hertz_is_infinite() -> None:
    frequency_hz, impedance_ohm = parse_touchstone("# Hz S RI R 50\n0 1 0\n20 0 0\n")
    assert frequency_hz.tolist() == [0.0, 20.0]
    assert np.isinf(impedance_ohm[0])
    assert impedance_ohm[1] == pytest.approx(50.0, rel=1e-12)


OPTION = "# Hz Z RI R 1\n"
HEAD_2 = "[Version] 2.0\n# Hz Z RI\n[Number of Ports] 1\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", r"t\.s1p: holds no row of data"),
        (OPTION, r"t\.s1p: holds no row of data"),
        (
            "20 8 0\n",
            r"t\.s1p:1: data stand before the option line; begin the file with a line such as '# Hz Z RI R 1'",
        ),
        ("# Hz G RI R 1\n20 8 0", r"t\.s1p:1: G parameters need two ports"),
        ("# Hz H RI R 1\n20 8 0", r"t\.s1p:1: H parameters need two ports"),
        ("# Hz Q RI R 1\n20 8 0", r"t\.s1p:1: 'q' in the option line is not understood"),
        ("# Hz Z Z RI\n20 8 0", r"t\.s1p:1: 'z' in the option line is not understood or stands twice"),
        ("# Hz zy RI\n20 8 0", r"t\.s1p:1: 'zy' in the option line"),
        ("# Hz Z RI R\n20 8 0", r"t\.s1p:1: 'r' in the option line"),
        ("# Hz Z RI R 0\n20 8 0", r"t\.s1p:1: R must be above 0 ohm"),
        ("# Hz Z RI R -50\n20 8 0", r"t\.s1p:1: R must be above 0 ohm"),
        ("# Hz Z RI R x\n20 8 0", r"t\.s1p:1: 'x' is not a number"),
        (OPTION + "20 8\n", r"t\.s1p:2: has 2 numbers where a one-port row has 3"),
        (OPTION + "20 8 0 1 2 3 4 5 6\n", r"t\.s1p:2: has 9 numbers where a one-port row has 3.*more ports"),
        (OPTION + "20 8 zero\n", r"t\.s1p:2: 'zero' is not a number"),
        (OPTION + "20 nan 0\n", r"t\.s1p:2: 'nan' is not a number"),
        (OPTION + "20 8,1 0\n", r"t\.s1p:2: '8,1' is not a number"),
        (OPTION + "20 1e999 0\n", r"t\.s1p:2: holds a number that is below 0 Hz or not finite"),
        (OPTION + "-20 8 0\n", r"t\.s1p:2: holds a number that is below 0 Hz or not finite"),
        ("# Hz S RI R 50\n20 1 0\n", r"t\.s1p:2: an open circuit has no finite impedance"),
        ("# Hz Y RI R 50\n20 0 0\n", r"t\.s1p:2: an open circuit has no finite impedance"),
        ("# Hz Z DB R 1\n20 7000 0\n", r"t\.s1p:2: 7000 dB is out of all range; check the format"),
        ("[Version] 3.0\n", r"t\.s1p:1: the version '3\.0' is not known; write 2\.0 or 2\.1"),
        ("[Version 2.0\n", r"t\.s1p:1: a keyword lacks its '\]'"),
        ("[Version] 2.0\n# Hz Z RI\n[Number of Ports] 2\n", r"t\.s1p:3: the file has 2 ports; give a one-port file"),
        (HEAD_2 + "[Two-Port Data Order] 12_21\n", r"t\.s1p:4: the keyword \[Two-Port Data Order\] does not belong"),
        (HEAD_2 + "[Number of Frequencies] two\n", r"t\.s1p:4: 'two' is not a number of frequencies"),
        (
            HEAD_2 + "[Number of Frequencies] 2\n[Network Data]\n20 8 0\n",
            r"t\.s1p:4: \[Number of Frequencies\] says 2, but there are 1 rows",
        ),
        (
            HEAD_2 + "[Network Data]\n20 8 0\n",
            r"t\.s1p: \[Number of Frequencies\] is missing; add '\[Number of Frequencies\] 1'",
        ),
        (HEAD_2 + "[Number of Frequencies] 1\n20 8 0\n", r"t\.s1p:5: data stand before \[Network Data\]"),
        (HEAD_2 + "[Reference] 0\n", r"t\.s1p:4: \[Reference\] needs one resistance above 0 ohm"),
        (HEAD_2 + "[Reference] 50 75\n", r"t\.s1p:4: \[Reference\] needs one resistance"),
        (HEAD_2 + "[Reference]\nfifty\n", r"t\.s1p:5: 'fifty' is not a number"),
    ],
)
def test_refusals(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_touchstone(text, Path("t.s1p"))


def test_lines_are_kept(tmp_path: Path) -> None:
    (tmp_path / "a.s1p").write_text("! note\n# Hz Z RI R 1\n\n20 8 0\n! note\n10 9 0\n")
    data = read_touchstone(tmp_path / "a.s1p")
    assert data.line.tolist() == [4, 6]
    assert data.frequency_hz.tolist() == [20.0, 10.0]


OPTIONS = [
    "#",
    "# Hz Z RI R 1",
    "# DB",
    "[Version] 2.0",
    "[Network Data]",
    "[Reference]",
    "[Begin Information]",
    "[End]",
]
ROWS = ["20 8 0", "30 1e308 1e308", "40 -1e308 1e308", "5e-324 1 1e-320", "1e308 1 0", "0 0 0", "! x", "[] 1", "[", "é"]


@given(st.lists(st.sampled_from(OPTIONS + ROWS), max_size=8))
@settings(max_examples=300)
def test_any_lines_give_a_sweep_or_an_input_error(lines: list[str]) -> None:
    fault = None
    try:
        frequency_hz, impedance_ohm = parse_touchstone("\n".join(lines), Path("t.s1p"))
    except InputError as error:
        fault = str(error)
    if fault is not None:
        assert fault.startswith("t.s1p:")
        return
    assert np.all(np.isfinite(impedance_ohm[frequency_hz > 0]))


@pytest.mark.parametrize(
    "start", ["# Hz Z RI R 1", "! made up\n# hz z ri r 1", "[Version] 2.0\n# Hz Z RI", "# RI Z Hz"]
)
def test_the_format_is_known_by_its_beginning(tmp_path: Path, start: str) -> None:
    rows = [f"{f} 8 {f / 100}" for f in range(100, 900, 100)]
    if "Version" in start:
        rows = ["[Number of Ports] 1", "[Number of Frequencies] 8", "[Network Data]", *rows, "[End]"]
    scale = 50.0 if "RI Z" in start else 1.0
    path = tmp_path / "sweep.txt"
    path.write_text("\n".join([start, *rows]))
    curve, warnings = read_impedance(path, Evidence.MEASURED)
    assert warnings == ()
    assert curve.value[1] == scale * (8 + 2j)
    with pytest.raises(InputError, match="a Touchstone file holds an impedance"):
        read_response(path, Evidence.MEASURED)


@pytest.mark.parametrize("start", ["# Hz ohm deg", "# Hz Z phase", "# made of Z by RI", "# Hz dB", "* Hz Z RI R 1", ""])
def test_a_comment_is_no_option_line(start: str) -> None:
    assert not is_touchstone(f"{start}\n20 6.2 12.5")


def test_falling_rows_are_turned_round(tmp_path: Path) -> None:
    path = tmp_path / "sweep.s1p"
    path.write_text("\n".join(["# Hz Z RI R 1", *(f"{f} {f / 100:g} {f / 50:g}" for f in range(800, 0, -100))]))
    curve, warnings = read_impedance(path, Evidence.MEASURED)
    assert "turned round" in warnings[0]
    np.testing.assert_array_equal(curve.value, np.arange(1, 9) * (1 + 2j))
