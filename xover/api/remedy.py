"""What to do: refresh, redesign, bypass, decide; and the pad."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from xover.api.asks import asked, asks
from xover.api.opened import Opened
from xover.errors import OptionError
from xover.studies.change.bypass import bypass
from xover.studies.change.decide import decide
from xover.studies.change.refresh import refresh
from xover.studies.desk.pad import pad
from xover.studies.options import catalogue

if TYPE_CHECKING:
    from xover.studies.change.redesign.result import RedesignStudy
    from xover.studies.change.redesign.wish import Weights
    from xover.studies.desk.pad.study import PadStudy


class WhatToDo(Opened):
    """The four ways out, and a smaller one."""

    refresh = asks(refresh)

    def redesign(
        self,
        network: str | None = None,
        *,
        circuits: Sequence[str] = (),
        stock: str | Path | None = None,
        slope: str | None = "LR4",
        crossover_hz: Sequence[float] | None = None,
        tilt_db_per_octave: float = 0.0,
        voicing: str | None = None,
        band_hz: tuple[float, float] = (200.0, 18_000.0),
        minimum_load_ohm: float | None = None,
        most_parts: int | None = None,
        most_cost: float | None = None,
        largest_coil_h: float | None = None,
        weights: Weights | None = None,
        alternatives: bool = True,
        starts: int = 4,
        seed: int = 1,
        jobs: int = 1,
        progress: Callable[[float, str], None] | None = None,
    ) -> RedesignStudy:
        """New values, or another network, in parts that exist: up to five `proposals`, each with its `netlist`.

        Parameters
        ----------
        network : that is there now; by default the folder's own.
        circuits : topologies to try, "present" among them; by default the present one and the most promising.
        stock : price list or parts bin (.csv), the only source then.
        slope : acoustic slope to aim at; None leaves it open. crossover_hz : rising, Hz; by default near today's.
        tilt_db_per_octave : of the target. voicing : network whose sum is the target instead of a straight line.
        band_hz : where the sum counts.
        minimum_load_ohm : by default the amplifier's. most_parts, most_cost, largest_coil_h : bounds, henry the last.
        weights : what counts (`xover.studies.change.redesign.wish.Weights`).
        alternatives : search for the least change, the easiest load and the cheapest too.
        starts : random starts of each search. seed : the same finds the same. jobs : processes; needs joblib.
        progress : is told the share done, and the best so far in words.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> speaker.redesign(circuits=["present"], starts=1).proposals[0].deviation_db
        """
        from xover.studies.change.redesign.study import redesign
        from xover.studies.change.redesign.wish import Weights, Wish

        if slope is not None:
            from xover.electronic.slopes import parse_slope

            parse_slope(slope)
        source = catalogue(stock)
        if most_cost is not None and not source.priced:
            raise OptionError("most_cost has no prices to go by", "give stock with a price for every part")
        wish = Wish(
            band_hz=band_hz,
            tilt_db_per_octave=tilt_db_per_octave,
            voicing=voicing,
            slope=slope,
            crossover_hz=None if crossover_hz is None else tuple(crossover_hz),
            minimum_load_ohm=minimum_load_ohm,
            most_parts=most_parts,
            most_cost=most_cost,
            largest_coil_h=largest_coil_h,
            weights=Weights() if weights is None else weights,
        )
        return redesign(
            self.speaker,
            source,
            wish,
            present=self._name(network),
            circuits=tuple(circuits),
            starts=starts,
            seed=seed,
            jobs=jobs,
            alternatives=alternatives,
            progress=progress or (lambda _done, _words: None),
        )

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
