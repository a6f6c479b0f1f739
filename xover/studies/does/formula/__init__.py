"""The exact transfer functions of a network as formulas, and in time by lcapy."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, question
from xover.errors import OptionError, named
from xover.studies.options import Network
from xover.units import TARGET, TEXT, YES, one_of

if TYPE_CHECKING:
    from xover.studies.does.formula.judge import JudgeStudy
    from xover.studies.does.formula.response import ResponseStudy
    from xover.studies.does.formula.study import FormulaStudy
    from xover.studies.does.formula.terminated import TerminatedNetwork


@question(plots={"ResponseStudy": "response.draw_response"}, plot_needs="time")
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
            one_of("step", "impulse", metavar="step|impulse"),
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
        from xover.studies.does.formula.response import stimulus, study_response

        return study_response(_terminated(target, network), stimulus(time), of)
    if judge:
        _alone("judge", of=of is not None, numbers=numbers, latex=latex)
        from xover.studies.does.formula.judge import study_judge

        return study_judge(_terminated(target, network))
    from xover.studies.does.formula.study import Showing, study_formula

    study = study_formula(_terminated(target, network))
    if of is not None and of not in study.formulas:
        raise OptionError(f"there is no formula of '{of[:40]}'", "name one of " + ", ".join(study.formulas))
    return replace(study, showing=Showing(of, numbers, latex))


def _alone(first: str, **given: bool) -> None:
    """The first option leaves no room for the others."""
    others = [name for name, is_given in given.items() if is_given]
    if others:
        words = f"{named(first)} and {named(others[0])} are two questions"
        raise OptionError(words, f"leave {named(others[0])} out")


def _terminated(target: str, network: str | None) -> "TerminatedNetwork":
    from xover.studies.does.formula.terminated import terminated_circuit, terminated_speaker

    path = Path(target)
    if path.is_dir() or path.suffix == ".toml":
        from xover.speaker import open_speaker

        opened = open_speaker(path)
        return terminated_speaker(opened, opened.network_or_default(network))
    if network is not None:
        raise OptionError(f"{named('network')} belongs to a speaker folder", "leave it out for a single netlist")
    return terminated_circuit(target)
