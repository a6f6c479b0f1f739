"""xover pad: which two resistors bring a driver down, or stand in for its level control?"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import driver_names, one_of
from xover.cli.options import Json, NetworkName, frequency, resistance
from xover.cli.show import db, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import InputError, OptionError, nearest_word
from xover.quantity import Kind, hertz, ohms, parse_fraction, parse_quantity

if TYPE_CHECKING:
    from xover.studies.desk.pad.study import Control, PadDesign, PadStudy


def pad(
    speaker: Annotated[
        Path | None,
        typer.Argument(metavar="[SPEAKER]", help="Speaker folder, or its speaker.toml.", show_default=False),
    ] = None,
    driver: Annotated[
        str | None,
        typer.Argument(
            metavar="[DRIVER]",
            help="Driver to bring down, by its name there.",
            show_default=False,
            autocompletion=driver_names,
        ),
    ] = None,
    down: Annotated[str | None, typer.Option("--down", metavar="DB", help="How far down.")] = None,
    control: Annotated[
        str | None,
        typer.Option(
            "--control",
            metavar="KIND",
            help="Old control: rheostat, potentiometer or l-pad.",
            autocompletion=one_of("rheostat", "potentiometer", "l-pad"),
        ),
    ] = None,
    track: Annotated[
        str | None, typer.Option("--track", metavar="OHM", help="Its whole track; of an L-pad, its rated impedance.")
    ] = None,
    setting: Annotated[
        str | None,
        typer.Option("--setting", metavar="0..1", help="Where it stands; a rheostat at 1 has its whole track in."),
    ] = None,
    read_series: Annotated[
        str | None,
        typer.Option("--read-series", metavar="OHM", help="Instead: ohmmeter from its input to the driver's plus."),
    ] = None,
    read_other: Annotated[
        str | None,
        typer.Option("--read-other", metavar="OHM", help="And from driver's plus to minus; rheostat: end to end."),
    ] = None,
    ohm: Annotated[
        str | None, typer.Option("--ohm", metavar="OHM", help="Nominal impedance; alone it stands for the driver.")
    ] = None,
    watts: Annotated[
        str | None, typer.Option("--watts", metavar="W", help="Power into the pad, to be split up.")
    ] = None,
    network: NetworkName = None,
    from_hz: Annotated[
        str | None, typer.Option("--from", metavar="HZ", help="Lowest frequency that counts [default: where it plays].")
    ] = None,
    to_hz: Annotated[str | None, typer.Option("--to", metavar="HZ", help="Highest.")] = None,
    as_json: Json = False,
) -> None:
    """Resistors that pad a driver, or replace its level control.

    Example: xover pad examples/attic-two-way/left tweeter --down 4

    Example: xover pad --control rheostat --track 16 --setting 0.4 --ohm 8
    """
    what = _what(down, control, track, setting, read_series, read_other)
    band = (
        frequency(from_hz, "--from") if from_hz is not None else None,
        frequency(to_hz, "--to") if to_hz is not None else None,
    )
    nominal = _above_zero(resistance(ohm, "--ohm"), "--ohm") if ohm is not None else None
    into = _watts(watts) if watts is not None else None
    if speaker is None and driver is None and nominal is None:
        raise OptionError("neither a driver nor its ohms are given", "name SPEAKER and DRIVER, or give --ohm 8")

    from xover.speaker import open_speaker
    from xover.studies.desk.pad.study import study_pad

    opened = None if speaker is None else open_speaker(speaker)
    study = study_pad(what, opened, driver, network, band, nominal, into)
    if as_json:
        show_json(study)
        return
    _show(study)
    show_warnings(study.warnings)


def _what(
    down: str | None,
    control: str | None,
    track: str | None,
    setting: str | None,
    read_series: str | None,
    read_other: str | None,
) -> float | Control:
    """The wanted drop, or the control, from the options. Raises OptionError."""
    if (down is None) == (control is None):
        raise OptionError("give either --down or --control", "such as --down 4, or --control rheostat --track 16 ...")
    if down is not None:
        if any(given is not None for given in (track, setting, read_series, read_other)):
            raise OptionError("--down needs no --track, --setting or readings", "leave them out, or name a --control")
        drop = _number(down, "--down")
        if not 0 < drop <= 60:
            raise OptionError(f"--down is {down}", "give decibels above 0 and up to 60, without a sign")
        return drop
    assert control is not None  # one of both is given
    return _control(control, track, setting, read_series, read_other)


def _control(
    control: str, track: str | None, setting: str | None, read_series: str | None, read_other: str | None
) -> Control:
    from xover.parts.level_control import ControlKind, measured_setting
    from xover.studies.desk.pad.study import Control

    kinds = [str(kind) for kind in ControlKind]
    if control.lower() not in kinds:
        near = nearest_word(control, kinds)
        raise OptionError(
            f"there is no control '{control[:40]}'", f"did you mean {near}?" if near else "give " + ", ".join(kinds)
        )
    kind = ControlKind(control.lower())
    if track is not None and setting is not None and read_series is None and read_other is None:
        try:
            where = parse_fraction(setting)
        except InputError as error:
            raise OptionError(f"--setting: {error.problem}", error.remedy) from None
        if not 0 <= where <= 1:
            raise OptionError(f"--setting is {setting}", "give a fraction of the track from 0 to 1")
        return Control(kind, _above_zero(resistance(track, "--track"), "--track"), where)
    if read_series is not None and read_other is not None and track is None and setting is None:
        series, other = resistance(read_series, "--read-series"), resistance(read_other, "--read-other")
        found, where = measured_setting(kind, series, other)
        return Control(kind, found, where)
    raise OptionError(
        "the control's place is not given", "give --track and --setting, or --read-series and --read-other"
    )


def _above_zero(value: float, option: str) -> float:
    if value <= 0:
        raise OptionError(f"{option} is {value:g}", "give a value above zero")
    return value


def _number(text: str, option: str) -> float:
    digits = text.strip()
    digits = digits[:-2].strip() if digits.lower().endswith("db") else digits
    try:
        return parse_quantity(digits, Kind.PLAIN)
    except InputError as error:
        raise OptionError(f"{option}: {error.problem}", error.remedy) from None


def _watts(text: str) -> float:
    try:
        value = parse_quantity(text, Kind.POWER)
    except InputError as error:
        raise OptionError(f"--watts: {error.problem}", error.remedy) from None
    return _above_zero(value, "--watts")


def _show(study: PadStudy) -> None:
    who = study.title if study.driver == "resistor" else f"{study.title}: {study.driver}"
    who = who[0].upper() + who[1:]
    control = study.control
    if control is None:
        show_heading(f"{who}, {study.attenuation_db:g} dB down")
    else:
        show_heading(f"{who}, {control.kind} of {ohms(control.track_ohm)} at {control.setting:.3g} of its track")
    if study.driver != "resistor":
        low, high = float(study.frequency_hz[0]), float(study.frequency_hz[-1])
        show_item("band", f"{hertz(low)} to {hertz(high)}, {study.band_words}")
        show_item("driver", f"{study.lowest_ohm:.2f} to {study.highest_ohm:.2f} ohm in that band")
        if control is None or any(d.name == "L-pad" for d in study.designs):
            show_item("nominal", f"{ohms(study.nominal_ohm)}, for the textbook pair")
    show_heading("Series resistor, resistor across the driver; drop and load in the band")
    header = ["pair", "series", "across", "drop dB", "load ohm", "off dB", "load off %"]
    show_table(header, [_row(d) for d in study.designs])
    against = "no pad" if control is None else "the control"
    off = "the drop and the driver's own impedance" if control is None else "the control"
    show_text(f"off: largest distance from {off}, in the band.")
    if study.network is not None:
        show_heading(f"Soldered into network '{study.network}': level at the driver against {against}, dB")
        show_table(["pair", "from", "to"], [[d.name, *(_signed(v) for v in _change(d))] for d in study.designs])
    show_heading(
        "Where the power into the pad goes, %"
        if study.input_w is None
        else f"Where {study.input_w:g} W into the pad go, W"
    )
    scale, digits = (100.0, 0) if study.input_w is None else (study.input_w, 2)
    show_table(["pair", "series", "across", "driver"], [[d.name, *_power(d, scale, digits)] for d in study.designs])
    if study.driver != "resistor":
        show_text("Noise of equal power an octave at the pad's input, over the band.")
    typer.echo()
    for sentence in study.sentences:
        show_text(sentence[0].upper() + sentence[1:] + ".")


def _row(d: PadDesign) -> list[str]:
    return [
        d.name,
        _part(d.series_ohm, "link"),
        _part(d.parallel_ohm, "none"),
        _span(d.least_drop_db, d.most_drop_db, 1),
        _span(d.lowest_load_ohm, d.highest_load_ohm, 1),
        db(d.level_error_db, 2),
        f"{100 * d.load_error:.1f}",
    ]


def _part(value: float, nothing: str) -> str:
    return nothing if value == 0 or math.isinf(value) else f"{value:.3g}"


def _span(low: float, high: float, digits: int) -> str:
    first, last = db(low, digits), db(high, digits)
    return first if first == last else f"{first} to {last}"


def _change(d: PadDesign) -> tuple[float, float]:
    return d.network_least_db, d.network_most_db


def _signed(value: float) -> str:
    return db(value, 2, True)


def _power(d: PadDesign, scale: float, digits: int) -> list[str]:
    return [f"{scale * share:.{digits}f}" for share in (d.power.series, d.power.parallel, d.power.driver)]
