"""The stress study on the examples and on folders made for the test; expected values by hand, or from another study."""

import json
import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from xover.amplifier.programme import Spectrum
from xover.amplifier.stress import RatingVerdict
from xover.curve import log_grid
from xover.errors import InputError, OptionError
from xover.plain import to_plain
from xover.speaker import open_speaker
from xover.studies.bears.stress.study import study_stress
from xover.studies.does.load.study import study_load

EXAMPLES = Path(__file__).parents[2] / "examples"
ATTIC = EXAMPLES / "attic-two-way" / "left"
GRID = log_grid(20.0, 20_000.0, 12)
SHEET = "[drivers.{0}.datasheet]\nre_ohm = {1}\nfs_hz = 50\nqms = 0.001\nqes = 0.5\nle_mh = 0\n"


@pytest.fixture(scope="module")
def attic():
    return open_speaker(ATTIC)


@pytest.fixture(scope="module")
def study(attic):
    return study_stress(attic, "found", GRID)


def folder(tmp_path, cards, extra="[amplifier]\nrated_power_w = 50\nrated_load_ohm = 4\n"):
    """A speaker of two drivers that are hardly more than their DC resistance: 8 and 4 ohm."""
    (tmp_path / "found.cir").write_text("* invented\n" + cards)
    toml = extra + SHEET.format("woofer", 8) + SHEET.format("tweeter", 4) + '[networks.found]\ncircuit = "found.cir"\n'
    (tmp_path / "speaker.toml").write_text(toml)
    return open_speaker(tmp_path)


def test_full_level_is_where_the_amplifier_clips(study):
    """60 W into 8 ohm: sqrt(2 60 8) = 30.98 V; at a crest factor of 4, 7.746 V rms."""
    full = study.full
    assert full.name == "rated"
    volts = full.channels["in"]
    assert volts.peak_v == pytest.approx(math.sqrt(960.0), rel=1e-12)
    assert volts.rms_v == pytest.approx(math.sqrt(960.0) / 4.0, rel=1e-12)
    assert full.crest == pytest.approx(4.0, rel=1e-12)
    assert "60 W into 8 ohm at its limit: peaks of 31.0 V, 7.75 V rms (crest factor 4, 12.0 dB)" in full.sentence
    assert full.stress.power_w == pytest.approx(full.stress.drawn_w, rel=1e-9)
    assert 5.0 < full.stress.power_w < 7.5  # 7.5 W into a plain 8 ohm
    # An old test rule gives a tweeter 1 % of the power; table II has 9 % above 3 kHz, before the pad takes its share.
    assert 0.01 < full.stress.of("tweeter").power_share < 0.06


def test_the_listening_level_is_that_of_the_load_study(attic, study):
    """The same volts as `load`, whose watts into the rated load are U^2/8; peaks are cut off at the amplifier's."""
    quiet = study.quiet
    need = study_load(attic, "found", GRID).listening
    assert quiet.channels["in"].rms_v ** 2 / 8.0 == pytest.approx(need.average_power_into_rated_w, rel=1e-9)
    assert need.voltage_peak_v > math.sqrt(960.0)
    assert quiet.channels["in"].peak_v == pytest.approx(math.sqrt(960.0), rel=1e-12)
    assert f"where the amplifier clips peaks of {need.voltage_peak_v:.1f} V" in quiet.sentence
    assert quiet.sound_level_db == pytest.approx(86.0, abs=1e-9)
    # Heat goes with the square of the rms; peaks are the same, as both end where the amplifier clips.
    ratio = (quiet.channels["in"].rms_v / study.full.channels["in"].rms_v) ** 2
    for one, other in zip(study.full.stress.elements, quiet.stress.elements, strict=True):
        assert other.power_w == pytest.approx(ratio * one.power_w, rel=1e-9)
        assert other.sine_voltage_peak_v == pytest.approx(one.sine_voltage_peak_v, rel=1e-9)
    assert study.full.sound_level_db == pytest.approx(86.0 - 10.0 * math.log10(ratio), abs=1e-9)


def test_a_quiet_wish_keeps_its_headroom(attic):
    """72 dB with 12 dB of headroom: crest sqrt 2 x 10^(12/20) = 5.63, far below the amplifier's peak."""
    table = attic.file.speaker.model_copy(
        update={"listening": attic.file.speaker.listening.model_copy(update={"level_db": 72.0})}
    )
    quiet = study_stress(replace(attic, file=replace(attic.file, speaker=table)), "found", GRID).quiet
    assert quiet.crest == pytest.approx(math.sqrt(2) * 10**0.6, rel=1e-9)
    assert "clips" not in quiet.sentence


