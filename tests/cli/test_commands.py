"""Every command as a new user would run it: output, exit status, and one line for each fault."""

import json
import math
import re

import numpy as np
import pytest

EXAMPLES = ["attic-two-way/left", "attic-two-way/right", "hall-horn-two-way", "studio-three-way"]


def leaves(value):
    if isinstance(value, dict):
        for v in value.values():
            yield from leaves(v)
    elif isinstance(value, list):
        for v in value:
            yield from leaves(v)
    else:
        yield value


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("network", ["found", "original"])
def test_predict_json_by_contract(run, examples, name, network):
    done = run("predict", examples / name, "--network", network, "--json")
    assert done.status == 0
    assert done.err == ""
    result = json.loads(done.out)
    assert {"network", "frequency_hz", "drive", "acoustic", "load", "summary", "warnings"} <= result.keys()
    assert result["network"] == network
    n = len(result["frequency_hz"])
    assert (result["frequency_hz"][0], result["frequency_hz"][-1]) == (20.0, 20000.0)
    assert n == math.ceil(math.log2(1000) * 48) + 1
    for drive in result["drive"].values():
        assert len(drive["magnitude_db"]) == len(drive["phase_deg"]) == n
    assert result["acoustic"].keys() == {*result["drive"], "sum", "reversed_sum"}
    for curve in result["acoustic"].values():
        assert len(curve["level_db"]) == len(curve["phase_deg"]) == n
    assert {"impedance_ohm", "phase_deg", "epdr_ohm"} == result["load"].keys()
    assert all(v is None or not isinstance(v, float) or math.isfinite(v) for v in leaves(result))
    # A tweeter swept from 200 Hz up has no level below, and the reader is told so.
    assert any(v is None for v in leaves(result["acoustic"]))
    assert result["warnings"]


@pytest.mark.parametrize("name", EXAMPLES)
def test_load_json_by_contract(run, examples, name):
    done = run("load", examples / name, "--network", "found", "--json")
    assert done.status == 0
    result = json.loads(done.out)
    assert {"network", "frequency_hz", "load", "summary", "warnings"} <= result.keys()
    z, epdr = np.array(result["load"]["impedance_ohm"]), np.array(result["load"]["epdr_ohm"])
    assert (epdr <= z + 1e-12).all()
    lowest = result["summary"]["channels"]["in"]["minimum_ohm"]
    assert lowest <= z.min()  # followed between the points of the grid
    assert lowest == pytest.approx(z.min(), rel=5e-3)
    kinds = [(f["card"], f["kind"]) for f in result["summary"]["faults"]]
    assert len(kinds) == len(set(kinds)) == 2 * len({card for card, _ in kinds})


@pytest.mark.parametrize("command", ["predict", "load", "check"])
@pytest.mark.parametrize("name", EXAMPLES)
def test_tables_fit_80_columns(run, examples, command, name):
    done = run(command, examples / name)
    assert done.status == 0
    widest = max(done.out.splitlines(), key=len)
    assert len(widest) <= 80, widest
    assert "nan" not in done.out.lower().split()


def test_output_resistance_lowers_the_level_where_the_load_is_low(run, examples):
    plain = json.loads(run("predict", examples / "hall-horn-two-way", "--json").out)
    valve = json.loads(run("predict", examples / "hall-horn-two-way", "--json", "--output-ohm", "1.6").out)
    assert plain["drive"] == valve["drive"]
    z = np.array(plain["load"]["impedance_ohm"]) * np.exp(1j * np.radians(plain["load"]["phase_deg"]))
    change = np.array(valve["acoustic"]["woofer"]["level_db"], float) - np.array(
        plain["acoustic"]["woofer"]["level_db"], float
    )
    known = np.isfinite(change)
    np.testing.assert_allclose(change[known], 20 * np.log10(abs(z / (z + 1.6)))[known], atol=1e-9)


def test_strict_tells_a_broken_limit(run, examples):
    assert run("load", examples / "studio-three-way", "--strict").status == 1
    assert run("load", examples / "studio-three-way").status == 0
    assert run("load", examples / "attic-two-way/left", "--strict").status == 0


def draw(run, command, speaker, *options):
    """Few points: how many does not matter to how a figure is written."""
    return run(command, speaker, "--per-octave", "12", "--plot", *options)


