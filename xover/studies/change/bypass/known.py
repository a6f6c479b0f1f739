"""Where a driver's response is known well enough to be corrected, and by how much it may be off."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from xover.curve import Evidence, Float
from xover.speaker import SpeakerDriver

MEASURED_DB: Final = 1.0
"""Half width of 95 % of a measured response. Common practice, no published source."""


def bears_bands(driver: SpeakerDriver) -> bool:
    """Whether a response may be corrected at all: one that was measured by sweep."""
    return driver.response is not None and driver.response_evidence is Evidence.MEASURED


def unsure_db(driver: SpeakerDriver, frequency_hz: Float) -> Float:
    """(n,) how far off the shape of a response may be, +-, 95 %; infinite where it bears no correction."""
    size = MEASURED_DB if bears_bands(driver) else math.inf
    return np.full(frequency_hz.shape, size)
