"""What age has done, and whether a build does what it should: infer, condition, verify, pair."""

from __future__ import annotations

from xover.api.asks import asks
from xover.api.opened import Opened
from xover.studies.aged.condition import condition
from xover.studies.aged.infer import infer
from xover.studies.aged.verify import pair, verify


class WhatAgeHasDone(Opened):
    """Questions to what was measured."""

    condition = asks(condition)
    infer = asks(infer)
    verify = asks(verify)
    pair = asks(pair)
