"""The whole way from a folder to the sum, against arithmetic done by hand on a network of first order."""

import json

import numpy as np
import pytest

from xover.curve import log_grid
from xover.plain import to_plain
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.does.load.study import study_load

TOML = """
title = "by hand"
timing = "unknown"
[drivers.woofer]
phase = "minimum"
position_mm = [0, -150, -30]
[drivers.woofer.datasheet]
re_ohm = 6
fs_hz = 50
qms = 4
qes = 0.5
le_mh = 0.5
sensitivity_db = 88
[drivers.tweeter]
phase = "minimum"
position_mm = [0, 0, 0]
[drivers.tweeter.datasheet]
re_ohm = 5
fs_hz = 1000
qms = 2
qes = 1
le_mh = 0.03
sensitivity_db = 91
[networks.found]
circuit = "found.cir"
"""
CIR = "* first order\nL1 in w 0.5mH dcr=0.3\nXlow w 0 woofer\nC1 in t 6u8 esr=0.2\nXhigh 0 t tweeter\n"
F = log_grid(20.0, 20e3, 24)
W = 2 * np.pi * F


def folder(tmp_path, toml=TOML, cir=CIR):
    (tmp_path / "speaker.toml").write_text(toml)
    (tmp_path / "found.cir").write_text(cir)
    return open_speaker(tmp_path)


def thiele_small(re, fs, qms, qes, le):
    x = F / fs
    return re + 1j * W * le + re * qms / qes / (1 + 1j * qms * (x - 1 / x))


def high_pass(fs, qms, qes):
    qts = qms * qes / (qms + qes)
    s = 1j * F / fs
    return s**2 / (s**2 + s / qts + 1)


def by_hand():
    zw, zt = thiele_small(6, 50, 4, 0.5, 0.5e-3), thiele_small(5, 1000, 2, 1, 0.03e-3)
    za, zb = 0.3 + 1j * W * 0.5e-3, 0.2 + 1 / (1j * W * 6.8e-6)
    drive = {"woofer": zw / (zw + za), "tweeter": -zt / (zt + zb)}
    z = 1 / (1 / (zw + za) + 1 / (zt + zb))
    late = np.hypot(0.15, 1.03) - 1.0  # metres: 150 mm below the axis, 30 mm behind the baffle, microphone at 1 m
    woofer = drive["woofer"] * 10 ** (88 / 20) * high_pass(50, 4, 0.5) * np.exp(-1j * W * late / 343.0)
    tweeter = drive["tweeter"] * 10 ** (91 / 20) * high_pass(1000, 2, 1)
    return drive, z, woofer, tweeter


def test_drive_sum_and_load(tmp_path):
    drive, z, woofer, tweeter = by_hand()
    got = predict(folder(tmp_path), "found", F)
    for key, expected in drive.items():
        np.testing.assert_allclose(got.drive[key], expected, rtol=1e-12)
    np.testing.assert_allclose(got.impedance_ohm["in"], z, rtol=1e-12)
    assert got.total.coherent
    np.testing.assert_allclose(got.total.pressure, woofer + tweeter, rtol=1e-9)
    np.testing.assert_allclose(got.total.reversed_pressure, woofer - tweeter, rtol=1e-9)
    assert got.total.reversed_keys == ("tweeter",)
    assert any("datasheet" in w for w in got.warnings)


def test_sum_without_places_is_an_envelope(tmp_path):
    _, _, woofer, tweeter = by_hand()
    got = predict(folder(tmp_path, TOML.replace("position_mm = [0, 0, 0]", "")), "found", F)
    assert not got.total.coherent
    np.testing.assert_allclose(10 ** (got.total.best_level_db / 20), abs(woofer) + abs(tweeter), rtol=1e-9)
    np.testing.assert_allclose(10 ** (got.total.worst_level_db / 20), abs(abs(woofer) - abs(tweeter)), rtol=1e-6)
    assert got.off_axis is None
    assert got.step is None
    assert any("envelope" in w and "tweeter" in w for w in got.warnings)


def test_output_resistance_divides_the_sound(tmp_path):
    _, z, woofer, tweeter = by_hand()
    got = predict(folder(tmp_path), "found", F, output_ohm=1.6)
    np.testing.assert_allclose(got.total.pressure, (woofer + tweeter) * z / (z + 1.6), rtol=1e-9)


def test_output_resistance_where_nothing_is_known(tmp_path):
    (tmp_path / "z.csv").write_text("Hz, ohm, deg\n" + "".join(f"{f:.6g}, {6 + f / 1e3:.5g}, 5\n" for f in F[30:-30]))
    toml = TOML.replace('phase = "minimum"\nposition_mm = [0, -150', 'impedance = "z.csv"\nposition_mm = [0, -150')
    got = predict(folder(tmp_path, toml), "found", F, output_ohm=2.0)
    assert np.isnan(got.branches[0].pressure[:30]).all()
    assert np.isfinite(got.branches[0].pressure[35:-35]).all()


