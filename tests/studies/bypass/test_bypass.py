"""The whole study on resistors that play flat: every figure is known from the formulas of the textbooks."""

import json
import math

import numpy as np
import pytest

from xover.curve import log_grid
from xover.errors import InputError, OptionError
from xover.plain import to_plain
from xover.rules.severity import Severity
from xover.speaker import open_speaker
from xover.studies.change.bypass.power import trims
from xover.studies.change.bypass.study import study_bypass

BOTH = "* two\nXa in 0 woofer\nXb in 0 woofer\nR1 in t 8\nXhigh 0 t tweeter\n"
FIRST = "* first order\nL1 in w 0.8mH\nXlow w 0 woofer\nC1 in t 12.5uF\nXhigh t 0 tweeter\n"


def about(found, severity):
    return [f.about for f in found.findings if f.severity is severity]


def test_settings_undo_what_the_drivers_differ_in(study):
    found = study()
    assert found.crossover.corners_hz == (2500.0,)
    woofer, tweeter = found.reached.settings["woofer"], found.reached.settings["tweeter"]
    # The tweeter is 3 dB louder and 100 us late, and LR4 ways add up in phase (S. Linkwitz 1976, from memory).
    assert (woofer.gain_db, tweeter.gain_db) == (0.0, pytest.approx(-3.0, abs=0.01))
    assert (woofer.delay_s, tweeter.delay_s) == (pytest.approx(100e-6, rel=0.01), 0.0)
    assert (woofer.polarity, tweeter.polarity) == (1, 1)
    assert found.reached.band.rms_deviation_db < 0.01
    assert found.reached.crossovers[0].frequency_hz == pytest.approx(2500.0, rel=1e-3)
    assert found.reached.crossovers[0].null_depth_db > 40.0
    assert not any(s.bands for s in found.better.settings.values())  # nothing is left to mend


def test_second_order_ways_are_half_a_turn_apart(study):
    found = study(slope="LR2")
    assert {n: s.polarity for n, s in found.reached.settings.items()} == {"woofer": 1, "tweeter": -1}
    assert found.reached.band.rms_deviation_db < 0.01
    other = study({"slope": "B3", "corners_hz": (3000.0,)})
    assert other.reached.band.rms_deviation_db < 0.01  # flat either way round: all-pass
    assert other.crossover.source == "as asked for"


def test_the_twin_is_the_pad_and_its_polarity(study):
    found = study()
    woofer, tweeter = (found.channels[n] for n in ("woofer", "tweeter"))
    half_db = -20 * math.log10(2.0)  # 8 ohm in front of 8 ohm
    assert (woofer.twin.gain_db, woofer.twin.polarity, woofer.twin.bands) == (pytest.approx(0.0, abs=1e-3), 1, ())
    assert (tweeter.twin.gain_db, tweeter.twin.polarity, tweeter.twin.bands) == (
        pytest.approx(half_db, rel=1e-3),
        -1,
        (),
    )
    assert tweeter.twin.delay_s == woofer.twin.delay_s == 0.0
    assert tweeter.missing.pad_db == pytest.approx(half_db, rel=1e-3)
    assert tweeter.trim.twin_trim_db == pytest.approx(half_db, rel=1e-3)
    assert found.twin_sum.worst_db == pytest.approx(0.0, abs=1e-3)
    said = [f.text for f in found.findings if f.about == "tweeter"]
    assert any("the pad that took 6.0 dB off is gone" in text for text in said)


def test_loads_against_each_rating(study):
    fits = study(network=BOTH, limit=3.9, more="bridged = false")
    assert fits.channels["woofer"].load.reading.minimum_ohm == pytest.approx(4.0, rel=1e-4)
    assert fits.channels["tweeter"].load.reading.minimum_ohm == pytest.approx(8.0, rel=1e-4)
    assert fits.unbroken
    assert fits.verdict.startswith("yes, with the cautions")
    low = study(network=BOTH, limit=6, more="[bypass.channels.tweeter]\nminimum_load_ohm = 16")
    assert low.loads_broken == ("woofer", "tweeter")
    assert about(low, Severity.STOP) == ["load of woofer", "load of tweeter"]
    assert low.channels["tweeter"].load.rating_from == "[bypass.channels.tweeter]"
    assert not low.unbroken


def test_bridged_outputs_are_a_hard_stop(study):
    for found in (study(more="bridged = true"), study(limit=9, more="[bypass.channels.woofer]\nbridged = true")):
        assert about(found, Severity.STOP) == ["bridged outputs"]
        assert found.findings[0].severity is Severity.STOP
        assert "must touch no other minus" in found.findings[0].text
        assert found.verdict == "no: bridged outputs to be mended first"
        assert not found.unbroken
    assert found.loads_broken == ("woofer", "tweeter")  # 8 of 9 ohm: within the dip that the standard allows
    assert {"load of woofer", "load of tweeter"} <= set(about(found, Severity.CAUTION))
    said = study(network=BOTH, limit=3.9, more="bridged = false")
    assert "common minus" not in about(said, Severity.CAUTION)
    assert "common minus" in about(study(), Severity.CAUTION)


def test_what_burns_when_channels_are_swapped(study):
    found = study()
    # 90 dB at 2 m from a sum of 90 dB at 2.83 V and 1 m: 5.66 V.
    assert found.power.reference_v == pytest.approx(2 * 2.83, rel=1e-3)
    share = found.channels["woofer"].power.programme_share
    assert found.power.swapped_w == pytest.approx((2 * 2.83) ** 2 / 8 * share, rel=2e-3)
    assert found.power.swapped_peak_w == pytest.approx(10 * found.power.swapped_w, rel=1e-9)
    assert found.channels["woofer"].power.average_power_w == pytest.approx(found.power.swapped_w, rel=1e-9)
    # 10 dB of headroom on that average, against 50 W into 8 ohm.
    need = found.channels["woofer"].power
    assert need.power_w == pytest.approx(10 * need.average_power_w, rel=1e-9)
    assert need.margin_db == pytest.approx(10 * math.log10(50 / need.power_w), abs=1e-3)
    (text,) = [f.text for f in found.findings if f.about == "channels swapped"]
    assert f"{found.power.swapped_w:.2g} W" in text