def test_a_level_out_of_reach_is_left_out_and_told(attic):
    study = study_stress(attic, "found", GRID, power_w=2.0, load_ohm=8.0)
    assert study.quiet is None
    assert study.full.name == "given"
    assert "86 dB on average at 2.5 m asks for 6.59 V rms" in study.warnings[0]
    assert "which this amplifier does not reach: left out" in study.warnings[0]


def test_what_is_given_replaces_the_file(attic, study):
    """Four times the watts are twice the volts; a crest factor of 2 twice the rms; volts are taken as they are."""
    volts = study.full.channels["in"].rms_v
    assert study_stress(attic, "found", GRID, power_w=240.0).full.channels["in"].rms_v == pytest.approx(2 * volts)
    assert study_stress(attic, "found", GRID, power_w=60.0, load_ohm=2.0).full.channels["in"].rms_v == pytest.approx(
        volts / 2
    )
    clipped = study_stress(attic, "found", GRID, crest=2.0).full
    assert clipped.channels["in"].rms_v == pytest.approx(2 * volts)
    assert clipped.stress.of("R1").power_w == pytest.approx(4 * study.full.stress.of("R1").power_w, rel=1e-9)
    peak = study.full.stress.of("C2").sine_voltage_peak_v
    assert clipped.stress.of("C2").sine_voltage_peak_v == pytest.approx(peak, rel=1e-9)
    plain = study_stress(attic, "found", GRID, rms_v=3.0).full.channels["in"]
    assert (plain.rms_v, plain.peak_v) == (3.0, 12.0)


def test_pink_noise_heats_the_tweeter_more(attic, study):
    pink = study_stress(attic, "found", GRID, spectrum=Spectrum.PINK)
    assert pink.spectrum_words == "pink noise from 20 Hz to 20 kHz"
    # IEC table II has 8.8 % above 3 kHz, pink noise 27.5 %.
    assert 2.0 < pink.full.stress.of("tweeter").power_w / study.full.stress.of("tweeter").power_w < 4.5
    assert pink.outside_share == pytest.approx(0.0, abs=1e-12)


def test_ratings_against_the_cards(tmp_path):
    """50 W into 4 ohm: 20 V peak, 5 V rms. R1 before 4 ohm: 25/16 x 4 = 6.25 W; L1 before 8 ohm: 2.5 A."""
    cards = "L1 in w 2uH amps=2.4\nXlow w 0 woofer\nR1 in t 4 watts={}\nXhigh t 0 tweeter\n"
    for watts, verdict in ((13, RatingVerdict.ENOUGH), (12, RatingVerdict.THIN), (6, RatingVerdict.OVER)):
        study = study_stress(folder(tmp_path, cards.format(watts)), "found", GRID, crest=2.0)
        assert study.ratings["R1"].stress == pytest.approx(6.25, rel=0.01)
        assert study.ratings["R1"].verdict is verdict
        assert study.ratings["L1"].verdict is RatingVerdict.OVER
        named = [sentence.split()[0] for sentence in study.limits_broken]
        assert named == (["L1"] if verdict is RatingVerdict.ENOUGH else ["L1", "R1"])
    text = " ".join(study.cautions)
    assert "hot at this level: R1 (6.2 W)" in text
    assert "no full sine: at its worst frequency it passes the rating of R1 (R1: 12 W at" in text
    assert "coils with a core, or whose card names none: L1 2.5 A" in text
    assert "unplugged" not in text  # there is no capacitor
    assert "hearing" not in text  # and no sound is known


def test_cautions_only_where_they_apply(tmp_path):
    cards = "L1 in w 2uH core=air\nXlow w 0 woofer\nR1 in t 4 watts=20\nC1 t u 10uF\nXhigh u 0 tweeter\n"
    study = study_stress(folder(tmp_path, cards), "found", GRID)
    assert study.limits_broken == ()
    assert len(study.cautions) == 1
    assert "see 'xover load'" in study.cautions[0]


def test_the_heavier_level_is_judged():
    """On the studio speaker the wish drives the amplifier into clipping, and heats more than its clean full level."""
    study = study_stress(open_speaker(EXAMPLES / "studio-three-way"), "found", GRID)
    assert study.quiet.stress.power_w > study.full.stress.power_w
    assert study.ratings["R1"].stress == study.quiet.stress.of("R1").power_w
    assert "hearing protection" in study.cautions[-1]


BI_AMP = "Vbass lo 0\nVtreble hi 0\nXlow lo 0 woofer\nXhigh hi 0 tweeter\n"


