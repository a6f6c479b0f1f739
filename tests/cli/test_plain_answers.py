"""Answers as a person meets them: a sentence first, one screen, each term explained, nothing said twice."""

import json
import math
import re

import pytest

from xover.figures import odds
from xover.remark import About, Remark, pressing
from xover.rules.likeness import CERTAIN_LOG10

FEW = ("--per-octave", "12")
ASKED = {
    "predict": FEW,
    "load": FEW,
    "condition": ("--per-octave", "12"),
    "stress": (),
    "tolerance": ("--builds", "200"),
    "sensitivity": FEW,
    "angles": FEW,
    "crosstalk": (),
    "lamps": (),
    "check": (),
}
SPEAKERS = {
    "attic-two-way/left": "terminals-found.csv",
    "attic-two-way/right": "terminals-found.csv",
    "hall-horn-two-way": "terminals-found.csv",
    "studio-three-way": "terminals-found.txt",
}
ONE_SCREEN = 45
MEANS = {
    "EPDR": "the resistance that would heat the amplifier as much",
    "null": "with one driver's wires swapped",
    "drive of": "voltage at a driver over the amplifier's",
    "full sine": "a steady tone of the amplifier's peak",
}


def asked(examples):
    """(command, arguments) of all that is walked."""
    for name, sweep in SPEAKERS.items():
        folder = examples / name
        yield from (((command, folder, *more)) for command, more in ASKED.items())
        yield "infer", folder, "--impedance", folder / sweep
        yield "verify", folder, "--impedance", folder / sweep
        yield "compare", f"{folder}:found", f"{folder}:original"
    left, right = examples / "attic-two-way/left", examples / "attic-two-way/right"
    yield "compare", left, right
    yield "compare", left / "terminals-found.csv", left / "terminals-rebuilt.csv"
    yield "delay", left, "--finished", left / "whole-found.csv"
    yield "verify", left, "--network", "original", "--impedance", left / "terminals-rebuilt.csv"
    sweeps = ("--impedance", left / "terminals-found.csv", "--against", right / "terminals-found.csv")
    yield "verify", left, "--network", "original", *sweeps
    yield "pad", left, "tweeter", "--down", "4"
    yield "pad", "--control", "rheostat", "--track", "16", "--setting", "0.4", "--ohm", "8"


def sentences(text):
    """What is said in running words, tables left out: each sentence flat."""
    flat = " ".join(line.strip() for line in text.splitlines() if not re.search(r"\S {3,}\S.* {2,}\S", line))
    return [s.strip(" .") for s in re.split(r"(?<=[\w)%'])[.;] ", flat) if len(s.split()) > 6]


def faults_of(out, err):
    """What is wrong with an answer, in words."""
    lines = out.splitlines()
    found = [f"wide: {line}" for line in lines + err.splitlines() if len(line) > 80]
    if len(lines) > ONE_SCREEN:
        found.append(f"{len(lines)} lines")
    title, _, answer = out.strip().partition("\n  ")
    first = " ".join(answer.split("\n\n")[0].split())
    if title.count("\n") > 2 or not re.match(r"[A-Z0-9].* .*[\w)%]\.( |$)", first):
        found.append(f"no sentence first: {first[:60]}")
    flat = " ".join(out.split())
    found += ["odds as powers"] if "10^" in flat + err else []
    for term, meaning in MEANS.items():
        if term in flat and meaning not in flat:
            found.append(f"{term} is not explained")
        elif flat.count(meaning) > 1:
            found.append(f"{term} is explained twice")
    said = sentences(out) + sentences(err.replace("note: ", "\n"))
    return found + [f"twice: {s}" for s in dict.fromkeys(said) if said.count(s) > 1]


def test_answers_are_plain_and_fit_one_screen(run, examples):
    walked = 0
    for arguments in asked(examples):
        done = run(*arguments)
        assert done.status == 0, (arguments, done.err)
        assert faults_of(done.out, done.err) == [], arguments
        walked += 1
    assert walked >= 55


def test_what_is_left_out_is_told_where_all_is_asked_for(run, examples):
    studio = examples / "studio-three-way"
    for command in ("predict", "sensitivity", "condition", "tolerance"):
        short, whole = (run(command, studio, *ASKED[command], *more) for more in ((), ("--all",)))
        assert len(whole.out) > len(short.out)
        assert "rebuilt from its magnitude" in " ".join(whole.err.split())
        assert "rebuilt from its magnitude" not in " ".join(short.err.split())


def test_a_load_that_is_too_low_is_told_once(run, attic):
    toml = (attic / "speaker.toml").read_text()
    (attic / "speaker.toml").write_text(toml.replace("minimum_load_ohm = 4", "minimum_load_ohm = 8", 1))
    said = " ".join(run("load", attic).out.split())
    assert said.count("too low for an amplifier that allows 8 ohm") == 1
    assert "This amplifier must not drive it." in said


def test_odds_are_words_and_json_keeps_the_number(run, examples):
    said = [odds(x) for x in (0.0, math.log10(1.5), math.log10(12), CERTAIN_LOG10 - 0.01, CERTAIN_LOG10, 222.0)]
    assert said == ["-", "1.5 to 1", "12 to 1", "98,000 to 1", "certain", "certain"]
    left = examples / "attic-two-way/left"
    arguments = ("verify", left, "--network", "original", "--impedance", left / "terminals-rebuilt.csv")
    assert "against no fault: certain, as far as the model holds" in " ".join(run(*arguments).out.split())
    faults = json.loads(run(*arguments, "--json").out)["faults"]
    assert faults[0]["odds_log10"] == 0.0
    assert min(f["odds_log10"] for f in faults) < -CERTAIN_LOG10


def test_only_what_says_that_it_is_a_detail_is_left_out():
    said = ["do not open it", *(Remark(about, about) for about in About)]
    left_out = [about for about in About if about not in pressing(said)]
    assert left_out == [About.REBUILT_PHASE, About.METHOD, About.FAINT]
    assert "do not open it" in pressing(said)


def test_a_caution_is_told_whatever_is_asked_for(run, examples):
    for more in ((), ("--all",)):
        done = run("condition", examples / "hall-horn-two-way", *FEW, *more)
        assert "may hold PCBs" in " ".join(done.err.split())


@pytest.mark.parametrize(
    ("out", "fault"),
    [
        ("\nTitle\n  level  3 dB\n", "no sentence first"),
        ("\nTitle\n  It is 10^222 times likelier.\n", "odds as powers"),
        ("\nTitle\n  The lowest EPDR is 3 ohm.\n", "EPDR is not explained"),
        ("\nTitle\n  It holds.\n" + "  Do not play it loud with a driver unplugged. \n" * 2, "twice"),
        ("\nTitle\n  It holds.\n" + "\n" * 50 + "  x\n", "lines"),
        ("\nTitle\n  It holds" + " on" * 40 + ".\n", "wide"),
    ],
)
def test_each_fault_is_found(out, fault):
    assert any(fault in found for found in faults_of(out, ""))
