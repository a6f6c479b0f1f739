"""xover formula: the exact transfer functions, as formulas."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import one_of
from xover.cli.options import Force, Json, NetworkName, Plot, chosen_network
from xover.cli.plot import write_plot
from xover.cli.show import db, hertz, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.network.rational import Rational
    from xover.studies.does.formula.judge import JudgeStudy
    from xover.studies.does.formula.response import ResponseStudy
    from xover.studies.does.formula.study import Formula, FormulaStudy, Root, Shape
    from xover.studies.does.formula.terminated import TerminatedNetwork

MOST_SHOWN = 60
"""Terms of a formula that are still worth reading on a terminal."""


def formula(
    target: Annotated[
        str, typer.Argument(metavar="CIRCUIT|SPEAKER", help="Netlist, ready topology by name, or speaker folder.")
    ],
    network: NetworkName = None,
    of: Annotated[
        str | None, typer.Option("--of", metavar="NAME", help="One function only: a driver, or load.")
    ] = None,
    numbers: Annotated[bool, typer.Option("--numbers", help="Fill in the numbers, in powers of s.")] = False,
    latex: Annotated[bool, typer.Option("--latex", help="LaTeX of the formulas, nothing else.")] = False,
    time: Annotated[
        str | None,
        typer.Option(
            "--time",
            metavar="step|impulse",
            help="Each drive in time after one volt is switched on, or after an impulse: closed form by lcapy.",
            autocompletion=one_of("step", "impulse"),
        ),
    ] = None,
    judge: Annotated[
        bool, typer.Option("--judge", help="Let lcapy derive the transfer functions anew, and compare.")
    ] = False,
    plot: Plot = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """The exact transfer functions, as formulas.

    Each driver is one opaque impedance Z_name. On the terminal the losses of coils and capacitors are left out, so
    that the formula can be read; --json holds them all. Poles, zeros and corners follow with the driver taken as its
    DC resistance and, for a speaker folder with sweeps, with the fitted model.

    Example: xover formula two-way-second-order --of woofer
    """
    if time is not None:
        _only(time=True, judge=judge, numbers=numbers, latex=latex)
        show_response(_response(_terminated(target, network), time, of), plot, force, as_json)
        return
    if plot is not None:
        raise OptionError("--plot draws a response in time", "give --time step, or leave --plot out")
    if judge:
        _only(judge=True, of=of is not None, numbers=numbers, latex=latex)
        from xover.studies.does.formula.judge import study_judge

        show_judge(study_judge(_terminated(target, network)), as_json)
        return
    from xover.studies.does.formula.study import study_formula

    study = study_formula(_terminated(target, network))
    chosen = _chosen(study, of)
    if as_json:
        show_json(study)
    elif latex:
        for found in chosen:
            typer.echo(_latex(found, numbers))
    else:
        _show(study, chosen, numbers)
        show_warnings(study.warnings)


def _only(**given: bool) -> None:
    """The first option leaves no room for the others."""
    first, *others = (name for name, is_given in given.items() if is_given)
    if others:
        raise OptionError(f"--{first} and --{others[0]} are two questions", f"leave --{others[0]} out")


def _terminated(target: str, network: str | None) -> TerminatedNetwork:
    from xover.studies.does.formula.terminated import terminated_circuit, terminated_speaker

    path = Path(target)
    if path.is_dir() or path.suffix == ".toml":
        from xover.speaker import open_speaker

        opened = open_speaker(path)
        return terminated_speaker(opened, chosen_network(opened, network))
    if network is not None:
        raise OptionError("--network belongs to a speaker folder", "leave it out for a single netlist")
    return terminated_circuit(target)


def _response(terminated: TerminatedNetwork, time: str, of: str | None) -> ResponseStudy:
    from xover.studies.does.formula.response import stimulus, study_response

    return study_response(terminated, stimulus(time), of)


def show_response(study: ResponseStudy, plot: Path | None, force: bool, as_json: bool) -> None:
    """Tell a response in time."""
    write_plot(study, plot, force)
    if as_json:
        show_json(study)
        return
    show_heading(study.heading)
    for drive in study.drives.values():
        show_heading(drive.name)
        for label, text in study.items(drive):
            show_item(label, text)
    typer.echo()
    show_table(*study.table())
    show_warnings(study.warnings)


def show_judge(study: JudgeStudy, as_json: bool) -> None:
    """Tell a judgement."""
    if as_json:
        show_json(study)
        return
    show_heading(study.heading)
    for judged in study.drives.values():
        show_item(judged.name, judged.sentence)
    for text in study.left_out:
        show_item("", text)
    show_warnings(study.warnings)


def _chosen(study: FormulaStudy, of: str | None) -> list[Formula]:
    if of is None:
        return list(study.formulas.values())
    if of not in study.formulas:
        raise OptionError(f"there is no formula of '{of[:40]}'", "name one of " + ", ".join(study.formulas))
    return [study.formulas[of]]


def _latex(found: Formula, numbers: bool) -> str:
    import sympy

    from xover.network.expressions import expression

    s = sympy.Symbol("s")
    if numbers and found.resistive is not None:
        shape = found.resistive
        top, bottom = (
            sympy.Add(*(sympy.Float(c, 6) * s ** (len(p) - 1 - i) for i, c in enumerate(p) if c))
            for p in (shape.numerator, shape.denominator)
        )
        return str(sympy.latex(top / bottom))
    if found.ideal is None:
        return "% a load of several sections: see 'xover formula --json'"
    return str(sympy.latex(expression(found.ideal)))


def _show(study: FormulaStudy, chosen: list[Formula], numbers: bool) -> None:
    show_heading(f"{study.title or study.network}: formulas in s, parts and driver impedances")
    if study.altered:
        renamed = ", ".join(f"{old} is {new}" for old, new in study.altered.items())
        show_text(f"Letters that had to be changed: {renamed}.")
    for found in chosen:
        is_load = found.name.startswith("load")
        show_heading(
            f"{found.name}: " + ("impedance at the amplifier, ohm" if is_load else "voltage over the amplifier's")
        )
        if numbers and found.resistive is not None:
            _show_numbers(found.resistive)
        else:
            _show_letters(found)
        if found.resistive is not None:
            _show_shape(found.resistive, "no losses, ")
        if found.modelled is not None:
            _show_shape(found.modelled, "with losses, ")
        if found.nearest is not None:
            n = found.nearest
            side = "low-pass" if n.low_pass else "high-pass"
            show_item(
                "nearest alignment",
                f"{n.name} {side} at {hertz(n.frequency_hz)}: {db(n.rms_db)} dB rms away, {db(n.worst_db)} dB at worst",
            )
        for note in found.notes:
            show_item("", note)


def _show_letters(found: Formula) -> None:
    if found.ideal is None or found.ideal_terms > MOST_SHOWN:
        reason = f"{found.ideal_terms} terms without losses, {found.terms} with: see --json"
        show_item(
            "formula", f"1 over the sum of the sections' admittances; {reason}" if found.ideal is None else reason
        )
        return
    show_item("numerator", _by_power(found.ideal, found.ideal.numerator))
    show_item("denominator", _by_power(found.ideal, found.ideal.denominator))
    if found.terms != found.ideal_terms:
        show_item("", f"losses left out; with them {found.terms} terms, see --json")


def _by_power(rational: Rational, polynomial: object) -> str:
    from xover.network.expressions import powers_of_s
    from xover.network.formula_text import polynomial_text

    pieces = []
    for power, coefficient in powers_of_s(polynomial).items():
        text = polynomial_text(rational, coefficient)
        letter = "" if power == 0 else "s" if power == 1 else f"s^{power}"
        plain = text.replace("**", "^").replace("*", " ")
        pieces.append(plain if not letter else f"{letter} ({plain})" if plain != "1" else letter)
    return " + ".join(pieces)


def _show_numbers(shape: Shape) -> None:
    for label, coefficients in (("numerator", shape.numerator), ("denominator", shape.denominator)):
        highest = len(coefficients) - 1
        pieces = []
        for i, c in enumerate(coefficients):
            power = highest - i
            if c:
                pieces.append(f"{c:.5g}" + ("" if power == 0 else " s" if power == 1 else f" s^{power}"))
        show_item(label, " + ".join(pieces))


def _show_shape(shape: Shape, words: str) -> None:
    show_item("", words + shape.driver + ":")
    show_item("  low frequencies", _asymptote(shape.low_gain, shape.at_zero))
    show_item("  high frequencies", _asymptote(shape.high_gain, shape.at_infinity))
    show_item("  poles", ", ".join(map(_root, shape.poles)) or "none")
    show_item("  zeros", ", ".join(map(_root, shape.zeros)) or "none but at s = 0")


def _asymptote(gain: float, power: int) -> str:
    from xover.studies.does.formula.study import DECIBEL_PER_ORDER

    letter = "" if power == 0 else " s" if power == 1 else f" s^{power}"
    return f"{gain:.4g}{letter} ({db(DECIBEL_PER_ORDER * power, 0, True)} dB/octave)"


def _root(root: Root) -> str:
    place = hertz(root.frequency_hz)
    words = f"{place} (real)" if root.q is None else f"{place} (Q {root.q:.2f})"
    return words + (", right half plane" if root.right_half else "")
