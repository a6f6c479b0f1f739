"""xover schematic: what it writes, where, and what it refuses."""

import json
import re

import pytest

from xover.drawing.question import schematic


@pytest.fixture(autouse=True)
def own_folder(monkeypatch, tmp_path):
    """Files go to a folder of their own."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "here"


def test_a_folder_is_drawn_into_the_current_one(run, attic, own_folder):
    ran = run("schematic", attic)
    assert (ran.status, ran.err) == (0, "")
    words = "Schematic of 'found' written to schematic-found.svg: 6 parts, 2 drivers, "
    assert re.fullmatch(re.escape(words) + r"\d+ x \d+\smm\.", " ".join(ran.out.split()))
    assert all(len(line) <= 80 for line in ran.out.splitlines())
    assert (own_folder / "schematic-found.svg").read_text(encoding="utf-8").startswith("<svg ")
    again = run("schematic", attic)
    assert again.status == 2
    assert "--force" in again.err
    assert run("schematic", attic, "--force").status == 0


def test_against_another_network_of_the_folder(run, attic, own_folder):
    ran = run("schematic", attic, "--network", "found", "--against", "original", "-o", "both.svg")
    assert ran.status == 0, ran.err
    text = (own_folder / "both.svg").read_text(encoding="utf-8")
    assert "6.8 → 8.4 uF" in text
    assert "old value (original) → new value (found)" in text


def test_a_netlist_against_a_netlist(run, attic, own_folder):
    ran = run("schematic", attic / "found.cir", "--against", attic.parent / "original.cir", "-o", "both.png")
    assert ran.status == 0, ran.err
    assert (own_folder / "both.png").read_bytes().startswith(b"\x89PNG")


def test_a_folder_against_a_netlist(run, attic, own_folder):
    ran = run("schematic", attic, "--against", attic.parent / "original.cir")
    assert ran.status == 0, ran.err
    assert "6.8 → 8.4 uF" in (own_folder / "schematic-found.svg").read_text(encoding="utf-8")


def test_a_ready_topology_by_name(run, own_folder):
    ran = run("schematic", "two-way-first-order")
    assert ran.status == 0, ran.err
    assert (own_folder / "schematic-two-way-first-order.svg").exists()


def test_json_is_the_geometry_and_writes_nothing_unasked(run, own_folder):
    ran = run("schematic", "two-way-second-order", "--json")
    assert (ran.status, ran.err) == (0, "")
    layout = json.loads(ran.out)
    assert [s["name"] for s in layout["symbols"]] == ["L1", "C1", "Xlow", "C2", "L2", "Xhigh"]
    coil = layout["symbols"][0]
    assert coil["kind"] == "coil"
    assert [t["node"] for t in coil["terminals"]] == ["in", "w"]
    assert coil["terminals"][1]["at"][0] - coil["terminals"][0]["at"][0] == 40.0
    assert layout["symbols"][-1]["is_reversed"] is True
    assert {w["node"] for w in layout["wires"]} == {"in", "w", "t", "0"}
    assert list(own_folder.iterdir()) == []
    assert run("schematic", "two-way-second-order", "--json", "-o", "a.svg").status == 0
    assert [p.name for p in own_folder.iterdir()] == ["a.svg"]


def test_what_is_not_neat_is_said(run, own_folder):
    cards = "* bridge\nR1 in a 1\nR2 in b 2\nR3 a 0 3\nR4 b 0 4\nXlow a b woofer\n.end\n"
    (own_folder / "bridge.cir").write_text(cards)
    ran = run("schematic", own_folder / "bridge.cir")
    assert ran.status == 0
    assert "two wires cross once without being joined: only a dot joins" in " ".join(ran.err.split())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("nowhere",), "'nowhere' is no netlist, topology or speaker folder"),
        (("two-way-first-order", "--network", "found"), "--network belongs to a speaker folder"),
        (("two-way-first-order", "--against", "nowhere"), "'nowhere' is no netlist, topology"),
        (("two-way-first-order", "-o", "a.gif"), "a schematic cannot be written as 'a.gif'"),
        (("two-way-first-order", "-o", "gone/a.svg"), "does not exist"),
        (("missing.cir",), "does not exist"),
    ],
)
def test_bad_input(run, own_folder, arguments, words):
    ran = run("schematic", *arguments)
    assert ran.status == 2
    assert ran.out == ""
    assert words in ran.err
    assert len(ran.err.splitlines()) == 1
    assert list(own_folder.iterdir()) == []


def test_help_fits_and_ends_with_an_example(run):
    ran = run("schematic", "--help")
    assert ran.status == 0
    assert "Example: xover schematic examples/attic-two-way/left" in ran.out
    assert len(schematic.__doc__.splitlines()[0]) <= 62
