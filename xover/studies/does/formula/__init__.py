"""The exact transfer functions of a network as formulas, and in time by lcapy."""

import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from xover.declare import Ask, question
from xover.errors import OptionError, named
from xover.studies.options import Network
from xover.units import TARGET, TEXT, YES, one_of

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.does.formula.by_lcapy import CircuitCards, JudgeStudy
    from xover.studies.does.formula.response import ResponseStudy
    from xover.studies.does.formula.study import FormulaStudy
    from xover.studies.does.formula.terminated import TerminatedNetwork


_AFTER: Final = one_of("step", "impulse", metavar="step|impulse")


@question(plots={"ResponseStudy": "does.draw_response"}, plot_needs="time")
def formula(
    target: Annotated[str, Ask("Netlist, ready topology by name, or speaker folder.", TARGET, place=True)],
    network: Network = None,
    *,
    of: Annotated[str | None, Ask("One function only: a driver, or load.", TEXT, "--of")] = None,
    numbers: Annotated[bool, Ask("Fill in the numbers, in powers of s.", YES)] = False,
    latex: Annotated[bool, Ask("LaTeX of the formulas, nothing else.", YES)] = False,
    time: Annotated[
        Literal["step", "impulse"] | None,
        Ask(
            "Each drive in time after one volt is switched on, or after an impulse: closed form by lcapy.",
            _AFTER,
        ),
    ] = None,
    judge: Annotated[bool, Ask("Let lcapy derive the transfer functions anew, and compare.", YES)] = False,
) -> "FormulaStudy | ResponseStudy | JudgeStudy":
    """The exact transfer functions, as formulas.

    Each driver is one opaque impedance Z_name. On the terminal the losses of coils and capacitors are left out, so
    that the formula can be read; --json holds them all. Poles, zeros and corners follow with the driver taken as its
    DC resistance and, for a speaker folder with sweeps, with the fitted model.

    Example: xover formula two-way-second-order --of woofer

    >>> speaker.formula("found").transfer["woofer"]
    """
    if time is not None:
        _alone("time", judge=judge, numbers=numbers, latex=latex)
        from xover.studies.does.formula.response import study_response

        return study_response(_terminated(target, network), time, of)
    if judge:
        _alone("judge", of=of is not None, numbers=numbers, latex=latex)
        from xover.studies.does.formula.by_lcapy import study_judge

        return study_judge(_terminated(target, network))
    from xover.studies.does.formula.study import Showing, study_formula

    study = study_formula(_terminated(target, network))
    if of is not None and of not in study.formulas:
        raise OptionError(f"there is no formula of '{of[:40]}'", "name one of " + ", ".join(study.formulas))
    return replace(study, showing=Showing(of, numbers, latex))


@question()
def speaker_formula(speaker: "Speaker", network: Network = None) -> "FormulaStudy":
    """The exact transfer functions, as formulas in s, parts and driver impedances.

    >>> speaker.formula("found").transfer["woofer"]
    """
    from xover.studies.does.formula.study import study_formula

    return study_formula(_of_speaker(speaker, network))


@question()
def circuit_formula(
    circuit: Annotated[str | Path, Ask("A netlist (.cir), or a ready topology by its name.", TARGET)],
) -> "FormulaStudy":
    """The exact transfer functions of a netlist or of a ready topology, as formulas; every driver is taken as 8 ohm.

    >>> xover.formula("two-way-second-order").transfer["woofer"]
    """
    from xover.studies.does.formula.study import study_formula
    from xover.studies.does.formula.terminated import terminated_circuit

    return study_formula(terminated_circuit(circuit))


@question()
def speaker_response(
    speaker: "Speaker",
    network: Network = None,
    *,
    after: Annotated[Literal["step", "impulse"], Ask("A step of 1 V, or an impulse of 1 V s.", _AFTER)] = "step",
    of: Annotated[str | None, Ask("Key of one driver; by default all.", TEXT)] = None,
) -> "ResponseStudy":
    """Each drive in time: the closed form by lcapy, and how far a numeric inverse transform lies from it.

    >>> speaker.response("found").drives["woofer"].closed_form
    """
    from xover.studies.does.formula.response import study_response

    return study_response(_of_speaker(speaker, network), after, of)


@question()
def speaker_judge(speaker: "Speaker", network: Network = None) -> "JudgeStudy":
    """Transfer functions derived anew by lcapy's own analysis: how far are they from ours?

    >>> speaker.judge("found").drives["woofer"].largest_difference
    """
    from xover.studies.does.formula.by_lcapy import study_judge

    return study_judge(_of_speaker(speaker, network))


@question()
def circuit(speaker: "Speaker", network: Network = None) -> Any:
    """The network with its drivers as lcapy's own Circuit, for every analysis that lcapy has.

    Elements and nodes have generated names: `circuit_cards` says which is which, and what is left out. There is no
    source in it. Its numbers are exact fractions, so that large networks take lcapy long. Loading lcapy changes how
    sympy prints.

    >>> speaker.circuit("found").impedance(1, 0)
    """
    from xover.studies.does.formula.by_lcapy import lcapy_circuit

    return lcapy_circuit(_of_speaker(speaker, network))


@question()
def circuit_cards(speaker: "Speaker", network: Network = None) -> "CircuitCards":
    """What `circuit` is made of: its cards, and what each of its elements and nodes is in the network.

    >>> speaker.circuit_cards("found").elements
    """
    from xover.studies.does.formula.by_lcapy import circuit_cards as cards

    return cards(_of_speaker(speaker, network))


def _of_speaker(speaker: "Speaker", network: str | None) -> "TerminatedNetwork":
    from xover.studies.does.formula.terminated import terminated_speaker

    return terminated_speaker(speaker, speaker.network_or_default(network))


def _alone(first: str, **given: bool) -> None:
    """The first option leaves no room for the others."""
    others = [name for name, is_given in given.items() if is_given]
    if others:
        words = f"{named(first)} and {named(others[0])} are two questions"
        raise OptionError(words, f"leave {named(others[0])} out")


def _terminated(target: str, network: str | None) -> "TerminatedNetwork":
    from xover.studies.does.formula.terminated import terminated_circuit

    path = Path(target)
    if os.path.isdir(path) or path.suffix == ".toml":
        from xover.speaker import open_speaker

        return _of_speaker(open_speaker(path), network)
    if network is not None:
        raise OptionError(f"{named('network')} belongs to a speaker folder", "leave it out for a single netlist")
    return terminated_circuit(target)
