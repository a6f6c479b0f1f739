"""Stock lists as files: what is read, in which dialects, and what is refused with file, line and remedy.

All lists here are invented; expected numbers were typed.
"""

import csv
import importlib.util
import math
import subprocess
import sys
from pathlib import Path

import pytest

from xover.errors import InputError
from xover.files.stock import COLUMNS, MOST_STOCK_ROWS, RANGES, parse_stock, read_stock
from xover.quantity import PART_RANGES, QuantityKind

EXAMPLES = Path(__file__).parents[2] / "examples"
HEADER = ",".join(COLUMNS)
HERE = Path("bin.csv")


def test_every_column(tmp_path):
    path = tmp_path / "bin.csv"
    path.write_text(f"# Invented.\n\n{HEADER}\nfilm,4.7uF,5%,5.10,,250V,,8m,0.0005,,film 4.7uF 250V,6\n")
    (row,) = read_stock(path)
    assert (row.kind, row.dielectric, row.value, row.tolerance, row.price) == ("capacitor", "film", 4.7e-6, 0.05, 5.1)
    assert (row.volts, row.esr_ohm, row.dissipation_factor, row.maker_code) == (250.0, 0.008, 0.0005, "film 4.7uF 250V")
    assert (row.quantity, row.line) == (6, 4)
    assert row.watts is row.dcr_ohm is row.core is None


@pytest.mark.parametrize(
    ("line", "kind", "dielectric", "value"),
    [
        ("R,2R2", "resistor", None, 2.2),
        ("Resistor,0.1", "resistor", None, 0.1),
        ("resistor,4k7", "resistor", None, 4700.0),
        ("L,0.33mH", "inductor", None, 0.33e-3),
        ("COIL,2m2", "inductor", None, 2.2e-3),
        ("inductor,1.8e-3", "inductor", None, 1.8e-3),
        ("C,4u7", "capacitor", None, 4.7e-6),
        ("capacitor,4.7e-6", "capacitor", None, 4.7e-6),
        ("Film,4.7 µF", "capacitor", "film", 4.7e-6),
        ("ELECTROLYTIC,100uF", "capacitor", "electrolytic", 1e-4),
        ('film,"4,7uF"', "capacitor", "film", 4.7e-6),
    ],
)
def test_kinds_and_values(line, kind, dielectric, value):
    (row,) = parse_stock(f"kind,value\n{line}\n", HERE)
    assert (row.kind, row.dielectric, row.value) == (kind, dielectric, value)
    assert row.quantity is None
    assert row.maker_code == ""


def test_semicolons_with_decimal_commas_and_columns_in_any_order():
    text = "Quantity;df;Price;VALUE;Tolerance;kind;maker_code\n0;0,05;1,63;4,7uF;0,1;electrolytic;a, b\n"
    (row,) = parse_stock(text, HERE)
    assert (row.quantity, row.dissipation_factor, row.price, row.value, row.tolerance) == (0, 0.05, 1.63, 4.7e-6, 0.1)
    assert row.maker_code == "a, b"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(tmp_path, encoding):
    path = tmp_path / "bin.csv"
    path.write_bytes("kind,value,maker_code\r\nfilm,4.7µF,Größe 3\r\n".encode(encoding))
    (row,) = read_stock(path)
    assert (row.value, row.maker_code) == (4.7e-6, "Größe 3")


def test_what_a_spreadsheet_adds():
    """Empty cells behind the last column, blank lines of separators, a comment spread over the columns."""
    text = '"# mine, all of it",,,,\nkind,value,price,,\n,,,,\nR,8.2,0.70,,\n# spare,,,,\n"R","10",,,\n'
    rows = parse_stock(text, HERE)
    assert [(row.value, row.price, row.line) for row in rows] == [(8.2, 0.7, 4), (10.0, None, 6)]


