"""speaker.toml: what is known of a loudspeaker, checked key by key, the files that it names, and networks put into it.

The only module that imports pydantic.
"""

from __future__ import annotations

import difflib
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import islice, pairwise
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from xover.curve import Evidence
from xover.errors import InputError
from xover.files.atomic import read_text
from xover.files.budget import MOST_DRIVERS, MOST_NAMES, MOST_NETWORKS, SPEAKER_FILE
from xover.files.faults import LONGEST_NAME, combined, dotted, finding_to_fault, nearest
from xover.files.links import FILE_NAME, count_as_speaker_folder
from xover.files.toml_lines import KeyLines, KeyPath, read_toml
from xover.rules.instruments import Instrument


def resolve_inside(folder: Path, text: str) -> Path:
    """Turn a path as written in a speaker file into a whole one, following symbolic links.

    Parameters
    ----------
    folder : folder that holds the speaker file; relative paths start there.
    text : as written.

    Raises InputError: without path or line: empty, unprintable, a link in a circle, outside the parent of the speaker
    folder, or hidden, it or a folder on its way. Whether a file is there is not asked.
    """
    if not text.strip() or not text.isprintable():
        raise InputError(f"names no file: '{_short(text)}'", "write a file name relative to the speaker file")
    try:
        root = folder.resolve().parent
        target = (folder / text).resolve()
    except (OSError, RuntimeError, ValueError) as error:  # RuntimeError: links in a circle
        raise InputError(
            f"names '{_short(text)}', which is no possible path", "check the name and its links"
        ) from error
    if not target.is_relative_to(root):
        raise InputError(
            f"names '{_short(text)}', which lies outside of '{root}'",
            "keep the file in the speaker folder or in the folder above it",
        )
    inside = folder.resolve()
    if any(
        part.startswith(".") for part in target.relative_to(inside if target.is_relative_to(inside) else root).parts
    ):
        raise InputError(f"names '{_short(text)}', which is hidden and so not read", "name a file that is not")
    return target


def find_file(folder: Path, text: str) -> Path:
    """Resolve a path and make sure that a file is there.

    Raises InputError: without path or line: as resolve_inside; no such file (with the nearest name that exists, in the
    speaker folder alone: what else its owner has there is nobody's business); a folder.
    """
    target = resolve_inside(folder, text)
    try:
        if target.is_dir():
            raise InputError(f"names '{_short(text)}', which is a folder", "name the file inside it")
        if target.exists():
            return target
        neighbours = _names_in(target.parent) if target.parent.is_relative_to(folder.resolve()) else []
    except OSError as error:
        reason = (error.strerror or "not readable").lower()
        raise InputError(f"names '{_short(text)}', which cannot be reached: {reason}", "check the name") from error
    near = difflib.get_close_matches(target.name, neighbours, n=1)
    if near:
        remedy = f"did you mean '{near[0]}'?"
    elif "\\" in text:
        remedy = "separate folders with '/'"
    else:
        remedy = "put the file there or correct the name"
    raise InputError(f"names '{_short(text)}', which does not exist", remedy)


def _names_in(folder: Path) -> list[str]:
    """Names that may be offered: of the speaker folder alone, and none that is hidden."""
    names = (entry.name for entry in folder.iterdir()) if os.path.isdir(folder) else ()
    return list(islice((name for name in names if not name.startswith(".")), MOST_NAMES))


def _short(text: str) -> str:
    return text if len(text) <= 80 else text[:77] + "..."


def _name(text: Any) -> Any:
    if isinstance(text, str) and not (text.strip() and text.isprintable() and len(text) <= LONGEST_NAME):
        raise PydanticCustomError("name", "is no name: it needs 1 to 64 printable characters")
    return text


def _title(text: Any) -> Any:
    if isinstance(text, str) and not (text.isprintable() and len(text) <= 200):
        raise PydanticCustomError("title", "must be one line of at most 200 printable characters")
    return text


def _as_tuple(value: Any) -> Any:
    """TOML arrays become tuples; one number becomes a tuple of one."""
    if isinstance(value, list):
        return tuple(value)
    return (value,) if isinstance(value, int | float) and not isinstance(value, bool) else value


