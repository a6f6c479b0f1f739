from __future__ import annotations

import math

import numpy as np
import pytest

from xover.acoustic.level import level_db, phase_deg
from xover.acoustic.summing import Branch, make_branch, missing_bound

F = np.array([100.0, 200.0, 400.0, 800.0, 1600.0])
NAN = complex(math.nan, math.nan)


def test_pressure_is_drive_times_response() -> None:
    drive = np.array([1.0, 0.5, 0.5j, -0.1, 0.01])
    response = np.array([NAN, 1000.0, 2000.0j, 1000.0, NAN])
    branch = make_branch("low", drive, response, timing_known=True, position_mm=[0, -10, 5], diameter_mm=165.0)
    assert np.isnan(branch.pressure[[0, 4]]).all()
    assert branch.pressure[1:4] == pytest.approx(np.array([500.0, -1000.0, -100.0]))
    assert branch.level_db[1:4] == pytest.approx([53.9794, 60.0, 40.0], abs=1e-4)
    assert branch.drive_db == pytest.approx([0.0, -6.0206, -6.0206, -20.0, -40.0], abs=1e-4)
    assert branch.position_mm == (0.0, -10.0, 5.0)
    assert branch.group == "low"


def test_bound_is_the_end_of_the_data_plus_the_change_of_drive() -> None:
    """60 dB at 400 Hz driven at 0 dB; 200 Hz is driven 12 dB, 100 Hz 24 dB lower: 48 and 36 dB."""
    drive_db = np.array([-24.0, -12.0, 0.0, 0.0, -6.0])
    branch = Branch("high", np.array([NAN, NAN, 1000.0, 2000.0, NAN]), drive_db=drive_db)
    bound = missing_bound(F, branch)
    assert level_db(bound[[0, 1]]) == pytest.approx([36.0, 48.0], abs=1e-9)
    assert level_db(bound[4]) == pytest.approx(66.0206 - 6.0, abs=1e-4)
    assert bound[2] == bound[3] == 0.0


def test_the_nearest_row_counts_over_log_f() -> None:
    """Between 100 Hz (20 dB) and 1600 Hz (60 dB), 200 Hz lies nearer the first and 800 Hz the second."""
    branch = Branch("gap", np.array([10.0, NAN, NAN, NAN, 1000.0]), drive_db=np.zeros(5))
    assert level_db(missing_bound(F, branch)[[1, 3]]) == pytest.approx([20.0, 60.0], abs=1e-9)


def test_nothing_bounds_a_branch_without_drive_or_data() -> None:
    bare = Branch("bare", np.array([NAN, 1.0, 1.0, 1.0, 1.0]))
    assert math.isnan(missing_bound(F, bare)[0])
    empty = Branch("empty", np.full(5, NAN), drive_db=np.zeros(5))
    assert np.isnan(missing_bound(F, empty)).all()


def test_a_driver_without_drive_is_silent_even_where_it_was_not_measured() -> None:
    drive_db = np.array([-np.inf, 0.0, 0.0, 0.0, 0.0])
    branch = Branch("cut", np.array([NAN, 1.0, 1.0, 1.0, 1.0]), drive_db=drive_db)
    assert missing_bound(F, branch)[0] == 0.0
    # No drive at the end of the data: how it rises from there is not known.
    other = Branch("cut", np.array([NAN, 0.0, 1.0, 1.0, 1.0]), drive_db=drive_db[[1, 0, 2, 3, 4]])
    assert math.isnan(missing_bound(F, other)[0])


def test_shapes_must_agree() -> None:
    with pytest.raises(ValueError, match="drive of low is"):
        make_branch("low", np.ones(3), np.ones(4), timing_known=True)
    with pytest.raises(ValueError, match="drive_db of low is"):
        Branch("low", np.ones(3, dtype=complex), drive_db=np.ones(2))
    with pytest.raises(ValueError, match="pressure of low must be"):
        Branch("low", np.ones((2, 2), dtype=complex))


def test_a_branch_cannot_be_changed() -> None:
    branch = Branch("low", np.ones(2, dtype=complex))
    with pytest.raises(ValueError, match="read-only"):
        branch.pressure[0] = 2.0


def test_level_and_phase() -> None:
    assert level_db(np.array([10.0, 0.1j, 0.0])) == pytest.approx([20.0, -20.0, -math.inf])
    assert phase_deg(np.array([1j, -1j, -1.0])) == pytest.approx([90.0, -90.0, 180.0])
    assert np.isnan(phase_deg(np.array([0.0, NAN]))).all()
