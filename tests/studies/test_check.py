"""`check` finds each fault that it promises to find, with its severity, and stays silent where nothing is wrong."""

from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.judge.kinds import Fault
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.desk.check.study import study_check

EXAMPLES = Path(__file__).parents[2] / "examples"
WOOFER = "re_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\nle_mh = 0.5\nsensitivity_db = 88\n"
TWEETER = "re_ohm = 5\nfs_hz = 1000\nqms = 2\nqes = 1\nle_mh = 0.03\nsensitivity_db = 90\n"
GOOD = "* good\nL1 in w 1mH dcr=0.3\nXlow w 0 woofer\nC1 in t 4u7 esr=0.2\nL2 t 0 0.3mH dcr=0.4\nXhigh 0 t tweeter\n"
F = log_grid(10.0, 20e3, 24)


def sweep(re=6.0, fs=50.0, qms=4.0, qes=0.5, le=0.5e-3, f=F):
    x = f / fs
    return re + 2j * np.pi * f * le + re * qms / qes / (1 + 1j * qms * (x - 1 / x))


def rows(f, z):
    return "Hz, ohm, deg\n" + "".join(
        f"{a:.8g}, {abs(b):.6g}, {np.degrees(np.angle(b)):.5f}\n" for a, b in zip(f, z, strict=True)
    )


def study(tmp_path, cir=GOOD, woofer="", tweeter="", more="", tables=None, place="[0, -150, -20]"):
    for name, text in (tables or {}).items():
        (tmp_path / name).write_text(text)
    (tmp_path / "found.cir").write_text(cir)
    (tmp_path / "speaker.toml").write_text(
        f'title = "t"\n[drivers.woofer]\nphase = "minimum"\nposition_mm = {place}\n{woofer}\n'
        f'[drivers.tweeter]\nphase = "minimum"\nposition_mm = [0, 0, 0]\n{tweeter}\n'
        f"[drivers.woofer.datasheet]\n{WOOFER}\n[drivers.tweeter.datasheet]\n{TWEETER}\n"
        f'[networks.found]\ncircuit = "found.cir"\n{more}'
    )
    return study_check(open_speaker(tmp_path))


def found(result, severity):
    return [f.text for f in result.findings if f.severity == severity]


def says(result, severity, *words):
    return any(all(w in text for w in words) for text in found(result, severity))


def test_a_sound_folder_has_no_stop_and_no_warning(tmp_path):
    result = study(tmp_path, more="[amplifier]\nminimum_load_ohm = 4\n")
    assert found(result, "stop") == []
    assert found(result, "caution") == []
    assert says(result, "note", "tweeter", "reversed")
    assert says(result, "note", "datasheet")


def unsound(result):
    return [f for f in result.findings if f.fault is Fault.UNSOUND]


OTHER = {"w.csv": rows(F, sweep(re=7.4, fs=30.0, qms=6.0, qes=0.7))}
"""Re 23 % above the datasheet's, and 1.9 times its moving mass over pull, Qes/(fs Re): another driver's."""


def test_a_driver_that_is_not_the_datasheets_is_named(tmp_path):
    (finding,) = unsound(study(tmp_path, woofer='impedance = "w.csv"', tables=OTHER))
    assert finding.where == "woofer"
    assert "was replaced" in finding.text
    assert finding.severity == "caution"


def test_a_templates_values_are_no_datasheet(tmp_path):
    made = study(tmp_path, woofer='impedance = "w.csv"', tables=OTHER)
    text = (tmp_path / "speaker.toml").read_text()
    sheet = "[drivers.woofer.datasheet]\n"
    (tmp_path / "speaker.toml").write_text(text.replace(sheet, sheet + 'instrument = "placeholder"\n'))
    assert unsound(made)
    assert not unsound(study_check(open_speaker(tmp_path)))


