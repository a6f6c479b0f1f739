"""The parts of a network. Values in SI units; each part knows its own impedance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.quantity import QuantityKind, format_quantity


def series_impedance_ohm(
    omega: Float, ohm: ArrayLike = 0.0, henry: ArrayLike = 0.0, elastance: ArrayLike = 0.0, factor: ArrayLike = 0.0
) -> Complex:
    """What every part is: ohm + j w henry + (factor - j) elastance / w, broadcast over parts, candidates, frequency."""
    reactance = np.asarray(elastance) / omega
    real = np.asarray(ohm) + np.asarray(factor) * reactance
    return np.asarray(real + 1j * (np.asarray(henry) * omega - reactance), dtype=complex)


@dataclass(frozen=True)
class _TwoNode:
    """What every two-terminal part has: its name, its nodes, and what its card says of it; None where it says nothing.

    Attributes
    ----------
    tolerance : fraction, such as 0.05.
    kind : what it is made of, in lower case: "film", "electrolytic"...
    evidence : "measured", "marked", "datasheet", "assumed" or "inferred".
    losses_stated : whether the card gives its losses, be they zero.
    card : the words of the card beyond the value, in its order; only the writing of netlists looks at them.
    """

    name: str
    a: str
    b: str
    line: int | None = field(default=None, kw_only=True, compare=False)
    tolerance: float | None = field(default=None, kw_only=True)
    kind: str | None = field(default=None, kw_only=True)
    evidence: str | None = field(default=None, kw_only=True)
    losses_stated: bool = field(default=False, kw_only=True, compare=False)
    card: tuple[tuple[str, str], ...] = field(default=(), kw_only=True, compare=False)

    @property
    def material(self) -> str | None:
        """What the card says it is made of: the core of a coil, the kind of another part."""
        return self.kind

    @property
    def series(self) -> tuple[Any, Any, Any, Any]:
        """Ohm, henry, 1/farad and dissipation factor: numbers, or what `changed` has put in their places."""
        raise NotImplementedError

    def impedance_ohm(self, omega: Float) -> Complex:
        """(..., n) impedance without coupling."""
        return series_impedance_ohm(omega, *self.series)


@dataclass(frozen=True)
class Resistor(_TwoNode):
    """A resistor, or a lamp or resettable fuse at rest (cold)."""

    ohm: float
    is_lamp: bool = False
    hot_ohm: float | None = None
    watts: float | None = field(default=None, kw_only=True)

    @property
    def series(self) -> tuple[Any, Any, Any, Any]:
        return self.ohm, 0.0, 0.0, 0.0


@dataclass(frozen=True)
class Inductor(_TwoNode):
    """A coil with its DC resistance in series.

    Attributes
    ----------
    core : "air", "iron", "ferrite"... in lower case.
    amps : peak current that the core stands.
    """

    henry: float
    dcr_ohm: float = 0.0
    core: str | None = field(default=None, kw_only=True)
    amps: float | None = field(default=None, kw_only=True)

    @property
    def material(self) -> str | None:
        """Its core."""
        return self.core

    @property
    def series(self) -> tuple[Any, Any, Any, Any]:
        return self.dcr_ohm, self.henry, 0.0, 0.0


@dataclass(frozen=True)
class Capacitor(_TwoNode):
    """A capacitor with its losses in series.

    Attributes
    ----------
    esr_ohm : fixed series resistance.
    dissipation_factor : constant loss angle, tan(delta): series resistance df/(2 pi f C), falling as 1/f.
    losses_at_hz : frequencies of the loss readings that the card gives; only an LCR meter tells those.
    """

    farad: float
    esr_ohm: float = 0.0
    dissipation_factor: float = 0.0
    volts: float | None = field(default=None, kw_only=True)
    losses_at_hz: tuple[float, ...] = field(default=(), kw_only=True, compare=False)

    @property
    def series(self) -> tuple[Any, Any, Any, Any]:
        return self.esr_ohm, 0.0, 1.0 / self.farad, self.dissipation_factor


Part = Resistor | Inductor | Capacitor
_UNITS: Final = {
    Resistor: QuantityKind.RESISTANCE,
    Inductor: QuantityKind.INDUCTANCE,
    Capacitor: QuantityKind.CAPACITANCE,
}
_NUMBERS: Final[dict[type[Part], dict[str, str]]] = {
    Resistor: {"": "ohm"},
    Inductor: {"": "henry", "_dcr": "dcr_ohm"},
    Capacitor: {"": "farad", "_esr": "esr_ohm", "_df": "dissipation_factor"},
}


def numbers_of(part: Part) -> Mapping[str, str]:
    """Attributes that hold a part's numbers, by the ending of a candidate's name; "" is the value."""
    return _NUMBERS[type(part)]


def settings(part: Part) -> dict[str, float]:
    """All numbers of a part by the ending of their candidate's name, the value first."""
    return {ending: getattr(part, attribute) for ending, attribute in numbers_of(part).items()}


def changed(part: Part, numbers: Mapping[str, Any]) -> Part:
    """The part with other numbers, by their candidates' names (C1, C1_esr); names of other parts are passed over."""
    own = {key: numbers[part.name + end] for end, key in numbers_of(part).items() if part.name + end in numbers}
    return replace(part, **own) if own else part


def value_of(part: Part) -> float:
    """Ohm, henry or farad."""
    return settings(part)[""]


def unit_of(part: Part) -> QuantityKind:
    """What its value is: a resistance, an inductance or a capacitance."""
    return _UNITS[type(part)]


def shown_value(part: Part, value: float | None = None) -> str:
    """Its value, or another of its kind, as a shop prints it: 4.7 uF."""
    return format_quantity(value_of(part) if value is None else value, unit_of(part))


@dataclass(frozen=True)
class Coupling:
    """Mutual inductance of two coils: M = k sqrt(L1 L2), dots at each coil's first node."""

    name: str
    first: str
    second: str
    k: float
    line: int | None = field(default=None, compare=False)


@dataclass(frozen=True)
class DriverCard:
    """A driver's place in the network.

    `key` names it in results: the driver's name where it stands once, else the card's.
    """

    name: str
    plus: str
    minus: str
    driver: str
    key: str
    line: int | None = field(default=None, compare=False)

    @property
    def a(self) -> str:
        """The plus node."""
        return self.plus

    @property
    def b(self) -> str:
        """The minus node."""
        return self.minus


@dataclass(frozen=True)
class Channel:
    """One amplifier channel: an ideal source of one volt between plus and minus."""

    name: str
    plus: str
    minus: str
    line: int | None = field(default=None, compare=False)
