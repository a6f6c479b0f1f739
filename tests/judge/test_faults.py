"""What is dead, shorted, open, missing or turned round is named, with what to do; what has only aged is not."""

import shutil
from pathlib import Path

import pytest
from invented_speaker import GOOD

from xover.curve import log_grid
from xover.judge.faults import faults, worn
from xover.judge.kinds import Fault
from xover.parts.catalogue import Catalogue
from xover.rules.severity import Severity
from xover.rules.triage import Rung
from xover.speaker import open_speaker
from xover.studies.change.decide.study import study_decide
from xover.studies.desk.check.study import study_check

EXAMPLES = Path(__file__).parents[2] / "examples"
GRID = log_grid(20.0, 20_000.0, 24)

FOURTH = GOOD.replace("Xhigh 0 t", "Xhigh t 0")


def told(speaker):
    return {(f.fault, f.part or f.driver): f for f in faults(speaker, "found", "original")}


@pytest.mark.parametrize(
    ("old", "new", "fault", "part"),
    [
        ("C1 in t 4.7uF esr=0.2", "R9 in t 0.05", Fault.PART_SHORTED, "C1"),
        ("C1 in t 4.7uF", "C1 in t 60uF", Fault.PART_SHORTED, "C1"),
        ("C1 in t 4.7uF esr=0.2", "C1 in t 4.7uF esr=0.2\nR9 in t 0.02", Fault.PART_SHORTED, "C1"),
        ("C1 in t 4.7uF", "C1 in t 0.3uF", Fault.PART_OPEN, "C1"),
        ("L2 t 0 0.3mH", "L2 t 0 0.02mH", Fault.PART_SHORTED, "L2"),
        ("L2 t 0 0.3mH dcr=0.4\n", "", Fault.PART_MISSING, "L2"),
    ],
)
def test_each_dead_part_is_named_with_its_good_value(folder, old, new, fault, part):
    assert old in GOOD
    found = told(folder(GOOD.replace(old, new), GOOD))
    assert (fault, part) in found
    finding = found[fault, part]
    assert finding.severity is Severity.CAUTION
    good = {"C1": "4.7 uF", "L2": "0.3 mH"}[part]
    assert good in finding.remedy
    assert part in finding.remedy


def test_a_burnt_and_a_bridged_resistor(folder):
    padded = GOOD.replace("C1 in t", "R1 in p 3.3\nC1 p t")
    assert (Fault.PART_OPEN, "R1") in told(folder(padded.replace("3.3", "2000"), padded))
    assert (Fault.PART_SHORTED, "R1") in told(folder(padded.replace("3.3", "0.1"), padded))
    assert told(folder(padded.replace("3.3", "4.2"), padded)) == {}


def test_what_has_aged_or_goes_by_another_name_is_no_fault(folder):
    aged = GOOD.replace("4.7uF esr=0.2", "2.4uF esr=3").replace("L1 in w 1mH", "Lx in w 1.1mH")
    assert told(folder(aged, GOOD)) == {}


def test_a_part_that_does_nothing_is_not_missed(folder):
    assert told(folder(GOOD, GOOD.replace(".end", "R8 in 0 1000\n.end"))) == {}


@pytest.mark.parametrize(("ohm", "fault"), [(50e3, Fault.DEAD_OPEN), (0.1, Fault.DEAD_SHORTED)])
def test_a_dead_driver_is_named_with_and_without_an_original(folder, ohm, fault):
    speaker = folder(GOOD, GOOD, dead=ohm)
    for original in ("original", None):
        (finding,) = faults(speaker, "found", original)
        assert (finding.fault, finding.driver) == (fault, "tweeter")
        assert "find another tweeter" in finding.remedy


def test_a_driver_that_gets_nothing(folder):
    found = told(folder(GOOD.replace("L2 t 0 0.3mH dcr=0.4", "L2 t 0 0.3mH dcr=0.4\nR7 t 0 0.01"), GOOD))
    assert (Fault.NO_SIGNAL, "tweeter") in found
    assert found[Fault.NO_SIGNAL, "tweeter"].facts["drop_db"] > 40


