"""What is wanted of a redesign, from what was typed."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from xover.cli.options import frequency, resistance
from xover.errors import InputError, OptionError, nearest_word
from xover.quantity import Kind, parse_quantity

if TYPE_CHECKING:
    from xover.studies.change.redesign.wish import Weights, Wish

NO_SLOPE = "none"


def make_wish(
    *,
    slope: str,
    crossover: str | None,
    tilt: str,
    voicing: str | None,
    band: str,
    minimum_load: str | None,
    most_parts: int | None,
    most_cost: str | None,
    largest_coil: str | None,
    weights: str | None,
) -> Wish:
    """Check every option of `xover redesign` that says what is wanted. Raises OptionError."""
    from xover.electronic.slopes import parse_slope
    from xover.studies.change.redesign.wish import Weights, Wish

    if slope.lower() != NO_SLOPE:
        parse_slope(slope)
    if most_parts is not None and most_parts < 1:
        raise OptionError(f"--most-parts is {most_parts}", "give 1 or more")
    return Wish(
        band_hz=band_hz(band, "--band"),
        tilt_db_per_octave=decibels(tilt, "--tilt"),
        voicing=voicing,
        slope=None if slope.lower() == NO_SLOPE else slope,
        crossover_hz=None if crossover is None else _corners(crossover),
        minimum_load_ohm=None if minimum_load is None else _above_zero(minimum_load),
        most_parts=most_parts,
        most_cost=None if most_cost is None else _cost(most_cost),
        largest_coil_h=None if largest_coil is None else _coil(largest_coil),
        weights=Weights() if weights is None else _weights(weights, Weights()),
    )


def band_hz(text: str, option: str) -> tuple[float, float]:
    """Two rising frequencies from "200:18k". Raises OptionError."""
    low, colon, high = text.partition(":")
    if not colon:
        raise OptionError(f"{option} is {text[:40]}", "write two frequencies, such as 200:18k")
    edges = frequency(low, option), frequency(high, option)
    if not edges[0] < edges[1]:
        raise OptionError(f"{option} is {text[:40]}", "give the lower frequency first")
    return edges


def decibels(text: str, option: str) -> float:
    """A number of decibels, its unit left out or not. Raises OptionError."""
    stripped = text.strip()
    number = stripped[:-2] if stripped.lower().endswith("db") else stripped
    return _quantity(number, Kind.PLAIN, option)


def _corners(text: str) -> tuple[float, ...]:
    corners = tuple(frequency(part, "--crossover") for part in text.split(","))
    if any(b <= a for a, b in pairwise(corners)):
        raise OptionError(f"--crossover is {text[:40]}", "give rising frequencies, the lowest crossover first")
    return corners


def _above_zero(text: str) -> float:
    value = resistance(text, "--minimum-load")
    if value == 0:
        raise OptionError(f"--minimum-load is {text}", "give ohms above 0")
    return value


def _cost(text: str) -> float:
    value = _quantity(text, Kind.PLAIN, "--most-cost")
    if not (math.isfinite(value) and value >= 0):
        raise OptionError(f"--most-cost is {text[:40]}", "give money of the stock list, 0 or more")
    return value


def _coil(text: str) -> float:
    value = _quantity(text, Kind.INDUCTANCE, "--largest-coil")
    if not 1e-6 <= value <= 1.0:
        raise OptionError(f"--largest-coil is {text[:40]}", "give an inductance such as 3mH")
    return value


def _weights(text: str, default: Weights) -> Weights:
    """The weights, those that are named changed: "total=1,together=0.4"."""
    from dataclasses import replace

    known = tuple(vars(default))
    given: dict[str, float] = {}
    for part in text.split(","):
        name, equals, number = (piece.strip() for piece in part.partition("="))
        if name not in known or not equals:
            near = nearest_word(name, known)
            remedy = (
                f"did you mean {near}?"
                if near and name not in known
                else "write total=1,together=0.4 with " + (", ".join(known))
            )
            raise OptionError(f"--weights has '{part.strip()[:40]}'", remedy)
        if name in given:
            raise OptionError(f"--weights names {name} twice", "give each weight once")
        given[name] = _quantity(number, Kind.PLAIN, f"--weights {name}")
    return replace(default, **given)


def _quantity(text: str, kind: Kind, option: str) -> float:
    try:
        return parse_quantity(text, kind)
    except InputError as error:
        raise OptionError(f"{option}: {error.problem}", error.remedy) from None
