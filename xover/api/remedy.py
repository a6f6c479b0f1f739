"""What to do: refresh, redesign, bypass, decide; and the pad."""

from __future__ import annotations

from typing import TYPE_CHECKING

from xover.api.asks import asked, asks
from xover.api.opened import Opened
from xover.studies.change.bypass import bypass
from xover.studies.change.decide import decide
from xover.studies.change.redesign import redesign
from xover.studies.change.refresh import refresh
from xover.studies.desk.pad import pad

if TYPE_CHECKING:
    from xover.studies.desk.pad.study import PadStudy


class WhatToDo(Opened):
    """The four ways out, and a smaller one."""

    refresh = asks(refresh)
    redesign = asks(redesign)
    bypass = asks(bypass)
    decide = asks(decide)

    def pad(
        self,
        driver: str,
        *,
        down_db: float,
        network: str | None = None,
        band_hz: tuple[float | None, float | None] = (None, None),
        nominal_ohm: float | None = None,
        input_w: float | None = None,
    ) -> PadStudy:
        """Two resistors that bring a driver down, made for its measured impedance. `xover.pad` needs no speaker.

        Parameters
        ----------
        driver : its name. down_db : how far down, above 0 and up to 60 dB.
        network : that it plays in. band_hz : what counts, Hz; by default where it plays.
        nominal_ohm : for the textbook pair, ohm. input_w : power into the pad, to be split up.

        Raises
        ------
        OptionError, InputError.

        Example
        -------
        >>> speaker.pad("tweeter", down_db=4).designs[0].series_ohm
        """
        given = {
            "speaker": self.speaker,
            "driver": driver,
            "down_db": down_db,
            "network": network,
            "low_hz": band_hz[0],
            "high_hz": band_hz[1],
            "nominal_ohm": nominal_ohm,
            "input_w": input_w,
        }
        return asked(pad, given, low_hz="band_hz", high_hz="band_hz")
