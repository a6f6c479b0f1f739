"""What is too much to read is refused in one line that says what to do; what an honest folder holds is read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from xover.errors import InputError
from xover.files import budget
from xover.files.netlist import parse_netlist, read_netlist
from xover.files.speaker import read_speaker
from xover.files.stock import read_stock
from xover.files.tables import read_impedance, read_table
from xover.files.toml_lines import read_toml
from xover.files.touchstone import read_touchstone
from xover.network.cards import build_network
from xover.quantity import LONGEST_VALUE, QuantityKind, parse_quantity
from xover.units import BAND

HERE = Path("a.cir")
DRIVER = "[drivers.d{}]\nre_ohm = 6\ndiameter_mm = 100\n"
SWEEP = "".join(f"{20 * 1.3**k:.2f} 6 0\n" for k in range(12))


def refused(read: Callable[[Any], Any], given: Any, *pieces: str) -> None:
    with pytest.raises(InputError) as caught:
        read(given)
    said = str(caught.value)
    assert said.isprintable()
    assert len(said) < 500
    for piece in pieces:
        assert piece in said


@pytest.mark.parametrize(
    ("name", "read"),
    [
        ("speaker.toml", read_speaker),
        ("a.cir", read_netlist),
        ("a.csv", lambda path: read_table(path, "ohm")),
        ("a.z1p", read_touchstone),
        ("stock.csv", read_stock),
    ],
)
def test_long_files_lines_and_many_lines(name: str, read: Callable[[Path], Any], tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_text("a\n" + "x" * (budget.LONGEST_LINE + 1) + "\nb\n")
    refused(read, path, f"{name}:2: has more than 20000 letters in one line; check that it is the right file")
    path.write_text("\n" * 300_000)
    refused(read, path, "has more than ", " lines; ")
    with path.open("wb") as stream:
        stream.truncate(17 * 1024**2)  # sparse: takes no room
    refused(read, path, "is larger than ", " MB; ")


def test_a_line_of_the_longest_length_is_read(tmp_path: Path) -> None:
    comment = "*" + " " * (budget.LONGEST_LINE - 2) + "x"
    assert len(comment) == budget.LONGEST_LINE
    (tmp_path / "a.csv").write_text(f"{comment}\n{SWEEP}")
    assert read_impedance(tmp_path / "a.csv", "measured")[0].frequency_hz.size == 12
    (tmp_path / "a.cir").write_text(f"{comment}\nR1 in w 2.2\nXw w 0 woofer\n")
    assert len(read_netlist(tmp_path / "a.cir").cards) == 2


def test_rows_of_a_sweep(tmp_path: Path) -> None:
    rows = "".join(f"{20 + k / 1000:.3f} 6 0\n" for k in range(budget.MOST_ROWS + 1))
    (tmp_path / "a.csv").write_text(rows)
    refused(lambda p: read_table(p, "ohm"), tmp_path / "a.csv", "200001: the table has more than 200000 rows; thin it")
    (tmp_path / "a.z1p").write_text(f"# Hz Z RI R 1\n{rows}")
    refused(read_touchstone, tmp_path / "a.z1p", "200002: the file has more than 200000 rows; thin it out")
    (tmp_path / "a.csv").write_text("".join(f"{f} " + "6 " * 300 + "\n" for f in range(20, 40)))
    refused(lambda p: read_table(p, "ohm"), tmp_path / "a.csv", "a.csv:1: has 301 columns; give frequency, magnitude")


def test_numbers_with_many_digits(tmp_path: Path) -> None:
    many = "9" * 4000
    (tmp_path / "a.csv").write_text(f"{SWEEP}1e4 0.{many} 0\n")
    refused(lambda p: read_table(p, "ohm"), tmp_path / "a.csv", "a.csv:13: '0.9999", "in column 2 is not a number")
    (tmp_path / "a.z1p").write_text(f"# Hz Z RI R 1\n20 0.{many} 0\n")
    refused(read_touchstone, tmp_path / "a.z1p", "a.z1p:2: '0.9999", "is not a number")
    for text in (many, f"1 {' ' * 4000} ohm", f"0.{many}", f"1e{many}", f"1{many}R2"):
        refused(lambda t: parse_quantity(t, QuantityKind.RESISTANCE), text, "is too long for a resistance")
    assert parse_quantity("1." + "0" * (LONGEST_VALUE - 3) + "1", QuantityKind.PLAIN) == 1
    for field in (f"loss={many}", f"loss=1@1k,{many}@2k", f"df=0.{many}", f"tol={many}%"):
        netlist = parse_netlist(f"* t\nC1 in w 1uF {field}\nXw w 0 woofer\n", HERE)
        refused(build_network, netlist, "a.cir:2: ")
    refused(BAND.read, f"{many}..3", "is too long")


def test_drivers_and_networks(tmp_path: Path) -> None:
    path = tmp_path / "speaker.toml"
    path.write_text("".join(map(DRIVER.format, range(budget.MOST_DRIVERS))))
    assert len(read_speaker(path).speaker.drivers) == budget.MOST_DRIVERS
    path.write_text("".join(map(DRIVER.format, range(budget.MOST_DRIVERS + 1))))
    refused(read_speaker, path, "speaker.toml: has 65 drivers; the most are 64; make folders of their own")
    (tmp_path / "a.cir").write_text("")
    path.write_text(
        DRIVER.format(0) + "".join(f'[networks.n{k}]\ncircuit = "a.cir"\n' for k in range(budget.MOST_NETWORKS + 1))
    )
    refused(read_speaker, path, "has 65 networks; the most are 64")


def _netlist(parts: int, more: str = "") -> str:
    return "* t\n" + "".join(f"R{k} in w 8\n" for k in range(parts)) + more + "Xw w 0 woofer\n"


def test_parts_and_cards_of_a_network() -> None:
    assert len(parse_netlist(_netlist(budget.MOST_PARTS), HERE).cards) == budget.MOST_PARTS + 1
    refused(parse_netlist, _netlist(budget.MOST_PARTS + 1), "152: the netlist holds more than 150 parts; keep one")
    drivers = "".join(f"X{k} in 0 woofer\n" for k in range(budget.MOST_CARDS))
    refused(parse_netlist, _netlist(1, drivers), "402: the netlist holds more than 400 cards")
    refused(parse_netlist, "* t\nR1 in w 8 " + "x " * 300, "2: has more than 256 words; write one part, or one .param")
    refused(
        parse_netlist,
        "* t\nR1 in w 8\n" + "+ note=x\n" * 4000,
        "2: the line and its continuations have more than 20000",
    )


def test_a_chain_of_parameters_is_computed_once_each() -> None:
    chain = "".join(f".param a{k + 1}=a{k}+a{k}\n" for k in range(30))
    assert parse_netlist(f"* t\n.param a0=1\n{chain}R1 in 0 {{a30/1e9}}\n").cards[0].value == "1.073741824e+0"
    backwards = "".join(f".param a{k + 1}={'(' * 30}a{k}{')' * 30}\n" for k in reversed(range(390)))
    assert parse_netlist(f"* t\n{backwards}.param a0=2\nR1 in 0 {{a390}}\n").cards[0].value == "2.0e+0"
    refused(parse_netlist, "* t\n.param a=b\n.param b=c\n.param c=a\nR1 in 0 a\n", "by way of itself; break the circle")
    many = "".join(f".param a{k}=1\n" for k in range(budget.MOST_PARAMETERS + 1))
    refused(parse_netlist, f"* t\n{many}R1 in 0 a1\n", "402: sets more than 400 parameters; write plain values")


@pytest.mark.parametrize("part", ["a", '"a"', "'a'", " a ", '"a b" ', '"."', "\t-\t"])
def test_deep_keys(part: str) -> None:
    names = ".".join([part] * 9)
    deep = ".".join(part + str(k) if part == "a" else part for k in range(8))
    assert read_toml(f"{deep} = 1.5\nb = 2.5\n", HERE)[0]["b"] == 2.5
    for text in (f"x = 1\n{names} = 1", f"\n[{names}]", f"\na = {{ {names} = 1 }}", f"\n[[{names}]]"):
        refused(lambda t: read_toml(t, HERE), text, "a.cir:2: is nested too deeply; write plain tables")


def test_what_is_not_deep() -> None:
    text = """