def test_left_and_right_are_held_against_each_other():
    """The example's right woofer is another driver; which of the two was replaced, two sweeps do not tell."""
    left, right = (open_speaker(EXAMPLES / "attic-two-way" / side) for side in ("left", "right"))
    assert not unsound(study_check(right))
    checked = study_check(right, left)
    (finding,) = unsound(checked)
    assert finding.where == "woofer"
    assert "one of the two was replaced" in finding.text
    assert set(checked.plain()["health"]) == {"woofer", "tweeter"}


def test_a_sweep_without_phase_tells_its_peak_alone(tmp_path):
    magnitude = "Hz, ohm\n" + "".join(f"{f:.8g}, {abs(z):.6g}\n" for f, z in zip(F, sweep(), strict=True))
    health = study(tmp_path, woofer='impedance = "w.csv"', tables={"w.csv": magnitude}).health["woofer"]
    assert health.fs_hz == pytest.approx(50.0, rel=0.02)
    assert np.isnan(health.held[0].ratios.mass)


def test_tweeter_without_capacitor_is_a_stop(tmp_path):
    result = study(tmp_path, GOOD.replace("C1 in t 4u7 esr=0.2\nL2 t 0 0.3mH dcr=0.4", "R1 in t 2.2"))
    assert says(result, "stop", "tweeter", "no capacitor")
    assert result.findings[0].severity == "stop"


def test_woofer_without_a_path_for_dc(tmp_path):
    result = study(tmp_path, GOOD.replace("L1 in w 1mH dcr=0.3", "L1 in q 1mH\nC9 q w 200uF"))
    assert says(result, "caution", "woofer", "no path for DC")


def test_coil_across_a_tweeter_in_series_is_no_stop(tmp_path):
    series = "* s\nXlow in m woofer\nC1 in m 20uF\nXhigh m 0 tweeter\nL1 m 0 0.5mH dcr=0.2\n"
    result = study(tmp_path, series)
    assert found(result, "stop") == []
    assert says(result, "note", "tweeter", "coil across it")


def test_node_with_one_connection_and_section_without_driver(tmp_path):
    result = study(tmp_path, GOOD + "R7 w q 5\nC8 in k 10uF\nR8 k 0 8\n")
    assert says(result, "caution", "node q has one connection", "R7")
    assert says(result, "caution", "C8, R8", "never reach a driver")


def test_driver_without_resonance(tmp_path):
    z = 6 + 2j * np.pi * F * 0.5e-3
    result = study(tmp_path, woofer='impedance = "w.csv"', tables={"w.csv": rows(F, z)})
    assert says(result, "caution", "resonance")


def test_dc_resistance_that_contradicts_the_sweep(tmp_path):
    table = {"w.csv": rows(F, sweep())}
    assert says(
        study(tmp_path, woofer='impedance = "w.csv"\nre_ohm = 8', tables=table), "caution", "both cannot be true"
    )
    assert says(study(tmp_path, woofer='impedance = "w.csv"\nre_ohm = 3', tables=table), "caution", "far below")
    agrees = study(tmp_path, woofer='impedance = "w.csv"\nre_ohm = 5.9', tables=table)
    assert not says(agrees, "caution", "DC resistance")


def test_response_and_impedance_that_do_not_overlap(tmp_path):
    high = log_grid(1000.0, 20e3, 24)
    low = log_grid(20.0, 500.0, 24)
    tables = {
        "w.csv": rows(high, sweep(f=high)),
        "r.csv": "Hz, dB\n" + "".join(f"{f:.6g}, {88 + 0.01 * n:.3f}\n" for n, f in enumerate(low)),
    }
    result = study(tmp_path, woofer='impedance = "w.csv"\nresponse = "r.csv"', tables=tables)
    assert says(result, "caution", "do not overlap")
    assert says(result, "note", "known from 1 kHz to 20 kHz only")


