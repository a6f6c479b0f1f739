"""What needs no speaker folder: values, coils, capacitors, pads, formulas of a circuit, comparisons, JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from xover.api.asks import asks_alone
from xover.errors import InputError, OptionError
from xover.quantity import Kind, parse_quantity
from xover.studies.aged.compare import compare as _compare
from xover.studies.desk.coil import coil as _coil
from xover.studies.desk.jig import jig as _jig

if TYPE_CHECKING:
    from xover.parts.capacitor_loss import CapacitorLoss
    from xover.studies.desk.pad.study import PadStudy
    from xover.studies.desk.values.study import ValuesStudy
    from xover.studies.does.formula.study import FormulaStudy


compare = asks_alone(_compare)
coil = asks_alone(_coil)
jig = asks_alone(_jig)


def circuits() -> tuple[str, ...]:
    """Names of the ready topologies.

    Example
    -------
    >>> "two-way-second-order" in xover.circuits()
    True
    """
    from xover.files.circuits import circuit_names

    return circuit_names()


def values(
    target: str,
    *,
    series: str = "E12",
    kind: Literal["capacitor", "resistor", "inductor"] | None = None,
    tolerance: float | None = None,
    max_error: float | None = None,
    most: int = 5,
    stock: str | Path | None = None,
    needed: int = 1,
) -> ValuesStudy:
    """The nearest values that exist, alone (`nearest`, `below`, `above`) and two together (`pairs`).

    Parameters
    ----------
    target : with its unit, such as "4.73uF", "1.8mH", "6.8ohm" or "4R7".
    series : E3 to E192. kind : where the unit does not tell.
    tolerance, max_error : of the parts, and how far off it may be: shares, 0.05 for 5 %.
    most : pairs at most. stock : a list (.csv) that is the only source then. needed : pieces of each.

    Raises
    ------
    OptionError : no such value or series. InputError : a fault in the list, or nothing in it fits.

    Example
    -------
    >>> xover.values("4.73uF").nearest.value
    4.7e-06
    """
    from xover.parts.stock import Wanted, open_stock
    from xover.parts.stock_item import ItemKind
    from xover.studies.desk.values.study import study_stock, study_values
    from xover.studies.desk.values.target import parse_target

    if not 1 <= most <= 50:
        raise OptionError(f"most is {most}", "give 1 to 50 pairs")
    value, word = parse_target(target, kind)
    part = ItemKind(word)
    if stock is None:
        if needed != 1:
            raise OptionError("needed asks a list", "name it by stock")
        return study_values(value, part, series, tolerance=tolerance, most=most, max_error=max_error, with_pairs=True)
    wanted, listed = Wanted(part, None, None, None, None, needed), open_stock(Path(stock))
    return study_stock(value, wanted, listed, tolerance=tolerance, most=most, max_error=max_error, with_pairs=True)


def capacitor(
    value: str | float,
    *,
    esr_ohm: Mapping[float, float] | None = None,
    df: Mapping[float, float] | None = None,
    q: Mapping[float, float] | None = None,
) -> CapacitorLoss:
    """What a capacitor loses over frequency, from readings of a meter.

    Parameters
    ----------
    value : capacitance, as a text with its unit or in farad.
    esr_ohm, df, q : readings of series resistance (ohm), dissipation factor or quality factor, by frequency in Hz.

    Raises
    ------
    OptionError : no reading, or no such capacitance. InputError : a reading that no capacitor has.

    Example
    -------
    >>> xover.capacitor("4.77uF", esr_ohm={1000: 1.7, 10_000: 0.28}).esr_ohm([100, 20_000])
    """
    from xover.parts.capacitor_loss import LossReading, ReadingKind, fit_readings

    given = ((ReadingKind.ESR, esr_ohm), (ReadingKind.DISSIPATION_FACTOR, df), (ReadingKind.QUALITY, q))
    readings = [LossReading(kind, float(v), float(hz)) for kind, rows in given for hz, v in (rows or {}).items()]
    if not readings:
        raise OptionError("there is no reading of the capacitor's loss", "give esr_ohm, df or q by frequency")
    farad = _value(value, Kind.CAPACITANCE)
    if not 1e-9 <= farad <= 10e-3:
        raise OptionError(f"the capacitance is {farad:g} F", "give one from 1 nF to 10 mF, such as '4.7uF'")
    return fit_readings(farad, readings)


def pad(down_db: float, *, ohm: float = 8.0, input_w: float | None = None) -> PadStudy:
    """Two resistors that bring a driver down which is taken as a plain resistance. `Loudspeaker.pad` knows the driver.

    Parameters
    ----------
    down_db : above 0 and up to 60 dB. ohm : of the driver. input_w : power into the pad, to be split up.

    Raises
    ------
    OptionError, InputError.

    Example
    -------
    >>> xover.pad(6, ohm=8).designs[0].series_ohm
    """
    from xover.studies.desk.pad.study import study_pad

    return study_pad(down_db, nominal_ohm=ohm, input_w=input_w)


def formula(circuit: str | Path) -> FormulaStudy:
    """The exact transfer functions of a netlist (.cir) or of a ready topology, as formulas.

    Raises
    ------
    OptionError : neither a netlist nor a topology, or a formula of too many terms. InputError, NoSolutionError.

    Example
    -------
    >>> xover.formula("two-way-second-order").transfer["woofer"]
    """
    from xover.studies.does.formula.of_circuit import study_circuit_formula

    return study_circuit_formula(circuit)


def to_json(result: Any, *, indent: int | None = None) -> str:
    """A result as one JSON object, as the command's --json writes it; what is not known is null.

    Parameters
    ----------
    indent : blanks for each level; None writes one line.

    Raises
    ------
    OptionError : it is no result of a study.

    Example
    -------
    >>> Path("found.json").write_text(xover.to_json(speaker.predict("found")))
    """
    from xover.plain import to_plain

    try:
        plain = to_plain(result)
    except TypeError:
        raise OptionError(
            f"a {type(result).__name__} cannot be written as JSON", "give the result of a study, such as of predict"
        ) from None
    return json.dumps(plain, allow_nan=False, ensure_ascii=False, indent=indent)


def _value(given: str | float, kind: Kind) -> float:
    if not isinstance(given, str):
        return float(given)
    try:
        return parse_quantity(given, kind)
    except InputError as error:
        raise OptionError(error.problem, error.remedy) from None
