"""What the network does: check, predict, load, formula, sensitivity, angles, schematic, comparison, spice."""

from __future__ import annotations

from typing import TYPE_CHECKING

from xover.api.asks import asks
from xover.api.opened import Opened
from xover.studies.aged.compare import compare_networks
from xover.studies.desk.spice import spice
from xover.studies.does.angles import angles
from xover.studies.does.load import load
from xover.studies.does.predict import predict
from xover.studies.does.sensitivity import sensitivity

if TYPE_CHECKING:
    from xover.drawing.schematic import Schematic
    from xover.studies.desk.check.study import CheckStudy
    from xover.studies.does.formula.study import FormulaStudy


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

    predict = asks(predict)
    load = asks(load)
    sensitivity = asks(sensitivity)
    angles = asks(angles)

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

    compare = asks(compare_networks)
    spice = asks(spice)
