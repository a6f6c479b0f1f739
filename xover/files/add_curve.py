"""A measured curve put into a speaker folder: its table, and the keys of speaker.toml that say whose it is."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from xover.errors import InputError, OptionError, named
from xover.files.atomic import as_utf8, check_target, read_bytes, read_text
from xover.files.budget import SPEAKER_FILE
from xover.files.changes import put
from xover.files.faults import nearest
from xover.files.links import FILE_NAME
from xover.files.lock import locked
from xover.files.toml_edit import with_keys
from xover.files.toml_lines import KeyPath, read_toml
from xover.rules.instruments import Instrument

CurveName = Literal["impedance", "response"]
_OF_ALL: Final[Mapping[CurveName, str]] = {"impedance": "terminals", "response": "whole"}
"""What the curve of a whole speaker is called."""
AS_FOUND: Final = "found"
"""What the whole speaker has in it where nobody says."""
_LONGEST: Final = 64
_LONGEST_LINE: Final = 300


@dataclass(frozen=True)
class FolderCurve:
    """A curve as it goes into a folder.

    Attributes
    ----------
    table : its text. conditions : how it was got, in a few words each; they become comments of the table.
    instrument : what it was got with. why : that, and what else is to be known, in words. phase : of a response,
        "measured" or "minimum". timing : what all responses then share, "common" or "unknown"; None where this one does
        not bear on it.
    """

    table: str
    conditions: tuple[str, ...]
    instrument: Instrument
    why: str
    phase: str | None = None
    timing: str | None = None

    @property
    def text(self) -> str:
        """Of the file."""
        lines = ("".join(c for c in line if c.isprintable()) for line in self.conditions)
        return "".join(f"# {line[:_LONGEST_LINE]}\n" for line in lines) + self.table


@dataclass(frozen=True)
class CurvePlace:
    """Where it goes.

    Attributes
    ----------
    speaker_toml : of the folder. driver : whose it is, None of the whole speaker. file : its name. stale : keys of the
        driver that were found with the response before. template : whether a template's values end with it.
    """

    speaker_toml: Path
    curve: CurveName
    driver: str | None
    file: str
    stale: tuple[str, ...] = ()
    template: bool = False


def find_place(
    folder: Path, curve: CurveName, driver: str | None, network: str | None, force: bool = False
) -> CurvePlace:
    """Where a curve goes; raises at once what would be raised for names and files once it is measured.

    Parameters
    ----------
    folder : speaker folder, or its speaker.toml. network : that the whole speaker has in it; by default as found.

    Raises OptionError: no such driver or network, a file or a key is there and not `force`. InputError: a file.
    """
    path = folder / FILE_NAME if os.path.isdir(folder) else folder
    if not os.path.lexists(path):
        raise InputError("does not exist", "start a speaker folder with 'xover new', or name the right folder", path)
    data, where = read_toml(read_text(path, SPEAKER_FILE), path)
    if driver is None:
        known = _tables(data, "networks")
        if network is not None and network not in known:
            raise OptionError(f"{path} has no network '{network[:40]}'", nearest(network, list(known), "networks"))
        name = f"{_OF_ALL[curve]}-{_plain(network or AS_FOUND)}.csv"
        place = CurvePlace(path, curve, None, name)
    else:
        if network is not None:
            raise OptionError(f"{named('network')} does not go with {named('driver')}", "leave one of them out")
        drivers = _tables(data, "drivers")
        if driver not in drivers:
            raise OptionError(f"{path} has no driver '{driver[:40]}'", nearest(driver, list(drivers), "drivers"))
        own = drivers[driver]
        name = f"{_plain(driver)}-{curve}.csv"
        stale = tuple(k for k in ("delay_us", "gain_db") if k in own) if curve in own and curve == "response" else ()
        template = curve == "impedance" and _sheet(own).get("instrument") == "placeholder"
        place = CurvePlace(path, curve, driver, name, stale, template)
        old = own.get(curve)
        if old not in (None, name) and not force:
            problem = f"{path}:{where['drivers', driver, curve]}: the {curve} of {driver} is {str(old)[:80]} already"
            raise OptionError(problem, f"give {named('force')} to name {name} there")
    check_target(path.parent / name, force)
    check_target(path, force=True)
    return place


def add_curve(place: CurvePlace, curve: FolderCurve, force: bool = False) -> None:
    """Write the table and name it in speaker.toml: both or none, to be taken back as one. All else there stays.

    Raises OptionError: a key is there with another value and not `force`. InputError: as `with_keys`, or a file.
    """
    path = place.speaker_toml
    with locked(path.parent):
        contents = {place.file: as_utf8(curve.text, path.parent / place.file)}
        if place.driver is not None:
            before = read_bytes(path, SPEAKER_FILE)
            keys = _keys(place, curve, read_toml(read_text(path, SPEAKER_FILE), path)[0], force)
            after = with_keys(before, keys, path, force, instead=("unknown",))
            if after != before:
                contents[path.name] = after
        put(path.parent, contents, over=(path.name, *([place.file] if force else [])), new_too=True)


def _keys(place: CurvePlace, curve: FolderCurve, data: Mapping[str, Any], force: bool) -> dict[KeyPath, str]:
    assert place.driver is not None  # the caller has looked
    table = {place.curve: place.file, f"{place.curve}_instrument": curve.instrument.value}
    if f"{place.curve}_evidence" in _tables(data, "drivers").get(place.driver, {}):  # it must not contradict that
        table[f"{place.curve}_evidence"] = "measured"
    if curve.phase is not None:
        table["phase"] = curve.phase
    keys: dict[KeyPath, str] = {("drivers", place.driver, key): value for key, value in table.items()}
    said = data.get("timing", "unknown")
    if curve.timing is None or said == curve.timing:
        return keys
    if said == "common" and not force:
        raise OptionError(
            f'{place.speaker_toml} says timing = "common" of all responses',
            f"give {named('same_place')} if the microphone has not moved since; {named('force')} makes it unknown",
        )
    return {("timing",): curve.timing, **keys}


def _tables(data: Mapping[str, Any], key: str) -> dict[str, dict[str, Any]]:
    found = data.get(key)
    return {n: t for n, t in found.items() if isinstance(t, dict)} if isinstance(found, dict) else {}


def _sheet(driver: Mapping[str, Any]) -> Mapping[str, Any]:
    found = driver.get("datasheet")
    return found if isinstance(found, dict) else {}


def _plain(name: str) -> str:
    """The name as part of a file's name: letters, digits, - and _."""
    return re.sub(r"[^A-Za-z0-9_-]++", "-", name).strip("-")[:_LONGEST] or "driver"
