"""xover pad as a user sees it."""

import json

import pytest

HORN = ["{examples}/hall-horn-two-way", "horn"]


def ask(run, examples, *arguments):
    return run("pad", *[a.format(examples=examples) for a in arguments])


@pytest.mark.parametrize(
    "arguments",
    [
        ["{examples}/attic-two-way/left", "tweeter", "--down", "4"],
        ["{examples}/studio-three-way", "mid", "--down", "3dB", "--network", "original"],
        [*HORN, "--control", "rheostat", "--track", "16", "--setting", "0.4"],
        [*HORN, "--control", "potentiometer", "--read-series", "9.6", "--read-other", "6.4", "--watts", "5"],
        ["--control", "l-pad", "--track", "8", "--setting", "40%", "--ohm", "8"],
        ["--down", "6", "--ohm", "8"],
    ],
)
def test_tables_fit_80_columns(run, examples, arguments):
    done = ask(run, examples, *arguments)
    assert done.status == 0, done.err
    widest = max(done.out.splitlines(), key=len)
    assert len(widest) <= 80, widest
    assert "nan" not in done.out.lower().split()
    assert "inf" not in done.out.lower().split()
    assert "run hot" in " ".join(done.out.split())


def test_textbook_row(run, examples):
    done = ask(run, examples, "--down", "6", "--ohm", "8")
    row = next(line.split() for line in done.out.splitlines() if line.split()[:1] == ["textbook"])
    assert row[1:5] == ["3.99", "8.04", "6.0", "8.0"]
    assert "a driver is none" in " ".join(done.err.split())


def test_rheostat_row(run, examples):
    done = ask(run, examples, *HORN, "--control", "rheostat", "--read-series", "6.4", "--read-other", "16")
    row = next(line.split() for line in done.out.splitlines() if line.split()[:1] == ["control"])
    assert row[1:3] == ["6.4", "none"]
    assert "rheostat of 16 ohm at 0.4 of its" in done.out


def test_json(run, examples):
    done = ask(run, examples, *HORN, "--down", "6", "--json")
    assert done.status == 0
    assert done.err == ""
    result = json.loads(done.out)
    assert result["network"] == "found"
    assert [d["name"] for d in result["designs"]] == ["textbook", "best fit", "E24", "E12"]
    for d in result["designs"]:
        assert len(d["level_db"]) == len(result["frequency_hz"])
        assert 0.5 < d["series_ohm"] < d["parallel_ohm"] < 40
        assert sum(d["power"][k] for k in ("series", "parallel", "driver")) == pytest.approx(1.0)
    one = json.loads(
        ask(run, examples, *HORN, "--control", "rheostat", "--track", "16", "--setting", "0.4", "--json").out
    )
    assert one["designs"][0]["parallel_ohm"] is None  # nothing across
    assert one["control"] == {"kind": "rheostat", "track_ohm": 16.0, "setting": 0.4}


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([], "give either --down or --control"),
        (["--down", "4"], "neither a driver nor its ohms are given"),
        (["--down", "-4", "--ohm", "8"], "--down is -4"),
        (["--down", "four", "--ohm", "8"], "--down: 'four'"),
        (["--down", "4", "--control", "rheostat", "--ohm", "8"], "give either --down or --control"),
        (["--down", "4", "--track", "16", "--ohm", "8"], "--down needs no --track"),
        (["--control", "rheostad", "--track", "16", "--setting", "1", "--ohm", "8"], "did you mean rheostat?"),
        (["--control", "rheostat", "--track", "16", "--ohm", "8"], "give --track and --setting, or --read-series"),
        (["--control", "rheostat", "--track", "16", "--setting", "2", "--ohm", "8"], "--setting is 2"),
        (["--control", "rheostat", "--track", "0", "--setting", "1", "--ohm", "8"], "--track is 0"),
        (["--down", "4", "--ohm", "8", "--watts", "5V"], "--watts: '5V'"),
        (["{examples}/hall-horn-two-way", "--down", "4"], "it has woofer, horn"),
        ([*HORN, "--down", "4", "--from", "8k", "--to", "2k"], "give its lowest frequency first"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, examples, arguments, message):
    done = ask(run, examples, *arguments)
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_help_has_an_example(run):
    done = run("pad", "--help")
    assert done.status == 0
    assert "Example: xover pad" in done.out
