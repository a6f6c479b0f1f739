"""What needs no speaker folder: values, coils, capacitors, pads, formulas of a circuit, comparisons, JSON."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from xover.api.asks import asked, asks_alone
from xover.errors import OptionError
from xover.studies.aged.compare import compare as _compare
from xover.studies.desk.capacitor import capacitor as _capacitor
from xover.studies.desk.coil import coil as _coil
from xover.studies.desk.jig import jig as _jig
from xover.studies.desk.pad import pad as _pad
from xover.studies.desk.record import record as _record
from xover.studies.desk.response import response as _response
from xover.studies.desk.sweep import sweep as _sweep
from xover.studies.desk.values import values as _values
from xover.studies.does.formula import circuit_formula

if TYPE_CHECKING:
    from xover.studies.desk.pad.study import PadStudy


compare = asks_alone(_compare)
capacitor = asks_alone(_capacitor)
coil = asks_alone(_coil)
jig = asks_alone(_jig)
record = asks_alone(_record)
response = asks_alone(_response)
sweep = asks_alone(_sweep)
values = asks_alone(_values)
formula = asks_alone(circuit_formula)


def circuits() -> tuple[str, ...]:
    """Names of the ready topologies.

    Example
    -------
    >>> "two-way-second-order" in xover.circuits()
    True
    """
    from xover.files.netlist import circuit_names

    return circuit_names()


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
    return asked(_pad, {"down_db": down_db, "nominal_ohm": ohm, "input_w": input_w}, nominal_ohm="ohm")


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
