"""What to do with whole folders of each kind of data. Criteria, rule and steps: test_decide_*.py."""

import itertools
import math
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.errors import OptionError
from xover.network import solve
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.plain import to_plain
from xover.rules.audibility import BUILT_DB
from xover.rules.triage import RULE, STEPS, Rung, Wants
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.change.bypass.channels import Wiring
from xover.studies.change.decide.bypassing import bypass_channels
from xover.studies.change.decide.criteria import Aspect, Verdict
from xover.studies.change.decide.option import Bar
from xover.studies.change.decide.study import study_decide
from xover.studies.desk.new.study import start_folder

EXAMPLES = Path(__file__).parents[2] / "examples"
PASS, MARGINAL, FAIL, UNKNOWN = Verdict.PASS, Verdict.MARGINAL, Verdict.FAIL, Verdict.UNKNOWN
GRID = log_grid(20.0, 20_000.0, 12)
SMALL_STOCK = """kind,value,tolerance,price,watts,volts,dcr_ohm,df,core
film,3.9uF,5%,3.0,,250,,0.0005,
film,4.7uF,5%,3.5,,250,,0.0005,
film,5.6uF,5%,4.0,,250,,0.0005,
film,6.8uF,5%,4.5,,250,,0.0005,
film,8.2uF,5%,5.0,,250,,0.0005,
film,22uF,5%,12.0,,250,,0.0005,
resistor,0.47,5%,0.5,10,,,,
resistor,1,5%,0.5,10,,,,
resistor,2.2,5%,0.5,10,,,,
resistor,5.6,5%,0.5,10,,,,
resistor,10,5%,0.5,10,,,,
resistor,15,5%,0.5,10,,,,
inductor,0.27mH,3%,5.0,,,0.3,,air
inductor,0.33mH,3%,5.5,,,0.38,,air
inductor,1.2mH,3%,9.0,,,0.45,,air
inductor,1.8mH,3%,12.0,,,0.5,,air
"""


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory):
    path = tmp_path_factory.mktemp("stock") / "small.csv"
    path.write_text(SMALL_STOCK)
    return Catalogue(open_stock(path))


QUICK = tuple(step for step in STEPS if step not in (Rung.REVALUE, Rung.REDESIGN))


def decide(folder, catalogue=None, options=QUICK, **more):
    """The answer without the searches, unless they are asked for."""
    return study_decide(open_speaker(folder), catalogue or Catalogue(), options=options, frequency_hz=GRID, **more)


@pytest.fixture(scope="module")
def left(catalogue):
    """A speaker with worn capacitors, all of it measured."""
    return decide(EXAMPLES / "attic-two-way" / "left", catalogue)


def test_worn_parts_are_renewed(left):
    assert (left.recommendation, left.picked.target, left.picked.said) == (Rung.REFRESH, Wants.VOICING, False)
    assert left.rests_on == ()
    new = left.options[Rung.REFRESH]
    before, after = (left.options[n].of(Aspect.VOICING).number for n in (Rung.LEAVE, Rung.REFRESH))
    # The README of the examples: the tweeter of the found board is 1.7 dB down.
    assert before == pytest.approx(1.7, abs=0.05)
    gain = new.gain(Wants.VOICING)
    assert gain.value_db == pytest.approx(before - after, abs=0.1)
    assert gain.uncertainty_db < 0.3  # both are on the same drivers
    assert f"{before:.1f} dB" in left.reasons[0]
    old = {p.name: p for p in left.options[Rung.LEAVE].network.parts}
    assert {"C1", "C2"} <= {p.name for p in new.network.parts if p != old.get(p.name)}


def test_what_there_is_to_want_decides(tmp_path):
    """The speaker whose woofer is a replacement: the old voicing is near enough, the sum is not even."""
    shutil.copytree(EXAMPLES / "attic-two-way", tmp_path / "attic")
    path = tmp_path / "attic" / "right" / "speaker.toml"
    text = path.read_text()
    rungs = {}
    for wants in ("voicing", "sound"):
        path.write_text(f'{text}\n[means]\nwants = "{wants}"\n')
        decision = decide(path.parent, Catalogue(open_stock(EXAMPLES / "stock.csv")))
        rungs[wants] = decision.recommendation
        assert (decision.picked.target, decision.picked.said) == (wants, True)
        shown = {n: decision.gain(o).value_db for n, o in decision.options.items()}
        assert math.isnan(shown[Rung.TRIM]) is (wants == "voicing")  # it is not there for the old voicing
    assert rungs["voicing"] == Rung.LEAVE
    assert rungs["sound"] != Rung.LEAVE


