"""What the curves of a driver were got with: as speaker.toml says, else as the tables and values show."""

from __future__ import annotations

import math
from dataclasses import asdict

from xover.curve import Curve, Evidence
from xover.driver.datasheet import DatasheetValues
from xover.errors import InputError
from xover.files.speaker import Datasheet, Driver, SpeakerFile
from xover.rules.instruments import PHONE_PER_OCTAVE, Instrument
from xover.rules.typical import TEMPLATE, role_of, typical_driver

_EVIDENCE = {
    Instrument.CALIBRATED: Evidence.MEASURED,
    Instrument.UNCALIBRATED: Evidence.MEASURED,
    Instrument.PHONE: Evidence.MEASURED,
    Instrument.DATASHEET: Evidence.DATASHEET,
    Instrument.PLACEHOLDER: Evidence.ASSUMED,
    Instrument.ASSUMED: Evidence.ASSUMED,
}


def evidence_of(instrument: Instrument) -> Evidence:
    """What a table got with it rests on."""
    return _EVIDENCE[instrument]


def told_instrument(file: SpeakerFile, name: str, entry: Driver, curve: str) -> Instrument | None:
    """What speaker.toml says of the "impedance" or the "response" of a driver; None where it says nothing.

    Raises
    ------
    InputError : it speaks of a table that is not there, contradicts the evidence, or measures ohms with a phone.
    """
    key = f"{curve}_instrument"
    own: Instrument | None = getattr(entry, key)
    if own is not None:
        if getattr(entry, curve) is None:
            raise _fault(file, name, key, f"speaks of a table, but no {curve} is named", f"name {curve}, or delete it")
        if own is Instrument.PHONE and curve == "impedance":
            raise _fault(file, name, key, 'is "phone", which measures no impedance', "name what the jig was")
    elif entry.instrument is not None:
        if entry.impedance is None and entry.response is None:
            problem = "speaks of tables, but the driver names none"
            raise _fault(file, name, "instrument", problem, f"write it in [drivers.{name}.datasheet], or delete it")
        # Levels from a phone say nothing of how the impedance was measured.
        if getattr(entry, curve) is not None and not (entry.instrument is Instrument.PHONE and curve == "impedance"):
            own, key = entry.instrument, "instrument"
    kept = f"{curve}_evidence"
    if own is not None and kept in entry.model_fields_set and getattr(entry, kept) is not evidence_of(own):
        problem = f'is "{own}", but {kept} is "{getattr(entry, kept)}"'
        raise _fault(file, name, key, problem, f"delete {kept}")
    return own


def _fault(file: SpeakerFile, name: str, key: str, problem: str, remedy: str) -> InputError:
    return InputError(f"drivers.{name}.{key} {problem}", remedy, file.path, file.line("drivers", name, key))


def table_instrument(evidence: Evidence) -> Instrument:
    """What a table is taken for where nobody says: a sweep, unless it is copied from a datasheet or assumed."""
    return {
        Evidence.MEASURED: Instrument.CALIBRATED,
        Evidence.DATASHEET: Instrument.DATASHEET,
        Evidence.ASSUMED: Instrument.ASSUMED,
    }[evidence]


def response_instrument(curve: Curve) -> Instrument:
    """What a response is taken for where nobody says: a calibrated sweep has a phase, a phone few rows."""
    instrument = table_instrument(curve.evidence)
    if instrument is not Instrument.CALIBRATED or curve.has_phase:
        return instrument
    rows_per_octave = (curve.frequency_hz.size - 1) / math.log2(curve.highest_hz / curve.lowest_hz)
    return Instrument.PHONE if rows_per_octave <= PHONE_PER_OCTAVE else Instrument.UNCALIBRATED


def is_template(entry: Driver) -> bool:
    """Whether a driver is a template's: it says so, or nothing was measured and every value is still the template's."""
    sheet = entry.datasheet
    if sheet is None or entry.impedance is not None:
        return False
    return sheet.instrument == "placeholder" or (entry.response is None and entry.re_ohm is None and not _edited(sheet))


def is_printed(entry: Driver) -> bool:
    """Whether a driver has a datasheet of its own, and not a template's, whatever was measured beside it."""
    return entry.datasheet is not None and entry.datasheet.instrument != "placeholder" and _edited(entry.datasheet)


def _edited(sheet: Datasheet) -> bool:
    values = sheet.model_dump(exclude={"instrument"})
    return all(values != asdict(usual) for usual in TEMPLATE.values())


def assumed_values(file: SpeakerFile, name: str, entry: Driver) -> DatasheetValues:
    """Typical values for a driver of which the DC resistance alone is known.

    Raises
    ------
    InputError : neither its name nor its size tells what it is.
    """
    assert entry.re_ohm is not None  # the speaker file has been checked
    role = role_of(name, entry.diameter_mm)
    if role is None:
        raise InputError(
            f"of driver '{name}' only re_ohm is given, and its name does not tell what it is",
            "give diameter_mm too, or call it woofer, mid, tweeter or horn",
            file.path,
            file.line("drivers", name),
        )
    return DatasheetValues(**asdict(typical_driver(role, entry.re_ohm, entry.diameter_mm)))
