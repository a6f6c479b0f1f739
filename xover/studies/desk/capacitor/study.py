"""What a capacitor loses, what a meter's reading of it means, and which voltage it must stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from numpy.typing import ArrayLike

from xover.curve import Float
from xover.errors import InputError, OptionError, named
from xover.network.parts import Capacitor
from xover.parts.capacitor_loss import (
    CapacitorLoss,
    LossReading,
    ReadingKind,
    SingleReading,
    assumed_loss,
    constant_capacitance_words,
    fit_readings,
    single_reading,
)
from xover.parts.capacitor_pairs import Bypass, VoltageNeeded, bypass, voltage_needed
from xover.parts.kinds import FACTS, SOURCE, PartKind
from xover.parts.meter import (
    Believable,
    LossRange,
    Meter,
    MeterKind,
    believable,
    expected_reading,
    loss_of_kind,
    loss_of_readings,
)
from xover.plain import some_of
from xover.quantity import QuantityKind, format_quantity
from xover.readable import Readable

TABLE_HZ: Final = (100.0, 1000.0, 10_000.0, 20_000.0)
LIMITS_FARAD: Final = (1e-9, 10e-3)
"""The same as in a netlist."""
SMALL_FILM_DF: Final = 0.0005
_OUT_OF_CIRCUIT: Final = (
    "measure with one leg of the capacitor unsoldered and after it is discharged; and never play a tweeter without its "
    "capacitor, not even for a test"
)
_OIL_FILLED: Final = (
    "An oil-filled capacitor made before about 1980 may hold PCBs unless it is marked otherwise: wear nitrile gloves, "
    "do not open it, burn it or put it in the bin; take it to hazardous waste"
)
_NO_READING: Final = "there is no reading of the capacitor's loss"


@dataclass(frozen=True)
class ExpectedReading:
    """What a meter shows for a capacitor, its loss being known as far as it is."""

    meter: str
    lowest_f: float
    highest_f: float
    loss: LossRange


@dataclass(frozen=True, eq=False, repr=False)
class CapacitorStudy(Readable):
    """What is known of a capacitor.

    Attributes
    ----------
    capacitance_f : as it was given. kind : as it was said, or None. evidence : what its loss rests on, in words.
    loss : over frequency; None where nothing tells. single : what one reading leaves open; None with more.
    believable : what a reading means. expected : what the meter should show, where no reading was given.
    voltage : that it must stand. bypass : with a small film capacitor across it.
    """

    capacitance_f: float
    kind: PartKind | None
    evidence: str
    loss: CapacitorLoss | None
    single: SingleReading | None
    believable: Believable | None
    expected: ExpectedReading | None
    voltage: VoltageNeeded | None
    bypass: Bypass | None
    warnings: tuple[str, ...]

    @property
    def fixed_ohm(self) -> float:
        """Of its loss, the part that is a resistance. Raises OptionError: nothing tells of its loss."""
        return self._known.fixed_ohm

    @property
    def dissipation_factor(self) -> float:
        """Of its loss, the part with a constant loss angle. Raises OptionError: nothing tells of its loss."""
        return self._known.dissipation_factor

    def esr_ohm(self, frequency_hz: ArrayLike) -> Float:
        """(n,) series resistance. Raises OptionError: nothing tells of its loss."""
        return self._known.esr_ohm(frequency_hz)

    def total_df(self, frequency_hz: ArrayLike) -> Float:
        """(n,) dissipation factor. Raises OptionError: nothing tells of its loss."""
        return self._known.total_df(frequency_hz)

    @property
    def _known(self) -> CapacitorLoss:
        if self.loss is None:
            raise OptionError(_NO_READING, f"give {named('esr_ohm')}, {named('df')}, {named('q')} or {named('kind')}")
        return self.loss

    @property
    def card(self) -> str:
        """The netlist card of a capacitor that loses as much."""
        value = format_quantity(self.capacitance_f, QuantityKind.CAPACITANCE, 6).replace(" ", "")
        return f"C1 a b {value} {self._known.card_text}" + ("" if self.kind is None else f" kind={self.kind}")

    def plain(self) -> dict[str, Any]:
        """What is known, each under its key; what was not asked for is left out."""
        more: dict[str, Any] = {
            "single_reading": self.single,
            "believable": self.believable,
            "against_value": None if self.believable is None else self.believable.against(self.capacitance_f),
            "expected_reading": self.expected,
            "voltage": self.voltage,
            "bypass": self.bypass,
        }
        if self.loss is not None:
            more |= {
                "frequency_hz": TABLE_HZ,
                "esr_ohm": self.loss.esr_ohm(TABLE_HZ),
                "dissipation_factor": self.loss.total_df(TABLE_HZ),
                "constant_capacitance": constant_capacitance_words(self.loss.dissipation_factor),
                "card": self.card,
            }
        known = {key: value for key, value in more.items() if value is not None}
        return some_of(self, "capacitance_f kind evidence loss warnings", **known)


def farad(name: str, given: str | float) -> float:
    """A capacitance that a crossover may have. Raises OptionError that names the parameter."""
    value = float(given)
    if not LIMITS_FARAD[0] <= value <= LIMITS_FARAD[1]:
        raise OptionError(f"{named(name)} is {value:g} F", "give a capacitance from 1 nF to 10 mF, such as 4.7uF")
    return value


def readings_of(
    name: str, kind: ReadingKind, given: Mapping[float, float] | Sequence[tuple[float, float]] | None
) -> list[LossReading]:
    """Readings of one kind, by frequency or as (reading, frequency). Raises OptionError that names the parameter."""
    pairs = [(value, hz) for hz, value in given.items()] if isinstance(given, Mapping) else given or ()
    try:
        return [LossReading(kind, float(value), float(hz)) for value, hz in pairs]
    except InputError as error:
        raise OptionError(f"{named(name)}: {error.problem}", error.remedy) from None


def meter_of(kind: str, frequency_hz: float, resistor_ohm: float) -> Meter:
    """The meter at hand."""
    return Meter(MeterKind(kind), frequency_hz, resistor_ohm=resistor_ohm)


def study_capacitor(
    capacitance_f: float,
    readings: Sequence[LossReading] = (),
    *,
    kind: str | None = None,
    meter: Meter | None = None,
    reading_f: float | None = None,
    amplifier: tuple[float, float] | None = None,
    bypass_f: float | None = None,
) -> CapacitorStudy:
    """All that was asked of a capacitor.

    Parameters
    ----------
    readings : of its loss; without, the habits of its kind stand in, where that is given.
    kind : a word of `PartKind`, or "oil". meter, reading_f : what it shows; without a reading, what it should show.
    amplifier : rated watts, and ohms they are rated into. bypass_f : a small film capacitor across it.

    Raises OptionError, InputError: readings that no capacitor has, an amplifier that is none.
    """
    what = None if kind is None else PartKind.PAPER if kind == "oil" else PartKind(kind)
    loss, evidence = None, "not known"
    if readings:
        loss, evidence = fit_readings(capacitance_f, readings), "measured"
    elif what is not None:
        new = FACTS[what].new_dissipation_factor
        assert new is not None  # only capacitors get here
        loss, evidence = assumed_loss(capacitance_f, new), f"assumed: a new {what} capacitor, {SOURCE}"
    measured = loss is not None and bool(readings)
    span = (
        loss_of_readings(loss, readings)
        if loss is not None and readings
        else loss_of_kind(what or PartKind.ELECTROLYTIC)
    )
    return CapacitorStudy(
        capacitance_f=capacitance_f,
        kind=what,
        evidence=evidence,
        loss=loss,
        single=single_reading(capacitance_f, readings[0]) if len(readings) == 1 else None,
        believable=believable(reading_f, meter, span) if meter is not None and reading_f is not None else None,
        expected=_expected(capacitance_f, meter, span) if meter is not None and reading_f is None else None,
        voltage=None if amplifier is None else _voltage(*amplifier),
        bypass=None if bypass_f is None else _bypass(capacitance_f, loss, bypass_f),
        warnings=tuple(_warnings(what, loss, measured, meter is not None)),
    )


def _expected(capacitance_f: float, meter: Meter, span: LossRange) -> ExpectedReading:
    ends = [shown for part in span.corners(capacitance_f) for shown in expected_reading(part, meter)]
    return ExpectedReading(meter.words, min(ends), max(ends), span)


def _voltage(power_w: float, load_ohm: float) -> VoltageNeeded:
    if not (0.001 <= power_w <= 1e5 and 0.1 <= load_ohm <= 1e4):
        raise OptionError(
            f"{named('amplifier')} is {power_w:g} W at {load_ohm:g} ohm",
            "give watts and the load they are rated into, such as 60W@8",
        )
    return voltage_needed(power_w, load_ohm)


def _bypass(capacitance_f: float, loss: CapacitorLoss | None, small_f: float) -> Bypass:
    fixed, factor = (0.0, 0.0) if loss is None else (loss.fixed_ohm, loss.dissipation_factor)
    large = Capacitor("C1", "a", "b", capacitance_f, fixed, factor)
    return bypass(large, Capacitor("C2", "a", "b", small_f, 0.0, SMALL_FILM_DF))


def _warnings(kind: PartKind | None, loss: CapacitorLoss | None, measured: bool, metered: bool) -> list[str]:
    said = []
    if loss is None:
        said.append("nothing tells what this capacitor loses: give readings of its ESR or df, or its kind")
        if metered:
            said.append("for the meter it was taken for an electrolytic, new to aged: give its kind or readings")
    elif not measured:
        said.append(f"the loss is that of a new {kind} capacitor, not measured on this one")
    if metered:
        said.append(f"the meter's own error is not in the range; {_OUT_OF_CIRCUIT}")
    if kind is PartKind.PAPER:
        said.append(_OIL_FILLED)
    return said