@pytest.mark.parametrize(
    ("text", "line", "pieces"),
    [
        ("", None, ["the list is empty", "begin it with the line kind,value,tolerance"]),
        ("# nothing\n", None, ["the list is empty"]),
        (f"{HEADER}\n", None, ["holds no part", "add a line such as film,4.7uF"]),
        ("kind,valeu\nR,1\n", 1, ["unknown column 'valeu'", "did you mean 'value'?"]),
        ("kind,value,df,qq\n", 1, ["unknown column 'qq'", "the columns are kind, value"]),
        ("kind\tvalue\nR\t1\n", 1, ["unknown column", "separate the columns by commas or semicolons"]),
        ("kind,value,price,price\n", 1, ["'price' twice", "keep one"]),
        ("kind,price\nR,1\n", 1, ["no column 'value'", "begin the list with kind,value"]),
        ("kind,value\nresitor,1\n", 2, ["the kind is 'resitor'", "did you mean resistor?"]),
        ("kind,value\n,1\n", 2, ["the kind is empty", "write resistor, coil, capacitor, film or electrolytic"]),
        ("kind,value\nX,1\n", 2, ["the kind is 'X'", "write resistor"]),
        ("kind,value\nC,4.7\n", 2, ["4.7 F", "write 4.7uF"]),
        ("kind,value\nC,10MFD\n", 2, ["value: '10MFD' reads as millifarad", "write 10uF"]),
        ("kind,value\nL,4.7\n", 2, ["4.7 H", "write 4.7mH"]),
        ("kind,value\nL,0.33\n", 2, ["0.33 H", "write 0.33mH"]),
        ("kind,value\nL,2H\n", 2, ["2H", "from 1 uH to 1000 mH"]),
        ("kind,value\nR,0\n", 2, ["0 ohm", "from 0.001 ohm to 100 kohm"]),
        ("kind,value\nR,200000\n", 2, ["200000 ohm", "from 0.001 ohm to 100 kohm"]),
        ("kind,value\nR,-8.2\n", 2, ["-8.2", "from 0.001 ohm"]),
        ("kind,value\nR,4.7uF\n", 2, ["is a capacitance where a resistance belongs", "2.2 or 2R2"]),
        ("kind,value\nR,\n", 2, ["value: '' is empty", "2.2 or 2R2"]),
        ("kind,value\nR,nan\n", 2, ["'nan' is not a resistance"]),
        ("kind,value,tolerance\nR,1,5\n", 2, ["tolerance is 5, outside 0 to 100 %", "write 5 % as 5% or 0.05"]),
        ("kind,value,tolerance\nR,1,-5%\n", 2, ["tolerance is -5%", "write 5 %"]),
        ("kind,value,tolerance\nR,1,five\n", 2, ["tolerance: 'five' is not a number", "write 5 %"]),
        ("kind,value,df\nC,1uF,6\n", 2, ["df is 6, outside 0 to 200 %", "write 6 % as 6% or 0.06"]),
        ("kind,value,price\nR,1,-1\n", 2, ["price is -1", "zero or more; leave the cell empty"]),
        ("kind,value,price\nR,1,1e999\n", 2, ["price: '1e999' is too large"]),
        (
            "kind,value,price\nR,1,1e308k\n",
            2,
            ["price: '1e308k' is no number that can be read"],
        ),
        ("kind;value;price\nR;1;1,250\n", 2, ["price: '1,250' may be a thousand or a decimal comma", "write 1250 or"]),
        ("kind,value,volts\nC,1uF,0\n", 2, ["volts is 0", "above zero; leave the cell empty"]),
        ("kind,value,volts\nC,1uF,10W\n", 2, ["volts: '10W' is a power where a voltage belongs"]),
        ("kind,value,dcr_ohm\nL,1mH,-0.1\n", 2, ["dcr_ohm is -0.1", "zero or more"]),
        ("kind,value,core\nL,1mH,iorn\n", 2, ["core is 'iorn'", "did you mean iron?"]),
        ("kind,value,core\nL,1mH,zz\n", 2, ["core is 'zz'", "write air, iron, ferrite"]),
        ("kind,value,core\nC,1uF,air\n", 2, ["a capacitor has core", "core belongs to an inductor; check the columns"]),
        ("kind,value,df\nR,1,0.05\n", 2, ["a resistor has df", "df belongs to a capacitor"]),
        ("kind,value,quantity\nR,1,-1\n", 2, ["quantity is -1", "whole number of pieces, or leave it empty"]),
        ("kind,value,quantity\nR,1,NaN\n", 2, ["quantity is NaN", "whole number"]),
        ("kind,value,quantity\nR,1,2.5\n", 2, ["quantity is 2.5", "whole number"]),
        ("kind,value,quantity\nR,1,9999999999\n", 2, ["quantity is 9999999999", "whole number"]),
        ("kind,value,price\nC,4,7uF,1\n", 2, ["4 cells where the header has 3", "decimal commas need semicolons"]),
        ("kind,value,price\nC,4.7uF\n", 2, ["2 cells where the header has 3", "keep their separators"]),
        (
            'kind,value,maker_code\nR,1,"3 inch\n',
            2,
            ["quotation mark that does not pair up", "remove it, or double it"],
        ),
        (
            "kind,value\nR,1\nR,x\nR,2\nC,1\n",
            3,
            ["'x' is not a resistance", "and 1 more: line 5: a capacitance of 1 F"],
        ),
        (
            "kind,value\n" + "R,1\n" * (MOST_STOCK_ROWS + 1),
            MOST_STOCK_ROWS + 2,
            ["more than 20000 parts", "keep what you would buy"],
        ),
    ],
)
def test_refused(text, line, pieces):
    with pytest.raises(InputError) as caught:
        parse_stock(text, HERE)
    message = str(caught.value)
    assert message.startswith("bin.csv: " if line is None else f"bin.csv:{line}: ")
    assert "\n" not in message
    for piece in pieces:
        assert piece in message


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match="does not exist"):
        read_stock(tmp_path / "none.csv")


