"""The formulas as a person reads them, the responses in time, and the judgement."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Final

import sympy

from xover.blocks import Block, Gap, Head, Listing, Text, fact, plain_table
from xover.figures import db, hertz
from xover.network.rational import Rational, expression, powers_of_s
from xover.network.symbolic import polynomial_text
from xover.studies.does.formula.by_lcapy import JudgeStudy
from xover.studies.does.formula.response import ResponseStudy
from xover.studies.does.formula.study import DECIBEL_PER_ORDER, Formula, FormulaStudy, Root, Shape

MOST_SHOWN: Final = 60
"""Terms of a formula that are still worth reading on a terminal."""


def tell(study: FormulaStudy | ResponseStudy | JudgeStudy) -> Iterator[Block]:
    """Formulas, responses in time, or how far lcapy is from ours."""
    if isinstance(study, ResponseStudy):
        yield from _response(study)
    elif isinstance(study, JudgeStudy):
        yield from _judge(study)
    elif study.showing.latex:
        ideal = [expression(f.ideal) for f in study.formulas.values() if f.ideal is not None]
        names = latex_names(set().union(*(e.free_symbols for e in ideal)))
        for old, new in study.altered.items():
            yield Listing("", f"% {old} is {new}", bare=True)
        for found in study.shown:
            yield Listing("", _latex(found, study.showing.numbers, names), bare=True)
    else:
        yield from _formulas(study)


def _response(study: ResponseStudy) -> Iterator[Block]:
    yield Head(study.heading)
    for drive in study.drives.values():
        yield Head(drive.name)
        for label, text in study.items(drive):
            yield fact(label, text)
    yield Gap()
    yield plain_table(*study.table())


def _judge(study: JudgeStudy) -> Iterator[Block]:
    yield Head(study.heading)
    for judged in study.drives.values():
        yield fact(judged.name, judged.sentence)
    for text in study.left_out:
        yield fact("", text)


def _formulas(study: FormulaStudy) -> Iterator[Block]:
    yield Head(f"{study.title or study.network}: formulas in s, parts and driver impedances")
    if study.altered:
        renamed = ", ".join(f"{old} is {new}" for old, new in study.altered.items())
        yield Text(f"Letters that had to be changed: {renamed}.")
    for found in study.shown:
        is_load = any(found is load for load in study.load.values())
        yield Head(
            f"{found.name}: " + ("impedance at the amplifier, ohm" if is_load else "voltage over the amplifier's")
        )
        nothing = not found.terms if is_load else found.ideal is not None and not found.ideal.numerator
        if nothing:
            yield fact("formula", "none, no current flows" if is_load else "0: no voltage reaches it")
            continue
        if study.showing.numbers and found.resistive is not None:
            yield from _numbers(found.resistive)
        else:
            yield from _letters(found)
        if found.resistive is not None:
            yield from _shape(found.resistive, "no losses, ")
        if found.modelled is not None:
            yield from _shape(found.modelled, "with losses, ", swinging=True)
        if found.nearest is not None:
            n = found.nearest
            side = "low-pass" if n.low_pass else "high-pass"
            yield fact(
                "nearest alignment",
                f"{n.name} {side} at {hertz(n.frequency_hz)}: {db(n.rms_db)} dB rms away, {db(n.worst_db)} dB at worst",
            )
        for note in found.notes:
            yield fact("", note)


def _latex(found: Formula, numbers: bool, names: Mapping[sympy.Symbol, str]) -> str:
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
    return str(sympy.latex(expression(found.ideal), symbol_names=dict(names)))


def latex_names(symbols: Iterable[sympy.Symbol]) -> dict[sympy.Symbol, str]:
    """How to write those symbols that would print like another, as R1 and R_1 both do: letter by letter."""
    printed = {symbol: re.sub(r"[{}_^\s]", "", sympy.latex(symbol)) for symbol in symbols}
    times = Counter(printed.values())
    alike = [symbol for symbol, text in printed.items() if times[text] > 1 and symbol.name != "s"]
    return {symbol: r"\mathtt{" + symbol.name.replace("_", r"\_") + "}" for symbol in alike}


def _letters(found: Formula) -> Iterator[Block]:
    if found.ideal is None or found.ideal_terms > MOST_SHOWN:
        reason = f"{found.ideal_terms} terms without losses, {found.terms} with: see --json"
        yield fact(
            "formula", f"1 over the sum of the sections' admittances; {reason}" if found.ideal is None else reason
        )
        return
    yield fact("numerator", _by_power(found.ideal, found.ideal.numerator))
    yield fact("denominator", _by_power(found.ideal, found.ideal.denominator))
    if found.terms != found.ideal_terms:
        yield fact("", f"losses left out; with them {found.terms} terms, see --json")


def _by_power(rational: Rational, polynomial: object) -> str:
    pieces = []
    for power, coefficient in powers_of_s(polynomial).items():
        text = polynomial_text(rational, coefficient)
        letter = "" if power == 0 else "s" if power == 1 else f"s^{power}"
        plain = text.replace("**", "^").replace("*", " ")
        pieces.append(plain if not letter else f"{letter} ({plain})" if plain != "1" else letter)
    return " + ".join(pieces)


def _numbers(shape: Shape) -> Iterator[Block]:
    for label, coefficients in (("numerator", shape.numerator), ("denominator", shape.denominator)):
        highest = len(coefficients) - 1
        pieces = []
        for i, c in enumerate(coefficients):
            power = highest - i
            if c:
                pieces.append(f"{c:.5g}" + ("" if power == 0 else " s" if power == 1 else f" s^{power}"))
        yield fact(label, " + ".join(pieces))


def _shape(shape: Shape, words: str, swinging: bool = False) -> Iterator[Block]:
    """`swinging`: only roots with a Q, as the others are mostly of the cells that stand for a coil."""
    yield fact("", words + shape.driver + ":")
    yield fact("  low frequencies", _asymptote(shape.low_gain, shape.at_zero))
    yield fact("  high frequencies", _asymptote(shape.high_gain, shape.at_infinity))
    for name, roots, none in (("poles", shape.poles, "none"), ("zeros", shape.zeros, "none but at s = 0")):
        told = [r for r in roots if r.q is not None] if swinging else list(roots)
        words = ", ".join(map(_root, told)) or (none if not roots else "none with a Q")
        left = len(roots) - len(told)
        yield fact(f"  {name}", words + (f"; {left} real, mostly of the coils' losses: see --json" if left else ""))


def _asymptote(gain: float, power: int) -> str:
    letter = "" if power == 0 else " s" if power == 1 else f" s^{power}"
    return f"{gain:.4g}{letter} ({db(DECIBEL_PER_ORDER * power, 0, True)} dB/octave)"


def _root(root: Root) -> str:
    place = hertz(root.frequency_hz)
    words = f"{place} (real)" if root.q is None else f"{place} (Q {root.q:.2f})"
    return words + (", right half plane" if root.right_half else "")
