"""Speaker: an opened folder, with its drivers and its named networks; and how it is opened."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from pathlib import Path

import numpy as np

from xover.acoustic.level import ratio
from xover.acoustic.time import delay_factor
from xover.curve import Complex, Curve, Evidence, Float
from xover.driver.beyond import beyond, with_minimum_phase
from xover.driver.datasheet import DatasheetValues, datasheet_response
from xover.driver.minimum_phase import minimum_phase_curve
from xover.errors import InputError, OptionError, nearest_word
from xover.files.netlist import read_netlist
from xover.files.speaker import Amplifier, Driver, Listening, SpeakerFile, read_speaker
from xover.files.tables import read_impedance, read_response
from xover.network import Network, build_network
from xover.readable import Readable
from xover.remark import About, Remark
from xover.rules.instruments import IMPEDANCE_SPREADS, Instrument
from xover.speaker.instruments import (
    assumed_values,
    evidence_of,
    is_template,
    response_instrument,
    table_instrument,
    told_instrument,
)

Position = tuple[float, float, float]


class PhaseSource(StrEnum):
    """Where the phase of a response comes from."""

    MEASURED = "measured"
    MINIMUM = "minimum"
    NONE = "none"


@dataclass(frozen=True, eq=False, repr=False)
class SpeakerDriver(Readable):
    """One driver: what was measured, what is assumed, and where it stands.

    Attributes
    ----------
    impedance : measured sweep, or None where the datasheet must serve.
    response : measured response with the phase that is to be used, or None.
    phase_source : whose phase that is. MINIMUM has no delay in it: the position gives the delay.
    datasheet : printed values, or None.
    position_mm : right, up, forward of the design axis' foot; None where it was not said.
    card_positions_mm : the same for each card, where the driver stands on several.
    re_ohm : DC resistance as read with a meter, or as printed; None where unknown.
    delay_us, gain_db : what a recording of drivers together adds to its response and its place, against the other
        drivers; None and 0 where nothing is said. delay_uncertainty_us : +-, 95 %; None where unknown.
    notes : what a reader must know, one sentence each.
    metered_re_ohm : the DC resistance, where a meter read it.
    impedance_instrument, response_instrument : what the curves were got with; of values in the place of a curve,
        what those are.
    """

    name: str
    impedance: Curve | None
    response: Curve | None
    phase_source: PhaseSource
    datasheet: DatasheetValues | None
    position_mm: Position | None
    card_positions_mm: dict[str, Position]
    diameter_mm: float | None
    re_ohm: float | None
    notes: tuple[Remark, ...]
    impedance_instrument: Instrument = Instrument.ASSUMED
    response_instrument: Instrument = Instrument.ASSUMED
    delay_us: float | None = None
    delay_uncertainty_us: float | None = None
    gain_db: float = 0.0
    metered_re_ohm: float | None = None

    def impedance_ohm(self, frequency_hz: Float) -> Complex:
        """(n,) impedance, NaN where the sweep does not reach."""
        if self.impedance is not None:
            return self.impedance.at(frequency_hz)
        if self.datasheet is None:
            return np.full(frequency_hz.shape, np.nan, dtype=complex)
        return np.asarray(self.datasheet.model.impedance_ohm(frequency_hz), dtype=complex)

    def disc_ohm(self, frequency_hz: Float) -> tuple[Complex, Float]:
        """(n,) centre and (n,) radius that hold the impedance, beyond the sweep too (`driver/beyond.py`)."""
        if self.impedance is not None:
            return beyond(self.impedance, frequency_hz, self.re_ohm)
        return self.impedance_ohm(frequency_hz), np.zeros(frequency_hz.shape)

    def pressure(self, frequency_hz: Float) -> Complex:
        """(n,) response re 20 uPa at 2.83 V and 1 m, its `delay_us` and `gain_db` in it.

        Without the delay of its place, which a phase that was measured has in it and one that is rebuilt has not.
        """
        if self.response is not None:
            found = self.response.at(frequency_hz)
        elif self.datasheet is None or self.datasheet.sensitivity_db is None:
            return np.full(frequency_hz.shape, np.nan, dtype=complex)
        else:
            found = np.asarray(datasheet_response(self.datasheet, frequency_hz).value, dtype=complex)
        if self.delay_us is not None:
            found = found * delay_factor(frequency_hz, self.delay_us * 1e-6)
        return found if self.gain_db == 0.0 else found * ratio(self.gain_db)

    @property
    def impedance_evidence(self) -> Evidence:
        """What the impedance rests on."""
        if self.impedance is not None:
            return self.impedance.evidence
        sheet = self.datasheet is not None and self.datasheet.le_mh is not None
        return Evidence.DATASHEET if sheet and self.impedance_instrument is Instrument.DATASHEET else Evidence.ASSUMED

    @property
    def response_evidence(self) -> Evidence:
        """What the response rests on; assumed where a flat driver stands in for it."""
        return Evidence.ASSUMED if self.response is None else self.response.evidence

    @property
    def denies_timing(self) -> bool:
        """Whether its file says that its phase shares no time reference, though speaker.toml says that it does."""
        return any(note.about is About.NO_TIME_REFERENCE for note in self.notes)

    @property
    def has_response(self) -> bool:
        """False where nothing at all is known of its sound."""
        return self.response is not None or (self.datasheet is not None and self.datasheet.sensitivity_db is not None)

    def place_mm(self, card: str) -> Position | None:
        """Where one card of this driver stands (card without its X), or None."""
        for name, position in self.card_positions_mm.items():
            if name.lower() == card.lower():
                return position
        return self.position_mm


@dataclass(frozen=True, eq=False, repr=False)
class Speaker(Readable):
    """A loudspeaker as its folder describes it.

    Attributes
    ----------
    file : speaker.toml as read.
    drivers : by the name that the netlists use.
    """

    file: SpeakerFile
    drivers: dict[str, SpeakerDriver]

    @property
    def title(self) -> str:
        """The title, or the folder's name."""
        return self.file.speaker.title or self.file.folder.name

    @property
    def amplifier(self) -> Amplifier | None:
        """What drives it now, if the file says so."""
        return self.file.speaker.amplifier

    @property
    def listening(self) -> Listening | None:
        """How loud and how far, if the file says so."""
        return self.file.speaker.listening

    @property
    def network_names(self) -> tuple[str, ...]:
        """The named networks, in the order of the file."""
        return tuple(self.file.speaker.networks)

    def default_network(self) -> str:
        """`found` where there is one, else the first. Raises InputError when there is none."""
        names = self.network_names
        if not names:
            raise InputError("names no network", 'add [networks.found] with circuit = "found.cir"', self.file.path)
        return "found" if "found" in names else names[0]

    def network_or_default(self, name: str | None) -> str:
        """The name that was given, or the folder's own default. Raises OptionError, InputError."""
        if name is not None and not isinstance(name, str):
            raise OptionError("a network is meant by its name", "write it as text, such as 'found'")
        return name if name is not None else self.default_network()

    def network(self, name: str) -> Network:
        """Read and check a named network; each of its drivers must be known here.

        The file is read again only where it has changed since.

        Raises OptionError: no network of that name. InputError: a fault in its netlist.
        """
        if name not in self.file.speaker.networks:
            near = nearest_word(name, self.network_names)
            known = ", ".join(self.network_names) or "none yet: add [networks.found]"
            raise OptionError(
                f"{self.file.path} has no network '{name}'", f"did you mean {near}?" if near else f"it has {known}"
            )
        circuit = self.file.speaker.networks[name].circuit
        path = self.file.file(circuit)
        try:
            stamp = (path.stat().st_mtime_ns, path.stat().st_size)
        except OSError:
            return self._read(circuit)  # which tells what is wrong with it
        kept = self._networks.get(name)
        if kept is None or kept[0] != stamp:
            kept = self._networks[name] = stamp, self._read(circuit)
        return kept[1]

    @cached_property
    def _networks(self) -> dict[str, tuple[tuple[int, int], Network]]:
        """What was read, and what the file looked like then."""
        return {}

    def _read(self, circuit: str) -> Network:
        with self.file.read(circuit) as (path, _):
            return self._bound(build_network(read_netlist(path)))

    def _bound(self, network: Network) -> Network:
        """Raises InputError: a driver is none of these."""
        for card in network.drivers:
            if card.driver not in self.drivers:
                near = nearest_word(card.driver, self.drivers)
                remedy = f"did you mean {near}?" if near else f"add [drivers.{card.driver}] there"
                raise InputError(
                    f"{card.name} binds the driver '{card.driver}', which {self.file.path.name} does not have",
                    remedy,
                    network.path,
                    card.line,
                )
        return network

    def impedances_ohm(self, network: Network, frequency_hz: Float) -> dict[str, Complex]:
        """(n,) impedance of each driver of a network, by its name; NaN where the sweep does not reach."""
        return {name: self.drivers[name].impedance_ohm(frequency_hz) for name in network.driver_names}

    def timed_by_delays(self, names: Iterable[str]) -> bool:
        """Whether all of some drivers but one, to which the others are held, have a delay_us."""
        return sum(self.drivers[name].delay_us is None for name in set(names)) <= 1

    def timing_is_known(self, network: Network) -> tuple[bool, str]:
        """Whether the responses share a time reference, so that one sum is right; and why, in words.

        Known: all phases measured and `timing = "common"`, which no file denies; or all rebuilt as minimum phase, with
        the position of every driver given; or the delays of all drivers but one found from a recording of them.
        """
        cards = network.drivers
        sources = {self.drivers[c.driver].phase_source for c in cards}
        if len(cards) == 1:
            return True, "there is one driver only"
        if PhaseSource.NONE not in sources and self.timed_by_delays(network.driver_names):
            return True, "the drivers' delays against each other come from a recording of them together (delay_us)"
        if sources == {PhaseSource.MEASURED}:
            denied = [n for n in network.driver_names if self.drivers[n].denies_timing]
            if denied:
                return False, f"the file of {', '.join(denied)} says that its sweep has no time reference"
            if self.file.speaker.timing == "common":
                return True, "all phases are measured against one time reference"
            return False, 'the phases were measured, but speaker.toml does not say timing = "common"'
        if sources == {PhaseSource.MINIMUM}:
            lost = [c.key for c in cards if self.drivers[c.driver].place_mm(c.name[1:]) is None]
            if not lost:
                return True, "all phases are rebuilt as minimum phase, delays come from the positions"
            return False, f"the phases are rebuilt, but no position_mm is given for {', '.join(lost)}"
        if PhaseSource.NONE in sources:
            return False, "the sound of a driver is not known"
        return False, "some phases are measured and some rebuilt, so the drivers share no time reference"


