"""One of the recordings of `responses_recorded.py`, a woofer, and its near field."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from responses_recorded import curve, one

import xover


def test_a_recorded_woofer_in_a_room(tmp_path):
    """Within 0.2 dB and 2 degrees where the gate is told to cut off less, and off by no more than was told elsewhere;
    joined to its near field over a sphere, within 0.5 dB and 4 degrees from the sweep's low end on."""
    sweep = tmp_path / "sweep.wav"
    sweep.write_bytes(xover.sweep(purpose="microphone", seconds=5).wav)
    f = np.geomspace(10, 24_000, 300)
    rows = zip(f, 20 * np.log10(np.abs(curve(f))), strict=True)
    (tmp_path / "mic.txt").write_text("Hz dB\n" + "".join(f"{a:.5g} {b:.4f}\n" for a, b in rows))
    (db, degrees), (sure_db, sure_degrees), beyond, joined = one(tmp_path, sweep, 2)
    assert db > 0.3
    assert degrees > sure_degrees
    assert sure_db < 0.2
    assert sure_degrees < 2.0
    assert beyond < 0.12
    assert joined[0] < 0.5
    assert joined[1] < 4.0
