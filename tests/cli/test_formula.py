"""`xover formula` as a user runs it."""

import json

import pytest


@pytest.mark.parametrize("target", ["two-way-second-order", "two-way-second-order-full", "three-way-second-order-full"])
def test_topology_by_name(run, target):
    done = run("formula", target)
    assert done.status == 0
    assert max(map(len, done.out.splitlines())) <= 80
    assert "poles" in done.out
    assert "taken as 8 ohm (assumed)" in " ".join(done.err.split())


def test_speaker_and_one_function(run, examples):
    done = run("formula", examples / "attic-two-way/left", "--of", "tweeter")
    assert done.status == 0
    assert "fitted model" in done.out
    assert "nearest alignment" in done.out
    assert "woofer: voltage" not in done.out
    assert max(map(len, done.out.splitlines())) <= 80


def test_json_by_contract(run, examples):
    result = json.loads(run("formula", examples / "attic-two-way/left", "--json").out)
    assert {"transfer", "load", "numbers"} <= result.keys()
    assert result["transfer"].keys() == {"woofer", "tweeter"}
    assert result["numbers"]["L1"] == 0.0018
    assert "L1_dcr" in result["numbers"]
    assert "Z_woofer" in result["load"]


def test_latex_and_numbers(run):
    latex = run("formula", "two-way-second-order", "--of", "woofer", "--latex").out
    assert latex.startswith("\\frac{Z_{woofer}}")
    numbers = run("formula", "two-way-second-order", "--of", "woofer", "--numbers").out
    assert "s^2" in numbers
    assert "Z_woofer" not in numbers


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["nothing-like-it"], "no netlist, topology or speaker folder"),
        (["two-way-second-order", "--of", "mid"], "name one of woofer, tweeter, load"),
        (["two-way-second-order", "--network", "found"], "belongs to a speaker folder"),
        (["two-way-second-order", "--time", "ramp"], "give step or impulse"),
        (["two-way-second-order", "--time", "step", "--of", "mid"], "name one of woofer, tweeter"),
        (["two-way-second-order", "--time", "step", "--judge"], "leave --judge out"),
        (["two-way-second-order", "--judge", "--latex"], "leave --latex out"),
        (["two-way-second-order", "--plot", "step.png"], "--plot has nothing to draw; give --time"),
    ],
)
def test_bad_arguments(run, arguments, message):
    done = run("formula", *arguments)
    assert done.status == 2
    assert done.err.count("\n") == 1
    assert message in done.err


def test_netlist_file(run, tmp_path):
    path = tmp_path / "board.cir"
    path.write_text("* t\nC1 in t 10MFD\nXhigh t 0 tweeter\n")
    done = run("formula", path)
    assert done.status == 2
    assert "board.cir:2:" in done.err


def test_a_step_in_time(run, tmp_path):
    figure = tmp_path / "step.svg"
    done = run("formula", "two-way-first-order", "--time", "step", "--of", "woofer", "--plot", figure)
    assert done.status == 0
    assert max(map(len, done.out.splitlines())) <= 80
    for word in ("closed form", "e^(-t/", "largest", "settles", "inverse transform"):
        assert word in done.out
    assert "Response to a step" in figure.read_text(encoding="utf-8")
    result = json.loads(run("formula", "two-way-first-order", "--time", "impulse", "--json").out)
    assert result["stimulus"] == "impulse"
    assert result["drives"].keys() == {"woofer", "tweeter"}
    for drive in result["drives"].values():
        assert len(drive["values"]) == len(result["time_s"])
        assert drive["gave_up"] or drive["largest_difference"] < 1e-6


def test_lcapy_judges(run):
    result = json.loads(run("formula", "two-way-first-order", "--judge", "--json").out)
    assert result["drives"].keys() == {"woofer", "tweeter"}
    for drive in result["drives"].values():
        assert drive["gave_up"] or drive["largest_difference"] < 1e-12
    done = run("formula", "two-way-first-order", "--judge")
    assert "derived anew" in done.out
    assert max(map(len, done.out.splitlines())) <= 80
