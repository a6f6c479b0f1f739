"""A stop is the same stop wherever somebody meets it: commands that read the network, Python, and the page."""

import json
import re

import pytest
from invented_speaker import GOOD

import xover
from xover.cli.main import main
from xover.judge.safety import stops
from xover.judge.words import stop_blocks
from xover.speaker import open_speaker

LOW_CORNER = GOOD.replace("4.7uF", "22uF").replace("0.3mH", "1.2mH")
LOUD = "[listening]\nlevel_db = 98\ndistance_m = 3\n"
AMPLIFIER = "[amplifier]\nminimum_load_ohm = {}\nrated_power_w = 60\nrated_load_ohm = 8\n"
CASES = {
    "tweeter overload": (LOW_CORNER, LOUD + AMPLIFIER.format(4), "gets", "below its resonance"),
    "low load": (GOOD, AMPLIFIER.format(8), "lowest impedance", "too low for an amplifier that allows 8 ohm"),
}
COMMANDS = {
    "check": "",
    "predict": "",
    "load": "",
    "stress": "",
    "condition": "",
    "angles": "",
    "sensitivity": "",
    "tolerance": "--builds 200",
    "crosstalk": "--couple L1:L2=2%",
    "refresh": "",
    "redesign": "--circuit present",
    "bypass": "--frequency 3k",
    "decide": "",
}


@pytest.fixture(params=CASES, ids=lambda name: name.replace(" ", "-"))
def case(request, folder, tmp_path):
    """A folder with one stop in both networks, and the words that must be told of it."""
    cir, more, *_ = CASES[request.param]
    speaker = folder(cir, cir, more=more)
    found = stops(speaker, "found", speaker.network("found"))
    assert len(found) == 1
    return tmp_path, found[0]


def bare(text):
    """Without its line ends."""
    return re.sub(r"\s+", " ", text)


def shown(capsys, command, options, folder):
    capsys.readouterr()
    status = main([command, str(folder), *options.split()])
    out = capsys.readouterr().out
    assert status == 0, out
    return out


def test_the_cases_are_what_they_say(case):
    _, finding = case
    assert any(all(word in finding.text for word in words) for _, _, *words in CASES.values())


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_tells_it_in_words(case, capsys, command):
    folder, finding = case
    out = bare(shown(capsys, command, COMMANDS[command], folder))
    assert bare(finding.text) in out
    if command not in ("check", "bypass", "decide"):  # these have a place for it of their own
        (block,) = stop_blocks([finding])
        line = bare(f"{block.heading}: {block.words}")
        assert line in out
        assert out.index(line) < 60, "it stands above the answer"


@pytest.mark.parametrize("command", [c for c in COMMANDS if c != "check"])
def test_a_command_tells_it_as_json(case, capsys, command):
    folder, finding = case
    said = json.loads(shown(capsys, command, COMMANDS[command] + " --json", folder))
    told = [(f["fault"], f["text"], f["where"]) for f in said["stops"]]
    assert told == [(str(finding.fault), finding.text, "found")]


def test_python_has_it(case):
    folder, finding = case
    answer = xover.open(folder).predict("found")
    assert [f.text for f in answer.unsafe] == [finding.text]


def test_the_page_tells_it(case):
    folder, finding = case
    page = xover.open(folder).report().html
    assert bare(finding.text)[1:] in bare(re.sub(r"<[^>]+>", "", page))  # there it begins a sentence


def test_a_safe_network_says_nothing(folder, capsys, tmp_path):
    folder(GOOD, GOOD, more=AMPLIFIER.format(4))
    for command in ("predict", "load", "condition"):
        assert json.loads(shown(capsys, command, "--json", tmp_path))["stops"] == []
        assert "stop" not in shown(capsys, command, "", tmp_path)[:80]
    assert stop_blocks(stops(open_speaker(tmp_path), "found", open_speaker(tmp_path).network("found"))) == ()
