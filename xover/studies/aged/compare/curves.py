"""What is compared: a table as it is, or what a network of a speaker folder is predicted to do."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np

from xover.acoustic.decibel import level_db, phase_deg
from xover.curve import Curve, Evidence, Float
from xover.errors import InputError, OptionError
from xover.files.atomic import read_text
from xover.files.table_dialect import split_table
from xover.files.table_header import Quantity, read_header
from xover.files.tables import TOUCHSTONE_SUFFIXES, read_impedance, read_response
from xover.readable import Readable
from xover.sound.changes import known_level_db
from xover.sound.prediction import sound_of
from xover.speaker import Speaker, open_speaker


class What(StrEnum):
    """What of a network is compared."""

    SUM = "sum"
    IMPEDANCE = "impedance"


@dataclass(frozen=True, eq=False)
class Table:
    """A measured table. `quantity` is ohm or dB."""

    curve: Curve
    quantity: Quantity
    name: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Predicted:
    """A network of a speaker folder."""

    speaker: Speaker
    network: str
    channel: str | None

    @property
    def name(self) -> str:
        """Speaker and network."""
        return f"{self.speaker.title}, network '{self.network}'"


Operand = Table | Predicted


@dataclass(frozen=True, eq=False, repr=False)
class Shown(Readable):
    """One of the two curves on the common grid.

    Attributes
    ----------
    level_db : (n,) dB, of an impedance re 1 ohm; NaN where it is not known.
    phase_deg : (n,) -180..180, or None where there is none.
    """

    name: str
    evidence: str
    level_db: Float
    phase_deg: Float | None
    notes: tuple[str, ...]


def open_operand(text: str, unit: Quantity | None = None, channel: str | None = None) -> Operand:
    """Open what was typed: a table, a speaker folder (its default network), or SPEAKER:NETWORK.

    Parameters
    ----------
    unit : of a table whose header names none.

    Raises
    ------
    InputError, OptionError : nothing of that name, or a fault in what it holds.
    """
    path = Path(text)
    if path.is_dir() or path.name == "speaker.toml":
        speaker = open_speaker(path)
        return Predicted(speaker, speaker.default_network(), channel)
    folder, colon, network = text.rpartition(":")
    if colon and folder and network and not path.exists():
        speaker = open_speaker(folder)
        speaker.network(network)
        return Predicted(speaker, network, channel)
    return read_any_table(path, unit)


def read_any_table(path: Path, unit: Quantity | None = None) -> Table:
    """Read an impedance or a level, whichever the header says.

    Raises
    ------
    InputError : a fault in the table. OptionError : its header names no unit, and none was stated.
    """
    quantity = unit or _quantity_of(path)
    curve, warnings = (read_impedance if quantity == "ohm" else read_response)(path, Evidence.MEASURED)
    return Table(curve, quantity, path.name, tuple(f"{path.name}: {w}" for w in warnings))


def _quantity_of(path: Path) -> Quantity:
    if path.suffix.lower() in TOUCHSTONE_SUFFIXES:
        return "ohm"
    found: list[Quantity] = []
    fault: InputError | None = None
    try:
        raw = split_table(read_text(path))
    except InputError as error:
        raise error.at(path, None) from None
    wanted: tuple[Quantity, ...] = ("dB", "ohm")
    for quantity in wanted:
        try:
            read_header(raw, quantity)
            found.append(quantity)
        except InputError as error:
            fault = fault or error.at(path, None)
    if len(found) == 2:
        raise OptionError(f"{path}: its header does not say whether it holds dB or ohm", "say so with --unit dB or ohm")
    if not found:
        assert fault is not None  # neither could be read
        raise fault
    return found[0]


def show(operand: Operand, what: What, frequency_hz: Float) -> Shown:
    """One curve on the common grid, NaN where it does not reach.

    Raises
    ------
    OptionError : a table of the other quantity. InputError, NoSolutionError.
    """
    if isinstance(operand, Table):
        return _show_table(operand, what, frequency_hz)
    if what is What.IMPEDANCE:
        return _show_impedance(operand, frequency_hz)
    sound = sound_of(operand.speaker, operand.network, frequency_hz)
    notes = [note for name in sound.network.driver_names for note in operand.speaker.drivers[name].notes]
    notes += [gap.note for gap in sound.total.gaps]
    if not sound.total.coherent:
        notes.append(f"{operand.name}: the sum is the highest that any timing allows: {sound.timing_reason}")
    level = np.where(np.isfinite(known_level_db(sound)), known_level_db(sound), np.nan)
    phase = phase_deg(sound.total.pressure) if sound.total.coherent else None
    return Shown(operand.name, "predicted", level, phase, tuple(dict.fromkeys(notes)))


def _show_table(table: Table, what: What, frequency_hz: Float) -> Shown:
    if (table.quantity == "ohm") != (what is What.IMPEDANCE):
        raise OptionError(
            f"{table.name} is in {table.quantity}, and the {what} is to be compared",
            "compare like with like: an impedance with an impedance, a level with a level",
        )
    value = table.curve.at(frequency_hz)
    level = level_db(value)
    phase = phase_deg(value) if table.curve.has_phase else None
    return Shown(table.name, "measured", np.where(np.isfinite(level), level, np.nan), phase, table.warnings)


def _show_impedance(operand: Predicted, frequency_hz: Float) -> Shown:
    from xover.network import solve

    network = operand.speaker.network(operand.network)
    names = [c.name for c in network.channels]
    if operand.channel is None and len(names) > 1:
        raise OptionError(f"{operand.name} has several channels", f"name one with --channel, such as {names[0]}")
    if operand.channel is not None and operand.channel not in names:
        raise OptionError(f"{operand.name} has no channel {operand.channel}", "name one of " + ", ".join(names))
    solution = solve(network, frequency_hz, operand.speaker.impedances_ohm(network, frequency_hz))
    load = solution.impedance_ohm[operand.channel or names[0]]
    level = level_db(load)
    notes = tuple(n for name in network.driver_names for n in operand.speaker.drivers[name].notes)
    return Shown(operand.name, "predicted", np.where(np.isfinite(level), level, np.nan), phase_deg(load), notes)


def natural(first: Operand, second: Operand) -> What:
    """What two operands have in common: the quantity of the tables among them, else the sum."""
    quantities = {o.quantity for o in (first, second) if isinstance(o, Table)}
    return What.IMPEDANCE if "ohm" in quantities and "dB" not in quantities else What.SUM
