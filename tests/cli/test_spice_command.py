"""xover spice as a user sees it."""

import json

import pytest


def test_netlist_on_standard_output_warnings_beside(run, examples):
    done = run("spice", examples / "hall-horn-two-way", "--network", "original")
    assert done.status == 0, done.err
    lines = done.out.splitlines()
    assert lines[0] == "* Hall horn two-way (invented): network 'original'"
    assert lines[-1] == ".end"
    assert max(map(len, lines)) <= 80
    assert "Xhigh 0 p horn" in lines
    assert "note: horn: there are two resonances, 690 and 1380 Hz" in done.err


def test_output_is_the_same_text_whole_or_not_at_all(run, examples, tmp_path):
    text = run("spice", examples / "attic-two-way/left").out
    file = tmp_path / "left.cir"
    done = run("spice", examples / "attic-two-way/left", "-o", file)
    assert done.status == 0, done.err
    assert file.read_text() == text
    assert f"Network 'found' written to {file}." in " ".join(done.out.split())
    rows = [line.split() for line in done.out.splitlines()]
    assert [row[0] for row in rows if "fit" in row] == ["woofer", "tweeter"]
    assert max(len(line) for line in done.out.splitlines() if str(file) not in line) <= 80
    again = run("spice", examples / "attic-two-way/left", "--output", file)
    assert again.status == 2
    assert "--force" in again.err
    assert (
        run("spice", examples / "attic-two-way/left", "--output", file, "--network", "original", "--force").status == 0
    )
    assert "network 'original'" in file.read_text()
    assert [p.name for p in tmp_path.iterdir()] == ["left.cir"]


def test_json(run, examples):
    done = run("spice", examples / "studio-three-way", "--json")
    assert done.status == 0
    assert done.err == ""
    result = json.loads(done.out)
    assert result["network"] == "found"
    assert result["netlist"] == run("spice", examples / "studio-three-way").out
    assert result["drivers"].keys() == {"woofer", "mid", "tweeter"}
    for driver in result["drivers"].values():
        assert 0.001 < driver["relative_rms"] < driver["worst_residual"] < 0.1
        assert len(driver["band_hz"]) == 2
    assert result["drive"]["upper"] == "drive_upper"
    assert result["channels"] == {"in": "Vin"}
    assert any(".tran" in w for w in result["warnings"])


def test_losses_at_one_frequency(run, examples):
    done = run("spice", examples / "attic-two-way/left", "--loss-at", "1k")
    assert done.status == 0
    assert "Xloss" not in done.out
    assert "as one fixed resistor of" in done.out.replace("\n*   ", " ")
    assert "fixed resistors stand for dissipation factors" in done.err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["spice"], "Missing argument 'SPEAKER'"),
        (["spice", "{attic}", "--network", "fuond"], "did you mean found?"),
        (["spice", "{attic}", "--loss-at", "5"], "--loss-at is 5; give 20 to 20k"),
        (["spice", "{attic}", "--loss-at", "abc"], "--loss-at: 'abc' is not a frequency"),
        (["spice", "{attic}", "-o", "{attic}"], "is a folder"),
        (["spice", "{attic}", "-o", "{attic}/none/x.cir"], "does not exist"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, attic, arguments, message):
    done = run(*[a.format(attic=attic) for a in arguments])
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_help_has_an_example(run):
    done = run("spice", "--help")
    assert done.status == 0
    assert "Example: xover spice" in done.out
