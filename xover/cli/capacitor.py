"""xover capacitor: what does it lose, what does the meter's reading mean, and which voltage must it stand?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from xover.cli.complete import one_of
from xover.cli.options import Json, frequency, quantity, resistance
from xover.cli.show import show_json, show_warnings
from xover.cli.show_capacitor import show_capacitor
from xover.errors import InputError, OptionError, nearest_word
from xover.quantity import Kind, format_quantity, parse_fraction, parse_quantity

if TYPE_CHECKING:
    from xover.parts.capacitor_loss import CapacitorLoss, LossReading
    from xover.parts.capacitor_pairs import Bypass
    from xover.parts.kinds import PartKind
    from xover.parts.meter_inverse import LossRange, Meter

TABLE_HZ = (100.0, 1000.0, 10_000.0, 20_000.0)
LIMITS_FARAD = (1e-9, 10e-3)
"""The same as in a netlist."""
OUT_OF_CIRCUIT = (
    "measure with one leg of the capacitor unsoldered and after it is discharged; and never play a tweeter without its "
    "capacitor, not even for a test"
)
OIL_FILLED = (
    "An oil-filled capacitor made before about 1980 may hold PCBs unless it is marked otherwise: wear nitrile gloves, "
    "do not open it, burn it or put it in the bin; take it to hazardous waste"
)
SMALL_FILM_DF = 0.0005


def capacitor(
    value: Annotated[str, typer.Argument(metavar="VALUE", help="Marked, or measured at 1 kHz: 4.7uF.")],
    esr: Annotated[
        list[str] | None, typer.Option("--esr", metavar="OHM@HZ", help="Series resistance reading; may be repeated.")
    ] = None,
    df: Annotated[
        list[str] | None, typer.Option("--df", metavar="X@HZ", help="Dissipation factor reading, 0.05 or 5%; likewise.")
    ] = None,
    q: Annotated[
        list[str] | None, typer.Option("--q", metavar="Q@HZ", help="Quality factor reading; likewise.")
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(
            "--kind",
            metavar="KIND",
            help="electrolytic, paper, oil, polyester or film.",
            autocompletion=one_of("electrolytic", "paper", "oil", "polyester", "film"),
        ),
    ] = None,
    meter: Annotated[
        str | None,
        typer.Option(
            "--meter",
            metavar="KIND",
            help="lcr, lcr-parallel, constant-current (multimeter) or rc.",
            autocompletion=one_of("lcr", "lcr-parallel", "constant-current", "rc"),
        ),
    ] = None,
    reading: Annotated[
        str | None,
        typer.Option("--reading", metavar="FARAD", help="What that meter shows; without: what it should show."),
    ] = None,
    meter_hz: Annotated[str, typer.Option("--meter-hz", metavar="HZ", help="Frequency of an LCR meter.")] = "1k",
    through: Annotated[str, typer.Option("--through", metavar="OHM", help="Resistor of an RC timing to 63 %.")] = "10k",
    amplifier: Annotated[
        str | None, typer.Option("--amplifier", metavar="W@OHM", help="Its rating, such as 60W@8: voltage to ask for.")
    ] = None,
    bypass: Annotated[
        str | None, typer.Option("--bypass", metavar="FARAD", help="Small film capacitor across it, such as 0.1uF.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Loss over frequency, what a meter means, which voltage.

    Example: xover capacitor 4.77uF --esr 1.7@1kHz --esr 0.28@10kHz --meter constant-current --reading 5.41uF
    """
    farad = _farad(value, "VALUE")
    readings = _readings(esr, df, q)
    what = None if kind is None else _kind(kind)
    if reading is not None and meter is None:
        raise OptionError(
            "--reading needs the meter that showed it", "add --meter lcr, or --meter constant-current ..."
        )
    result, loss = _losses(farad, readings, what)
    if meter is not None:
        result |= _meter(farad, _meter_of(meter, meter_hz, through), reading, _loss_range(loss, readings, what))
    if amplifier is not None:
        result["voltage"] = _voltage(amplifier)
    if bypass is not None:
        result["bypass"] = _bypass(farad, loss, _farad(bypass, "--bypass"))
    result["warnings"] = _warnings(what, readings, loss, meter)
    if as_json:
        show_json(result)
        return
    show_capacitor(result)
    show_warnings(result["warnings"])


def _losses(
    farad: float, readings: list[LossReading], kind: PartKind | None
) -> tuple[dict[str, Any], CapacitorLoss | None]:
    """What is known of the loss: from readings, else from the kind's habits, else nothing."""
    from xover.parts.capacitor_loss import assumed_loss, constant_capacitance_words, fit_readings, single_reading
    from xover.parts.kinds import FACTS, SOURCE

    loss, evidence = None, "not known"
    if readings:
        loss, evidence = fit_readings(farad, readings), "measured"
    elif kind is not None:
        new = FACTS[kind].new_dissipation_factor
        assert new is not None  # only capacitors get here
        loss, evidence = assumed_loss(farad, new), f"assumed: a new {kind} capacitor, {SOURCE}"
    result: dict[str, Any] = {"capacitance_f": farad, "kind": kind, "evidence": evidence, "loss": loss}
    if loss is not None:
        result["frequency_hz"] = list(TABLE_HZ)
        result["esr_ohm"] = loss.esr_ohm(TABLE_HZ)
        result["dissipation_factor"] = loss.total_df(TABLE_HZ)
        result["constant_capacitance"] = constant_capacitance_words(loss.dissipation_factor)
        result["card"] = f"C1 a b {format_quantity(farad, Kind.CAPACITANCE, 6).replace(' ', '')} {loss.card_text}" + (
            "" if kind is None else f" kind={kind}"
        )
    if len(readings) == 1:
        result["single_reading"] = single_reading(farad, readings[0])
    return result, loss