a = "a.b.c.d.e.f.g.h.i.j" # a.b.c.d.e.f.g.h.i.j [[[[[[[[[[
b = [[1.5, 2.5], [3.5, 4.5], [5.5, 6.5], [7.5, 8.5]]
c = \"\"\"
[[[[[[[[[[[ a.b.c.d.e.f.g.h.i.j \\\" \"\" { { { { { { { { { {
\"\"\"
d = '''a.b.c.d.e.f.g.h.i.j '' [[[[[[[[[[['''
e = 1979-05-27T07:32:00.5
"""
    assert read_toml(text, HERE)[0]["b"][3] == [7.5, 8.5]
    refused(lambda t: read_toml(t, HERE), "a = " + "[" * 9 + "]" * 9, "is nested too deeply")


def test_names_are_offered_from_the_folder_alone(tmp_path: Path) -> None:
    folder = tmp_path / "speaker"
    folder.mkdir()
    for name in ("letter-to-anna.csv", "speaker/sweep-of-woofer.csv", "speaker/.secret.csv"):
        (tmp_path / name).write_text(SWEEP)
    for named, offered in (
        ("../letter-to-ann.csv", None),
        ("secret.csv", None),
        ("sweep-woofer.csv", "sweep-of-woofer"),
    ):
        (folder / "speaker.toml").write_text(f'[drivers.woofer]\nimpedance = "{named}"\n')
        remedy = f"did you mean '{offered}.csv'?" if offered else "put the file there or correct the name"
        refused(read_speaker, folder, f"names '{named}', which does not exist; {remedy}")
