"""What the network does: check, predict, load, formula, sensitivity, angles, schematic, comparison, spice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from xover.api.asks import asks
from xover.api.opened import Opened
from xover.studies.aged.compare import compare_networks
from xover.studies.desk.check import check
from xover.studies.desk.spice import spice
from xover.studies.does.angles import angles
from xover.studies.does.load import load
from xover.studies.does.predict import predict
from xover.studies.does.sensitivity import sensitivity

if TYPE_CHECKING:
    from xover.drawing.schematic import Schematic
    from xover.studies.does.formula.by_lcapy import CircuitCards
    from xover.studies.does.formula.judge import JudgeStudy
    from xover.studies.does.formula.response import ResponseStudy
    from xover.studies.does.formula.study import FormulaStudy
    from xover.studies.does.formula.terminated import TerminatedNetwork


class WhatItDoes(Opened):
    """Questions about the network as it is."""

    check = asks(check)
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
        from xover.studies.does.formula.study import study_formula

        return study_formula(self._terminated(network))

    def response(
        self, network: str | None = None, *, after: Literal["step", "impulse"] = "step", of: str | None = None
    ) -> ResponseStudy:
        """Each drive in time: the closed form by lcapy, and how far a numeric inverse transform lies from it.

        Parameters
        ----------
        after : a step of 1 V, or an impulse of 1 V s. of : key of one driver; by default all.

        Raises
        ------
        OptionError : no such network or driver, or a formula of too many terms. InputError, NoSolutionError.

        Example
        -------
        >>> speaker.response("found").drives["woofer"].closed_form
        """
        from xover.studies.does.formula.response import stimulus, study_response

        return study_response(self._terminated(network), stimulus(after), of)

    def judge(self, network: str | None = None) -> JudgeStudy:
        """lcapy derives the transfer functions anew by its own analysis: how far are they from ours?

        Raises
        ------
        OptionError : no such network, or a formula of too many terms. InputError, NoSolutionError.

        Example
        -------
        >>> speaker.judge("found").drives["woofer"].largest_difference
        """
        from xover.studies.does.formula.judge import study_judge

        return study_judge(self._terminated(network))

    def circuit(self, network: str | None = None) -> Any:
        """The network with its drivers as lcapy's own Circuit, for every analysis that lcapy has.

        Elements and nodes have generated names: `circuit_cards` says which is which, and what is left out. There is
        no source in it. Its numbers are exact fractions, so that large networks take lcapy long. Loading lcapy
        changes how sympy prints.

        Raises
        ------
        OptionError : no such network. InputError.

        Example
        -------
        >>> speaker.circuit("found").impedance(1, 0)
        """
        from xover.studies.does.formula.by_lcapy import lcapy_circuit

        return lcapy_circuit(self._terminated(network))

    def circuit_cards(self, network: str | None = None) -> CircuitCards:
        """What `circuit` is made of: its cards, and what each of its elements and nodes is in the network.

        Raises
        ------
        OptionError : no such network. InputError.

        Example
        -------
        >>> speaker.circuit_cards("found").elements
        """
        from xover.studies.does.formula.by_lcapy import circuit_cards

        return circuit_cards(self._terminated(network))

    def _terminated(self, network: str | None) -> TerminatedNetwork:
        from xover.studies.does.formula.terminated import terminated_speaker

        return terminated_speaker(self.speaker, self._name(network))

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
