"""Whether a driver is dead: no voice coil has such an impedance over most of its sweep."""

from __future__ import annotations

import math

import numpy as np

from xover.rules.margins import OPEN_DRIVER_OHM, SHORTED_DRIVER_OHM
from xover.speaker import SpeakerDriver


def is_open(driver: SpeakerDriver) -> bool:
    """Its coil is broken; False where nothing is known of it."""
    return _quartile_ohm(driver, 25.0) > OPEN_DRIVER_OHM


def is_shorted(driver: SpeakerDriver) -> bool:
    """Its coil or its terminals are bridged; False where nothing is known of it."""
    return _quartile_ohm(driver, 75.0) < SHORTED_DRIVER_OHM


def typical_ohm(driver: SpeakerDriver) -> float:
    """What most of its sweep lies about; NaN where nothing is known of it."""
    return _quartile_ohm(driver, 50.0)


def _quartile_ohm(driver: SpeakerDriver, percent: float) -> float:
    """Of |Z| over the rows of the sweep; without a sweep the DC resistance."""
    if driver.impedance is not None:
        return float(np.percentile(np.abs(driver.impedance.value), percent))
    return math.nan if driver.re_ohm is None else driver.re_ohm