def _meter(farad: float, meter: Meter, reading: str | None, span: LossRange) -> dict[str, Any]:
    """The believable range behind a reading; without one, what the meter shows for this capacitor."""
    from xover.parts.meter_inverse import believable, expected_reading

    if reading is not None:
        found = believable(_farad(reading, "--reading"), meter, span)
        return {"believable": found, "against_value": found.against(farad)}
    ends = [shown for part in span.corners(farad) for shown in expected_reading(part, meter)]
    return {"expected_reading": {"meter": meter.words, "lowest_f": min(ends), "highest_f": max(ends), "loss": span}}


def _loss_range(loss: CapacitorLoss | None, readings: list[LossReading], kind: PartKind | None) -> LossRange:
    from xover.parts.kinds import PartKind
    from xover.parts.meter_inverse import loss_of_kind, loss_of_readings

    if loss is not None and readings:
        return loss_of_readings(loss, readings)
    return loss_of_kind(kind or PartKind.ELECTROLYTIC)


def _voltage(text: str) -> object:
    from xover.parts.capacitor_pairs import voltage_needed

    watts, at, ohm = text.partition("@")
    if not at:
        raise OptionError(f"--amplifier is {text[:40]}", "give watts and the load they are rated into, such as 60W@8")
    power = quantity(watts, Kind.POWER, "--amplifier")
    load = quantity(ohm, Kind.RESISTANCE, "--amplifier")
    if not (0.001 <= power <= 1e5 and 0.1 <= load <= 1e4):
        raise OptionError(f"--amplifier is {text[:40]}", "give watts and the load they are rated into, such as 60W@8")
    return voltage_needed(power, load)


def _bypass(farad: float, loss: CapacitorLoss | None, small: float) -> Bypass:
    from xover.network.parts import Capacitor
    from xover.parts.capacitor_pairs import bypass

    fixed, factor = (0.0, 0.0) if loss is None else (loss.fixed_ohm, loss.dissipation_factor)
    return bypass(Capacitor("C1", "a", "b", farad, fixed, factor), Capacitor("C2", "a", "b", small, 0.0, SMALL_FILM_DF))


def _warnings(
    what: PartKind | None, readings: list[LossReading], loss: CapacitorLoss | None, meter: str | None
) -> list[str]:
    from xover.parts.kinds import PartKind

    said = []
    if loss is None:
        said.append("nothing tells what this capacitor loses: give readings with --esr or --df, or its --kind")
        if meter is not None:
            said.append("for the meter it was taken for an electrolytic, new to aged: give --kind or readings")
    elif not readings:
        said.append(f"the loss is that of a new {what} capacitor, not measured on this one")
    if meter is not None:
        said.append(f"the meter's own error is not in the range; {OUT_OF_CIRCUIT}")
    if what is PartKind.PAPER:
        said.append(OIL_FILLED)
    return said


def _farad(text: str, option: str) -> float:
    value = quantity(text, Kind.CAPACITANCE, option)
    if not LIMITS_FARAD[0] <= value <= LIMITS_FARAD[1]:
        raise OptionError(f"{option} is {text}", "give a capacitance from 1 nF to 10 mF, such as 4.7uF")
    return value


def _readings(esr: list[str] | None, df: list[str] | None, q: list[str] | None) -> list[LossReading]:
    from xover.parts.capacitor_loss import LossReading, ReadingKind

    found = []
    for kind, texts in (
        (ReadingKind.ESR, esr),
        (ReadingKind.DISSIPATION_FACTOR, df),
        (ReadingKind.QUALITY, q),
    ):
        option = f"--{kind}"
        for text in texts or ():
            number, at, hz = text.partition("@")
            if not at:
                raise OptionError(
                    f"{option} is {text[:40]}", f"give the frequency too, such as {option} {text[:40]}@1kHz"
                )
            at_hz = frequency(hz, option)
            try:
                if kind is ReadingKind.ESR:
                    value = resistance(number, option)
                else:
                    value = parse_fraction(number) if kind is ReadingKind.DISSIPATION_FACTOR else _plain(number)
                found.append(LossReading(kind, value, at_hz))
            except InputError as error:
                raise OptionError(f"{option} {text[:40]}: {error.problem}", error.remedy) from None
    return found


def _plain(text: str) -> float:
    return parse_quantity(text, Kind.PLAIN)


def _kind(text: str) -> PartKind:
    from xover.parts.kinds import PartKind

    known = {
        "electrolytic": PartKind.ELECTROLYTIC,
        "paper": PartKind.PAPER,
        "oil": PartKind.PAPER,
        "polyester": PartKind.POLYESTER,
        "film": PartKind.FILM,
    }
    if text.lower() in known:
        return known[text.lower()]
    near = nearest_word(text, known)
    raise OptionError(
        f"there is no kind of capacitor '{text[:40]}'", f"did you mean {near}?" if near else "give " + ", ".join(known)
    )


def _meter_of(text: str, meter_hz: str, through: str) -> Meter:
    from xover.parts.meter import MeterKind
    from xover.parts.meter_inverse import Meter

    kinds = [str(kind) for kind in MeterKind]
    if text.lower() not in kinds:
        near = nearest_word(text, kinds)
        raise OptionError(
            f"there is no kind of meter '{text[:40]}'", f"did you mean {near}?" if near else "give " + ", ".join(kinds)
        )
    resistor = resistance(through, "--through")
    if resistor == 0:
        raise OptionError("--through is 0", "give the timing resistor, such as 10k")
    return Meter(MeterKind(text.lower()), frequency(meter_hz, "--meter-hz"), resistor_ohm=resistor)
