"""What the network bears: stress, lamps, tolerance, crosstalk."""

from __future__ import annotations

from xover.api.asks import asks
from xover.api.opened import Opened
from xover.studies.bears.crosstalk import crosstalk
from xover.studies.bears.lamps import lamps
from xover.studies.bears.stress import stress
from xover.studies.bears.tolerance import tolerance


class WhatItBears(Opened):
    """Questions about full level, and about parts that are not what they say."""

    stress = asks(stress)
    lamps = asks(lamps)
    tolerance = asks(tolerance)
    crosstalk = asks(crosstalk)
