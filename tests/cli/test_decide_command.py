"""xover decide, as a user types it."""

import json
import re

import pytest


@pytest.fixture
def stock(examples):
    return examples / "stock.csv"


def test_json_by_contract_with_the_owners_channels(run, examples, stock):
    skip = ("--skip", "redesign,refresh")
    done = run("decide", examples / "attic-two-way" / "left", "--stock", stock, "--json", *skip)
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert {"options", "recommendation", "reasons"} <= set(answer)
    options = {o["name"]: o for o in answer["options"]}
    assert list(options) == ["leave", "refresh", "redesign", "bypass"]
    assert options["refresh"]["available"] is False
    assert options["refresh"]["why_not"] == "not asked for"
    of = {name: {c["name"]: c for c in o["criteria"]} for name, o in options.items()}
    # What speaker.toml gives: 4 ohm for each channel, both channels; LR4 at 3 kHz.
    assert of["bypass"]["lowest load"]["limit"] == 4.0
    assert of["bypass"]["lowest load"]["verdict"] == "pass"
    assert of["bypass"]["amplifier channels"]["value"] == of["bypass"]["amplifier channels"]["limit"] == 2
    assert "LR4 at 3 kHz" in options["bypass"]["what"]
    assert of["bypass"]["left against right"]["value"] == 0.0
    # The README of the examples: the tweeter of the found board is 1.7 dB down.
    assert of["leave"]["change of voicing"]["value"] == pytest.approx(1.7, abs=0.05)
    assert of["leave"]["change of voicing"]["verdict"] == "marginal"
    assert of["leave"]["cost"]["value"] == 0.0
    assert answer["rests_on"] == []


def test_page_fits_and_leads_with_the_answer(run, examples, stock):
    done = run(
        "decide", examples / "hall-horn-two-way", "--stock", stock, "--skip", "redesign", "--skip", "bypass", "--strict"
    )
    lines = done.out.splitlines()
    assert max(map(len, lines)) <= 80
    text = " ".join(done.out.split())
    order = [text.index(w) for w in ("rests on", "recommended refresh it", "because", "by the rule", "Side by side")]
    assert order == sorted(order)
    assert text.index("Limits, and where they come from") < text.index("What would change it")
    assert "no one sum is right" in text
    assert "what the amplifier's 1.6 ohm do to the sound" in text
    assert "PCBs" in text  # paper capacitors
    assert "--write refreshed" in text
    assert "redesign: not looked at, not asked for" in text
    load = next(line for line in lines if "lowest load, ohm" in line).split()
    assert load[-6:] == ["6.90", "+", "6.99", "+", "-", "-"]
    assert done.status == 0  # nothing of the refresh is marginal


def test_what_is_not_measured_comes_first_and_strict_tells_of_marginal(run, attic, tmp_path):
    path = attic / "speaker.toml"
    path.write_text(re.sub(r"(?m)^(response|phase) = .*\n", "", path.read_text()))
    figure = tmp_path / "sums.png"
    done = run("decide", attic, "--skip", "redesign,refresh,bypass", "--strict", "--plot", figure)
    assert figure.stat().st_size > 10_000
    assert done.status == 1, done.err  # the old capacitor's rating is thin
    text = " ".join(done.out.split())
    assert text.index("this answer rests on what was not measured") < text.index("recommended")
    assert "no response of woofer and tweeter is known" in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--skip", "redsign"), "did you mean redesign"),
        (("--skip", "leave,refresh,redesign,bypass"), "no option is left"),
        (("--network", "fuond"), "did you mean found"),
        (("--reference", "orginal"), "did you mean original"),
        (("--stock", "no-such.csv"), "no-such.csv"),
        (("--most-cost", "-1"), "--most-cost is -1"),
        (("--most-cost", "nan"), "'nan' is not a number"),
        (("--seed", "-1"), "--seed is -1"),
    ],
)
def test_faults_are_one_line(run, examples, arguments, words):
    done = run("decide", examples / "attic-two-way" / "left", *arguments)
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert words in done.err


def test_help_has_an_example(run):
    done = run("decide", "--help")
    assert done.status == 0
    assert "Example: xover decide examples/attic-two-way/left" in " ".join(done.out.split())
