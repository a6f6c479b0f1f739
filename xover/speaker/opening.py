"""Open a speaker folder: read every file that it names and decide which phase each response has."""

from __future__ import annotations

from pathlib import Path

from xover.curve import Curve
from xover.driver.minimum_phase import minimum_phase_curve
from xover.driver.model import DatasheetValues
from xover.errors import InputError
from xover.files.speaker import Driver, SpeakerFile, read_speaker
from xover.files.tables import read_impedance, read_response
from xover.remark import About, Remark
from xover.speaker.driver import PhaseSource, SpeakerDriver
from xover.speaker.speaker import Speaker


def open_speaker(path_or_folder: Path | str) -> Speaker:
    """Open a speaker folder or its speaker.toml.

    Raises
    ------
    InputError
        For any fault in speaker.toml or in a file that it names.
    """
    file = read_speaker(path_or_folder)
    drivers = {name: _open_driver(file, name, entry) for name, entry in file.speaker.drivers.items()}
    return Speaker(file, drivers)


def _open_driver(file: SpeakerFile, name: str, entry: Driver) -> SpeakerDriver:
    notes: list[Remark] = []
    sheet = None
    if entry.datasheet is not None:
        sheet = DatasheetValues(**entry.datasheet.model_dump())
    impedance = None
    if entry.impedance is not None:
        impedance, warnings = read_impedance(file.file(entry.impedance), entry.impedance_evidence)
        notes += [Remark(f"{Path(entry.impedance).name}: {w}", About.IMPEDANCE) for w in warnings]
        if not impedance.has_phase:
            impedance, rebuilt = minimum_phase_curve(impedance)
            words = f"the impedance of {name} has no phase: rebuilt as minimum phase ({rebuilt.slopes_from})"
            notes.append(Remark(words, About.IMPEDANCE, named=True))
    elif sheet is not None:
        words = "the impedance is taken from datasheet values, not from a sweep"
        notes.append(Remark(words, About.DATASHEET_IMPEDANCE).of(name))
        notes += [note.of(name) for note in sheet.notes]
    response, source = None, PhaseSource.NONE
    if entry.response is not None:
        response, source = _open_response(file, name, entry, notes)
    elif sheet is not None and sheet.sensitivity_db is not None:
        source = PhaseSource.MINIMUM
        if impedance is not None:
            notes += [note.of(name) for note in sheet.notes if note.about is About.DATASHEET_RESPONSE]
    else:
        words = f"nothing is known of the sound of {name}: no response and no sensitivity_db is given"
        notes.append(Remark(words, About.RESPONSE))
    return SpeakerDriver(
        name=name,
        impedance=impedance,
        response=response,
        phase_source=source,
        datasheet=sheet,
        position_mm=entry.position_mm,
        card_positions_mm=dict(entry.positions_mm or {}),
        diameter_mm=entry.diameter_mm,
        re_ohm=entry.re_ohm if entry.re_ohm is not None else (None if sheet is None else sheet.re_ohm),
        notes=tuple(notes),
    )


def _open_response(file: SpeakerFile, name: str, entry: Driver, notes: list[Remark]) -> tuple[Curve, PhaseSource]:
    assert entry.response is not None  # the caller has looked
    response, warnings = read_response(file.file(entry.response), entry.response_evidence)
    notes += [Remark(f"{Path(entry.response).name}: {w}", About.RESPONSE) for w in warnings]
    if entry.phase == "measured" and not response.has_phase:
        raise InputError(
            f'drivers.{name}.phase is "measured", but {entry.response} has no phase column',
            'measure the phase, or write phase = "minimum" and a position_mm',
            file.path,
            file.line("drivers", name, "phase"),
        )
    if entry.phase == "measured" or (entry.phase is None and response.has_phase):
        return response, PhaseSource.MEASURED
    if entry.phase is None:
        words = f"the response of {name} has no phase: rebuilt from its magnitude as minimum phase"
        notes.append(Remark(words, About.RESPONSE))
    rebuilt_curve, rebuilt = minimum_phase_curve(response)
    words = f"the phase of {name} is rebuilt from its magnitude: {rebuilt.slopes_from}"
    notes.append(Remark(words, About.REBUILT_PHASE))
    return rebuilt_curve, PhaseSource.MINIMUM