def open_speaker(path_or_folder: Path | str) -> Speaker:
    """Open a speaker folder or its speaker.toml.

    Raises InputError: for any fault in speaker.toml or in a file that it names.
    """
    file = read_speaker(path_or_folder)
    drivers = {name: _open_driver(file, name, entry) for name, entry in file.speaker.drivers.items()}
    return Speaker(file, drivers)


def _open_driver(file: SpeakerFile, name: str, entry: Driver) -> SpeakerDriver:
    notes: list[Remark] = []
    told = {curve: told_instrument(file, name, entry, curve) for curve in ("impedance", "response")}
    ohms = told["impedance"] or table_instrument(entry.impedance_evidence)
    sheet, sheet_is = _sheet(file, name, entry)
    impedance = None
    if entry.impedance is not None:
        impedance, warnings = _read_table(file, entry.impedance, read_impedance, evidence_of(ohms))
        notes += [Remark(f"{Path(entry.impedance).name}: {w}", About.IMPEDANCE) for w in warnings]
        if not impedance.has_phase:
            impedance, rests_on = with_minimum_phase(impedance)
            words = f"the impedance of {name} has no phase: rebuilt as minimum phase ({rests_on})"
            notes.append(Remark(words, About.IMPEDANCE, named=True))
    elif sheet is not None:
        ohms = sheet_is
        notes += _values_notes(name, entry, sheet, sheet_is)
    response, source, heard = None, PhaseSource.NONE, Instrument.ASSUMED
    if entry.response is not None:
        response, source, heard = _open_response(file, name, entry, told["response"], notes)
    elif sheet is not None and sheet.sensitivity_db is not None:
        source = PhaseSource.MINIMUM
        heard = Instrument.PLACEHOLDER if sheet_is is Instrument.PLACEHOLDER else Instrument.ASSUMED
        if impedance is not None:
            notes += [note.of(name) for note in sheet.notes if note.about is About.DATASHEET_RESPONSE]
    else:
        words = f"nothing is known of the sound of {name}: no response and no sensitivity_db is given"
        notes.append(Remark(words, About.NO_RESPONSE))
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
        impedance_instrument=ohms,
        response_instrument=heard,
        delay_us=entry.delay_us,
        delay_uncertainty_us=entry.delay_uncertainty_us,
        gain_db=entry.gain_db,
        metered_re_ohm=entry.re_ohm,
    )


