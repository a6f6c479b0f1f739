"""xover delay, as a user sees it."""

import json
import re
import shutil
import tomllib

import pytest


@pytest.fixture
def attic_copy(examples, tmp_path):
    shutil.copytree(examples / "attic-two-way", tmp_path / "attic")
    return tmp_path / "attic" / "left"


def test_the_example_fits_a_screen_and_its_timing_is_right(run, examples):
    folder = examples / "attic-two-way" / "left"
    done = run("delay", folder, "--finished", folder / "whole-found.csv", "--all")
    assert done.status == 0, done.err
    assert max(map(len, done.out.splitlines())) <= 80
    assert len(done.out.splitlines()) <= 24
    assert "as said" in done.out
    result = json.loads(run("delay", folder, "--finished", folder / "whole-found.csv", "--json").out)
    (tweeter,) = result["drivers"]
    assert tweeter["low_us"] < 0 < tweeter["high_us"]  # one loop-back: its phase has the delay in it
    assert tweeter["high_us"] - tweeter["low_us"] < 20
    assert result["rms_db"] < 0.5 < result["other_rms_db"]
    assert result["unclear"] is None


def test_write_puts_keys_and_keeps_what_is_there(run, attic_copy):
    toml, sum_file = attic_copy / "speaker.toml", attic_copy / "whole-found.csv"
    before = toml.read_text(encoding="utf-8")
    done = run("delay", attic_copy, "--finished", f"{sum_file}@woofer,tweeter", "--write")
    assert done.status == 0, done.err
    assert "Written to" in done.out
    keys = tomllib.loads(toml.read_text(encoding="utf-8"))["drivers"]["tweeter"]
    assert {"delay_us", "delay_uncertainty_us", "gain_db"} <= keys.keys()
    kept = [line for line in toml.read_text(encoding="utf-8").splitlines() if not line.startswith(("delay_", "gain_"))]
    assert kept == before.splitlines()
    assert run("predict", attic_copy, "--per-octave", "6").status == 0
    other = re.sub(r"gain_db = \S+", "gain_db = 3.5", toml.read_text(encoding="utf-8"))
    toml.write_text(other, encoding="utf-8")
    changed = toml.read_bytes()
    again = run("delay", attic_copy, "--finished", sum_file, "--write")
    assert again.status == 2
    assert "gain_db" in again.err
    assert "--force" in again.err
    assert toml.read_bytes() == changed
    assert run("delay", attic_copy, "--finished", sum_file, "--write", "--force").status == 0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([], "give --bare or --finished"),
        (["--bare", "nowhere.csv"], "nowhere.csv"),
        (["--finished", "{folder}/whole-found.csv@woofer,twetter"], "did you mean tweeter?"),
        (["--finished", "{folder}/whole-found.csv@tweeter"], "record two drivers together"),
        (["--finished", "{folder}/whole-found.csv", "--most-delay", "1"], "give 50 to 5000"),
        (["--finished", "{folder}/whole-found.csv", "--network", "fuond"], "did you mean found?"),
        (["--bare", "{folder}/woofer-impedance.csv"], "woofer-impedance.csv"),
    ],
)
def test_bad_input_is_one_line_and_status_2(run, attic_copy, arguments, message):
    before = (attic_copy / "speaker.toml").read_bytes()
    done = run("delay", attic_copy, *(a.format(folder=attic_copy) for a in arguments), "--write")
    assert done.status == 2
    assert done.err.count("\n") == 1
    assert message in done.err
    assert (attic_copy / "speaker.toml").read_bytes() == before