def _array(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _number(ge: float | None = None, le: float | None = None) -> Any:
    return Field(ge=ge, le=le, allow_inf_nan=False)


TINY: Final = 1e-9
"""Less of anything that stands in the file is a slip of the pen."""
Name = Annotated[str, BeforeValidator(_name)]
Ohm = Annotated[float, _number(ge=1e-3, le=10_000.0)]
Watt = Annotated[float, _number(ge=1e-6, le=100_000.0)]
Q = Annotated[float, _number(ge=1e-6, le=1_000.0)]
Millimetre = Annotated[float, _number(ge=-20_000.0, le=20_000.0)]
Position = Annotated[tuple[Millimetre, Millimetre, Millimetre], BeforeValidator(_array)]
EvidenceWord = Annotated[Evidence, Field(strict=False)]
InstrumentWord = Annotated[Instrument, Field(strict=False)]
CornerFrequency = Annotated[float, _number(ge=10.0, le=40_000.0)]
Slope = Annotated[str, StringConstraints(pattern=r"^(LR[2468]|B[1-8])$")]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    @field_validator("*")
    @classmethod
    def _sized(cls, value: Any) -> Any:
        """Numbers that are 0 or of a size; -0 is 0."""
        if isinstance(value, tuple):
            return tuple(map(cls._sized, value))
        if not isinstance(value, float):
            return value
        if 0 < abs(value) < TINY:
            raise PydanticCustomError("tiny", "is nearer to 0 than anything is measured")
        return value + 0.0


class Datasheet(_Table):
    """A driver's datasheet parameters, used where no impedance table is given.

    Attributes
    ----------
    instrument : "placeholder" where the values are a template's.
    """

    re_ohm: Ohm
    fs_hz: Annotated[float, _number(ge=1.0, le=50_000.0)]
    qms: Q
    qes: Q
    le_mh: Annotated[float, _number(ge=0.0, le=1_000.0)] | None = None
    sensitivity_db: Annotated[float, _number(ge=50.0, le=130.0)] | None = None
    instrument: Literal["datasheet", "placeholder"] = "datasheet"


class Driver(_Table):
    """One driver: its measured files, its datasheet or its DC resistance alone, and where it stands.

    Attributes
    ----------
    impedance, response : file names as written, relative to the speaker folder.
    phase : "measured", or "minimum" to rebuild it from the magnitude; None where nothing is said.
    position_mm : right, up, forward of the design axis' foot on the baffle; None where nothing is said.
    positions_mm : the same for each netlist card of a driver that stands on several.
    diameter_mm : effective piston diameter.
    delay_us, gain_db : how much later and louder it is than its record and its place say, against the other drivers, as
        a recording of drivers together shows. delay_uncertainty_us : +-, 95 %.
    re_ohm : DC resistance as read with a meter.
    instrument : what both tables were got with; of one of them: impedance_instrument, response_instrument. None
        where nothing is said.
    """

    impedance: str | None = None
    response: str | None = None
    phase: Literal["measured", "minimum"] | None = None
    position_mm: Position | None = None
    positions_mm: dict[Name, Position] | None = None
    diameter_mm: Annotated[float, _number(ge=0.1, le=2_000.0)] | None = None
    impedance_evidence: EvidenceWord = Evidence.MEASURED
    response_evidence: EvidenceWord = Evidence.MEASURED
    instrument: InstrumentWord | None = None
    impedance_instrument: InstrumentWord | None = None
    response_instrument: InstrumentWord | None = None
    re_ohm: Ohm | None = None
    delay_us: Annotated[float, _number(ge=-20_000.0, le=20_000.0)] | None = None
    delay_uncertainty_us: Annotated[float, _number(ge=0.0, le=20_000.0)] | None = None
    gain_db: Annotated[float, _number(ge=-40.0, le=40.0)] = 0.0
    datasheet: Datasheet | None = None

    @model_validator(mode="after")
    def _whole(self) -> Driver:
        if self.impedance is None and self.datasheet is None and self.re_ohm is None:
            raise PydanticCustomError("impedance", "has no impedance file, no datasheet and no re_ohm")
        if self.position_mm is not None and self.positions_mm is not None:
            raise PydanticCustomError("position", "has both position_mm and positions_mm")
        if self.delay_uncertainty_us is not None and self.delay_us is None:
            raise PydanticCustomError("delay", "has delay_uncertainty_us and no delay_us")
        return self


class Amplifier(_Table):
    """What an amplifier, or one channel of it, can do; None where nothing is said."""

    minimum_load_ohm: Ohm | None = None
    output_ohm: Annotated[float, _number(ge=0.0, le=10_000.0)] | None = None
    rated_power_w: Watt | None = None
    rated_load_ohm: Ohm | None = None
    bridged: bool | None = None


class Listening(_Table):
    """How loud and how far away; None where nothing is said."""

    level_db: Annotated[float, _number(ge=30.0, le=140.0)] | None = None
    distance_m: Annotated[float, _number(ge=1e-3, le=100.0)] | None = None
    headroom_db: Annotated[float, _number(ge=0.0, le=60.0)] | None = None


class NetworkFile(_Table):
    """A named network: its netlist file as written, relative to the speaker folder."""

    circuit: str


class Bypass(_Table):
    """The electronic crossover at hand.

    Attributes
    ----------
    frequency_hz : (n,) rising corner frequencies: one for a two-way, two for a three-way.
    slope : "LR4" is Linkwitz-Riley of the fourth order, "B3" Butterworth of the third.
    channels : driver's name -> its amplifier channel.
    """

    frequency_hz: Annotated[tuple[CornerFrequency, ...], BeforeValidator(_as_tuple)] = Field(min_length=1, max_length=4)
    slope: Slope = "LR4"
    channels: dict[Name, Amplifier] = {}

    @model_validator(mode="after")
    def _rising(self) -> Bypass:
        f = self.frequency_hz
        if any(b <= a for a, b in pairwise(f)):
            raise PydanticCustomError("rising", "has corner frequencies that do not rise")
        return self


class Means(_Table):
    """What its owner has and wants; None where nothing is said.

    Attributes
    ----------
    money : what the parts of a pair may cost. channels : of amplifier, at hand for a pair.
    wants : "voicing", the sound it had when new; or "sound", the most even one.
    """

    money: Annotated[float, _number(ge=0.0, le=1e6)] | None = None
    channels: Annotated[int, Field(ge=1, le=64)] | None = None
    wants: Literal["voicing", "sound"] | None = None


class Speaker(_Table):
    """The whole of speaker.toml.

    timing : "common" where all responses share one time reference.
    """

    title: Annotated[str, BeforeValidator(_title)] = ""
    timing: Literal["common", "unknown"] = "unknown"
    amplifier: Amplifier | None = None
    listening: Listening | None = None
    drivers: dict[Name, Driver] = Field(min_length=1)
    networks: dict[Name, NetworkFile] = {}
    bypass: Bypass | None = None
    means: Means | None = None


@dataclass(frozen=True)
class SpeakerFile:
    """A speaker file as read: every file that it names is there.

    Attributes
    ----------
    path : the speaker file.
    folder : the folder that holds it; relative paths start there.
    speaker : its contents.
    """

    path: Path
    folder: Path
    speaker: Speaker
    _lines: KeyLines = field(repr=False, compare=False)

    def file(self, name: str) -> Path:
        """Whole path of a file as named in the speaker file. Raises InputError if it lies too far away."""
        try:
            return resolve_inside(self.folder, name)
        except InputError as error:
            raise error.at(self.path, None) from None

    @contextmanager
    def read(self, name: str) -> Iterator[tuple[Path, bool]]:
        """Whole path of a file as named there, and whether its words may be told: only of those in the folder.

        Raises InputError: it lies too far away; in the place of a fault of a file beside the folder, where that is.
        """
        path = self.file(name)
        inside = path.is_relative_to(self.folder)
        try:
            yield path, inside
        except InputError as error:
            if inside:
                raise
            problem = "cannot be read as what it should be"
            remedy = "copy it into the speaker folder to be told what is wrong: of other files nothing is told"
            raise InputError(problem, remedy, path, error.line) from None

    def line(self, *keys: str) -> int | None:
        """Line of a key such as line("drivers", "woofer", "impedance"), or of the table around it."""
        return self._lines[keys]


def read_speaker(path_or_folder: Path | str) -> SpeakerFile:
    """Read a speaker file, given by its own name or by its folder.

    Raises InputError: with file and line; an InputFaults where several things are wrong. Not TOML, an unknown or
    missing key, a value of the wrong kind or out of range, a driver of which not even the DC resistance is given, a
    file that is missing or outside the parent of the speaker folder, a channel without a driver.
    """
    path = Path(path_or_folder)
    path = path / FILE_NAME if os.path.isdir(path) else path
    if path.name == FILE_NAME and os.path.isdir(path.parent) and not os.path.exists(path):
        raise InputError("does not exist", "start a speaker folder with 'xover new', or name the right folder", path)
    try:
        folder = path.parent.resolve()
    except (OSError, RuntimeError) as error:  # the working folder has gone; links in a circle
        raise InputError("lies in no folder that can be reached", "check the name and the folder", path) from error
    count_as_speaker_folder(folder)
    data, lines = read_toml(read_text(path, SPEAKER_FILE), path)
    _check_counts(data, path)
    faults = [*_file_faults(data, folder, lines, path), *_channel_faults(data, lines, path)]
    try:
        speaker = Speaker.model_validate(data)
    except ValidationError as error:
        findings = error.errors(include_url=False)
        raise combined([*(finding_to_fault(f, _known_keys, lines, path) for f in findings), *faults]) from None
    if faults:
        raise combined(faults)
    return SpeakerFile(path, folder, speaker, lines)


def _check_counts(data: Mapping[str, Any], path: Path) -> None:
    for table, most in (("drivers", MOST_DRIVERS), ("networks", MOST_NETWORKS)):
        if len(entries := _tables_of(data, table)) > most:
            raise InputError(f"has {len(entries)} {table}; the most are {most}", "make folders of their own", path)


def _file_faults(data: Mapping[str, Any], folder: Path, lines: KeyLines, path: Path) -> Iterator[InputError]:
    """Look for every file that the raw data names, even where other keys are at fault."""
    for table, keys in (("drivers", ("impedance", "response")), ("networks", ("circuit",))):
        for name, entry in _tables_of(data, table):
            for key in keys:
                if isinstance(entry.get(key), str):
                    try:
                        find_file(folder, entry[key])
                    except InputError as error:
                        problem = f"{dotted((table, name, key))} {error.problem}"
                        yield InputError(problem, error.remedy, path, lines[table, name, key])


def _channel_faults(data: Mapping[str, Any], lines: KeyLines, path: Path) -> Iterator[InputError]:
    drivers = [name for name, _ in _tables_of(data, "drivers")]
    bypass = data.get("bypass")
    for name, _ in _tables_of(bypass if isinstance(bypass, dict) else {}, "channels"):
        if name not in drivers:
            problem = f"[bypass.channels.{name[:LONGEST_NAME]}] names no driver"
            yield InputError(problem, nearest(name, drivers, "drivers"), path, lines["bypass", "channels", name])


def _tables_of(data: Mapping[str, Any], key: str) -> list[tuple[str, dict[str, Any]]]:
    table = data.get(key)
    return [(n, t) for n, t in table.items() if isinstance(t, dict)] if isinstance(table, dict) else []


_KNOWN: tuple[tuple[KeyPath, type[_Table]], ...] = (
    ((), Speaker),
    (("amplifier",), Amplifier),
    (("listening",), Listening),
    (("drivers", "*"), Driver),
    (("drivers", "*", "datasheet"), Datasheet),
    (("networks", "*"), NetworkFile),
    (("bypass",), Bypass),
    (("bypass", "channels", "*"), Amplifier),
    (("means",), Means),
)


def _known_keys(table: KeyPath) -> list[str]:
    for pattern, model in _KNOWN:
        if len(pattern) == len(table) and all(p in ("*", t) for p, t in zip(pattern, table, strict=True)):
            return list(model.model_fields)
    return []