def test_turned_wires_are_told_against_the_original_with_what_the_sum_gains(folder):
    found = told(folder(FOURTH, GOOD))
    assert list(found) == [(Fault.SWAPPED, "tweeter")]
    finding = found[Fault.SWAPPED, "tweeter"]
    assert finding.facts["gain_db"] > 6
    assert finding.severity is Severity.CAUTION
    assert finding.remedy.startswith("swap the two wires at tweeter")


def test_turned_wires_that_better_the_sum_are_a_note(folder):
    (finding,) = faults(folder(GOOD, FOURTH), "found", "original")
    assert (finding.fault, finding.severity) == (Fault.SWAPPED, Severity.NOTE)
    assert finding.facts["gain_db"] < -6


def test_a_design_that_is_better_turned_is_no_fault(folder):
    assert told(folder(FOURTH, FOURTH)) == {}


def test_check_tells_turned_wires_once_and_the_design_s_own_as_such(folder):
    def polarity(found, original):
        said = study_check(folder(found, original)).findings
        return [(f.fault, f.where) for f in said if f.fault in (Fault.POLARITY, Fault.SWAPPED)], said

    assert polarity(FOURTH, GOOD)[0] == [(Fault.SWAPPED, "found")]
    told, said = polarity(FOURTH, FOURTH)
    assert told == [(Fault.POLARITY, "found, original")]
    assert any("the design's own polarity" in f.text for f in said)


def test_a_board_that_was_drawn_anew_has_no_missing_parts(folder):
    names = {"L1": "LA", "C1": "CA", "L2": "LB", " w ": " bass ", " t ": " top "}
    again = GOOD
    for old, new in names.items():
        again = again.replace(old, new)
    assert told(folder(again, GOOD)) == {}


def test_the_whole_speaker_turned_is_one_note(folder):
    (finding,) = faults(folder(FOURTH.replace("w 0", "0 w"), GOOD), "found", "original")
    assert (finding.fault, finding.severity) == (Fault.ALL_SWAPPED, Severity.NOTE)


def test_a_driver_of_one_network_only_is_named(folder):
    found = told(folder(GOOD.replace("Xhigh 0 t tweeter\n", ""), GOOD))
    assert (Fault.NO_DRIVER, "tweeter") in found


def test_an_aged_capacitor_with_turned_wires_is_still_seen(folder):
    found = told(folder(FOURTH.replace("4.7uF esr=0.2", "2.8uF esr=2"), GOOD))
    assert list(found) == [(Fault.SWAPPED, "tweeter")]


@pytest.mark.parametrize("name", ["attic-two-way/left", "attic-two-way/right", "studio-three-way", "hall-horn-two-way"])
def test_the_examples_have_aged_only(name):
    assert faults(open_speaker(f"examples/{name}"), "found", "original") == ()


@pytest.mark.parametrize(("name", "moved_db"), [("attic-two-way/left", 2.48), ("hall-horn-two-way", 3.23)])
def test_what_age_has_done_is_a_note_of_check(name, moved_db):
    """The figures are those of the first row of `refresh`: a board as it is now against its original."""
    speaker = open_speaker(EXAMPLES / name)
    (note,) = worn(speaker, "found", "original")
    assert note.facts["moved_db"] == pytest.approx(moved_db, abs=0.02)
    assert note.severity is Severity.NOTE
    assert note.text in {f.text for f in study_check(speaker).findings}
    assert list(worn(speaker, "original", "original")) == []


def test_a_fault_of_the_other_speaker_is_told_and_makes_no_driver_odd(tmp_path):
    shutil.copytree(EXAMPLES / "attic-two-way", tmp_path / "attic")
    right = tmp_path / "attic" / "right"
    board = (right / "found.cir").read_text()
    (right / "found.cir").write_text(board.replace("Xhigh p  0   tweeter", "Xhigh 0  p   tweeter"))
    assert (right / "found.cir").read_text() != board
    left = open_speaker(right.parent / "left")
    told = study_decide(left, Catalogue(None), mate=right, options=("refresh", "driver"), frequency_hz=GRID)
    assert any("the other speaker" in reason and "tweeter" in reason for reason in told.reasons)
    assert not told.options[Rung.DRIVER].available
