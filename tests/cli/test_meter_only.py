"""A folder of which DC resistances are all that is known: what the commands can hold, they tell; invented."""

import json

import pytest

BOARD = "* invented\nL1 in w 1.2mH dcr=0.4\nXlow w 0 woofer\nC1 in t 4.7uF\nL2 t 0 0.4mH dcr=0.4\nXhigh 0 t tweeter\n"
TOML = (
    "[amplifier]\nminimum_load_ohm = 4\n[listening]\nlevel_db = 85\ndistance_m = 2.5\n"
    "[drivers.woofer]\nre_ohm = 5.8\ndiameter_mm = 165\n[drivers.tweeter]\nre_ohm = 5.2\n"
    '[networks.found]\ncircuit = "found.cir"\n[networks.original]\ncircuit = "original.cir"\n'
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "original.cir").write_text(BOARD)
    (tmp_path / "found.cir").write_text(BOARD.replace("4.7uF", "3.3uF"))
    (tmp_path / "speaker.toml").write_text(TOML)
    return tmp_path


@pytest.mark.parametrize("command", ["check", "predict", "load", "condition"])
def test_it_runs_and_says_what_it_holds(run, folder, command):
    ran = run(command, folder)
    said = " ".join((ran.out + ran.err).split())
    assert ran.status == 0
    assert said.count("DC resistances alone serve for wiring, for faults and for how far parts have drifted") == 1
    assert "load and drive hold to 30 % at best" in said
    assert "datasheet" not in said
    assert max(len(line) for line in ran.out.splitlines()) <= 80


def test_what_was_read_is_kept_and_the_drift_is_found(run, folder):
    checked = json.loads(run("check", folder, "--json").out)
    assert checked["drivers"] == {"woofer": None, "tweeter": None}
    predicted = json.loads(run("predict", folder, "--json").out)
    assert predicted["summary"]["evidence"]["tweeter"] == {"impedance": "assumed", "response": "assumed"}
    condition = run("condition", folder).out
    assert "C1: -30 %" in condition


def test_with_nothing_at_all_it_is_refused(run, folder):
    text = TOML.replace("re_ohm = 5.2\n", "diameter_mm = 25\n")
    (folder / "speaker.toml").write_text(text)
    ran = run("check", folder)
    assert ran.status == 2
    assert "speaker.toml:9: driver 'tweeter' has no impedance file, no datasheet and no re_ohm" in ran.err
