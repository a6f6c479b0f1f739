"""What is unsafe is found with its figure, whoever asks; what rests on a guess near a limit is a doubt."""

import math
import time
from dataclasses import replace

import numpy as np
import pytest
from invented_speaker import GOOD

from xover.amplifier.demand import voltage_for_level
from xover.amplifier.programme import power_below
from xover.curve import log_grid
from xover.judge.kinds import Fault
from xover.judge.safety import hazards, stops
from xover.rules.severity import Severity
from xover.sound.load import channel_load
from xover.sound.prediction import sound_of
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import open_speaker

LOUD = "[listening]\nlevel_db = 98\ndistance_m = 3\n"
GRID = log_grid(20.0, 20e3, 48)
LOW_CORNER = GOOD.replace("4.7uF", "22uF").replace("0.3mH", "1.2mH")


def of(speaker, fault, **more):
    return [f for f in hazards(speaker, "found", speaker.network("found"), **more) if f.fault is fault]


def test_a_safe_network_has_neither_stop_nor_caution(folder):
    speaker = folder(more="[amplifier]\nminimum_load_ohm = 4\n[listening]\nlevel_db = 86\ndistance_m = 2.5\n")
    found = hazards(speaker, "found", speaker.network("found"))
    assert [f.text for f in found if f.severity is not Severity.NOTE] == []


def test_a_corner_at_the_resonance_is_a_stop_when_loud_and_says_how_much_quieter(folder):
    speaker = folder(LOW_CORNER, more=LOUD)
    (finding,) = of(speaker, Fault.BELOW_RESONANCE)
    assert finding.severity is Severity.STOP
    assert finding.sure
    assert finding.driver == "tweeter"
    # Worked out apart from the code: each row's cell of the programme's spectrum, times |V|^2 Re(1/Z).
    sound = sound_of(speaker, "found", GRID)
    level = 10 ** (sound.total.level_db[(GRID >= 200) & (GRID <= 4000)] / 10)
    volts = voltage_for_level(98, 10 * math.log10(float(level.mean())), 3)
    edges = np.concatenate([GRID[:1], np.sqrt(GRID[1:] * GRID[:-1]), GRID[-1:]])
    share = np.diff(power_below(edges))
    fs = driver_resonance_hz(speaker.drivers["tweeter"])
    z = speaker.drivers["tweeter"].impedance_ohm(GRID)
    watts = volts**2 * np.abs(sound.solution.drive["tweeter"]) ** 2 * (1 / z).real * share
    expected = float(watts[fs > GRID].sum())
    assert finding.facts["watts"] == pytest.approx(expected, rel=0.02)
    assert expected > 0.4
    quieter = math.ceil(10 * math.log10(finding.facts["watts"] / 0.1))
    assert finding.remedy == f"play {quieter} dB quieter, or move the corner up"
    softer = folder(LOW_CORNER, more=LOUD.replace("98", str(98 - quieter)))
    assert of(softer, Fault.BELOW_RESONANCE) == []


def test_the_design_gives_no_licence(folder):
    speaker = folder(LOW_CORNER, LOW_CORNER, more=LOUD)
    for name in ("found", "original"):
        assert [f.fault for f in stops(speaker, name, speaker.network(name))] == [Fault.BELOW_RESONANCE]


def test_between_the_limit_and_four_times_it_is_a_caution(folder):
    watts = of(folder(LOW_CORNER, more=LOUD), Fault.BELOW_RESONANCE)[0].facts["watts"]
    level = 98 - 10 * math.log10(watts / 0.2)
    (finding,) = of(folder(LOW_CORNER, more=LOUD.replace("98", f"{level:.3f}")), Fault.BELOW_RESONANCE)
    assert finding.severity is Severity.CAUTION
    assert finding.facts["watts"] == pytest.approx(0.2, rel=1e-3)


def test_without_a_listening_level_a_low_corner_asks_for_it(folder):
    (finding,) = of(folder(LOW_CORNER), Fault.NEAR_RESONANCE)
    assert finding.severity is Severity.CAUTION
    assert "level_db" in finding.remedy
    assert of(folder(), Fault.NEAR_RESONANCE) == []


def test_a_guessed_tweeter_just_past_the_limit_is_a_doubt_and_far_past_it_a_stop(folder):
    sheets = ("woofer", "tweeter")
    far = of(folder(LOW_CORNER, more=LOUD.replace("98", "110"), sheets=sheets), Fault.BELOW_RESONANCE)[0]
    assert far.severity is Severity.STOP
    assert far.sure
    level = 110 - 10 * math.log10(far.facts["watts"] / (0.4 * 1.006))
    (near,) = of(folder(LOW_CORNER, more=LOUD.replace("98", f"{level:.4f}"), sheets=sheets), Fault.BELOW_RESONANCE)
    assert near.facts["watts"] == pytest.approx(0.4 * 1.006, rel=1e-3)
    assert near.severity is Severity.CAUTION
    assert not near.sure
    assert near.remedy.startswith("measure the impedance of tweeter and the response of woofer, tweeter to be sure")
    # Measured, the same share past the limit is what it is.
    watts = of(folder(LOW_CORNER, more=LOUD), Fault.BELOW_RESONANCE)[0].facts["watts"]
    level = 98 - 10 * math.log10(watts / (0.4 * 1.006))
    (sure,) = of(folder(LOW_CORNER, more=LOUD.replace("98", f"{level:.4f}")), Fault.BELOW_RESONANCE)
    assert sure.severity is Severity.STOP
    assert sure.sure


