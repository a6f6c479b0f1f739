"""Curves from data sheet values: levels, evidence, what is missing, refusals. All values here are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest

from xover.curve import Evidence, Unit, log_grid
from xover.driver.datasheet import DatasheetValues, datasheet_response
from xover.driver.minimum_phase import minimum_phase
from xover.errors import InputError

SHEET = DatasheetValues(re_ohm=5.4, fs_hz=1100.0, qms=2.2, qes=1.1, le_mh=0.03, sensitivity_db=92.0)
F = log_grid(20.0, 40000.0, 48)


def test_impedance_holds_re_the_peak_and_the_inductance() -> None:
    z = SHEET.model.impedance_ohm(np.array([0.01, 1100.0, 20000.0]))
    assert z[0] == pytest.approx(5.4, rel=1e-3)
    # Re (1 + Qms/Qes) = 16.2 ohm, and j w Le = j 0.2073 ohm at 1100 Hz.
    assert z[1] == pytest.approx(16.2 + 0.20735j, rel=1e-4)
    # Far above the peak: j w Le = j 3.770 less the capacitor, 1/(w C) with C = Qes/(ws Re) = 29.47 uF: 0.2700 ohm.
    assert z[2].imag == pytest.approx(3.770 - 0.2700, rel=2e-3)


def test_it_is_said_where_no_inductance_is_printed() -> None:
    without = DatasheetValues(5.4, 1100.0, 2.2, 1.1)
    assert any("no inductance was given" in note for note in without.notes)
    assert not any("no inductance" in note for note in SHEET.notes)


def test_response_is_flat_above_and_falls_twelve_below() -> None:
    curve = datasheet_response(SHEET, F)
    assert curve.unit is Unit.PASCAL_20U
    assert curve.evidence is Evidence.ASSUMED
    assert curve.level_db[-1] == pytest.approx(92.0, abs=0.01)
    # At fs a second-order high-pass stands at Qts: 20 lg 0.73333 = -2.694 dB.
    assert SHEET.qts == pytest.approx(0.733333, rel=1e-5)
    level = float(np.interp(math.log(1100.0), np.log(F), curve.level_db))
    assert level == pytest.approx(92.0 - 2.694, abs=0.01)
    # Two octaves apart far below: 2 x 12.041 dB.
    low = datasheet_response(SHEET, np.array([10.0, 40.0])).level_db
    assert low[1] - low[0] == pytest.approx(24.08, abs=0.02)


def test_response_has_its_own_minimum_phase() -> None:
    curve = datasheet_response(SHEET, F)
    rebuilt = minimum_phase(F, curve.level_db, 40 * math.log10(2), 0.0)
    np.testing.assert_allclose(np.radians(rebuilt.phase_deg), np.angle(curve.value), atol=2e-3)


def test_no_sensitivity_no_response() -> None:
    with pytest.raises(InputError, match="gives no sensitivity"):
        datasheet_response(DatasheetValues(5.4, 1100.0, 2.2, 1.1), F)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"re_ohm": -5.4}, "re_ohm = -5.4"),
        ({"qms": math.nan}, "qms = nan"),
        ({"le_mh": -0.03}, "an inductance of -3e-05 H"),
        ({"sensitivity_db": math.inf}, "the sensitivity is not a finite number"),
    ],
)
def test_refusals(values: dict[str, float], words: str) -> None:
    sheet = {"re_ohm": 5.4, "fs_hz": 1100.0, "qms": 2.2, "qes": 1.1, **values}
    with pytest.raises(InputError, match=words):
        DatasheetValues(**sheet)
