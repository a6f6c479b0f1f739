"""What lies between a tone and its sixth harmonic, and above: of a smooth bend, whose harmonics are known."""

from pathlib import Path

import numpy as np

from xover.files.wav import Recording
from xover.recordings.faults import RecordingFault
from xover.recordings.rattle import distortion_of
from xover.recordings.reading import read_recording
from xover.recordings.sweep import SweepPlan, checked, played


def bent(cubic: float):
    """Distortion of x + cubic x^3, with a little noise."""
    plan = checked(SweepPlan(16_000, 40.0, 7000.0, 3.0, -6.0))
    wave = played(plan)
    wave = np.concatenate([np.zeros(4000), wave + cubic * wave**3, np.zeros(8000)])
    wave += 1e-5 * np.random.default_rng(1).standard_normal(len(wave))
    whole, _ = read_recording(Recording(Path("a.wav"), 16_000, 24, wave[:, None], ""), plan, (0,))
    return distortion_of(whole, 0)


def test_a_smooth_bend_is_read_by_its_third_harmonic_and_is_no_rattle():
    """By sin^3 = (3 sin - sin 3)/4: cubic A^2/4 beside 1 + 3 cubic A^2/4, with A a half (6 dB below full scale)."""
    found = bent(0.8)
    a2 = 0.8 * 10.0 ** (-6.0 / 10.0)
    third = 20.0 * np.log10(a2 / 4.0 / (1.0 + 0.75 * a2))
    inside = (found.frequency_hz > 100.0) & (found.frequency_hz < 1000.0)
    assert inside.sum() > 10
    assert np.abs(found.lower_db[inside] - third).max() < 0.5
    assert RecordingFault.RATTLE not in {one.fault for one in found.faults(1)}