def test_money_bounds_what_is_bought_and_more_leaves_no_more_that_is_heard(tmp_path):
    folder = edited(tmp_path)
    path = folder / "speaker.toml"
    text, catalogue = path.read_text(), Catalogue(open_stock(EXAMPLES / "stock.csv"))
    steps = (Rung.LEAVE, Rung.REWIRE, Rung.TRIM, Rung.REFRESH)
    gained = []
    for money in (0, 8, 20, 60):
        path.write_text(f"{text}\n[means]\nmoney = {money}\n")
        decision = decide(folder, catalogue, steps)
        assert decision.picked.target == Wants.VOICING
        for name, option in decision.options.items():
            if option.available and option.parts:
                assert (decision.picked.bars[name] is Bar.MONEY) is (option.cost_for_pair > money), (name, money)
        assert decision.chosen.cost_for_pair <= money
        gained.append(decision.chosen.gain(Wants.VOICING).value_db)
        if money == 0:
            assert decision.recommendation == Rung.LEAVE
            assert any("over your money" in said for said in decision.reasons)
    assert gained[0] == 0.0 < gained[-1]
    # But for what a refresh leaves for the sake of fewer parts: what is within 0.3 dB as built is near enough to it.
    assert all(less <= more + BUILT_DB for less, more in itertools.pairwise(gained)), gained


def test_figures_of_what_is_there_are_those_of_the_speaker():
    folder = EXAMPLES / "attic-two-way" / "right"
    speaker = open_speaker(folder)
    leave = decide(folder, options=("leave",)).options[Rung.LEAVE]
    fine = np.geomspace(20.0, 20_000.0, 4000)
    network = speaker.network("found")
    z = solve(network, fine, speaker.impedances_ohm(network, fine)).impedance_ohm["in"]
    assert leave.of(Aspect.LOAD).value == pytest.approx(np.abs(z).min(), rel=1e-4)
    levels = {n: predict(speaker, n, GRID).total.level_db for n in ("found", "original")}
    band = (GRID >= 200.0) & (GRID <= 15_000.0)
    assert leave.of(Aspect.DEVIATION).value == pytest.approx(np.ptp(levels["found"][band]) / 2.0, abs=0.1)
    apart = np.abs(levels["found"] - levels["original"])[band].max()
    assert leave.of(Aspect.VOICING).value == pytest.approx(apart, abs=1e-9)
    assert 0.5 < apart < 1.0
    assert leave.of(Aspect.LOAD).limit == 4.0  # of speaker.toml
    # C2 is rated 50 V, and needs more with the usual margin.
    assert leave.of(Aspect.RATINGS).verdict is MARGINAL
    assert "C2" in leave.of(Aspect.RATINGS).note


def test_json_by_contract(left):
    plain = to_plain(left)
    assert plain["recommendation"] == "refresh"
    assert (plain["wants"], plain["rule"], plain["faults"]) == ("voicing", RULE, [])
    assert plain["next"].endswith("--take refresh --write refreshed")
    assert [o["name"] for o in plain["options"]] == [o["rung"] for o in plain["ladder"]] == [str(s) for s in STEPS]
    for option in plain["options"]:
        assert [c["name"] for c in option["criteria"]] == [str(a) for a in Aspect]
        for criterion in option["criteria"]:
            assert {"name", "value", "unit", "limit", "verdict"} <= set(criterion)
            assert criterion["verdict"] in {"pass", "marginal", "fail", "unknown"}
            if criterion["limit"] is not None:
                assert criterion["source"], criterion
    for step in plain["ladder"]:
        assert {"rung", "what", "gain_db", "uncertainty_db", "cost", "parts", "minutes", "undo", "bar"} <= set(step)
    by_name = {step["rung"]: step for step in plain["ladder"]}
    new = by_name["refresh"]
    assert new["bar"] == "none"
    assert new["cost"] == left.options[Rung.REFRESH].bill.cost_for_pair > 0
    assert new["parts"] == sum(line.quantity for line in left.options[Rung.REFRESH].bill.lines)
    assert ".end" in new["netlist"]
    assert by_name["redesign"]["bar"] == "no option"
    assert by_name["redesign"]["gain_db"] is None
    assert by_name["leave"]["netlist"] == ""


def test_the_same_seed_gives_the_same_answer(catalogue):
    folder = EXAMPLES / "attic-two-way" / "right"
    once, twice, other = (decide(folder, catalogue, ("leave",), seed=seed) for seed in (5, 5, 6))
    assert to_plain(once) == to_plain(twice)
    pair = [d.options[Rung.LEAVE].of(Aspect.PAIR).number for d in (once, other)]
    assert pair[0] != pair[1]
    assert pair[0] == pytest.approx(pair[1], rel=0.2)
    assert once.options[Rung.BYPASS].why_not == "not asked for"
    assert all(c.verdict is UNKNOWN for c in once.options[Rung.BYPASS].criteria)


