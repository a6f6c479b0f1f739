"""What a capacitor loses at each frequency, from the readings that a meter gives.

Two kinds of loss look alike in one reading and differ everywhere else: a constant loss angle, whose series
resistance falls as 1/f, and a fixed resistance. Two readings tell them apart.

The network model holds the capacitance constant. With a constant loss angle it cannot be constant (causality):
`capacitance_at` says by how much.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Float
from xover.errors import InputError
from xover.network.cards import fit_loss
from xover.quantity import hertz, spice_value

REFERENCE_HZ: Final = 1000.0
"""Where a capacitance is understood to be measured if nothing is said."""


def esr_from_df(dissipation_factor: ArrayLike, frequency_hz: ArrayLike, farad: ArrayLike) -> Float:
    """Series resistance, ohm: tan(delta) / (2 pi f C). Broadcasts. (IEC 60384-1 defines tan(delta) = ESR / |Xc|.)"""
    omega = 2.0 * np.pi * np.asarray(frequency_hz, dtype=float)
    return np.asarray(np.asarray(dissipation_factor, dtype=float) / (omega * np.asarray(farad, dtype=float)))


def df_from_esr(esr_ohm: ArrayLike, frequency_hz: ArrayLike, farad: ArrayLike) -> Float:
    """Dissipation factor tan(delta) of a series resistance: 2 pi f C ESR. Broadcasts."""
    return np.asarray(2.0 * np.pi * np.asarray(frequency_hz) * np.asarray(farad) * np.asarray(esr_ohm))


def df_from_q(q: ArrayLike) -> Float:
    """Dissipation factor of a quality factor, 1/Q; its own inverse. Infinite at zero."""
    with np.errstate(divide="ignore"):
        return 1.0 / np.asarray(q, dtype=float)


def loss_angle_rad(dissipation_factor: ArrayLike) -> Float:
    """The angle delta by which the current falls short of 90 degrees: arctan of the dissipation factor."""
    return np.asarray(np.arctan(dissipation_factor))


def dispersion(dissipation_factor: ArrayLike) -> Float:
    """1 - a, the power of frequency by which C falls with a constant loss angle delta: 2 delta / pi.

    Derived: an impedance of constant phase is 1/(Q (jw)^a), of phase -a pi/2, so a = 1 - 2 delta/pi. Its series
    capacitance -1/(w Im Z) goes as w^-(1-a). Any other magnitude would break Kramers and Kronig's relations.
    """
    return 2.0 * loss_angle_rad(dissipation_factor) / np.pi


def capacitance_at(frequency_hz: ArrayLike, farad: ArrayLike, at_hz: ArrayLike, dissipation_factor: ArrayLike) -> Float:
    """Series capacitance at other frequencies of a part with a constant loss angle.

    Parameters
    ----------
    frequency_hz : wanted. farad, at_hz : known there. dissipation_factor : of the constant-phase part alone; a
        fixed series resistance leaves the series capacitance as it is. All above zero; broadcast.
    """
    ratio = np.asarray(frequency_hz, dtype=float) / np.asarray(at_hz, dtype=float)
    return np.asarray(np.asarray(farad) * ratio ** -dispersion(dissipation_factor))


def fall_per_decade(dissipation_factor: ArrayLike) -> Float:
    """Fraction of its capacitance that a part of constant loss angle loses in each decade: 0.05 loses 7.1 %."""
    return 1.0 - 10.0 ** -dispersion(dissipation_factor)


def constant_capacitance_words(dissipation_factor: float) -> str:
    """What the network model leaves out by holding C constant, in a sentence."""
    high = 1.0 / float(capacitance_at(10_000.0, 1.0, REFERENCE_HZ, dissipation_factor)) - 1.0
    low = 1.0 / float(capacitance_at(100.0, 1.0, REFERENCE_HZ, dissipation_factor)) - 1.0
    if high < 0.005:
        return f"the network holds C constant, which is right for this part within {100 * high:.2g} % a decade"
    return (
        f"a constant loss angle of df {dissipation_factor:.3g} makes C fall by "
        f"{100 * float(fall_per_decade(dissipation_factor)):.2g} % a decade; the network holds C as it is at 1 kHz, "
        f"so there it is {100 * high:.2g} % too large at 10 kHz and {-100 * low:.2g} % too small at 100 Hz"
    )


class ReadingKind(StrEnum):
    """What the meter showed."""

    ESR = "esr"
    DISSIPATION_FACTOR = "df"
    QUALITY = "q"


@dataclass(frozen=True)
class LossReading:
    """One reading of loss, in series mode: ohm, tan(delta) or Q at a frequency.

    Raises InputError: below zero, not finite, a Q of zero, or not above 0 Hz.
    """

    kind: ReadingKind
    value: float
    frequency_hz: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.frequency_hz) and self.frequency_hz > 0):
            raise InputError(f"a loss reading is at {self.frequency_hz:g} Hz", "give the meter's frequency, above 0")
        if not (math.isfinite(self.value) and self.value >= 0) or (
            self.kind is ReadingKind.QUALITY and self.value == 0
        ):
            raise InputError(
                f"a loss reading is {self.kind} = {self.value:g}", "loss is above zero in every passive part"
            )
        if self.kind is ReadingKind.DISSIPATION_FACTOR and self.value > 2:
            raise InputError(f"a loss reading is df = {self.value:g}", "write 6 % as 0.06 or 6%")

    def esr_ohm(self, farad: float) -> float:
        """As series resistance, the capacitance taken to be `farad` at that frequency."""
        if self.kind is ReadingKind.ESR:
            return self.value
        factor = self.value if self.kind is ReadingKind.DISSIPATION_FACTOR else float(df_from_q(self.value))
        return float(esr_from_df(factor, self.frequency_hz, farad))


@dataclass(frozen=True)
class CapacitorLoss:
    """Series resistance over frequency: fixed_ohm + dissipation_factor / (2 pi f C).

    Attributes
    ----------
    farad : capacitance that the fit rests on, held constant.
    fixed_ohm : leads, foil and electrolyte. dissipation_factor : of the part with a constant loss angle.
    worst_ohm : largest distance of a reading from the fit; 0 with one reading, or with two that the model can meet.
    card_text : the netlist field that gives a network the same loss, to six digits.
    """

    farad: float
    fixed_ohm: float
    dissipation_factor: float
    worst_ohm: float
    card_text: str

    def esr_ohm(self, frequency_hz: ArrayLike) -> Float:
        """(n,) series resistance."""
        return self.fixed_ohm + esr_from_df(self.dissipation_factor, frequency_hz, self.farad)

    def total_df(self, frequency_hz: ArrayLike) -> Float:
        """(n,) dissipation factor of both parts together."""
        return df_from_esr(self.esr_ohm(frequency_hz), frequency_hz, self.farad)


def fit_readings(farad: float, readings: Sequence[LossReading]) -> CapacitorLoss:
    """Fit constant loss angle plus fixed resistance to one or more readings, neither below zero (least squares in ohm).

    One reading is taken for constant loss angle alone, as the network does; `single_reading` says what else it may be.

    Raises InputError: no reading, two at one frequency, or a capacitance that is not above zero.
    """
    if not (math.isfinite(farad) and farad > 0):
        raise InputError(f"the capacitance is {farad:g} F", "give a value above zero, such as 4.7uF")
    if not readings:
        raise InputError("there is no loss reading", "give one such as 1.7 ohm at 1 kHz, better two a decade apart")
    at = np.array([r.frequency_hz for r in readings])
    if len(set(at.tolist())) != at.size:
        raise InputError("two loss readings are at one frequency", "keep one of them, or read a decade away")
    ohms = np.array([r.esr_ohm(farad) for r in readings])
    fit = fit_loss(ohms, at, farad)
    return CapacitorLoss(farad, fit.fixed_ohm, fit.dissipation_factor, fit.worst_ohm, _card_text(readings, ohms))


def _card_text(readings: Sequence[LossReading], ohms: Float) -> str:
    """The readings as a netlist takes them, to six digits."""
    if len(readings) == 1 and readings[0].kind is not ReadingKind.ESR:
        only = readings[0]
        factor = only.value if only.kind is ReadingKind.DISSIPATION_FACTOR else float(df_from_q(only.value))
        return f"df={factor:.6g}@{_hertz_text(only.frequency_hz)}"
    return "loss=" + ",".join(f"{r:.6g}@{_hertz_text(x.frequency_hz)}" for r, x in zip(ohms, readings, strict=True))


def _hertz_text(frequency_hz: float) -> str:
    short = hertz(frequency_hz).replace(" ", "")
    return short if float(f"{frequency_hz:.3g}") == frequency_hz else spice_value(frequency_hz)


def assumed_loss(farad: float, dissipation_factor: float) -> CapacitorLoss:
    """A constant loss angle that is assumed, not read: for a kind of capacitor of which nothing was measured."""
    return CapacitorLoss(farad, 0.0, dissipation_factor, 0.0, f"df={dissipation_factor:g}@1kHz")


@dataclass(frozen=True)
class SingleReading:
    """What one reading leaves open: the same ohms at the reading, and far apart elsewhere.

    Attributes
    ----------
    reading_ohm, reading_hz : the reading.
    frequency_hz : (n,). constant_angle_ohm, fixed_ohm : (n,) series resistance if all of it is the one, or the other.
    """

    reading_ohm: float
    reading_hz: float
    frequency_hz: tuple[float, ...]
    constant_angle_ohm: tuple[float, ...]
    fixed_ohm: tuple[float, ...]

    @property
    def sentence(self) -> str:
        """The range in words."""
        spans = [
            f"{min(a, b):.2g} to {max(a, b):.2g} ohm at {hertz(f)}"
            if not math.isclose(a, b)
            else f"{a:.2g} ohm at {hertz(f)}"
            for f, a, b in zip(self.frequency_hz, self.constant_angle_ohm, self.fixed_ohm, strict=True)
        ]
        return (
            f"one reading fixes the loss at {hertz(self.reading_hz)} alone: {', '.join(spans)}; "
            "read it again a decade away"
        )


def single_reading(
    farad: float, reading: LossReading, frequency_hz: Sequence[float] = (1000.0, 10_000.0)
) -> SingleReading:
    """The two readings of one reading: all constant loss angle, or all fixed resistance."""
    ohm = reading.esr_ohm(farad)
    return SingleReading(
        ohm,
        reading.frequency_hz,
        tuple(float(f) for f in frequency_hz),
        tuple(ohm * reading.frequency_hz / float(f) for f in frequency_hz),
        tuple(ohm for _ in frequency_hz),
    )
