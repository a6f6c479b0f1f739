"""What a capacitance meter's reading means when the capacitor is lossy.

The part: a constant-phase element 1/(Q s^a) with a leakage resistance across it and a fixed resistance in series.
Its capacitance falls with frequency, so a meter that charges it for milliseconds reads the larger value that it has
at some ten hertz, and a meter that excites it with 1 kHz reads the smaller one there. Both are right.

Charged from rest by a constant current I, V(s) = (I/s) (R + 1/(1/Rl + Q s^a)), so without leakage
v(t) = I (R + t^a / (Q Gamma(1+a))), and with it v(t) = I (R + Rl (1 - E_a(-t^a / (Rl Q)))), E_a the function of
Mittag-Leffler. Charged through a resistor from a constant voltage the same function appears, with the resistors in
parallel in place of Rl. Derived; a capacitor that still remembers an earlier charge reads otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.errors import InputError
from xover.parts.capacitor_loss import REFERENCE_HZ, dispersion

TO_63_PERCENT: Final = 1.0 - math.exp(-1.0)


class MeterKind(StrEnum):
    """How the meter finds the capacitance."""

    LCR = "lcr"
    LCR_PARALLEL = "lcr-parallel"
    CONSTANT_CURRENT = "constant-current"
    RC = "rc"


@dataclass(frozen=True)
class LossyCapacitor:
    """Constant-phase element with leakage across it and a fixed resistance in series.

    Attributes
    ----------
    farad : series capacitance of the constant-phase element at `at_hz`.
    dissipation_factor : its constant tan(delta), 0 for an ideal capacitor.
    fixed_ohm : in series. leakage_ohm : across the element; infinite for none.
    """

    farad: float
    dissipation_factor: float = 0.0
    fixed_ohm: float = 0.0
    leakage_ohm: float = math.inf
    at_hz: float = REFERENCE_HZ

    def __post_init__(self) -> None:
        for name, value, least in (
            ("capacitance", self.farad, 0.0),
            ("leakage resistance", self.leakage_ohm, 0.0),
            ("frequency", self.at_hz, 0.0),
        ):
            if not value > least:
                raise InputError(f"the {name} of a capacitor is {value:g}", "give a value above zero")
        if not (0 <= self.dissipation_factor < math.inf and 0 <= self.fixed_ohm < math.inf):
            raise InputError("a capacitor's loss is below zero or infinite", "give zero or more")

    @property
    def exponent(self) -> float:
        """a of 1/(Q s^a): 1 without loss."""
        return 1.0 - float(dispersion(self.dissipation_factor))

    @property
    def constant(self) -> float:
        """Q of 1/(Q s^a), in F s^(a-1)."""
        return self.farad * float(constant_of_farad(self.exponent, self.at_hz))

    def impedance_ohm(self, frequency_hz: ArrayLike) -> Complex:
        """(n,) complex impedance."""
        s = 2j * np.pi * np.asarray(frequency_hz, dtype=float)
        return np.asarray(self.fixed_ohm + 1.0 / (1.0 / self.leakage_ohm + self.constant * s**self.exponent))


def constant_of_farad(exponent: ArrayLike, at_hz: ArrayLike) -> Float:
    """Q of a constant-phase element whose series capacitance at a frequency is 1 F: sin(a pi/2) w^(1-a)."""
    a = np.asarray(exponent, dtype=float)
    return np.asarray(np.sin(a * np.pi / 2) * (2 * np.pi * np.asarray(at_hz, dtype=float)) ** (1.0 - a))


def mittag_leffler(x: ArrayLike, exponent: float) -> Float:
    """E_a(-x) for x >= 0 and 0 < a <= 1: the relaxation that takes the place of exp(-x).

    With the spectrum of relaxation rates r = x^(1/a) e^w (Gorenflo and Mainardi 1997, from memory; checked here against
    the series and closed forms): E_a(-x) is the integral over w of
    sin(n pi) / (2 pi (cosh(a w) + cos(a pi))) exp(-x^(1/a) e^w), n = 1 - a; done by the trapezoid rule in
    w = (n pi / a) sinh(u), which converges exponentially. Good to about 1e-11 down to a = 0.3.
    """
    value = np.asarray(x, dtype=float)
    if exponent == 1.0:
        return np.asarray(np.exp(-value))
    a, n = exponent, 1.0 - exponent
    width = n * np.pi / a
    step = 0.02
    ends = math.asinh(45.0 / a / width)
    u = np.arange(-math.ceil(ends / step), math.ceil(ends / step) + 1) * step
    w = width * np.sinh(u)
    # cosh(aw) + cos(a pi), without the cancellation of both near a lossless capacitor.
    below = 2.0 * (np.sinh(a * w / 2) ** 2 + np.sin(n * np.pi / 2) ** 2)
    weight = np.sin(n * np.pi) / (2 * np.pi * below) * width * np.cosh(u) * step
    with np.errstate(under="ignore", over="ignore"):
        decay = np.exp(-(value[..., None] ** (1.0 / a)) * np.exp(w))
    return np.asarray(decay @ weight)


@dataclass(frozen=True)
class LcrReading:
    """What an LCR meter shows at one frequency, in series and in parallel mode."""

    frequency_hz: float
    series_farad: float
    parallel_farad: float
    esr_ohm: float
    dissipation_factor: float
    q: float


def lcr_reading(capacitor: LossyCapacitor, frequency_hz: float) -> LcrReading:
    """Series: Cs = -1/(w Im Z), ESR = Re Z. Parallel: Cp = Im Y / w = Cs/(1 + D^2). D is the same in both."""
    z = complex(capacitor.impedance_ohm(frequency_hz))
    omega = 2 * math.pi * frequency_hz
    factor = -z.real / z.imag
    return LcrReading(
        frequency_hz,
        -1.0 / (omega * z.imag),
        (1.0 / z).imag / omega,
        z.real,
        factor,
        math.inf if factor == 0 else 1.0 / factor,
    )


def constant_current_ohm(capacitor: LossyCapacitor, time_s: ArrayLike) -> Float:
    """(n,) v(t)/I of a capacitor charged from rest by a constant current I."""
    c, t = capacitor, np.asarray(time_s, dtype=float)
    a = c.exponent
    if math.isinf(c.leakage_ohm):
        return np.asarray(c.fixed_ohm + t**a / (c.constant * math.gamma(1.0 + a)))
    return c.fixed_ohm + c.leakage_ohm * (1.0 - mittag_leffler(t**a / (c.leakage_ohm * c.constant), a))


def constant_current_reading(capacitor: LossyCapacitor, charge_s: float, start: float = 0.0) -> float:
    """Farads that a meter shows which charges with a constant current and times the rise between two voltages.

    Parameters
    ----------
    charge_s : from rest to the upper voltage.
    start : lower voltage over the upper one, 0 to below 1; 0: the whole charge is timed.

    Raises
    ------
    InputError : a time not above zero, or a start outside its range.
    """
    _check_start(start)
    if not (math.isfinite(charge_s) and charge_s > 0):
        raise InputError(f"the charging time is {charge_s:g} s", "give a time above zero")
    top = float(constant_current_ohm(capacitor, charge_s))
    begin = _crossing(lambda t: float(constant_current_ohm(capacitor, t)), start * top, charge_s)
    return (charge_s - begin) / (top * (1.0 - start))


def rc_voltage(capacitor: LossyCapacitor, resistor_ohm: float, time_s: ArrayLike) -> Float:
    """(n,) voltage across a capacitor over that of the source which charges it through a resistor, from rest."""
    c, t = capacitor, np.asarray(time_s, dtype=float)
    series = resistor_ohm + c.fixed_ohm
    both = 1.0 / (1.0 / series + 1.0 / c.leakage_ohm)
    element = both / series * (1.0 - mittag_leffler(t**c.exponent / (both * c.constant), c.exponent))
    return np.asarray(c.fixed_ohm / series + element * resistor_ohm / series)


def rc_reading(
    capacitor: LossyCapacitor, resistor_ohm: float, start: float = 0.0, stop: float = TO_63_PERCENT
) -> float:
    """Farads from the time that a capacitor takes to charge through a known resistor between two voltages.

    Read as for an ideal capacitor, t = R C ln((1 - start)/(1 - stop)).

    Parameters
    ----------
    start, stop : of the source's voltage, 0 <= start < stop < 1; to 63.2 % from rest if not given.

    Returns
    -------
    The capacitance; NaN where leakage keeps the voltage from ever reaching `stop`.

    Raises
    ------
    InputError : a resistor not above zero, or voltages outside their range.
    """
    _check_rc(resistor_ohm, start, stop)
    c = capacitor
    final = (c.leakage_ohm / (c.leakage_ohm + resistor_ohm + c.fixed_ohm)) if math.isfinite(c.leakage_ohm) else 1.0
    if stop >= final * (1 - 1e-9):
        return math.nan
    last = resistor_ohm * c.farad
    while float(rc_voltage(c, resistor_ohm, last)) < stop:
        last *= 2.0
        if last > 1e9 * resistor_ohm * c.farad:
            return math.nan

    def voltage(t: float) -> float:
        return float(rc_voltage(c, resistor_ohm, t))

    time = _crossing(voltage, stop, last) - _crossing(voltage, start, last)
    return time / (resistor_ohm * math.log((1.0 - start) / (1.0 - stop)))


def _crossing(rising: Callable[[float], float], level: float, last: float) -> float:
    """Time at which a rising curve passes a level, 0 where it begins above it; halving to rounding."""
    low, high = 0.0, last
    if level <= rising(0.0):
        return 0.0
    while high - low > 4e-16 * high:
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if rising(middle) < level else (low, middle)
    return high


def _check_start(start: float) -> None:
    if not 0 <= start < 1:
        raise InputError(f"the lower voltage is {start:g} of the upper one", "give a fraction from 0 to below 1")


def _check_rc(resistor_ohm: float, start: float, stop: float) -> None:
    if not (math.isfinite(resistor_ohm) and resistor_ohm > 0):
        raise InputError(f"the timing resistor is {resistor_ohm:g} ohm", "give its resistance, above zero")
    if not 0 <= start < stop < 1:
        raise InputError(f"the voltages {start:g} and {stop:g} do not rise from 0 to below 1", "such as 0 and 0.632")
