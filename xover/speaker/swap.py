"""A speaker that stands in no file: another driver in the place of one, or networks to try.

What is known of it there is taken over, except what belongs to the other cabinet or the other measurement: where it
stands, and when its sound starts.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from xover.curve import Curve, Evidence
from xover.driver.beyond import with_minimum_phase
from xover.driver.minimum_phase import minimum_phase_curve
from xover.errors import OptionError, named, nearest_word
from xover.files.links import FILE_NAME
from xover.files.tables import read_impedance, read_response
from xover.network import Network
from xover.remark import About, Remark
from xover.rules.instruments import Instrument
from xover.speaker.instruments import response_instrument, table_instrument
from xover.speaker.speaker import PhaseSource, Position, Speaker, SpeakerDriver, open_speaker


def with_driver(speaker: Speaker, name: str, source: str) -> Speaker:
    """The speaker with one driver exchanged, and all else as it was.

    A foreign response was timed by itself, so its own phase is left out: it is rebuilt from its level as minimum phase.
    One sum is right then where the other drivers are of minimum phase too and every place is known; beside drivers
    whose phase was measured `Speaker.timing_is_known` says that it is not.

    The new driver stands where the old one stood; how far forward it stands, and its diameter, are its own where
    its folder gives them.

    Parameters
    ----------
    name : the driver that goes.
    source : another speaker folder or its speaker.toml (the driver of the same name there, else its only one);
        FOLDER:OTHERNAME; or tables, "impedance.csv" or "impedance.csv,response.csv" (the impedance may be a
        Touchstone file), taken as measured at 2.83 V and 1 m.

    Raises OptionError: no driver of that name, here or there; no such folder or file. InputError: a fault in a file of
    the source.
    """
    if name not in speaker.drivers:
        raise OptionError(
            f"{speaker.file.path} has no driver '{name[:40]}' to replace", _which(name, tuple(speaker.drivers))
        )
    old = speaker.drivers[name]
    new, words = _from_source(source, name)
    new = _of_minimum_phase(new, name)
    notes = [Remark(f"{name} is another driver here: {words}"), *new.notes]
    if old.place_mm("") is None and not old.card_positions_mm:
        said = f"where {name} stands is not known: speaker.toml gives no position_mm"
        notes.append(Remark(said, About.RESPONSE))
    elif new.position_mm is None:
        notes.append(Remark(f"the new {name} is taken to stand as far forward as the old one", About.RESPONSE))
    depth = None if new.position_mm is None else new.position_mm[2]
    placed = replace(
        new,
        name=name,
        position_mm=_moved(old.position_mm, depth),
        card_positions_mm={card: _at_depth(place, depth) for card, place in old.card_positions_mm.items()},
        diameter_mm=new.diameter_mm if new.diameter_mm is not None else old.diameter_mm,
        notes=tuple(dict.fromkeys(notes)),
    )
    return replace(speaker, drivers={**speaker.drivers, name: placed})


def _from_source(source: str, name: str) -> tuple[SpeakerDriver, str]:
    """The driver as it is known there, and where it comes from in words."""
    if _is_speaker(source):
        return _from_speaker(source, None, name)
    folder, colon, other = source.rpartition(":")
    if colon and _is_speaker(folder):
        return _from_speaker(folder, other, name)
    impedance, response = _tables(source)
    if not os.path.isfile(impedance):
        raise OptionError(
            f"{named('replace')} {name}: there is neither a speaker folder nor a table '{impedance}'",
            "give another speaker's folder, or tables as impedance.csv,response.csv",
        )
    return _from_tables(impedance, response, name)


def _is_speaker(text: str) -> bool:
    path = Path(text)
    return os.path.isdir(path) or (path.suffix.lower() == Path(FILE_NAME).suffix and os.path.isfile(path))


def _tables(source: str) -> tuple[Path, Path | None]:
    """Impedance and response; a comma may also be part of a name."""
    if os.path.isfile(source) or "," not in source:
        return Path(source), None
    commas = [at for at, letter in enumerate(source) if letter == ","]
    pairs = [(Path(source[:at].strip()), Path(source[at + 1 :].strip())) for at in commas]
    return next(((z, p) for z, p in pairs if os.path.isfile(z) and os.path.isfile(p)), pairs[0])


def _from_speaker(folder: str, wanted: str | None, name: str) -> tuple[SpeakerDriver, str]:
    other = open_speaker(folder)
    known = tuple(other.drivers)
    key = wanted if wanted is not None else (name if name in known or len(known) > 1 else known[0])
    if key not in known:
        raise OptionError(
            f"{named('replace')} {name}: {other.file.path} has no driver '{key[:40]}'",
            f"{_which(key, known)}; write {name}=FOLDER:NAME",
        )
    return other.drivers[key], f"{key} of {other.title}"


def _from_tables(impedance_path: Path, response_path: Path | None, name: str) -> tuple[SpeakerDriver, str]:
    impedance, warnings = read_impedance(impedance_path, Evidence.MEASURED)
    notes = [Remark(f"{impedance_path.name}: {w}", About.IMPEDANCE) for w in warnings]
    if not impedance.has_phase:
        impedance, rests_on = with_minimum_phase(impedance)
        said = f"the impedance of {name} has no phase: rebuilt as minimum phase ({rests_on})"
        notes.append(Remark(said, About.IMPEDANCE, named=True))
    response: Curve | None = None
    source = PhaseSource.NONE
    ohms, heard = table_instrument(Evidence.MEASURED), Instrument.ASSUMED
    words = impedance_path.name
    if response_path is not None:
        response, warnings = read_response(response_path, Evidence.MEASURED)
        heard = response_instrument(response)
        notes += [Remark(f"{response_path.name}: {w}", About.RESPONSE) for w in warnings]
        source = PhaseSource.MEASURED  # its phase, if there is one, is left out all the same
        words += f" and {response_path.name}"
    else:
        said = f"nothing is known of the sound of the new {name}: only its impedance was given"
        notes.append(Remark(said, About.RESPONSE))
    return (
        SpeakerDriver(name, impedance, response, source, None, None, {}, None, None, tuple(notes), ohms, heard),
        words,
    )


def _of_minimum_phase(driver: SpeakerDriver, name: str) -> SpeakerDriver:
    """Its response with the phase that belongs to its level, whatever phase was measured."""
    if driver.response is None or driver.phase_source is PhaseSource.MINIMUM:
        return driver
    curve, rebuilt = minimum_phase_curve(driver.response)
    note = Remark(
        f"the response of the new {name} was not timed with the others: its phase is rebuilt from its level "
        f"({rebuilt.slopes_from}{rebuilt.smoothed})",
        About.REBUILT_PHASE,
    )
    return replace(driver, response=curve, phase_source=PhaseSource.MINIMUM, notes=(*driver.notes, note))


def _moved(place: Position | None, depth_mm: float | None) -> Position | None:
    return None if place is None else _at_depth(place, depth_mm)


def _at_depth(place: Position, depth_mm: float | None) -> Position:
    return place if depth_mm is None else (place[0], place[1], depth_mm)


def _which(name: str, known: tuple[str, ...]) -> str:
    near = nearest_word(name, known)
    return f"did you mean {near}?" if near else f"it has {', '.join(known)}"


@dataclass(frozen=True, eq=False, repr=False)
class TrialSpeaker(Speaker):
    """A speaker as its folder describes it, and networks beside those of the folder.

    Attributes
    ----------
    trials : by name; each binds drivers of this speaker only.
    """

    trials: Mapping[str, Network] = field(default_factory=dict)

    @property
    def network_names(self) -> tuple[str, ...]:
        """The named networks of the folder, then those that are tried."""
        return (*self.file.speaker.networks, *self.trials)

    def network(self, name: str) -> Network:
        """As ever, or the one that is tried."""
        return self.trials[name] if name in self.trials else super().network(name)


def with_trial(speaker: Speaker, name: str, network: Network) -> TrialSpeaker:
    """The speaker with one more network, or with that one in the place of an earlier trial.

    Parameters
    ----------
    network : of the same drivers.

    Raises OptionError: the folder has a network of that name, or a driver is not this speaker's.
    """
    if name in speaker.file.speaker.networks:
        raise OptionError(f"{speaker.file.path} has a network '{name}' already", "try it under another name")
    strange = [d for d in network.driver_names if d not in speaker.drivers]
    if strange:
        raise OptionError(
            f"{speaker.file.path} has no driver '{strange[0]}'", f"it has {', '.join(speaker.drivers) or 'none'}"
        )
    trials = dict(speaker.trials) if isinstance(speaker, TrialSpeaker) else {}
    return TrialSpeaker(speaker.file, speaker.drivers, {**trials, name: network})