def edited(tmp_path, *edits):
    """A copy of the left speaker with its speaker.toml edited."""
    folder = tmp_path / "attic"
    shutil.copytree(EXAMPLES / "attic-two-way", folder)
    path = folder / "left" / "speaker.toml"
    text = path.read_text(encoding="utf-8")
    for pattern, new in edits:
        changed = re.sub(pattern, new, text)
        assert changed != text, pattern
        text = changed
    path.write_text(text, encoding="utf-8")
    return folder / "left"


def without(table):
    return rf"(?ms)^\[{re.escape(table)}\].*?(?=^\[|\Z)", ""


NO_BYPASS = (without("bypass"), without("bypass.channels.woofer"), without("bypass.channels.tweeter"))
NO_RESPONSE = (r"(?m)^(response|phase) = .*\n", "")
SHEETS = (
    (r"(?m)^impedance(_evidence)? = .*\n", ""),
    (
        r"\[drivers\.tweeter\]",
        "[drivers.woofer.datasheet]\nre_ohm = 5.8\nfs_hz = 45\nqms = 3\nqes = 0.5\nle_mh = 0.6\nsensitivity_db = 88\n\n"
        "[drivers.tweeter.datasheet]\nre_ohm = 5.4\nfs_hz = 1000\nqms = 2\nqes = 1\nsensitivity_db = 91\n\n"
        "[drivers.tweeter]",
    ),
)


def test_without_acoustic_data_it_says_what_it_cannot_know(tmp_path, catalogue):
    decision = decide(edited(tmp_path, NO_RESPONSE), catalogue)
    assert "nothing is known of the sound of woofer and tweeter" in decision.rests_on[0]
    for name in (Rung.LEAVE, Rung.REFRESH, Rung.BYPASS):
        option = decision.options[name]
        for aspect in (Aspect.DEVIATION, Aspect.NULL, Aspect.TWEETER):
            assert option.of(aspect).verdict is UNKNOWN
            assert option.of(aspect).value is None
            assert option.of(aspect).note
        assert option.of(Aspect.EVIDENCE).value == "not known"
        assert not np.isfinite(option.level_db).any()
        assert option.of(Aspect.LOAD).verdict is PASS
        assert math.isnan(option.gain(Wants.SOUND).value_db) is (name is not Rung.LEAVE)
    for name in (Rung.REWIRE, Rung.TRIM):  # levels and polarities are heard in the sum alone
        assert decision.picked.bars[name] is Bar.NO_OPTION
    # Voltages need no response: the README of the examples tells of up to 2.5 dB on the woofer's drive.
    change = decision.options[Rung.LEAVE].of(Aspect.VOICING)
    assert change.value == pytest.approx(2.5, abs=0.05)
    assert "woofer" in change.note
    assert change.verdict is MARGINAL
    assert decision.recommendation == "refresh"
    assert "the voltage at a driver by 2.5 dB" in decision.reasons[0]


def test_datasheets_are_told_and_sums_of_flat_lines_get_no_verdict(tmp_path):
    decision = decide(edited(tmp_path, NO_RESPONSE, *SHEETS), options=("leave",))
    assert decision.rests_on[0] == "the response of woofer and tweeter is from an assumption"
    assert "the impedance of woofer and tweeter is from a datasheet" in decision.rests_on
    leave = decision.options[Rung.LEAVE]
    assert leave.of(Aspect.DEVIATION).verdict is UNKNOWN
    assert leave.of(Aspect.DEVIATION).value is not None
    assert leave.of(Aspect.EVIDENCE).value == "assumed"
    assert "drive of" in leave.of(Aspect.VOICING).note


def test_a_board_that_was_not_measured_gets_no_verdict(tmp_path):
    decision = decide(edited(tmp_path, without("networks.found")), options=("leave",))
    assert any("were not measured" in said for said in decision.rests_on)
    leave = decision.options[Rung.LEAVE]
    for aspect in (Aspect.NULL, Aspect.VOICING, Aspect.LOAD, Aspect.EPDR, Aspect.PAIR):
        assert leave.of(aspect).verdict is UNKNOWN, aspect
        assert leave.of(aspect).value is None
    assert "as marked" in leave.of(Aspect.LOAD).note
    assert not np.isfinite(leave.level_db).any()


def test_without_a_design_no_change_is_told_and_no_refresh_offered(tmp_path, catalogue):
    decision = decide(edited(tmp_path, without("networks.original")), catalogue, ("leave", "refresh"))
    assert decision.options[Rung.LEAVE].of(Aspect.VOICING).verdict is UNKNOWN
    assert "no network tells the design" in decision.options[Rung.REFRESH].why_not
    assert (decision.recommendation, decision.picked.target) == ("leave", "sound")
    assert any("how far age has moved it is not known" in said for said in decision.rests_on)