@pytest.mark.parametrize("suffix", ["png", "svg", "pdf"])
@pytest.mark.parametrize("command", ["predict", "load"])
def test_plot(run, examples, tmp_path, command, suffix):
    figure = tmp_path / f"figure.{suffix}"
    done = draw(run, command, examples / "attic-two-way/left", figure)
    assert done.status == 0, done.err
    assert f"Figure written to {figure}." in " ".join(done.out.split())
    assert figure.read_bytes().startswith({"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}[suffix])
    assert [p.name for p in tmp_path.iterdir()] == [figure.name]


@pytest.mark.parametrize("command", ["predict", "load"])
def test_plot_keeps_an_old_file_unless_forced(run, examples, tmp_path, command):
    figure = tmp_path / "figure.png"
    figure.write_bytes(b"old")
    done = draw(run, command, examples / "attic-two-way/left", figure)
    assert done.status == 2
    assert "--force" in done.err
    assert figure.read_bytes() == b"old"
    assert draw(run, command, examples / "attic-two-way/left", figure, "--force").status == 0
    assert figure.read_bytes().startswith(b"\x89PNG")
    assert [p.name for p in tmp_path.iterdir()] == [figure.name]


def test_new_then_check_then_predict(run, tmp_path):
    names = json.loads(run("new", "--list", "--json").out)["circuits"]
    assert len(names) >= 12
    for name in names:
        folder = tmp_path / name
        assert run("new", folder, "--circuit", name).status == 0
        assert sorted(p.name for p in folder.iterdir()) == ["found.cir", "original.cir", "speaker.toml"]
        checked = run("check", folder, "--json")
        assert checked.status == 0, checked.err
        stops = [f for f in json.loads(checked.out)["findings"] if f["severity"] == "stop"]
        assert stops == []
        predicted = run("predict", folder, "--json", "--per-octave", "6")
        assert predicted.status == 0, predicted.err
        assert run("load", folder, "--json", "--per-octave", "6").status == 0


def test_new_overwrites_nothing(run, tmp_path):
    (tmp_path / "found.cir").write_text("mine")
    done = run("new", tmp_path)
    assert done.status == 2
    assert "found.cir" in done.err
    assert "--force" in done.err
    assert [p.name for p in tmp_path.iterdir()] == ["found.cir"]
    assert (tmp_path / "found.cir").read_text() == "mine"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["predict"], "Missing argument 'SPEAKER'"),
        (["predict", "nowhere"], "nowhere"),
        (["predict", "{attic}", "--network", "fuond"], "did you mean found?"),
        (["predict", "{attic}", "--from", "2k", "--to", "1k"], "swap them"),
        (["predict", "{attic}", "--from", "abc"], "--from: 'abc' is not a frequency"),
        (["predict", "{attic}", "--per-octave", "0"], "give 1 to 960"),
        (["predict", "{attic}", "--band", "200"], "such as 200..18k"),
        (["predict", "{attic}", "--band", "2k..200"], "lower frequency first"),
        (["predict", "{attic}", "--output-ohm", "-1"], "give 0 to 10000 ohm"),
        (["predict", "{attic}", "--plot", "x.gif"], "png"),
        (["new"], "xover new my-speaker"),
        (["new", "{attic}/x", "--circuit", "two-way-secnd-order"], "did you mean two-way-second-order?"),
        (["delay", "{attic}"], "give --bare or --finished"),
        (["frobnicate"], "No such command"),
        (["predict", "{attic}", "--frobnicate"], "No such option"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, attic, arguments, message):
    done = run(*[a.format(attic=attic) for a in arguments])
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_bad_file_names_file_and_line(run, attic):
    (attic / "found.cir").write_text("* t\nL1 in w 1.8mH\nXlow w 0 woofer\nC1 in t 10MFD\nXhigh t 0 tweeter\n")
    done = run("predict", attic)
    assert done.status == 2
    assert f"{attic / 'found.cir'}:4: " in done.err
    assert "write 10uF" in done.err


def test_a_bare_number_for_a_coil_is_one_line(run, attic):
    path = attic / "found.cir"
    before = path.read_text()
    line = next(n for n, text in enumerate(before.splitlines(), 1) if text.startswith("L2"))
    path.write_text(re.sub(r"(?m)^(L2\s+\S+\s+\S+\s+)\S+", r"\g<1>0.6", before))
    done = run("predict", attic)
    assert done.status == 2
    assert done.out == ""
    assert done.err.strip() == f"error: {path}:{line}: L2 is 0.6 without a unit: read as 0.6 H; write 0.6mH"


@pytest.mark.parametrize("command", ["predict", "load", "condition", "stress"])
def test_an_odd_value_is_a_note_of_every_command_and_a_finding(run, attic, command):
    path = attic / "found.cir"
    path.write_text(re.sub(r"(?m)^(L2\s+\S+\s+\S+\s+)\S+", r"\g<1>45mH", path.read_text()))
    assert "L2 is 45 mH, more than the 30 mH" in " ".join(run(command, attic).err.split())
    checked = json.loads(run("check", attic, "--json").out)
    assert [f["part"] for f in checked["findings"] if f["fault"] == "odd value"] == ["L2"]


def test_unknown_driver_in_a_netlist(run, attic):
    (attic / "found.cir").write_text("* t\nL1 in w 1.8mH\nXlow w 0 wofer\n")
    done = run("predict", attic)
    assert done.status == 2
    assert "found.cir:3: Xlow binds the driver 'wofer'" in done.err
    assert "did you mean woofer?" in done.err


@pytest.mark.parametrize("command", ["new", "check", "predict", "load"])
def test_help_has_an_example(run, command):
    done = run(command, "--help")
    assert done.status == 0
    assert f"Example: xover {command}" in done.out


def test_a_fault_of_our_own_is_one_line_and_not_status_2(run, attic, monkeypatch):
    import xover.speaker

    monkeypatch.setattr(xover.speaker, "open_speaker", lambda _: 1 / 0)
    done = run("predict", attic)
    assert done.status == 3
    assert done.err.startswith("error: a fault of xover itself")
    assert done.err.count("\n") == 1