@pytest.mark.parametrize(
    ("kind", "low", "high", "quantity"),
    [
        ("resistor", "1e-3", "100k", QuantityKind.RESISTANCE),
        ("inductor", "1u", "1", QuantityKind.INDUCTANCE),
        ("capacitor", "1n", "10e-3", QuantityKind.CAPACITANCE),
    ],
)
def test_ranges_are_those_of_a_netlist(kind, low, high, quantity):
    """The blueprint's ranges, ends included; a resistor is above zero."""
    unit = {"capacitor": "", "inductor": "H", "resistor": "ohm"}[kind]
    rows = parse_stock(f"kind,value\n{kind},{low}{unit}\n{kind},{high}{unit}\n", HERE)
    assert tuple(row.value for row in rows) == RANGES[kind]
    lowest, highest = ({q: ends[at] for q, ends in PART_RANGES.items()} for at in (0, 1))
    assert RANGES[kind][1] == highest[quantity]
    assert RANGES[kind][0] == (lowest[quantity] or 1e-3)


@pytest.fixture(scope="module")
def script():
    spec = importlib.util.spec_from_file_location("make_stock", EXAMPLES / "make_stock.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_example_list_is_made_again_byte_for_byte(tmp_path):
    subprocess.run([sys.executable, str(EXAMPLES / "make_stock.py"), str(tmp_path)], check=True, timeout=60)
    assert [p.name for p in tmp_path.iterdir()] == ["stock.csv"]
    assert (tmp_path / "stock.csv").read_bytes() == (EXAMPLES / "stock.csv").read_bytes()


def test_example_list_is_read_and_says_that_it_is_invented(script):
    text = (EXAMPLES / "stock.csv").read_text(encoding="utf-8")
    assert text.startswith("# Invented example data")
    rows = read_stock(EXAMPLES / "stock.csv")
    assert len(rows) == len(list(csv.reader(text.splitlines()))) - 2
    assert {row.kind for row in rows} == {"resistor", "inductor", "capacitor"}
    assert {row.core for row in rows} == {None, "air", "iron"}
    codes = {row.maker_code: row.quantity for row in rows}
    assert len(codes) == len(rows)
    assert {code: str(codes[code]) for code in script.AT_HAND} == script.AT_HAND
    assert sum(quantity is not None for quantity in codes.values()) == len(script.AT_HAND)


@pytest.mark.parametrize(("henry", "wire_m"), [(0.1e-3, 0.7e-3), (1e-3, 1e-3), (10e-3, 1.4e-3)])
def test_example_coils_are_brooks_coils(script, henry, wire_m):
    """The Brooks shape from the other end: resistance gives the length of the wire, length the turns, turns L.

    L = 0.025491 c N^2 uH with c in cm (Brooks, as quoted in a published code; that is 1.6994e-6 a N^2).
    """
    ohm, kilogram = script.brooks_coil(henry, wire_m)
    area = math.pi * wire_m**2 / 4
    length = ohm * area * 58e6
    assert kilogram == pytest.approx(length * area * 8890, rel=1e-12)
    # turns * (3 pi c) = length and c = 1.07 d sqrt(turns)
    turns = (length / (3 * math.pi * 1.07 * wire_m)) ** (2 / 3)
    side = 1.07 * wire_m * math.sqrt(turns)
    assert 0.025491e-6 * (100 * side) * turns**2 == pytest.approx(henry, rel=5e-5)
