"""xover decide, as a user types it."""

import json
import re

import pytest

QUICK = ("--skip", "revalue,redesign")
"""Without the searches, which take their time."""


@pytest.fixture
def stock(examples):
    return examples / "stock.csv"


def held(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_json_by_contract_with_the_owners_channels(run, examples, stock):
    skip = ("--skip", "revalue,redesign,refresh")
    done = run("decide", examples / "attic-two-way" / "left", "--stock", stock, "--json", *skip)
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert {"recommendation", "faults", "ladder", "next", "reasons", "options", "wants", "rule"} <= set(answer)
    ladder = {step["rung"]: step for step in answer["ladder"]}
    order = ["leave", "rewire", "trim", "refresh", "driver", "bypass", "revalue", "redesign", "amplifier"]
    assert list(ladder) == order
    assert (ladder["refresh"]["available"], ladder["refresh"]["bar"]) == (False, "no option")
    assert ladder["refresh"]["why_not"] == "not asked for"
    of = {o["name"]: {c["name"]: c for c in o["criteria"]} for o in answer["options"]}
    # What speaker.toml gives: 4 ohm for each channel, both channels; LR4 at 3 kHz.
    assert of["bypass"]["lowest load"]["limit"] == 4.0
    assert of["bypass"]["lowest load"]["verdict"] == "pass"
    assert of["bypass"]["amplifier channels"]["value"] == of["bypass"]["amplifier channels"]["limit"] == 2
    assert "LR4 at 3 kHz" in ladder["bypass"]["what"]
    assert of["bypass"]["left against right"]["value"] == 0.0
    # The README of the examples: the tweeter of the found board is 1.7 dB down.
    assert of["leave"]["change of voicing"]["value"] == pytest.approx(1.7, abs=0.05)
    assert of["leave"]["change of voicing"]["verdict"] == "marginal"
    assert of["leave"]["cost"]["value"] == 0.0
    assert answer["rests_on"] == []
    assert answer["recommendation"] == "bypass"
    assert answer["next"].startswith("xover bypass ")


def test_channels_that_are_not_at_hand_have_no_price(run, examples):
    """They are not worked out either, where nothing is left that they could better."""
    done = run("decide", examples / "hall-horn-two-way", *QUICK, "--json")
    (step,) = (s for s in json.loads(done.out)["ladder"] if s["rung"] == "bypass")
    assert (step["bar"], step["cost"]) == ("no option", None)


@pytest.mark.parametrize("name", ["attic-two-way/left", "attic-two-way/right", "hall-horn-two-way", "studio-three-way"])
def test_the_answer_is_one_screen_and_stands_first(run, examples, stock, name):
    done = run("decide", examples / name, "--stock", stock, *QUICK)
    assert done.status == 0, done.err
    lines = done.out.strip().splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert lines[1].split()[0] == "answer"
    assert sum(line.startswith("  > ") or "> " in line[:12] for line in lines) == 1


def test_why_and_all_show_more_and_change_nothing(run, examples, stock):
    asked = ("decide", examples / "hall-horn-two-way", "--stock", stock, *QUICK)
    short, why, every = (run(*asked, *more).out for more in ((), ("--why",), ("--all",)))
    for told in (why, every):
        assert max(map(len, told.splitlines())) <= 80
    answer = short.strip().split("\n\n")[0]
    assert why.strip().startswith(answer)
    assert every.strip().startswith(why.strip())
    said = [" ".join(told.split()) for told in (short, why, every)]
    for words, least in (
        ("next xover decide", 0),
        ("What would change it", 1),
        ("What this cannot know - the sum: the phases were measured", 1),
        ("what the amplifier's 1.6 ohm do to the sound", 1),
        ("How each is undone", 1),
        ("The figures of each step", 2),
        ("Limits, and where they come from", 2),
        ("Behind the figures that do not pass", 2),
    ):
        assert [words in told for told in said] == [at >= least for at in range(3)], words
    assert "PCBs" in said[0]  # paper capacitors
    row = next(line for line in every.splitlines() if re.match(r" +refresh .* \+ ", line)).split()
    assert (row[row.index("6.99") + 1], "6.90" in every) == ("+", True)  # the loads of refresh, and of leave


def test_what_is_not_measured_is_told_and_strict_tells_of_marginal(run, attic, tmp_path):
    path = attic / "speaker.toml"
    path.write_text(re.sub(r"(?m)^(response|phase) = .*\n", "", path.read_text()))
    figure = tmp_path / "sums.png"
    done = run("decide", attic, "--skip", "revalue,redesign,refresh,bypass", "--strict", "--plot", figure)
    assert figure.stat().st_size > 10_000
    assert done.status == 1, done.err  # the old capacitor's rating is thin
    text = " ".join(done.out.split())
    assert "answer leave it as it is" in text
    assert "nothing is known of the sound of woofer and tweeter" in text
    assert text.index("answer") < text.index("rests on") < text.index("nothing is known")


def test_strict_tells_of_what_is_broken(run, attic):
    """A dead tweeter: nothing is built, so that no figure of it could fail."""
    path = attic / "tweeter-impedance.csv"
    path.write_text(re.sub(r"(?m)^([\d.]+),[^,]+,.*$", r"\1,0.12,0", path.read_text()))
    done = run("decide", attic, *QUICK, "--strict", "--json")
    answer = json.loads(done.out)
    assert (answer["recommendation"], {f["driver"] for f in answer["faults"]}) == ("mend", {"tweeter"})
    (mend,) = (s for s in answer["ladder"] if s["rung"] == "mend")
    assert mend["netlist"] == ""
    assert done.status == 1


def test_take_writes_what_the_ladder_says(run, attic, stock):
    asked = ("decide", attic, "--stock", stock, "--skip", "revalue,redesign,bypass")
    said = json.loads(run(*asked, "--json").out)
    (step,) = (s for s in said["ladder"] if s["rung"] == "refresh")
    done = run(*asked, "--take", "refresh", "--write", "refreshed")
    assert done.status == 0, done.err
    assert cards((attic / "refreshed.cir").read_text()) == cards(step["netlist"])
    assert run("predict", attic, "--network", "refreshed").status == 0


def cards(netlist):
    lines = (line.split(";")[0].split() for line in netlist.splitlines())
    return [words for words in lines if words and words[0][0] not in "*."]


@pytest.mark.parametrize("step", ["leave", "bypass", "amplifier", "mend", "trim", "redesign"])
def test_a_step_that_builds_nothing_is_one_line_and_changes_nothing(run, attic, step):
    before = held(attic)
    done = run("decide", attic, *QUICK, "--take", step, "--write", "new")
    assert done.status == 2
    assert done.err == "error: 'new' was not written, as this step builds nothing; take another step\n"
    assert held(attic) == before


def test_the_other_speaker_makes_the_odd_driver_known_and_stands_in_the_command(run, attic, stock):
    right = attic.parent / "right"
    asked = ("decide", attic, "--stock", stock, *QUICK)
    alone, both = (json.loads(run(*asked, *more, "--json").out) for more in ((), ("--mate", right)))
    steps = [{s["rung"]: s for s in told["ladder"]} for told in (alone, both)]
    assert [s["driver"]["available"] for s in steps] == [False, True]
    assert both["recommendation"] == "driver"  # the woofers are not of one kind
    assert steps[1]["driver"]["gain_db"] > steps[1]["driver"]["uncertainty_db"]
    assert "--mate" not in steps[0]["refresh"]["command"]
    assert "--mate" in steps[1]["refresh"]["command"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--skip", "redsign"), "did you mean redesign"),
        (("--skip", "leave,rewire,trim,refresh,driver,bypass,revalue,redesign,amplifier"), "no step is left"),
        (("--take", "refersh"), "did you mean refresh"),
        (("--take", "none yet"), "--take: 'none yet' is not known"),
        (("--mate", "no-such-folder"), "no-such-folder: does not exist"),
        (("--network", "fuond"), "did you mean found"),
        (("--reference", "orginal"), "did you mean original"),
        (("--stock", "no-such.csv"), "no-such.csv"),
        (("--write", "found"), "has a network 'found' already"),
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


def test_bad_means_name_file_line_and_remedy(run, attic):
    """Each kind of fault: tests/files/cases/speakers/invalid/means-*.toml."""
    path = attic / "speaker.toml"
    text = path.read_text().rstrip("\n")
    path.write_text(f"{text}\n\n[means]\nmoney = -1\n")
    before = held(attic)
    done = run("decide", attic, "--write", "new")
    assert (done.status, done.out) == (2, "")
    line = text.count("\n") + 4
    assert done.err == f"error: {path}:{line}: means.money is -1; it must be at least 0\n"
    assert held(attic) == before


def test_help_has_an_example(run):
    done = run("decide", "--help")
    assert done.status == 0
    assert "Example: xover decide examples/attic-two-way/left" in " ".join(done.out.split())