def test_woofer_on_two_cards(tmp_path):
    cir = "* two\nL1 in w 0.5mH dcr=0.3\nXupper w 0 woofer\nXlower w 0 woofer\nC1 in t 6u8 esr=0.2\nXhigh 0 t tweeter\n"
    toml = TOML.replace(
        "position_mm = [0, -150, -30]", "positions_mm = { upper = [0, 150, -30], lower = [0, -150, -30] }"
    )
    zw = thiele_small(6, 50, 4, 0.5, 0.5e-3)
    one = (zw / 2) / (zw / 2 + 0.3 + 1j * W * 0.5e-3)
    got = predict(folder(tmp_path, toml, cir), "found", F)
    assert list(got.drive) == ["upper", "lower", "tweeter"]
    np.testing.assert_allclose(got.drive["upper"], one, rtol=1e-12)
    sound = {b.key: b.pressure for b in got.branches}
    np.testing.assert_allclose(sound["upper"], sound["lower"], rtol=1e-12)  # as far from the axis, so in step
    np.testing.assert_allclose(got.total.pressure, sum(sound.values()), rtol=1e-12)


def test_load_study_by_hand(tmp_path):
    toml = TOML + "[amplifier]\nminimum_load_ohm = 6\nrated_power_w = 50\nrated_load_ohm = 8\noutput_ohm = 0.1\n"
    toml += "[listening]\nlevel_db = 85\ndistance_m = 2\nheadroom_db = 10\n"
    speaker = folder(tmp_path, toml)
    _, z, _, _ = by_hand()
    study = study_load(speaker, "found", F)
    channel = study.channels["in"]
    assert channel.reading.minimum_ohm == pytest.approx(abs(z).min(), rel=2e-3)
    assert channel.verdict.limit_broken == (abs(z).min() < 6)
    assert channel.demand.rated_voltage_v == pytest.approx(20.0)
    level = predict(speaker, "found", F).sensitivity.level_db
    volts = 2.83 * 10 ** ((85 + 10 - level + 20 * np.log10(2)) / 20)
    assert study.listening.voltage_rms_v == pytest.approx(volts, rel=1e-9)
    open_tweeter = next(f for f in study.faults if f.driver == "tweeter" and f.kind == "open")
    zw = thiele_small(6, 50, 4, 0.5, 0.5e-3) + 0.3 + 1j * W * 0.5e-3
    assert open_tweeter.minimum_ohm == pytest.approx(abs(zw).min(), rel=2e-3)


def test_measured_phase_is_used_as_it_stands(tmp_path):
    """A measured response has its delay in it already: the position must not be counted again."""
    speaker = folder(tmp_path)
    rows = "".join(f"{f:.6g}, {90 - 3 * np.log10(f / 100):.6f}, {-30 * np.log10(f):.6f}\n" for f in F)
    (tmp_path / "woofer.csv").write_text("Hz, dB, deg\n" + rows)
    toml = TOML.replace('phase = "minimum"\nposition_mm = [0, -150', 'response = "woofer.csv"\nposition_mm = [0, -150')
    (tmp_path / "speaker.toml").write_text(toml)
    speaker = open_speaker(tmp_path)
    got = predict(speaker, "found", F)
    drive = by_hand()[0]["woofer"]
    response = 10 ** ((90 - 3 * np.log10(F / 100)) / 20) * np.exp(1j * np.radians(-30 * np.log10(F)))
    sound = next(b.pressure for b in got.branches if b.key == "woofer")
    known = np.isfinite(sound)
    assert known.sum() > F.size - 3
    np.testing.assert_allclose(sound[known], (drive * response)[known], rtol=1e-4)
    assert not got.total.coherent  # one measured, one rebuilt


def test_json_has_no_nan(tmp_path):
    text = json.dumps(to_plain(predict(folder(tmp_path), "found", log_grid(20.0, 20e3, 3))), allow_nan=False)
    assert '"sum"' in text


def test_fault_volts_of_unlike_amplifiers_are_not_told(tmp_path):
    """Two channels behind amplifiers of unlike ratings share no voltage: only the ratio is told."""
    cir = "* bi\nVbass lo 0\nVtreble hi 0\nL1 lo w 0.5mH dcr=0.3\nXlow w 0 woofer\n"
    cir += "C1 hi t 6u8 esr=0.2\nXhigh t 0 tweeter\n"
    channels = "[bypass]\nfrequency_hz = 3000\n[bypass.channels.{}]\nrated_power_w = {}\nrated_load_ohm = 8\n"
    both = (
        TOML
        + channels.format("woofer", 50)
        + channels.format("tweeter", "{}").replace("[bypass]\nfrequency_hz = 3000\n", "")
    )
    alike = study_load(folder(tmp_path, both.format(50), cir), "found", F)
    volts = next(f for f in alike.faults if f.driver == "tweeter").capacitors[0]
    assert volts.rms_v == pytest.approx(20.0 * volts.magnification)  # sqrt(50 W x 8 ohm)
    unlike = study_load(folder(tmp_path, both.format(20), cir), "found", F)
    assert next(f for f in unlike.faults if f.driver == "tweeter").capacitors[0].rms_v is None
