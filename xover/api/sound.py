"""What the network does: check, predict, load, formula, sensitivity, angles, schematic, comparison, spice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from xover.api.opened import Opened
from xover.studies.given import what
from xover.studies.options import frequencies

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from xover.drawing.schematic import Schematic
    from xover.sound.prediction import Prediction
    from xover.studies.aged.compare.study import Comparison
    from xover.studies.desk.check.study import CheckStudy
    from xover.studies.desk.spice.study import SpiceNetlist
    from xover.studies.does.angles.study import OffAxisStudy
    from xover.studies.does.formula.study import FormulaStudy
    from xover.studies.does.load.study import LoadStudy
    from xover.studies.does.sensitivity.study import SensitivityStudy


class WhatItDoes(Opened):
    """Questions about the network as it is."""

    def check(self) -> CheckStudy:
        """Is what was typed and measured sound? Reads everything; `findings` lists the faults, the gravest first.

        Raises
        ------
        InputError : a file that cannot be understood at all.

        Example
        -------
        >>> [finding.text for finding in speaker.check().findings]
        """
        from xover.studies.desk.check.study import study_check

        return study_check(self.speaker)

    def predict(
        self,
        network: str | None = None,
        *,
        frequency_hz: ArrayLike | None = None,
        band_hz: tuple[float, float] | None = None,
        output_ohm: float = 0.0,
    ) -> Prediction:
        """What reaches each driver, and what is the sum?

        Parameters
        ----------
        network : by default `found` where there is one, else the first.
        frequency_hz : (n,) rising, Hz; by default 20 Hz to 20 kHz, 48 in an octave.
        band_hz : where level and deviation are read; by default 200 Hz to 15 kHz as far as it is known.
        output_ohm : output resistance of the amplifier, ohm.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> speaker.predict("found").total.level_db  # (n,) dB for 2.83 V at 1 m
        """
        from xover.sound.prediction import predict

        grid = frequencies(frequency_hz)
        return predict(self.speaker, self._name(network), grid, band_hz=band_hz, output_ohm=output_ohm)

    def load(
        self,
        network: str | None = None,
        *,
        frequency_hz: ArrayLike | None = None,
        output_ohm: float | None = None,
    ) -> LoadStudy:
        """What does the amplifier see, and may it?

        Parameters
        ----------
        network, frequency_hz : as `predict`.
        output_ohm : output resistance of the amplifier, ohm; by default that of speaker.toml.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> speaker.load("found").channels["in"].reading.minimum_ohm
        """
        from xover.studies.does.load.study import study_load

        return study_load(self.speaker, self._name(network), frequencies(frequency_hz), output_ohm=output_ohm)

    def formula(self, network: str | None = None) -> FormulaStudy:
        """The exact transfer functions, as formulas in s, parts and driver impedances.

        Raises
        ------
        OptionError : no such network, or a formula of too many terms. InputError, NoSolutionError.

        Example
        -------
        >>> speaker.formula("found").transfer["woofer"]
        """
        from xover.studies.does.formula.of_speaker import study_speaker_formula

        return study_speaker_formula(self.speaker, self._name(network))

    def sensitivity(self, network: str | None = None, *, frequency_hz: ArrayLike | None = None) -> SensitivityStudy:
        """Which part matters, and where? What a step of 1 % moves, exact to the first order.

        Parameters
        ----------
        network, frequency_hz : as `predict`.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> [part.sentence for part in speaker.sensitivity("found").parts[:3]]
        """
        from xover.studies.does.sensitivity.study import study_sensitivity

        return study_sensitivity(self.speaker, self._name(network), frequencies(frequency_hz))

    def angles(
        self,
        network: str | None = None,
        *,
        vertical_deg: Sequence[float] | None = None,
        horizontal_deg: Sequence[float] | None = None,
        distance_m: float | None = None,
        frequency_hz: ArrayLike | None = None,
    ) -> OffAxisStudy:
        """The sound off the axis: drivers as pistons in their places, and where the lobes point.

        Parameters
        ----------
        network, frequency_hz : as `predict`.
        vertical_deg, horizontal_deg : degrees from the design axis, up and right positive; by default usual ones.
        distance_m : to the listener, metres; by default that of speaker.toml, else 1 m.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> speaker.angles("found").vertical.relative_db  # (angles, n) dB re the axis
        """
        from xover.studies.does.angles.study import HORIZONTAL_DEG, VERTICAL_DEG, study_off_axis

        return study_off_axis(
            self.speaker,
            self._name(network),
            frequencies(frequency_hz),
            vertical_deg=VERTICAL_DEG if vertical_deg is None else tuple(vertical_deg),
            horizontal_deg=HORIZONTAL_DEG if horizontal_deg is None else tuple(horizontal_deg),
            distance_m=distance_m,
        )

    def schematic(self, network: str | None = None, *, other: str | None = None) -> Schematic:
        """The network drawn, with values and losses beside the parts; a notebook shows it, `xover.save` writes it.

        Parameters
        ----------
        network : as `predict`. other : a network of the same wiring: where a value differs, both are written.

        Raises
        ------
        OptionError, InputError.

        Example
        -------
        >>> speaker.schematic("found", other="original")
        """
        from xover.drawing.schematic import draw_schematic

        name = self._name(network)
        before = None if other is None else self.network(other)
        return draw_schematic(self.network(name), before, title=f"{self.title}: network '{name}'")

    def compare(
        self,
        first: str,
        second: str,
        *,
        of: Literal["sum", "impedance"] = "sum",
        channel: str | None = None,
        match_hz: tuple[float, float] | None = (200.0, 15_000.0),
        threshold_db: float = 0.5,
        frequency_hz: ArrayLike | None = None,
    ) -> Comparison:
        """Two networks of this speaker: where do they differ, and is it audible? `xover.compare` takes tables too.

        Parameters
        ----------
        first, second : names of networks; the difference is the first less the second.
        of : what is compared. channel : of the amplifier, where the networks have several.
        match_hz : band over which the levels are matched first; None takes them as they are.
        threshold_db : differences beyond are pointed out.
        frequency_hz : as `predict`.

        Raises
        ------
        OptionError, InputError, NoSolutionError.

        Example
        -------
        >>> speaker.compare("found", "original").rms_db
        """
        from xover.studies.aged.compare.curves import Predicted
        from xover.studies.aged.compare.study import compare

        for name in (first, second):
            self.network(name)
        return compare(
            Predicted(self.speaker, first, channel),
            Predicted(self.speaker, second, channel),
            frequencies(frequency_hz),
            what=what(of),
            match_band_hz=match_hz,
            threshold_db=threshold_db,
        )

    def spice(self, network: str | None = None, *, loss_at_hz: float | None = None) -> SpiceNetlist:
        """The network with its drivers as a netlist for any SPICE; its text is `netlist`.

        Parameters
        ----------
        loss_at_hz : write dissipation factors as resistors that are right at this frequency, for analysis in time.

        Raises
        ------
        OptionError, InputError.

        Example
        -------
        >>> Path("left.cir").write_text(speaker.spice("found").netlist)
        """
        from xover.studies.desk.spice.study import study_spice

        return study_spice(self.speaker, self._name(network), loss_at_hz=loss_at_hz)