def test_without_sound_the_twin_and_the_load_still_stand(study):
    found = study(levels=None)
    assert found.unknown[0].startswith(
        "the sum, the best gains, delays and bands, and watts: no response of woofer and"
    )
    assert (found.reached, found.better, found.twin_sum, found.passive, found.maps) == (None, None, None, None, ())
    assert found.channels["tweeter"].twin.gain_db == pytest.approx(-6.0206, abs=1e-3)
    assert found.channels["tweeter"].capacitor is not None
    assert math.isnan(found.channels["woofer"].power.power_w)
    plain = json.loads(json.dumps(to_plain(found), allow_nan=False))
    assert plain["channels"]["woofer"]["power_w"] is None
    assert plain["channels"]["woofer"]["minimum_load_ohm"] == pytest.approx(8.0, rel=1e-4)


def test_without_timing_gains_stand_and_delays_do_not(study):
    found = study(timing="unknown")
    assert any(text.startswith("delays: the phases were measured, but") for text in found.unknown)
    settings = found.reached.settings
    assert all(math.isnan(s.delay_s) for s in settings.values())
    assert settings["tweeter"].gain_db == pytest.approx(-3.0, abs=0.01)
    assert found.reached.band.rms_deviation_db < 0.01  # the best delay is there, whatever its number
    assert found.reached.nulls == ()


def test_amplifier_gains_are_taken_off_the_trims(study):
    found = study({"amplifier_gain_db": {"woofer": 26.0, "tweeter": 29.0}})
    trims_db = {n: c.trim.trim_db for n, c in found.channels.items()}
    assert trims_db == {"woofer": 0.0, "tweeter": pytest.approx(-6.0, abs=0.01)}  # 3 dB of driver, 3 dB of amplifier
    same = {"woofer": 0.0, "tweeter": -3.0}
    told = trims(("woofer", "tweeter"), same, same, {"woofer": -1.0, "tweeter": -2.0}, {"tweeter": 20.0})
    assert told["tweeter"].trim_db == -3.0  # what is not given is like the lowest that is
    assert (told["woofer"].twin_trim_db, told["tweeter"].twin_trim_db) == (0.0, -1.0)


def test_where_no_crossover_is_named_it_is_where_the_drivers_cross(make):
    # First-order ways cross at 1/(2 pi R C) = R/(2 pi L) = 1592 Hz (0.8 mH and 12.5 uF on 8 ohm).
    toml = make(FIRST, levels=(90.0, 90.0), late_s=0.0).file.path
    toml.write_text(toml.read_text().split("[bypass]")[0])
    found = study_bypass(open_speaker(toml), None, log_grid(20.0, 20e3, 12), with_map=False)
    assert (found.crossover.corners_hz, found.crossover.assumed) == ((1600.0,), True)
    assert any(text.startswith("what your crossover is set to") for text in found.unknown)
    kinds = {n: c.twin.bands[0].kind for n, c in found.channels.items()}
    assert kinds == {"woofer": "low_pass_1", "tweeter": "high_pass_1"}
    for channel in found.channels.values():
        assert channel.twin.bands[0].frequency_hz == pytest.approx(1591.5, rel=0.05)
        assert channel.twin.worst_db < 0.3


@pytest.mark.parametrize(
    ("named", "error", "text"),
    [
        ({"corners_hz": (500.0, 2500.0)}, OptionError, "2 corners"),
        ({"corners_hz": (5.0,)}, OptionError, "10 Hz to 20 kHz"),
        ({"slope": "LR9"}, OptionError, "LR9"),
        ({"amplifier_gain_db": {"tweter": 26.0}}, OptionError, "did you mean tweeter"),
        ({"amplifier_gain_db": {"woofer": 900.0}}, OptionError, "900"),
        ({"network_name": "orignal"}, OptionError, "original"),
    ],
)
def test_bad_options_are_named(make, named, error, text):
    with pytest.raises(error, match=text):
        study_bypass(make(), **named)


def test_bad_folders_are_named(make):
    with pytest.raises(InputError, match="nothing to split"):
        study_bypass(make("* one\nXlow in 0 woofer\n"))
    toml = make().file.path
    toml.write_text(toml.read_text().replace("frequency_hz = 2500", "frequency_hz = [400, 2500]"))
    with pytest.raises(InputError, match=r"frequency_hz has 2 corners for the channels woofer, tweeter") as caught:
        study_bypass(open_speaker(toml))
    assert caught.value.line is not None


def test_lobes_of_two_equal_sources(study):
    places = ("position_mm = [0, -75, 0]", "position_mm = [0, 75, 0]")
    found = study(levels=(90, 90), late_s=0.0, places=places)
    fitness = found.channels["woofer"].fitness
    # asin(lambda/(2 d)), 150 mm at 2500 Hz (Linkwitz 1976, from memory)
    assert fitness.ideal_null_deg == pytest.approx(math.degrees(math.asin(343 / 2500 / 0.3)), rel=1e-9)
    (null,) = found.reached.nulls
    assert null.above_deg == pytest.approx(fitness.ideal_null_deg, abs=1.5)  # 2 m away, and the pistons beam
    assert null.below_deg == pytest.approx(-fitness.ideal_null_deg, abs=1.5)
    assert np.isfinite(found.reached.total.level_db).all()
