"""A long noisy sweep without phase: the note says what of its noise the rebuilt phase leaves out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from invented.drivers import DRIVERS
from invented.filters import chain, rows_of

from xover.speaker import open_speaker

TOML = '[drivers.woofer]\nimpedance = "z.txt"\nresponse = "p.txt"\nphase = "minimum"\n'


@pytest.mark.parametrize(("noise", "told"), [(0.0, 0), (0.2, 2)])
def test_what_is_smoothed_is_in_the_notes(tmp_path: Path, noise: float, told: int) -> None:
    f = rows_of("linear", 5.0, 24e3, 6000)
    scatter = noise * np.random.default_rng(1).standard_normal(f.size)
    for name, unit, values in (
        ("z.txt", "ohm", np.abs(DRIVERS[0].impedance_ohm(f)) * np.exp(scatter)),
        ("p.txt", "dB", 60.0 + chain(3).level_db(f) + 10.0 * scatter),
    ):
        rows = "".join(f"{hz:.4f} {value:.5f}\n" for hz, value in zip(f, values, strict=True))
        (tmp_path / name).write_text(f"Hz {unit}\n{rows}", encoding="utf-8")
    (tmp_path / "speaker.toml").write_text(TOML, encoding="utf-8")
    notes = [str(note) for note in open_speaker(tmp_path).drivers["woofer"].notes]
    assert sum("noise from row to row was smoothed" in note for note in notes) == told, notes
