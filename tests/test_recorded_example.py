"""The simulated recordings: made again byte for byte, small, marked; and the README's story from them to `infer`.

`examples/make_recordings.py` shares no code with xover: the truth that the answers are held to is its own.
"""

import ast
import importlib.util
import json
import os
import re
import shlex
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest

from xover.cli.main import main
from xover.curve import Evidence
from xover.files.tables import read_impedance
from xover.files.wav import read_wav

ROOT = Path(__file__).parents[1]
SCRIPT = ROOT / "examples" / "make_recordings.py"
FOLDER = ROOT / "examples" / "recorded-two-way"


@pytest.fixture(scope="module")
def maker():
    spec = importlib.util.spec_from_file_location("make_recordings", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def commands():
    """The commands of "Measure an impedance at home", in their order; continued lines joined."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    section = text.split("## Measure an impedance at home", 1)[1].split("\nFor the sound", 1)[0]
    lines = re.findall(r"^ {4,}(xover .*)$", section.replace("\\\n", " "), re.MULTILINE)
    return [shlex.split(line)[1:] for line in lines]


@pytest.fixture(scope="module")
def story(tmp_path_factory):
    """A copy of the folder after every command of the README has run in it."""
    folder = tmp_path_factory.mktemp("story") / "my-speaker"
    shutil.copytree(FOLDER, folder)
    before = os.getcwd()
    os.chdir(folder)
    try:
        for words in commands():
            assert main(words) == 0, words
    finally:
        os.chdir(before)
    return folder


def test_the_script_makes_every_recording_again_byte_for_byte(maker, tmp_path):
    maker.main(tmp_path)
    made = {p.name: p.read_bytes() for p in (tmp_path / FOLDER.name).iterdir()}
    assert made == {p.name: p.read_bytes() for p in FOLDER.glob("*.wav")}
    assert len(made) == 6
    assert sum(map(len, made.values())) < 700_000


def test_the_script_needs_numpy_only_and_nothing_of_xover():
    nodes = list(ast.walk(ast.parse(SCRIPT.read_text(encoding="utf-8"))))
    roots = {alias.name.split(".")[0] for n in nodes if isinstance(n, ast.Import) for alias in n.names}
    roots |= {(n.module or "").split(".")[0] for n in nodes if isinstance(n, ast.ImportFrom)}
    assert roots - set(sys.stdlib_module_names) == {"numpy"}


@pytest.mark.parametrize("path", sorted(FOLDER.iterdir()), ids=lambda p: p.name)
def test_every_file_says_that_it_is_invented(path):
    said = read_wav(path).comment if path.suffix == ".wav" else path.read_text(encoding="utf-8")
    assert "invented" in said.lower()


def test_the_readme_plays_what_was_recorded(maker, story):
    """To a step of 24 bit: half of one by rounding, half by full scale being one step short of 1."""
    for name, low_hz in (("sweep.wav", 20.0), ("tweeter-sweep.wav", 200.0)):
        whole = read_wav(story / name)
        assert whole.rate_hz == maker.RATE
        wave = maker.played(low_hz)
        assert whole.samples.shape == (len(wave), 2)
        assert np.abs(whole.samples - wave[:, None]).max() < 1.01 * 2.0**-23


def test_the_readme_asks_in_the_order_of_the_job():
    assert [words[0] for words in commands()] == ["sweep"] * 2 + ["jig"] * 3 + ["check", "infer", "condition"]


@pytest.mark.parametrize(
    ("table", "take"),
    [("woofer-impedance.csv", "woofer"), ("tweeter-impedance.csv", "tweeter"), ("terminals-found.csv", "found")],
)
def test_impedances_from_recordings_are_those_that_were_put_in(maker, story, table, take):
    """Within 0.3 % and 0.3 degrees; read without the calibration the same recordings are more than 3 % off."""
    curve, warnings = read_impedance(story / table, Evidence.MEASURED)
    assert warnings == ()
    ratio = curve.value / maker.truth(take, curve.frequency_hz)
    assert np.abs(np.abs(ratio) - 1.0).max() < 0.003
    assert np.degrees(np.abs(np.angle(ratio))).max() < 0.3


def test_from_recordings_alone_to_the_values_of_the_board(maker, story, capsys):
    capsys.readouterr()
    assert main(["infer", str(story), "--impedance", str(story / "terminals-found.csv"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["topology_fits"]
    for name, value in maker.FOUND.items():
        part = told["parts"][name]
        assert part["seen"], name
        assert part["low"] < value < part["high"], name
        assert part["high"] / part["low"] < 1.35, name
    for name in ("C1", "C2"):  # the marks themselves lie outside
        assert not told["parts"][name]["low"] < told["parts"][name]["marked"] < told["parts"][name]["high"]