@pytest.mark.parametrize("measured", [True, False])
def test_a_load_a_hair_too_low_is_a_stop_where_measured_and_a_doubt_where_guessed(folder, measured):
    sheets = () if measured else ("woofer", "tweeter")
    speaker = folder(sheets=sheets)
    lowest = channel_load(speaker, sound_of(speaker, "found", GRID).solution, "in").minimum_ohm
    limit = lowest / 0.8 * 1.006
    (finding,) = of(folder(sheets=sheets, more=f"[amplifier]\nminimum_load_ohm = {limit!r}\n"), Fault.LOW_LOAD)
    assert finding.facts["lowest_ohm"] == pytest.approx(lowest, rel=1e-6)
    assert finding.sure is measured
    assert finding.severity is (Severity.STOP if measured else Severity.CAUTION)
    assert ("measure the impedance of woofer, tweeter" in finding.remedy) is not measured
    # A third too low is too low whatever the datasheet is worth.
    (finding,) = of(folder(sheets=sheets, more=f"[amplifier]\nminimum_load_ohm = {1.4 * limit!r}\n"), Fault.LOW_LOAD)
    assert finding.severity is Severity.STOP
    assert finding.sure


def test_within_the_dip_of_the_standard_is_a_caution(folder):
    speaker = folder()
    lowest = channel_load(speaker, sound_of(speaker, "found", GRID).solution, "in").minimum_ohm
    (finding,) = of(folder(more=f"[amplifier]\nminimum_load_ohm = {lowest * 1.1!r}\n"), Fault.LOW_LOAD)
    assert finding.severity is Severity.CAUTION
    assert of(folder(more=f"[amplifier]\nminimum_load_ohm = {lowest * 0.999!r}\n"), Fault.LOW_LOAD) == []


def test_ratings_go_by_the_stress_alone(folder):
    amplifier = "[amplifier]\nrated_power_w = 100\nrated_load_ohm = 8\n"
    padded = GOOD.replace("C1 in t 4.7uF", "R1 in p 4 watts={}\nC1 p t 4.7uF volts={}")

    def told(watts, volts, more=amplifier):
        speaker = folder(padded.format(watts, volts), more=more)
        return {f.part: f for f in hazards(speaker, "found", speaker.network("found")) if "rating" in f.facts}

    assert told(100, 400) == {}
    bears = told(100, 20)["C1"]
    assert (bears.fault, bears.severity) == (Fault.OVER_RATING, Severity.CAUTION)
    thin = told(100, 45)["C1"]  # it bears some 42 V, and is to have 1.3 times that
    assert (thin.fault, thin.severity) == (Fault.THIN_RATING, Severity.NOTE)
    hot = told(1, 400, amplifier.replace("100", "200"))["R1"]
    assert (hot.fault, hot.severity) == (Fault.OVER_RATING, Severity.CAUTION)
    burns = told(1, 400, amplifier + "[listening]\nlevel_db = 98\ndistance_m = 2\n")["R1"]
    assert (burns.fault, burns.severity, burns.sure) == (Fault.BURNS, Severity.STOP, True)
    without = told(1, 400, "[listening]\nlevel_db = 101\ndistance_m = 2\n")["R1"]
    assert (without.fault, without.severity) == (Fault.BURNS, Severity.STOP)


def test_an_unplugged_driver_is_worth_a_note_and_a_dead_one_a_caution(folder):
    more = "[amplifier]\nrated_power_w = 60\nrated_load_ohm = 8\nminimum_load_ohm = 4\n"
    rated = GOOD.replace("esr=0.2", "esr=0.2 volts=50")
    (note,) = of(folder(rated, more=more), Fault.OPEN_DRIVER)
    assert note.severity is Severity.NOTE
    assert "on C1, rated 50 V" in note.text
    assert of(folder(rated, more=more), Fault.OPEN_DRIVER, quick=True) == []
    (caution,) = of(folder(rated, more=more, dead=20e3), Fault.OPEN_DRIVER)
    assert caution.severity is Severity.CAUTION


def test_what_is_only_proposed_is_read_too(folder):
    speaker = folder(more=LOUD)
    network = speaker.network("found")
    assert stops(speaker, "proposed", network) == ()
    bare = replace(network, parts=tuple(p for p in network.parts if p.name != "C1")).pruned()
    bare = replace(bare, drivers=tuple(replace(d, minus="in") if d.name == "Xhigh" else d for d in bare.drivers))
    found = stops(speaker, "proposed", bare)
    assert Fault.BARE_TWEETER in [f.fault for f in found]
    assert {f.where for f in found} == {"proposed"}


def test_reading_the_stops_costs_little():
    speaker = open_speaker("examples/studio-three-way")
    network = speaker.network("found")
    sound = sound_of(speaker, "found", GRID)
    hazards(speaker, "found", network, sound=sound, quick=True)
    took = []
    for _ in range(3):
        start = time.perf_counter()
        hazards(speaker, "found", network, sound=sound, quick=True)
        took.append(time.perf_counter() - start)
    assert min(took) < 0.1