def test_without_amplifier_and_listening_level_limits_are_not_made_up(tmp_path):
    decision = decide(edited(tmp_path, without("amplifier"), without("listening"), *NO_BYPASS), options=("leave",))
    leave = decision.options[Rung.LEAVE]
    for aspect in (Aspect.LOAD, Aspect.EPDR, Aspect.RATINGS, Aspect.TWEETER):
        assert leave.of(aspect).verdict is UNKNOWN
        assert leave.of(aspect).limit is None or aspect is Aspect.TWEETER
    assert leave.of(Aspect.LOAD).value == pytest.approx(5.71, abs=0.01)
    said = " ".join(decision.unknown)
    for words in ("minimum_load_ohm", "rated_power_w", "level_db"):
        assert words in said


@pytest.mark.parametrize(
    ("edits", "more", "verdict", "note"),
    [
        (NO_BYPASS, "", UNKNOWN, "names no"),
        ((NO_BYPASS[2],), "", FAIL, "none is given for tweeter"),
        (NO_BYPASS, "[means]\nchannels = 4\n", PASS, "4 for the pair in [means]"),
        (NO_BYPASS, "[means]\nchannels = 3\n", FAIL, "3 for the pair in [means]"),
        (NO_BYPASS, "[means]\nmoney = 3\n", UNKNOWN, "names no"),
    ],
)
def test_a_bypass_needs_channels_that_are_given(tmp_path, edits, more, verdict, note):
    folder = edited(tmp_path, *edits, (r"\Z", f"\n{more} "))
    wirings = [Wiring(name, (name,), (name,), "alone", False) for name in ("woofer", "tweeter")]
    told = bypass_channels(open_speaker(folder), wirings)
    assert (told.value, told.verdict) == (2, verdict)
    assert note in told.note


def test_too_low_a_load_asks_for_another_amplifier(tmp_path):
    folder = edited(tmp_path, (r"minimum_load_ohm = 4\noutput", "minimum_load_ohm = 8\noutput"))
    decision = decide(folder, options=("leave", "amplifier"))
    load = decision.options[Rung.LEAVE].of(Aspect.LOAD)
    assert (load.verdict, load.limit) == (FAIL, 8.0)
    assert load.value < 6.4  # 80 % of 8 ohm
    assert decision.picked.bars[Rung.LEAVE] is Bar.LOAD
    assert decision.recommendation == "amplifier"
    assert math.isnan(decision.chosen.cost_for_pair)
    assert "5.7" in decision.answer
    assert decision.next == ""
    alone = decide(folder, options=("leave",))
    assert (alone.recommendation, alone.chosen, alone.clean) == ("mend", None, False)
    assert "do not play it so" in alone.answer


def test_a_tweeter_without_its_capacitor_is_a_stop(tmp_path):
    folder = edited(tmp_path)
    path = folder / "found.cir"
    text = path.read_text()
    path.write_text(re.sub(r"(?m)^C2 .*$", "R9    in t   1", re.sub(r"(?m)^L2 .*\n", "", text)))
    decision = decide(folder, options=("leave",))
    stops = decision.options[Rung.LEAVE].of(Aspect.STOPS)
    assert stops.verdict is FAIL
    assert "tweeter (Xhigh) has no capacitor" in stops.note
    assert decision.picked.bars[Rung.LEAVE] is Bar.UNSAFE
    assert decision.recommendation == "mend"
    assert any(f["driver"] == "tweeter" and f["remedy"] for f in to_plain(decision)["faults"] if "driver" in f)


def test_placeholders_get_no_verdict(tmp_path):
    start_folder(tmp_path / "new", "two-way-second-order")
    decision = decide(tmp_path / "new", options=STEPS)
    assert (decision.recommendation, decision.chosen, decision.clean) == ("none yet", None, False)
    assert set(decision.unready) == {"woofer", "tweeter"}
    assert len(decision.measure) == 3
    assert list(decision.options) == [Rung.LEAVE, Rung.BYPASS, Rung.REVALUE, Rung.REDESIGN]
    assert not decision.options[Rung.REDESIGN].available


def test_clean_means_nothing_marginal(left):
    chosen = left.chosen
    spotless = replace(chosen, criteria=tuple(replace(c, verdict=PASS) for c in chosen.criteria))
    assert replace(left, options={**left.options, chosen.name: spotless}).clean
    thin = replace(spotless, criteria=tuple(replace(c, verdict=MARGINAL) for c in chosen.criteria))
    assert not replace(left, options={**left.options, chosen.name: thin}).clean


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"options": ()}, "no step is left"),
        ({"found": "fuond"}, "did you mean found"),
        ({"original": "orignal"}, "did you mean original"),
    ],
)
def test_faults(given, words):
    speaker = open_speaker(EXAMPLES / "attic-two-way" / "left")
    with pytest.raises(OptionError, match=words):
        study_decide(speaker, Catalogue(), frequency_hz=GRID, **given)
