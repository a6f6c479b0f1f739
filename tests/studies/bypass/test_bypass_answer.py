"""The short answer: 24 lines of 80 columns for every example, with an electronic crossover in the folder or not."""

import io
import json
import re
import shutil
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

import xover.studies.change.bypass.study
from tests.two_woofers import ODD, PARALLEL, TWEETER, WOOFER, write_folder
from xover.cli.main import main

EXAMPLES = Path(__file__).parents[3] / "examples"
FOLDERS = ("attic-two-way/left", "attic-two-way/right", "hall-horn-two-way", "studio-three-way")


@pytest.fixture(scope="module", autouse=True)
def studied_once(remembered):
    """Each study worked out once."""
    kept = remembered(
        xover.studies.change.bypass.study.study_bypass,
        lambda speaker, *given, **named: (speaker.file.path, speaker.file.speaker, given, named),
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(xover.studies.change.bypass.study, "study_bypass", kept)
        yield


def told(*arguments):
    """What `xover bypass` prints: its output, and its notes with it, line by line."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        assert main(["bypass", *map(str, arguments)]) == 0
    return out.getvalue().splitlines() + err.getvalue().splitlines()


def fact(lines, label):
    """What stands behind a label, its lines joined; empty where it is not there."""
    found, inside = [], False
    for line in lines:
        if line.startswith(f"  {label:<9} "):
            inside = True
        elif not line.startswith(" " * 12):
            inside = False
        if inside:
            found.append(line[12:].strip())
    return " ".join(found)


@pytest.fixture(params=FOLDERS)
def folder(request):
    return EXAMPLES / request.param


@pytest.fixture
def without(folder, tmp_path):
    """The same example without its electronic crossover."""
    name = folder.relative_to(EXAMPLES)
    shutil.copytree(EXAMPLES / name.parts[0], tmp_path / name.parts[0])
    path = tmp_path / name / "speaker.toml"
    path.write_text(path.read_text().split("[bypass]")[0])
    return path.parent


def fits(lines):
    assert len(lines) <= 24, "\n".join(lines)
    assert max(map(len, lines)) <= 80, max(lines, key=len)


def test_the_answer_has_24_lines_of_80_columns(folder):
    lines = told(folder)
    fits(lines)
    labels = [line[2:11].strip() for line in lines if line[2:3].strip()]
    assert labels.index("safe?") == 1
    for needed in ("crossover", "sum", "protect", "needs", "wiring", "next", "more"):
        assert labels.count(needed) == 1, needed
    assert labels.count("caution") <= 3
    cautions = [line for line in lines if line.startswith("  caution")]
    assert len(set(cautions)) == len(cautions)
    assert "assumed" not in fact(lines, "crossover") or "hall" in str(folder)


def test_one_line_for_each_channel_says_what_to_set(folder):
    lines, found = told(folder), json.loads("\n".join(told(folder, "--json")))
    for name, channel in found["channels"].items():
        (line,) = [x.split() for x in lines if x.split()[:1] == [name] and " dB " in x]
        better = channel["better"]
        assert float(line[line.index("dB") - 1]) == pytest.approx(better["gain_db"], abs=0.051)
        if better["delay_s"] is not None:
            assert float(line[line.index("us") - 1]) == pytest.approx(1e6 * better["delay_s"], rel=0.05)
            assert ("reversed" in line) == (better["polarity"] < 0)
        power = channel["power"]
        needed, rated = float(line[-4]), power["rating"]["power_w"]
        assert float(line[-2]) == rated
        assert needed == pytest.approx(rated * 10 ** (-power["margin_db"] / 10), rel=0.4, abs=0.06)
        assert (needed > rated) == (power["margin_db"] < 0)


def test_without_a_crossover_in_the_folder_it_says_what_one_must_do(without):
    lines, found = told(without), json.loads("\n".join(told(without, "--json")))
    fits(lines)
    assert "(assumed, from how it crosses today)" in fact(lines, "crossover")
    needs = fact(lines, "needs")
    assert needs.startswith(f"{len(found['channels'])} channels, LR4 at ")
    assert "a gain for each" in needs
    assert "delay" in needs
    most = found["needs"]["bands"]
    assert most == max(len(c["better"]["bands"]) for c in found["channels"].values())
    assert ("equaliser band" in needs) == (most > 0)
    assert found["needs"]["lacking"] == list(found["channels"])
    assert "[bypass]" in fact(lines, "next")


def test_all_tells_the_rest_behind_the_same_answer(folder):
    short, long = told(folder), told(folder, "--all")
    assert long[: len(short)] == short
    assert len(long) > 100
    assert max(map(len, long)) <= 80


def test_two_woofers_of_two_names_are_one_channel_with_their_joint_load(tmp_path):
    drivers = {"woofer": WOOFER, "woofer2": ODD, "tweeter": TWEETER}
    folder = write_folder(tmp_path / "two", drivers, PARALLEL.format(second="woofer2"))
    lines, found = told(folder), json.loads("\n".join(told(folder, "--json")))
    fits(lines)
    assert list(found["channels"]) == ["woofer+woofer2", "tweeter"]
    channel = found["channels"]["woofer+woofer2"]
    one, other = abs(WOOFER.impedance_ohm()), abs(ODD.impedance_ohm())
    assert channel["minimum_load_ohm"] < min(one.min(), other.min())
    assert channel["minimum_load_ohm"] == pytest.approx(
        abs(1 / (1 / WOOFER.impedance_ohm() + 1 / ODD.impedance_ohm())).min(), rel=0.01
    )
    assert found["needs"]["channels"] == 2
    # The odd woofer stays odd behind any filter: what can be done, and what each leaves.
    odd = fact(lines, "caution")
    assert "woofer2 does not match woofer" in odd
    assert re.search(r"leave it: \d\.\d dB", odd)
    assert re.search(r"find one like woofer: 0\.0 dB", odd)


def test_a_template_gets_no_verdict(tmp_path):
    out = io.StringIO()
    with redirect_stdout(out):
        assert main(["new", str(tmp_path / "new")]) == 0
    lines = told(tmp_path / "new")
    assert fact(lines, "safe?") == "no verdict yet: the values of woofer and tweeter are a template's"
    assert len(lines) <= 6
    assert not any(re.search(r"\d dB", line) for line in lines)


@pytest.mark.parametrize(("level_db", "label"), [(60, ""), (88, "caution"), (100, "STOP")])
def test_what_the_tweeter_gets_below_its_resonance_decides(tmp_path, level_db, label):
    """At the tweeter's resonance with a slope of the first order: watts at the listening level tell, not the ratio."""
    drivers = {"woofer": WOOFER, "tweeter": TWEETER}
    cards = "* t\nL1 in w 1.0mH\nXlow w 0 woofer\nC1 in t 4.7uF\nXhigh t 0 tweeter\n"
    folder = write_folder(tmp_path / "low", drivers, cards)
    path = folder / "speaker.toml"
    path.write_text(path.read_text().replace("level_db = 88", f"level_db = {level_db}"))
    arguments = (folder, "--frequency", "1.2k", "--slope", "B1")
    lines, found = told(*arguments), json.loads("\n".join(told(*arguments, "--json")))
    fits(lines)
    watts = found["channels"]["tweeter"]["power"]["power_below_resonance_w"]
    stops = [f["about"] for f in found["findings"] if f["severity"] == "stop"]
    assert (watts > 0.4) == (label == "STOP") == ("resonance of tweeter" in stops)
    assert (0.1 < watts <= 0.4) == (label == "caution")
    if label:
        assert "below its resonance of 900 Hz" in fact(lines, label)
    assert fact(lines, "safe?").startswith("no: resonance of tweeter" if label == "STOP" else "yes")


def test_without_a_listening_level_the_corner_alone_is_a_caution_that_asks_for_it(tmp_path):
    cards = "* t\nL1 in w 1.0mH\nXlow w 0 woofer\nC1 in t 4.7uF\nXhigh t 0 tweeter\n"
    folder = write_folder(tmp_path / "low", {"woofer": WOOFER, "tweeter": TWEETER}, cards)
    path = folder / "speaker.toml"
    path.write_text(path.read_text().replace("level_db = 88\n", ""))
    lines = told(folder, "--frequency", "850", "--slope", "LR4")
    fits(lines)
    assert fact(lines, "STOP") == ""
    assert "say how loud you listen (level_db, distance_m under [listening])" in fact(lines, "caution")


def test_many_stops_leave_room_for_themselves_and_nothing_that_matters_less(tmp_path):
    cards = "* t\nL1 in w 1.0mH\nXlow w 0 woofer\nC1 in t 4.7uF\nXhigh t 0 tweeter\n"
    folder = write_folder(tmp_path / "low", {"woofer": WOOFER, "tweeter": TWEETER}, cards)
    path = folder / "speaker.toml"
    text = path.read_text().replace("level_db = 88", "level_db = 104")
    path.write_text(text.replace("minimum_load_ohm = 2.5", "minimum_load_ohm = 16\nbridged = true"))
    asked = (folder, "--slope", "B1", "--frequency", "1k")
    lines, found = told(*asked), json.loads("\n".join(told(*asked, "--json")))
    fits(lines)
    said = fact(lines, "STOP")
    stops = [f["brief"] for f in found["findings"] if f["severity"] == "stop"]
    assert len(stops) == 4
    assert all(" ".join(stop.split()) in said for stop in stops)
    assert [f["where"] for f in found["stops"]] == ["found"]  # the load, of the speaker as it is
    assert all(f["text"] in said for f in found["stops"])
    assert fact(lines, "wiring")
    assert fact(lines, "next") == "ask again with a corner of 3.6 kHz or more (--frequency)"  # four times 900 Hz


@pytest.mark.parametrize(("limit", "severity"), [(7.5, "caution"), (12, "stop")])
def test_a_low_load_of_a_datasheet_is_a_doubt_until_no_error_explains_it(tmp_path, limit, severity):
    """5 ohm of a datasheet against 7.5: with the 20 % that a driver may be off it would be on the edge only."""
    (tmp_path / "found.cir").write_text("* t\nL1 in w 1mH\nXlow w 0 woofer\nC1 in t 8.2uF\nXhigh t 0 tweeter\n")
    sheet = "[drivers.{}.datasheet]\nre_ohm = {}\nfs_hz = {}\nqms = 3\nqes = 0.7\nle_mh = 0.05\n"
    toml = sheet.format("woofer", 12.5, 50) + sheet.format("tweeter", 5, 1000)
    toml += f'[amplifier]\nminimum_load_ohm = {limit}\n[networks.found]\ncircuit = "found.cir"\n'
    (tmp_path / "speaker.toml").write_text(toml)
    lines, found = (
        told(tmp_path, "--frequency", "4k"),
        json.loads("\n".join(told(tmp_path, "--frequency", "4k", "--json"))),
    )
    fits(lines)
    assert fact(lines, "safe?").startswith("perhaps: " if severity == "caution" else "no: load of tweeter")
    assert fact(lines, "sum") == ""
    load = next(f for f in found["findings"] if f["about"] == "load of tweeter")
    assert load["severity"] == severity
    assert ("measure the impedance of tweeter" in load["text"]) == (severity == "caution")


@pytest.mark.parametrize(("slope", "corner"), [("LR4", 1800.0), ("B1", 3600.0)])
def test_an_assumed_corner_stays_clear_of_the_tweeters_resonance(tmp_path, slope, corner):
    """The network crosses near the tweeter's resonance of 900 Hz: twice that is assumed, with the first order four."""
    cards = "* t\nL1 in w 4mH\nXlow w 0 woofer\nC1 in t 100uF\nR1 in t 40\nXhigh t 0 tweeter\n"
    folder = write_folder(tmp_path / "low", {"woofer": WOOFER, "tweeter": TWEETER}, cards)
    found = json.loads("\n".join(told(folder, "--slope", slope, "--json")))
    assert found["crossover"]["frequency_hz"] == pytest.approx([corner], rel=0.02)
    assert found["crossover"]["assumed"]
    asked = json.loads("\n".join(told(folder, "--slope", slope, "--frequency", "1k", "--json")))
    assert asked["crossover"]["frequency_hz"] == [1000.0]  # what is asked for is answered as it is