def test_each_channel_at_its_own_rating(tmp_path):
    """Treble 8 W into 4 ohm: 8 V peak; bass has no rating of its own and falls back on the amplifier's 20 V."""
    extra = (
        "[amplifier]\nrated_power_w = 50\nrated_load_ohm = 4\n[bypass]\nfrequency_hz = 3000\n"
        "[bypass.channels.tweeter]\nrated_power_w = 8\nrated_load_ohm = 4\n"
        "[bypass.channels.woofer]\nrated_power_w = 100\n"
    )
    study = study_stress(folder(tmp_path, BI_AMP, extra), "found", GRID)
    volts = {name: v.peak_v for name, v in study.full.channels.items()}
    assert volts == {"bass": pytest.approx(20.0), "treble": pytest.approx(8.0)}
    assert study.full.stress.of("tweeter").power_w == pytest.approx(2.0**2 / 4.0, rel=0.01)
    assert study.full.stress.of("woofer").power_w == pytest.approx(5.0**2 / 8.0, rel=0.01)
    bass, treble = study.full.sentence.split("; treble: ")
    assert bass.startswith("bass: an amplifier of 50 W")
    assert "(that of [amplifier], as the channel's own rating is not whole)" in bass
    assert treble.startswith("an amplifier of 8 W into 4 ohm at its limit: ")
    assert any("no electronic crossover is in these figures" in w for w in study.warnings)
    assert study.quiet is None


def test_the_unknown_part_of_the_spectrum_is_told(tmp_path):
    """A tweeter measured from 1 kHz up: of the programme 30.58 % lies above that (IEC table II)."""
    shutil.copytree(ATTIC, tmp_path / "left")
    shutil.copy(ATTIC.parent / "original.cir", tmp_path)
    table = tmp_path / "left" / "tweeter-impedance.csv"
    rows = table.read_text().splitlines()
    kept = [row for row in rows if not row[:1].isdigit() or float(row.replace(";", ",").split(",")[0]) >= 1000.0]
    table.write_text("\n".join(kept) + "\n")
    study = study_stress(open_speaker(tmp_path / "left"), "found", GRID)
    tweeter = study.full.stress.of("tweeter")
    assert tweeter.known_share == pytest.approx(0.3058, abs=0.02)
    assert study.full.stress.of("woofer").known_share == pytest.approx(0.9985, abs=1e-4)
    assert tweeter.power_w == pytest.approx(0.209, rel=0.05)  # nearly all of it arrives up there anyway
    said = next(w for w in study.warnings if w.startswith("C2, L2, R1, R2, Xhigh: known only at frequencies with"))
    assert f"{tweeter.known_share:.0%} of the programme's power" in said


def test_lamps_are_taken_cold(tmp_path):
    study = study_stress(folder(tmp_path, "R1 in t kind=lamp cold=1 watts=1\nXhigh t 0 tweeter\n"), "found", GRID)
    assert "R1" not in study.ratings
    assert any(w.startswith("R1 is a lamp or resettable fuse taken cold (1 ohm)") for w in study.warnings)


def test_json(study):
    plain = to_plain(study)
    json.dumps(plain, allow_nan=False)
    assert plain["network"] == "found"
    assert plain["levels"].keys() == {"rated", "listening"}
    one = plain["levels"]["rated"]["elements"]["R1"]
    assert one["power_w"] == study.full.stress.of("R1").power_w
    assert len(one["band_power_w"]) == 31
    assert plain["summary"]["ratings"]["C2"]["verdict"] == "thin"
    assert plain["summary"]["limits_broken"] == list(study.limits_broken)
    assert plain["levels"]["rated"]["channels"]["in"]["rms_v"] == pytest.approx(7.746, abs=1e-3)


def test_refused(tmp_path, attic):
    without = folder(tmp_path, "Xlow in 0 woofer\n", "")
    with pytest.raises(InputError, match="does not say what amplifier drives channel in; add rated_power_w"):
        study_stress(without, "found", GRID)
    with pytest.raises(OptionError, match="60 W are given without their load; give load_ohm, as in 60W@8"):
        study_stress(without, "found", GRID, power_w=60.0)
    for crest in (0.5, 101.0, math.nan):
        with pytest.raises(OptionError, match="the crest factor is"):
            study_stress(attic, "found", GRID, crest=crest)
    with pytest.raises(OptionError, match="both watts and volts"):
        study_stress(attic, "found", GRID, power_w=1.0, rms_v=1.0)
    for bad in (0.0, -1.0, np.inf):
        with pytest.raises(OptionError, match="give volts above 0"):
            study_stress(attic, "found", GRID, rms_v=bad)
        with pytest.raises(OptionError, match="give both above 0"):
            study_stress(attic, "found", GRID, power_w=bad, load_ohm=8.0)
    wrong = folder(tmp_path, "L1 in w 1mH amps=many\nXlow w 0 woofer\n")
    with pytest.raises(InputError, match=r"found\.cir:2: L1, amps: 'many'"):
        study_stress(wrong, "found", GRID)
