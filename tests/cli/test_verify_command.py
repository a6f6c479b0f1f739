"""xover verify as a user sees it."""

import json

import pytest


def narrow(done):
    """Within 80 columns; a file's name is as long as it is."""
    lines = (done.out + done.err).splitlines()
    return max(len(line) for line in lines if not line.endswith(".png.")) <= 80


def test_the_cold_joint_is_told(run, examples, tmp_path):
    left = examples / "attic-two-way/left"
    figure = tmp_path / "verify.png"
    arguments = ["verify", left, "--network", "original", "--impedance", left / "terminals-rebuilt.csv"]
    done = run(*arguments, "--plot", figure)
    assert done.status == 0, done.err
    assert narrow(done)
    assert "does not do what was predicted: R2 (15 ohm) open." in done.out
    assert "ohmmeter across R2 with one leg lifted" in " ".join(done.out.split())
    rows = [line.split() for line in done.out.splitlines() if line.split()[1:2] == ["R2"]]
    assert rows[0][:3] == ["1", "R2", "open"]
    assert rows[0][-1] == "yes"
    assert figure.read_bytes().startswith(b"\x89PNG")
    assert "polarity does not show in the impedance" in " ".join(done.err.split())
    as_json = run(*arguments, "--json", "--strict")
    assert (as_json.status, as_json.err) == (1, "")
    result = json.loads(as_json.out)
    assert result["agrees"] is False
    assert {"part", "fault", "residual"} <= set(result["faults"][0])
    assert (result["faults"][0]["part"], result["faults"][0]["fault"]) == ("R2", "open")
    assert 0.003 < result["faults"][0]["residual"] < 0.012


def test_a_build_that_agrees(run, examples):
    left = examples / "attic-two-way/left"
    arguments = ["verify", left, "--impedance", left / "terminals-found.csv", "--response", left / "whole-found.csv"]
    done = run(*arguments, "--strict")
    assert done.status == 0, done.out
    assert narrow(done)
    assert "The build does what was predicted, within tolerances and noise." in done.out
    assert "Single faults" not in done.out
    result = json.loads(run(*arguments, "--json").out)
    assert (result["agrees"], result["faults"], result["network"]) == (True, [], "found")
    assert result["response"]["rms_db"] < 0.3
    assert len(result["impedance"]["frequency_hz"]) == len(result["impedance"]["band_percent"])


def test_left_against_right(run, examples):
    left, right = (examples / "attic-two-way" / side for side in ("left", "right"))
    sweep = left / "terminals-found.csv"
    done = run("verify", left, "--impedance", sweep, "--against", right / "terminals-found.csv")
    assert done.status == 0, done.err
    assert narrow(done)
    # examples/README.md: the right woofer is a replacement, and the boards have drifted differently.
    assert "woofer: another driver" in " ".join(done.out.split())


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([], "Missing option '--impedance'"),
        (["--impedance", "{attic}/no.csv"], "no.csv"),
        (["--impedance", "{attic}/whole-found.csv"], "where an impedance in ohm is wanted"),
        (["--impedance", "{sweep}", "--network", "fuond"], "did you mean found?"),
        (["--impedance", "{sweep}", "--third-octaves"], "give --response"),
        (["--impedance", "{sweep}", "--noise", "much"], "--noise"),
        (["--impedance", "{sweep}", "--noise", "200%"], "--noise is 200%; give 0.001% to 30%"),
        (["--impedance", "{sweep}", "--response-noise", "0"], "give a value above 0 dB, up to 20 dB"),
        (["--impedance", "{sweep}", "--band", "20"], "--band: '20' is no band; write two frequencies"),
        (
            ["--impedance", "{sweep}", "--against", "{sweep}", "--response", "{attic}/whole-found.csv"],
            "leave one of them out",
        ),
        (["--impedance", "{sweep}", "--channel", "bass"], "no channel 'bass'"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, attic, arguments, message):
    sweep = attic / "terminals-found.csv"
    done = run("verify", attic, *[a.format(attic=attic, sweep=sweep) for a in arguments])
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_help_has_an_example(run):
    done = run("verify", "--help")
    assert done.status == 0
    assert "Example: xover verify" in done.out
