"""Which phase each response gets, and what is said about it."""

import numpy as np
import pytest

from xover.curve import Evidence, log_grid
from xover.errors import InputError, OptionError
from xover.speaker import PhaseSource, open_speaker

F = log_grid(20.0, 20e3, 12)
SHEET = "re_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\nle_mh = 0.5\nsensitivity_db = 88\n"


def opened(tmp_path, driver, head="", with_phase=True, sheet=SHEET):
    phase = [f", {-20 * np.log10(f):.4f}" if with_phase else "" for f in F]
    (tmp_path / "r.csv").write_text(
        "Hz, dB"
        + (", deg" if with_phase else "")
        + "\n"
        + "".join(f"{f:.6g}, {90 - 2 * np.log10(f):.4f}{p}\n" for f, p in zip(F, phase, strict=True))
    )
    (tmp_path / "z.csv").write_text("Hz, ohm\n" + "".join(f"{f:.6g}, {6 + f / 1e3:.4f}\n" for f in F))
    (tmp_path / "found.cir").write_text("* one\nL1 in w 1mH\nXlow w 0 woofer\n")
    text = f"{head}\n[drivers.woofer]\n{driver}\n"
    if sheet:
        text += f"[drivers.woofer.datasheet]\n{sheet}"
    (tmp_path / "speaker.toml").write_text(text + '[networks.found]\ncircuit = "found.cir"\n')
    return open_speaker(tmp_path)


def test_measured_phase_by_default(tmp_path):
    driver = opened(tmp_path, 'response = "r.csv"').drivers["woofer"]
    assert driver.phase_source is PhaseSource.MEASURED
    assert np.angle(driver.pressure(np.array([1000.0])), deg=True)[0] == pytest.approx(-60.0, abs=0.01)


def test_minimum_phase_when_asked_for(tmp_path):
    driver = opened(tmp_path, 'response = "r.csv"\nphase = "minimum"').drivers["woofer"]
    assert driver.phase_source is PhaseSource.MINIMUM
    # -2 dB a decade is a power of f; the phase of f^a is 90 a degrees (Bode): a = -0.1.
    assert np.angle(driver.pressure(np.array([1000.0])), deg=True)[0] == pytest.approx(-9.0, abs=0.05)
    assert any("rebuilt from its magnitude" in n and "dB per octave" in n for n in driver.notes)


def test_without_a_phase_column_it_is_rebuilt_and_said(tmp_path):
    driver = opened(tmp_path, 'response = "r.csv"', with_phase=False).drivers["woofer"]
    assert driver.phase_source is PhaseSource.MINIMUM
    assert any("has no phase" in n for n in driver.notes)


def test_measured_phase_that_is_not_there_is_an_error(tmp_path):
    with pytest.raises(InputError, match=r"speaker.toml:4: drivers.woofer.phase is .measured., but r.csv has no phase"):
        opened(tmp_path, 'response = "r.csv"\nphase = "measured"', with_phase=False)


def test_impedance_without_phase_is_rebuilt(tmp_path):
    driver = opened(tmp_path, 'impedance = "z.csv"').drivers["woofer"]
    assert any("impedance of woofer has no phase" in n for n in driver.notes)
    z = driver.impedance_ohm(np.array([10e3]))
    assert abs(z[0]) == pytest.approx(16.0, rel=1e-3)
    assert z[0].imag > 0


def test_datasheet_stands_in_and_is_marked(tmp_path):
    driver = opened(tmp_path, "").drivers["woofer"]
    assert (driver.impedance_evidence, driver.response_evidence) == (Evidence.DATASHEET, Evidence.ASSUMED)
    # Re + Res at resonance: 6 (1 + 4/0.5) = 54 ohm, and the coil's 2 pi 50 Hz 0.5 mH.
    assert driver.impedance_ohm(np.array([50.0]))[0] == pytest.approx(54 + 0.1570796j, rel=1e-6)
    assert driver.re_ohm == 6.0


def test_nothing_known_of_the_sound(tmp_path):
    driver = opened(tmp_path, 'impedance = "z.csv"', sheet="").drivers["woofer"]
    assert driver.phase_source is PhaseSource.NONE
    assert np.isnan(driver.pressure(F)).all()


@pytest.mark.parametrize(
    ("driver", "head", "known"),
    [
        ('response = "r.csv"', 'timing = "common"', True),
        ('response = "r.csv"\nphase = "minimum"\nposition_mm = [0, 0, 0]', "", True),
    ],
)
def test_timing_of_one_driver_is_known(tmp_path, driver, head, known):
    speaker = opened(tmp_path, driver, head)
    assert speaker.timing_is_known(speaker.network("found"))[0] is known


def test_unknown_network(tmp_path):
    with pytest.raises(OptionError, match="did you mean found"):
        opened(tmp_path, "").network("fond")


def test_a_netlist_is_read_once_and_again_when_it_has_changed(tmp_path):
    speaker = opened(tmp_path, "")
    first = speaker.network("found")
    assert speaker.network("found") is first
    (tmp_path / "found.cir").write_text("* one\nL1 in w 1.25mH\nXlow w 0 woofer\n")
    assert speaker.network("found").coils[0].henry == pytest.approx(1.25e-3)
    assert open_speaker(tmp_path).network("found").coils[0].henry == pytest.approx(1.25e-3)
    (tmp_path / "found.cir").unlink()
    with pytest.raises(InputError, match=r"found\.cir"):
        speaker.network("found")