def _read_table(
    file: SpeakerFile, name: str, read: Callable[[Path, Evidence], tuple[Curve, tuple[str, ...]]], evidence: Evidence
) -> tuple[Curve, tuple[str, ...]]:
    """A curve and what was read on trust; nothing is quoted of a file beside the folder."""
    with file.read(name) as (path, inside):
        curve, warnings = read(path, evidence)
    if inside:
        return curve, warnings
    return curve, tuple(_silent(said) for said in warnings)


def _silent(said: str) -> str:
    """The same without what is quoted in it."""
    words = re.sub("'.*'", "'...'", said)
    return Remark(words, said.about) if isinstance(said, Remark) else words


def _sheet(file: SpeakerFile, name: str, entry: Driver) -> tuple[DatasheetValues | None, Instrument]:
    """The values that stand in where no table is, and what they are; a template's not beside a sweep."""
    if entry.datasheet is not None and (entry.impedance is None or entry.datasheet.instrument != "placeholder"):
        values = DatasheetValues(**entry.datasheet.model_dump(exclude={"instrument"}))
        return values, Instrument.PLACEHOLDER if is_template(entry) else Instrument.DATASHEET
    if entry.impedance is None:
        return assumed_values(file, name, entry), Instrument.ASSUMED
    return None, Instrument.ASSUMED


