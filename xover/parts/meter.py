"""What a capacitance meter's reading means when the capacitor is lossy.

The part: a constant-phase element 1/(Q s^a) with a leakage resistance across it and a fixed resistance in series.
Its capacitance falls with frequency, so a meter that charges it for milliseconds reads the larger value that it has
at some ten hertz, and a meter that excites it with 1 kHz reads the smaller one there. Both are right.

Charged from rest by a constant current I, V(s) = (I/s) (R + 1/(1/Rl + Q s^a)), so without leakage
v(t) = I (R + t^a / (Q Gamma(1+a))), and with it v(t) = I (R + Rl (1 - E_a(-t^a / (Rl Q)))), E_a the function of
Mittag-Leffler. Charged through a resistor from a constant voltage the same function appears, with the resistors in
parallel in place of Rl. Derived; a capacitor that still remembers an earlier charge reads otherwise.

From a meter's reading back to the capacitor: which capacitance at 1 kHz, and which loss, can be believed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.errors import InputError
from xover.parts.capacitor_loss import REFERENCE_HZ, CapacitorLoss, LossReading, dispersion, esr_from_df
from xover.parts.kinds import FACTS, SOURCE, PartKind
from xover.quantity import QuantityKind, format_quantity, hertz

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

    Raises InputError: a time not above zero, or a start outside its range.
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

    Raises InputError: a resistor not above zero, or voltages outside their range.
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


CHARGE_S: Final = (0.001, 1.0)
"""Charging times that a multimeter may use: common practice, no published source; wide on purpose."""
START: Final = (0.0, 0.5)
"""Its lower voltage over its upper one, likewise: from rest, or from half of it."""
STATED_HZ: Final = (1000.0, 5000.0)


@dataclass(frozen=True)
class Meter:
    """How the meter at hand reads.

    Attributes
    ----------
    kind : its principle.
    frequency_hz : of an LCR meter.
    charge_s, start : ranges of a constant-current meter's charging time and lower over upper voltage.
    resistor_ohm : through which an RC timing charges; to 63.2 % from rest.
    """

    kind: MeterKind
    frequency_hz: float = REFERENCE_HZ
    charge_s: tuple[float, float] = CHARGE_S
    start: tuple[float, float] = START
    resistor_ohm: float = 10_000.0

    @property
    def words(self) -> str:
        """What is assumed of it."""
        if self.kind is MeterKind.CONSTANT_CURRENT:
            return (
                f"a meter that charges with a constant current for {1e3 * self.charge_s[0]:g} to "
                f"{1e3 * self.charge_s[1]:g} ms, "
                f"timed from {100 * self.start[0]:.0f} to {100 * self.start[1]:.0f} % of its last voltage on "
                "(a guess that covers many multimeters: common practice, no published source)"
            )
        if self.kind is MeterKind.RC:
            return (
                f"the time to 63.2 % through {format_quantity(self.resistor_ohm, QuantityKind.RESISTANCE)}, from rest"
            )
        mode = "parallel" if self.kind is MeterKind.LCR_PARALLEL else "series"
        return f"an LCR meter at {hertz(self.frequency_hz)} in {mode} mode"


@dataclass(frozen=True)
class LossRange:
    """What is believed of a capacitor's loss: fractions, (lowest, highest).

    Attributes
    ----------
    total_df : dissipation factor at 1 kHz, all causes.
    constant_phase_df : the share that has a constant loss angle: this alone makes the capacitance fall.
    because : what it rests on, in words.
    """

    total_df: tuple[float, float]
    constant_phase_df: tuple[float, float]
    because: str

    def __post_init__(self) -> None:
        for low, high in (self.total_df, self.constant_phase_df):
            if not 0 <= low <= high <= 2:
                raise InputError(f"a range of dissipation factors is {low:g} to {high:g}", "give 0 <= low <= high <= 2")

    def corners(self, farad: float) -> tuple[LossyCapacitor, ...]:
        """Capacitors at the ends of the range: each total with its least and its largest constant-phase share."""
        found = []
        for total in self.total_df:
            for factor in self.constant_phase_df:
                share = min(factor, total)
                rest = float(esr_from_df(total - share, REFERENCE_HZ, farad))
                found.append(LossyCapacitor(farad, share, rest))
        return tuple(found)


def loss_of_kind(kind: PartKind) -> LossRange:
    """The habits of a kind, new to aged. Nothing tells how much of it is fixed resistance, so any share may be."""
    facts = FACTS[kind]
    if facts.new_dissipation_factor is None or facts.aged_dissipation_factor is None:
        raise InputError(f"{kind} is no kind of capacitor", "give electrolytic, paper, polyester or film")
    low, high = facts.aged_dissipation_factor
    low, high = min(low, facts.new_dissipation_factor), max(high, facts.new_dissipation_factor)
    return LossRange((low, high), (0.0, high), f"what {kind} capacitors are like, new to aged ({SOURCE})")


def loss_of_readings(loss: CapacitorLoss, readings: Sequence[LossReading]) -> LossRange:
    """From a fit: with one reading any share may be fixed resistance, with two or more the fit parts them."""
    total = float(loss.total_df(REFERENCE_HZ))
    factor = loss.dissipation_factor
    if len(readings) > 1:
        return LossRange((total, total), (factor, factor), f"{len(readings)} loss readings")
    # All constant angle: the same df at 1 kHz. All fixed resistance: a df in proportion to frequency.
    if_fixed = total * REFERENCE_HZ / readings[0].frequency_hz
    because = "one loss reading, which may be constant loss angle or fixed resistance"
    return LossRange((min(total, if_fixed), max(total, if_fixed)), (0.0, factor), because)


@dataclass(frozen=True)
class Believable:
    """The range that a reading leaves open.

    Attributes
    ----------
    frequency_hz : (n,). lowest_farad, highest_farad : (n,) series capacitance there.
    loss : the range of loss that it rests on. meter : what is assumed of the meter.
    reading_over_1khz : how many times the capacitance at 1 kHz the meter shows, (lowest, highest).
    """

    reading_farad: float
    meter: str
    frequency_hz: tuple[float, ...]
    lowest_farad: tuple[float, ...]
    highest_farad: tuple[float, ...]
    reading_over_1khz: tuple[float, float]
    loss: LossRange

    def against(self, farad: float) -> str:
        """Whether a value at 1 kHz, marked or measured, agrees with the reading, in words."""
        high, low = (self.reading_farad / times for times in self.reading_over_1khz)
        given = _farad(farad)
        # A range of no width still holds what is written with three digits.
        if low * 0.999 <= farad <= high * 1.001:
            return f"{given} lies in that range: the reading alone shows no drift from it"
        drift = high / farad - 1 if farad > high else low / farad - 1
        return f"{given} lies outside: at 1 kHz the capacitor has at least {100 * abs(drift):.2g} % " + (
            "less" if drift < 0 else "more"
        )

    @property
    def sentence(self) -> str:
        """The range in words."""
        spans = [
            f"{_farad(low)} at {hertz(f)}"
            if _farad(low) == _farad(high)
            else f"{_farad(low)} to {_farad(high)} at {hertz(f)}"
            for f, low, high in zip(self.frequency_hz, self.lowest_farad, self.highest_farad, strict=True)
        ]
        return f"a reading of {_farad(self.reading_farad)} means {', '.join(spans)}"


def _farad(value: float) -> str:
    return format_quantity(value, QuantityKind.CAPACITANCE)


def farad_from_reading(
    reading_farad: ArrayLike,
    meter: Meter,
    constant_phase_df: float,
    frequency_hz: ArrayLike,
    *,
    charge_s: float = CHARGE_S[0],
    start: float = 0.0,
    total_df: float = 0.0,
) -> Float:
    """Series capacitance at wanted frequencies of the capacitor that gives a reading, without leakage.

    A fixed resistance of ohms is left out: beside a timing resistor, or over milliseconds, it does not count.

    Parameters
    ----------
    charge_s, start : of a constant-current meter. total_df : at the meter's frequency, for parallel mode.

    Raises InputError: a reading that is not above zero.
    """
    reading = np.asarray(reading_farad, dtype=float)
    if not np.all((reading > 0) & np.isfinite(reading)):
        raise InputError("a capacitance reading is not above zero", "give what the meter shows, such as 5.41uF")
    n = float(dispersion(constant_phase_df))
    a = 1.0 - n
    if meter.kind in (MeterKind.LCR, MeterKind.LCR_PARALLEL):
        series = reading * (1.0 + total_df**2) if meter.kind is MeterKind.LCR_PARALLEL else reading
        constant = series * constant_of_farad(a, meter.frequency_hz)
    elif meter.kind is MeterKind.CONSTANT_CURRENT:
        # v ~ t^a, so the timed part of the charge begins at start^(1/a) of it.
        timed = (1.0 - start ** (1.0 / a)) / (1.0 - start)
        constant = reading / (math.gamma(1.0 + a) * charge_s**n * timed)
    else:
        # Time and Q enter as t^a/(R Q) alone, which has one value at 63.2 %.
        constant = (reading * meter.resistor_ohm / _at_63_percent(a) ** (1.0 / a)) ** a / meter.resistor_ohm
    return np.asarray(constant / constant_of_farad(a, frequency_hz))


def _at_63_percent(a: float) -> float:
    """x at which E_a(-x) has fallen to 1/e; exactly 1 for a = 1."""
    low, high = 0.0, 4.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if float(mittag_leffler(middle, a)) > 1.0 - TO_63_PERCENT else (low, middle)
    return high


def believable(
    reading_farad: float, meter: Meter, loss: LossRange, frequency_hz: Sequence[float] = STATED_HZ
) -> Believable:
    """Every capacitance that gives this reading, over the ranges that are open: share of loss, charging time, voltages.

    The meter's own error is not in it.
    """
    wanted = np.array([REFERENCE_HZ, *frequency_hz])
    times = np.geomspace(*meter.charge_s, 5) if meter.kind is MeterKind.CONSTANT_CURRENT else meter.charge_s[:1]
    starts = meter.start if meter.kind is MeterKind.CONSTANT_CURRENT else (0.0,)
    # The df at the meter's frequency: the same as at 1 kHz if constant, in proportion to frequency if fixed resistance.
    up = meter.frequency_hz / REFERENCE_HZ
    totals = (loss.total_df[0] * min(1.0, up), loss.total_df[1] * max(1.0, up))
    found = np.array(
        [
            farad_from_reading(reading_farad, meter, factor, wanted, charge_s=time, start=start, total_df=total)
            for factor in np.linspace(*loss.constant_phase_df, 5)
            for time in times
            for start in starts
            for total in totals
        ]
    )
    low, high = found.min(axis=0), found.max(axis=0)
    return Believable(
        reading_farad,
        meter.words,
        tuple(float(f) for f in frequency_hz),
        tuple(low[1:].tolist()),
        tuple(high[1:].tolist()),
        (float(reading_farad / high[0]), float(reading_farad / low[0])),
        loss,
    )


def expected_reading(capacitor: LossyCapacitor, meter: Meter) -> tuple[float, float]:
    """What the meter would show for a capacitor that is known, lowest and highest over what is open of the meter."""
    if meter.kind in (MeterKind.LCR, MeterKind.LCR_PARALLEL):
        shown = lcr_reading(capacitor, meter.frequency_hz)
        value = shown.series_farad if meter.kind is MeterKind.LCR else shown.parallel_farad
        return value, value
    if meter.kind is MeterKind.RC:
        value = rc_reading(capacitor, meter.resistor_ohm)
        return value, value
    all_of_them = [
        constant_current_reading(capacitor, t, s) for t in np.geomspace(*meter.charge_s, 5) for s in meter.start
    ]
    return min(all_of_them), max(all_of_them)
