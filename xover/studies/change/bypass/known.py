"""Where a driver's response is known well enough to be corrected, and by how much it may be off."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from xover.curve import Float
from xover.rules.instruments import RESPONSE_SPREADS, SWEPT, Instrument
from xover.sound.doubt import knots_at
from xover.speaker import SpeakerDriver

BEAR_BANDS: Final = SWEPT
"""A phone serves for differences, a datasheet is of another driver: levels are matched by them, nothing corrected."""


HEARD: Final = BEAR_BANDS | {Instrument.PHONE}
"""By these the sum is told; a datasheet, or a flat line in the place of a response, tells levels alone."""


def least_instrument(drivers: Sequence[SpeakerDriver]) -> Instrument:
    """What the response of a channel was got with: the worst of its drivers'; assumed where one has none."""
    order = list(Instrument)
    return max((d.response_instrument if d.has_response else Instrument.ASSUMED for d in drivers), key=order.index)


def unsure_db(drivers: Sequence[SpeakerDriver], frequency_hz: Float) -> Float:
    """(n,) how far off the shape of a channel's response may be, +-, 95 %, by its least known driver.

    Infinite where it bears no correction. Its level is left out: a gain is no band, and is matched by ear or by meter.
    """
    return np.asarray(np.max([_one_db(d, frequency_hz) for d in drivers], axis=0), dtype=float)


def _one_db(driver: SpeakerDriver, frequency_hz: Float) -> Float:
    if driver.response_instrument not in BEAR_BANDS:
        return np.full(frequency_hz.shape, math.inf)
    spread = RESPONSE_SPREADS[driver.response_instrument]
    return np.hypot(knots_at(spread.common_db, frequency_hz), knots_at(spread.own_shape_db, frequency_hz))
