"""Two sources: level of the sum against the acoustics-textbook table (derived, printed to 0.0001 dB)."""

from __future__ import annotations

import numpy as np
import pytest

from xover.acoustic.summing import Branch, sum_branches

F = np.array([500.0, 1000.0])
PRINTED = 6e-5

# angle between two equal sources in degrees: level of the sum re one of them
ANGLES = {0.0: 6.0206, 60.0: 4.7712, 90.0: 3.0103, 150.0: -5.7195}
# level difference: in phase, in antiphase, re the louder
DIFFERENCES = {1.0: (5.5350, -19.2715), 3.0: (4.6495, -10.6907), 6.0: (3.5287, -6.0412), 10.0: (2.3866, -3.3018)}
ALL_DIFFERENCES = DIFFERENCES | {20.0: (0.8279, -0.9151)}


def pair(difference_db: float, angle_deg: float = 0.0, level_db: float = 0.0) -> list[Branch]:
    one = 10.0 ** (level_db / 20.0) * np.ones(2, dtype=complex)
    other = one * 10.0 ** (-difference_db / 20.0) * np.exp(1j * np.radians(angle_deg))
    return [Branch("one", one), Branch("other", other)]


@pytest.mark.parametrize(("angle_deg", "level_db"), ANGLES.items())
def test_equal_sources_at_an_angle(angle_deg: float, level_db: float) -> None:
    assert sum_branches(F, pair(0.0, angle_deg), coherent=True).level_db == pytest.approx(level_db, abs=PRINTED)


def test_equal_sources_at_120_degrees_give_one_of_them() -> None:
    """0 dB re one source, checked on 80 dB so that a zero cannot pass."""
    total = sum_branches(F, pair(0.0, 120.0, level_db=80.0), coherent=True)
    assert total.level_db == pytest.approx(80.0, abs=PRINTED)


@pytest.mark.parametrize(("difference_db", "levels"), ALL_DIFFERENCES.items())
def test_level_difference(difference_db: float, levels: tuple[float, float]) -> None:
    in_phase, antiphase = levels
    assert sum_branches(F, pair(difference_db), coherent=True).level_db == pytest.approx(in_phase, abs=PRINTED)
    assert sum_branches(F, pair(difference_db, 180.0), coherent=True).level_db == pytest.approx(antiphase, abs=PRINTED)


@pytest.mark.parametrize(("difference_db", "levels"), ALL_DIFFERENCES.items())
def test_envelope_of_unknown_timing_is_in_phase_and_antiphase(
    difference_db: float, levels: tuple[float, float]
) -> None:
    """Whatever the phase as measured, the envelope reaches from antiphase to in phase."""
    total = sum_branches(F, pair(difference_db, angle_deg=75.0), coherent=False)
    assert not total.coherent
    assert total.best_level_db == pytest.approx(levels[0], abs=PRINTED)
    assert total.worst_level_db == pytest.approx(levels[1], abs=PRINTED)


def test_equal_sources_of_unknown_timing_may_cancel() -> None:
    total = sum_branches(F, pair(0.0, angle_deg=75.0), coherent=False)
    assert np.all(np.isneginf(total.worst_level_db))
    assert total.best_level_db == pytest.approx(6.0206, abs=PRINTED)
