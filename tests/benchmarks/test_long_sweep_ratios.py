"""Phase of a long sweep in two ways, side by side: python -m pytest tests/benchmarks --benchmark-enable

`long_sweeps.py` prints all the work on such a driver, and the error.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from invented.filters import chain, rows_of

from xover.driver import minimum_phase as module
from xover.driver.minimum_phase import minimum_phase

F = rows_of("linear", 5.0, 24e3, 2048)
LEVEL = chain(5).level_db(F)


@pytest.mark.benchmark(group="minimum phase of 2,048 rows")
@pytest.mark.parametrize("way", ["FFT", "closed form"])
def test_minimum_phase(way: str, benchmark: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "EXACT_ROWS", 0 if way == "FFT" else F.size)
    got = benchmark(minimum_phase, F, LEVEL)
    assert (got.smoothed_deg > 0.0) == (way == "FFT")
    assert np.max(np.abs(got.phase_deg)) > 60.0
