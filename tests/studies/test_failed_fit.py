"""A sweep that no driver model follows: nobody reads a circuit, a corner or a DC resistance from its fit."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from xover.errors import InputError, OptionError
from xover.judge.health_words import health_words
from xover.judge.kinds import Fault
from xover.judge.network import dc_drive
from xover.plain import to_plain
from xover.rules.margins import TWEETER_FS_HZ
from xover.rules.severity import Severity
from xover.sound.driver_fit import circuit_of, fit_sweep
from xover.sound.resonance import Role, driver_resonance_hz, driver_role
from xover.speaker import Speaker, open_speaker
from xover.studies.change.decide.words import rests_on
from xover.studies.desk.check.study import study_check
from xover.studies.desk.spice.study import study_spice
from xover.studies.does.formula.study import drive_polynomials, study_formula
from xover.studies.does.formula.terminated import terminated_speaker

ATTIC = Path(__file__).resolve().parents[2] / "examples" / "attic-two-way"


def spoilt(folder: Path, more: str = "", metres: float = 1.0) -> Speaker:
    """The woofer's sweep with a shorted line in series: peaks by the dozen."""
    shutil.copytree(ATTIC, folder / "attic")
    table = folder / "attic" / "left" / "woofer-impedance.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    for i, line in enumerate(lines):
        if line[:1].isdigit():
            f, size, degrees = map(float, line.split(","))
            z = size * np.exp(1j * np.radians(degrees)) + 40j * np.tan(2 * np.pi * f * metres * (1 - 0.02j) / 343.0)
            lines[i] = f"{f:g},{abs(z):.5g},{np.degrees(np.angle(z)):.5g}"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    toml = folder / "attic" / "left" / "speaker.toml"
    told = toml.read_text(encoding="utf-8").replace("[drivers.woofer]\n", f"[drivers.woofer]\n{more}", 1)
    toml.write_text(told, encoding="utf-8")
    return open_speaker(folder / "attic" / "left")


def test_no_claim_rests_on_it(tmp_path: Path) -> None:
    speaker = spoilt(tmp_path)
    woofer = speaker.drivers["woofer"]
    fit = fit_sweep(woofer)
    assert fit is not None
    assert not fit.holds
    assert circuit_of(woofer) is None
    checked = study_check(speaker)
    (told,) = [f for f in checked.findings if f.where == "woofer" and f.fault is Fault.DOUBTFUL_SWEEP]
    assert told.facts["note"] == fit.failure
    plain = json.loads(json.dumps(to_plain(checked)))["drivers"]
    assert (plain["woofer"]["holds"], plain["woofer"]["re_ohm"], plain["woofer"]["fs_hz"]) == (False, None, None)
    assert (plain["tweeter"]["holds"], plain["tweeter"]["failure"]) == (True, "")
    taken = terminated_speaker(speaker, "found")
    assert "woofer" not in taken.models
    assert any(w.startswith(f"woofer: {fit.failure}: no poles, zeros or corners") for w in taken.warnings)
    formulas = {f.name: f for f in study_formula(taken).shown}
    behind = formulas["woofer"].resistive, formulas["woofer"].modelled, formulas["woofer"].nearest
    assert behind == (None, None, None)
    assert formulas["tweeter"].resistive is not None
    assert all(f.resistive is None for name, f in formulas.items() if name.startswith("load"))
    with pytest.raises(OptionError, match="no model follows the sweep of woofer"):
        drive_polynomials(taken)
    assert np.isnan(checked.health["woofer"].re_ohm)
    with pytest.raises(InputError, match="so there is no circuit to write for it"):
        study_spice(speaker, "found")
    network = speaker.network("found")
    assert dc_drive(speaker, network, checked.fits) == dc_drive(speaker, network, checked.fits | {"woofer": None})


def test_no_stop_and_no_trouble_rests_on_it(tmp_path: Path) -> None:
    """The highest of its peaks lies where a tweeter's would; a sound mate beside it is no odd one."""
    speaker = spoilt(tmp_path, metres=0.1)
    woofer = speaker.drivers["woofer"]
    assert driver_resonance_hz(woofer) > TWEETER_FS_HZ
    assert driver_role(woofer) is Role.LOW
    sound = open_speaker(ATTIC / "left")
    for one, other in ((speaker, sound), (sound, speaker)):
        checked = study_check(one, other)
        assert not [f for f in checked.findings if f.severity is Severity.STOP and f.driver]
        assert "woofer" not in checked.unsound
        assert "no model follows" in health_words(checked.health["woofer"])[0]


def test_decide_says_to_sweep_it_again(tmp_path: Path) -> None:
    speaker = spoilt(tmp_path)
    said = rests_on(speaker, ("woofer", "tweeter"), "found", "original")
    assert said[0].startswith("no model follows the sweep of woofer: sweep it again")
    assert not any("tweeter" in words for words in said)


def test_a_meter_stands_in(tmp_path: Path) -> None:
    speaker = spoilt(tmp_path, "re_ohm = 5.8\n")
    assert speaker.drivers["woofer"].metered_re_ohm == 5.8
    taken = terminated_speaker(speaker, "found")
    assert taken.resistance_ohm["woofer"] == 5.8
    assert any("taken as its DC resistance, 5.8 ohm" in w for w in taken.warnings)
