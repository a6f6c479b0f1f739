"""What the network bears: stress, lamps, tolerance, crosstalk."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Literal

from xover.api.opened import Opened
from xover.studies.options import frequencies

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from xover.amplifier.programme import Spectrum
    from xover.studies.bears.crosstalk.study import Crosstalk
    from xover.studies.bears.lamps.study import LampStudy
    from xover.studies.bears.stress.study import StressStudy
    from xover.studies.bears.tolerance.study import ToleranceStudy

SpectrumName = Literal["programme", "pink"]
_COARSE = 24


class WhatItBears(Opened):
    """Questions about full level, and about parts that are not what they say."""

    def stress(
        self,
        network: str | None = None,
        *,
        power_w: float | None = None,
        load_ohm: float | None = None,
        rms_v: float | None = None,
        crest: float = 4.0,
        spectrum: SpectrumName = "programme",
        frequency_hz: ArrayLike | None = None,
    ) -> StressStudy:
        """Watts, volts and amperes in every part: which ratings?

        Parameters
        ----------
        network : by default `found` where there is one, else the first.
        power_w, load_ohm : the amplifier's rating; by default that of speaker.toml. rms_v : of the programme instead.
        crest : peak over rms of the programme. spectrum : noise that stands for music.
        frequency_hz : (n,) rising, Hz; by default 20 Hz to 20 kHz, 48 in an octave.

        Raises
        ------
        OptionError, NoSolutionError. InputError : no rating is known.

        Example
        -------
        >>> speaker.stress("found", power_w=60, load_ohm=8).limits_broken
        """
        from xover.studies.bears.stress.study import study_stress

        return study_stress(
            self.speaker,
            self._name(network),
            frequencies(frequency_hz),
            power_w=power_w,
            load_ohm=load_ohm,
            rms_v=rms_v,
            crest=crest,
            spectrum=_spectrum(spectrum),
        )

    def lamps(
        self,
        network: str | None = None,
        *,
        volts: Sequence[float] = (1.0, 10.0, 20.0),
        spectrum: SpectrumName = "programme",
    ) -> LampStudy:
        """When does a protection lamp bite, and what if it is taken out?

        Parameters
        ----------
        network, spectrum : as `stress`. volts : rms of the programme at the amplifier.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> speaker.lamps("found", volts=[1, 10]).levels
        """
        from xover.studies.bears.lamps.study import study_lamps

        return study_lamps(self.speaker, self._name(network), tuple(volts), spectrum=_spectrum(spectrum))

    def tolerance(
        self,
        network: str | None = None,
        *,
        builds: int = 10_000,
        seed: int = 1,
        distribution: Literal["uniform", "normal"] = "uniform",
        limit_db: float = 1.0,
        match: float = 0.01,
        jobs: int = 1,
        progress: Callable[[float], None] | None = None,
        frequency_hz: ArrayLike | None = None,
    ) -> ToleranceStudy:
        """What do the parts' tolerances do to the sum, the load and the pair?

        Parameters
        ----------
        network : as `stress`.
        builds : 100 to 200,000. seed : the same draws the same builds. distribution : within the tolerance.
        limit_db : how far the sum may stray from its nominal, 200 Hz to 20 kHz.
        match : how closely left and right parts could be paired, a share.
        jobs : processes to spread the work over; needs joblib. progress : is told the share done.
        frequency_hz : (n,) rising, Hz; by default 20 Hz to 20 kHz, 24 in an octave.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> speaker.tolerance("original", builds=1000).passing.share
        """
        from xover.studies.bears.tolerance.study import study_tolerance

        return study_tolerance(
            self.speaker,
            self._name(network),
            frequencies(frequency_hz, _COARSE),
            builds=builds,
            seed=seed,
            jobs=jobs,
            distribution=distribution,
            limit_db=limit_db,
            match=match,
            progress=progress,
        )

    def crosstalk(
        self,
        network: str | None = None,
        *,
        couples: Mapping[tuple[str, str], float] | None = None,
        limit_db: float = 0.1,
        frequency_hz: ArrayLike | None = None,
    ) -> Crosstalk:
        """Where do I mount the coils? What coupling between them does, and how much of it each pair may have.

        Parameters
        ----------
        network : as `stress`.
        couples : coupling factor by pair of coils; both signs are tried. Without, the limits alone.
        limit_db : change of the sum that coupling may make.
        frequency_hz : (n,) rising, Hz; by default 20 Hz to 20 kHz, 24 in an octave.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> speaker.crosstalk("found", couples={("L1", "L2"): 0.02}).cases
        """
        from xover.studies.bears.crosstalk.stray import Couple
        from xover.studies.bears.crosstalk.study import study_crosstalk

        pairs = [Couple(first, second, k) for (first, second), k in (couples or {}).items()]
        grid = frequencies(frequency_hz, _COARSE)
        return study_crosstalk(self.speaker, self._name(network), grid, pairs, limit_db=limit_db)


def _spectrum(name: str) -> Spectrum:
    from xover.amplifier.programme import Spectrum
    from xover.errors import OptionError

    try:
        return Spectrum(name)
    except ValueError:
        raise OptionError(f"spectrum is '{str(name)[:40]}'", "give programme or pink") from None
