"""What age has done, and whether a build does what it should: infer, condition, verify, pair."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from xover.api.asks import asks
from xover.api.opened import Opened
from xover.errors import OptionError
from xover.studies.aged.condition import condition
from xover.studies.aged.verify import pair, verify

if TYPE_CHECKING:
    from xover.studies.aged.infer.result import InferStudy


class WhatAgeHasDone(Opened):
    """Questions to what was measured."""

    condition = asks(condition)

    def infer(
        self,
        impedance: str | Path,
        *,
        network: str | None = None,
        repeats: Sequence[str | Path] = (),
        disconnected: Mapping[str, str | Path] | None = None,
        shorted: Mapping[str, str | Path] | None = None,
        ratio: Mapping[str, str | Path] | None = None,
        channel: str | None = None,
        prior: Literal["any", "usual", "none"] = "any",
        noise: float | None = None,
        gain_error: float = 0.015,
        scale_error: float = 0.0,
        lead_ohm: float | None = None,
        try_neighbours: bool = False,
        force_numbers: bool = False,
    ) -> InferStudy:
        """Part values from one sweep at the terminals, each with its 95 % interval.

        Parameters
        ----------
        impedance : table of the sweep. repeats : the same sweep once more, for its noise.
        network : topology and marked values; by default `original` where there is one.
        disconnected, shorted : by driver, a sweep with that driver unplugged or shorted.
        ratio : by driver, its voltage over the amplifier's, dB.
        channel : where it was swept, if the network has several.
        prior : what is plausible beforehand: any, usual (for the kind of part) or none.
        noise : of one row, a share; by default estimated.
        gain_error : between this sweep and the drivers', one sigma, a share. scale_error : that all sweeps share.
        lead_ohm : resistance of the leads; by default fitted.
        try_neighbours : try networks that are one fault away. force_numbers : tell values even if it does not fit.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> speaker.infer("examples/attic-two-way/left/terminals-found.csv").part("C1").own.value
        """
        from xover.explain.problem import Jig
        from xover.explain.sweeps import Where, read_sweep
        from xover.explain.unknowns import Prior
        from xover.studies.aged.infer.study import infer

        if prior not in [str(p) for p in Prior]:
            raise OptionError(f"prior is '{str(prior)[:40]}'", "give any, usual or none")
        sweeps = [read_sweep(Where.TERMINALS, "", Path(impedance), tuple(Path(p) for p in repeats))]
        others = {Where.DISCONNECTED: disconnected, Where.SHORTED: shorted, Where.RATIO: ratio}
        for where, given in others.items():
            sweeps += [read_sweep(where, driver, Path(file)) for driver, file in (given or {}).items()]
        return infer(
            self.speaker,
            sweeps,
            network=network,
            channel=channel,
            prior=Prior(prior),
            jig=Jig(gain_error, lead_ohm, scale_error),
            noise=noise,
            try_neighbours=try_neighbours,
            force_numbers=force_numbers,
        )

    verify = asks(verify)
    pair = asks(pair)