def _values_notes(name: str, entry: Driver, sheet: DatasheetValues, are: Instrument) -> list[Remark]:
    """What impedance and sound made of values do not hold."""
    if are is Instrument.PLACEHOLDER:
        words = "its values are the template's placeholders, no driver's: no verdict rests on them"
        return [Remark(words, About.DATASHEET_IMPEDANCE).of(name)]
    if are is Instrument.ASSUMED:
        heard = "" if entry.response is not None else f", {sheet.sensitivity_db:.0f} dB"
        spread = IMPEDANCE_SPREADS[are]
        words = (
            "only its DC resistance is known, the rest is assumed as usual for its kind: resonance "
            f"{sheet.fs_hz:.0f} Hz (within a factor of {spread.factor:g}), {sheet.le_mh:.2g} mH{heard}"
        )
        serves = (
            "DC resistances alone serve for wiring, for faults and for how far parts have drifted; load and drive hold "
            f"to {100 * spread.share:.0f} % at best"
        )
        about = About.DATASHEET_IMPEDANCE
        return [Remark(words, about).of(name), Remark(serves, about, named=True)]
    words = "the impedance is taken from datasheet values, not from a sweep"
    return [Remark(words, About.DATASHEET_IMPEDANCE).of(name), *(note.of(name) for note in sheet.notes)]


def _open_response(
    file: SpeakerFile, name: str, entry: Driver, told: Instrument | None, notes: list[Remark]
) -> tuple[Curve, PhaseSource, Instrument]:
    assert entry.response is not None  # the caller has looked
    evidence = entry.response_evidence if told is None else evidence_of(told)
    response, warnings = _read_table(file, entry.response, read_response, evidence)
    for said in warnings:
        about = said.about if isinstance(said, Remark) else About.RESPONSE
        if about is not About.NO_TIME_REFERENCE or (file.speaker.timing == "common" and entry.phase != "minimum"):
            notes.append(Remark(f"{Path(entry.response).name}: {said}", about))
    if entry.phase == "measured" and not response.has_phase:
        raise InputError(
            f'drivers.{name}.phase is "measured", but {entry.response} has no phase column',
            'measure the phase, or write phase = "minimum" and a position_mm',
            file.path,
            file.line("drivers", name, "phase"),
        )
    if entry.phase == "measured" or (entry.phase is None and response.has_phase):
        return response, PhaseSource.MEASURED, told or response_instrument(response)
    instrument = told or response_instrument(response)
    if told is None and instrument is Instrument.PHONE:
        words = (
            f"the response of {name}, third octaves without phase, is taken for phone levels; if it is not, say "
            'response_instrument = "calibrated" or "uncalibrated"'
        )
        notes.append(Remark(words, About.RESPONSE))
    if entry.phase is None:
        words = f"the response of {name} has no phase: rebuilt from its magnitude as minimum phase"
        notes.append(Remark(words, About.RESPONSE))
    rebuilt_curve, rebuilt = minimum_phase_curve(response)
    words = f"the phase of {name} is rebuilt from its magnitude: {rebuilt.slopes_from}{rebuilt.smoothed}"
    notes.append(Remark(words, About.REBUILT_PHASE))
    return rebuilt_curve, PhaseSource.MINIMUM, instrument
