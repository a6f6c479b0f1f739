"""Driver fit on real sweeps: two wide-range 12-inch drivers, as measured.

The files lie in tests/data with their licence and their source. Their own note says what was read off: about 5.5 ohm
at DC, 57 Hz, peak 67 ohm, and about 6.6 ohm, 51 Hz, peak 188 ohm. Below about 5 Hz one reading is held over several
rows.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from xover.curve import Curve, Unit
from xover.driver.fit import fit_driver
from xover.driver.misfit import Misfit

FOLDER = Path(__file__).resolve().parents[1] / "data" / "wide-range-12in"
pytestmark = pytest.mark.outside
SWEEPS = sorted(FOLDER.glob("*.zma"))
READ_OFF = {"first.zma": (5.5, 57.0, 67.0), "second.zma": (6.6, 51.0, 188.0)}


def sweep(path: Path, phase: bool = True) -> Curve:
    f, size, degrees = np.loadtxt(path, unpack=True)
    return Curve(
        f, size * np.exp(1j * np.radians(degrees)) if phase else size, Unit.OHM, has_phase=phase, source=path.name
    )


def test_every_sweep_of_the_set_is_here() -> None:
    assert {path.name for path in SWEEPS} == set(READ_OFF)


@pytest.mark.parametrize("phase", [True, False])
@pytest.mark.parametrize("path", SWEEPS, ids=lambda path: path.stem)
def test_fit(path: Path, phase: bool) -> None:
    dc_ohm, peak_hz, peak_ohm = READ_OFF[path.name]
    fit = fit_driver(sweep(path, phase))
    # The note rounds to two figures.
    assert fit.fs_hz == pytest.approx(peak_hz, rel=0.01)
    assert fit.model.re_ohm == pytest.approx(dc_ohm, rel=0.05)
    # The measured top is rounder than a resonance's: a fit through its flanks stands 4 to 16 % higher.
    assert peak_ohm < fit.model.re_ohm + fit.model.resonances[0].r_ohm < peak_ohm * 1.2
    assert fit.relative_rms < 0.045
    # The misfit is at the steep flanks of the peak.
    assert abs(fit.worst_at_hz / fit.fs_hz - 1) < 0.1
    # 24 rows an octave cross a resonance of Q 13 or more twice: no rattle is read into that.
    assert fit.misfit is Misfit.SHARP
    assert fit.phase_used is phase


@pytest.mark.parametrize("path", SWEEPS, ids=lambda path: path.stem)
def test_held_rows_are_merged_and_said(path: Path) -> None:
    fit = fit_driver(sweep(path))
    assert fit.rows == 344 - 74
    assert any(words.startswith("74 rows repeat the row before") for words in fit.warnings)


@pytest.mark.parametrize("path", SWEEPS, ids=lambda path: path.stem)
def test_without_the_peak_the_rest_is_followed_closely(path: Path) -> None:
    """From 100 Hz on the same sweep is a coil and a falling flank: the misfit is small cone modes alone.

    One of these modes is in the model, and must not be taken for the driver's own resonance.
    """
    fit = fit_driver(sweep(path), (100.0, 20000.0))
    assert fit.relative_rms < 0.03
    assert np.isnan(fit.fs_hz)
    assert fit.model.fs_hz < 100.0
    assert any("never shows the top of a resonance from 1" in words for words in fit.warnings)
