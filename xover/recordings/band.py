"""A band that ends as if cut off: what lossy formats and a lower sample rate on the way leave."""

from __future__ import annotations

from typing import Final

import numpy as np

from xover.recordings.faults import Found, RecordingFault
from xover.recordings.transfer import Deconvolved
from xover.rules.recordings import CLIFF_DB, CLIFF_OCTAVES

_PER_OCTAVE: Final = 48
_FROM_HZ: Final = 3000.0
_WINDOW_S: Final = 0.02


def missing_bands(found: Deconvolved) -> list[Found]:
    """Channels whose top falls off a cliff within the sweep's band, and stays down."""
    high = found.plan.usable_hz[1]
    f = high * 2.0 ** (np.arange(-int(_PER_OCTAVE * np.log2(high / _FROM_HZ)), 1) / _PER_OCTAVE)
    step = int(_PER_OCTAVE * CLIFF_OCTAVES)
    if len(f) < 3 * step:
        return []
    out = []
    for row in range(len(found.responses)):
        power = np.abs(found.around(row, _WINDOW_S, f)) ** 2
        # A notch comes up again: the highest of all that follows is asked, against the mean of what came before.
        after = np.maximum.accumulate(power[::-1])[::-1]
        before = np.array([power[max(0, i - step) : i].mean() for i in range(1, len(f) - step)])
        fall = 10.0 * np.log10(np.maximum(before, 1e-30) / np.maximum(after[1 + step :], 1e-30))
        cliff = int(np.argmax(fall >= CLIFF_DB)) if (fall >= CLIFF_DB).any() else None
        if cliff is not None:
            out.append(Found(RecordingFault.BAND_MISSING, row + 1, float(f[cliff + 1 + step // 2])))
    return out