def test_polarity(tmp_path):
    """Of a network's two polarities, the one that adds up worse round the crossover is pointed at, the other not."""
    lr2 = (
        "* LR2 at 4 kHz into 6 and 5 ohm\nL1 in w 0.48mH\nC2 w 0 3.3uF\nXlow w 0 woofer\n"
        "C1 in t 4uF\nL2 t 0 0.4mH\nXhigh {} tweeter\n"
    )
    level, warned = {}, {}
    for wiring in ("t 0", "0 t"):
        warned[wiring] = says(study(tmp_path, lr2.format(wiring), place="[0, 0, 0]"), "note", "polarity")
        sound = predict(open_speaker(tmp_path), "found", F)
        level[wiring] = sound.total.level_db[np.argmin(abs(F - sound.crossovers[0].frequency_hz))]
    worse = min(level, key=level.get)
    assert abs(level["t 0"] - level["0 t"]) > 3.0
    assert warned == {worse: True, next(w for w in warned if w != worse): False}


def test_bridged_channels_that_share_their_minus(tmp_path):
    cir = "* bi\nVbass lo 0\nVtreble hi 0\nXlow lo 0 woofer\nC1 hi t 20uF\nXhigh t 0 tweeter\n"
    result = study(tmp_path, cir, more="[amplifier]\nbridged = true\nminimum_load_ohm = 4\n")
    assert says(result, "stop", "bass and treble", "bridged")
    result = study(tmp_path, cir)
    assert says(result, "caution", "bass and treble share their minus")
    result = study(tmp_path, cir, more="[amplifier]\nbridged = false\n")
    assert not any("share their minus" in f.text for f in result.findings)
    apart = cir.replace("hi 0", "hi hm").replace("t 0 tweeter", "t hm tweeter")
    result = study(tmp_path, apart, more="[amplifier]\nbridged = true\n")
    assert not any("share their minus" in f.text for f in result.findings)


def test_load_below_the_rating(tmp_path):
    result = study(tmp_path, more="[amplifier]\nminimum_load_ohm = 8\n")
    assert says(result, "stop", "too low", "8 ohm")
    result = study(tmp_path, more="[amplifier]\nminimum_load_ohm = 5\n")
    assert found(result, "stop") == []
    assert says(result, "caution", "5 ohm")


def test_parts_that_ask_for_care(tmp_path):
    cir = GOOD.replace("esr=0.2", "esr=0.2 kind=oil volts=25").replace(
        "L1 in w", "R9 in v kind=lamp cold=0.5 hot=8\nL1 v w"
    )
    result = study(tmp_path, cir, more="[amplifier]\nrated_power_w = 100\nrated_load_ohm = 8\nminimum_load_ohm = 4\n")
    assert says(result, "caution", "C1 is oil-filled", "PCB")
    assert says(result, "caution", "C1 bears", "over its rating of 25 V")
    assert says(result, "note", "R9 is a lamp")


def test_unused_driver_and_missing_network(tmp_path):
    result = study(tmp_path, "* one\nL1 in w 1mH\nXlow w 0 woofer\n")
    assert says(result, "note", "no network uses this driver")


def test_findings_are_sorted_by_severity(tmp_path):
    more = "[amplifier]\nminimum_load_ohm = 40\n"
    result = study(tmp_path, GOOD.replace("esr=0.2", "kind=oil") + "R7 w q 5\n", more=more)
    order = [["stop", "caution", "note"].index(f.severity) for f in result.findings]
    assert order == sorted(order)
    assert set(order) == {0, 1, 2}


@pytest.mark.parametrize("name", ["attic-two-way/left", "attic-two-way/right", "studio-three-way", "hall-horn-two-way"])
def test_examples_have_no_stop(name):
    from pathlib import Path

    result = study_check(open_speaker(Path(__file__).parents[2] / "examples" / name))
    assert result.stops == ()
    assert all(fit is not None and fit.relative_rms < 0.05 for fit in result.fits.values())
