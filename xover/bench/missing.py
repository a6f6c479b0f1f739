"""What a folder lacks and what each of it would add; and what stands on measurements, in one sentence."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from xover.curve import Evidence
from xover.network import Network, Part
from xover.rules.instruments import Instrument
from xover.sentences import and_words
from xover.speaker import PhaseSource, Speaker
from xover.speaker.untouched import is_copy, is_ready_circuit

FOUND: Final = "found"
ORIGINAL: Final = "original"
_TABLES: Final = (".csv", ".txt", ".zma", ".dat", ".z1p", ".s1p")


@dataclass(frozen=True)
class Missing:
    """One thing that the folder lacks.

    Attributes
    ----------
    what : in a few words. adds : what it would add to the answers. sentence : both.
    """

    what: str
    adds: str

    @property
    def sentence(self) -> str:
        """Both in one sentence."""
        return f"{self.what}: {self.adds}."


def what_is_missing(speaker: Speaker, network_name: str, *, listed: bool = False) -> tuple[Missing, ...]:
    """What one network's answers lack, the most useful first.

    Parameters
    ----------
    network_name : the network that stands on the board, or is looked at. listed : whether a list of parts was given.

    Raises
    ------
    InputError, OptionError : as `Speaker.network`.
    """
    network = speaker.network(network_name)
    return tuple(Missing(what, adds) for what, adds in _all(speaker, network, listed))


def standing(speaker: Speaker, network_names: Sequence[str]) -> str:
    """What was measured, and what is a datasheet's, a template's or assumed, in one sentence.

    "Nothing is assumed" is said only where all was measured with more than a phone.

    It begins with "Nothing was measured:" where no driver table is marked as measured and no network tells what was
    found on the board. A `found` network that is the original to the last digit, or a ready circuit as it came, tells
    nothing.

    Raises
    ------
    InputError, OptionError : as `Speaker.network`.
    """
    used = [speaker.network(n) for n in network_names]
    names = list(dict.fromkeys(d for n in used for d in n.driver_names)) or list(speaker.drivers)
    drivers = {n: speaker.drivers[n] for n in names}
    impedance = [n for n, d in drivers.items() if d.impedance_evidence is Evidence.MEASURED]
    response = [n for n, d in drivers.items() if d.has_response and d.response_evidence is Evidence.MEASURED]
    board = measured_network(speaker, network_names)
    if impedance and impedance == response:
        told = [f"impedance and response of {and_words(impedance)}"]
    else:
        both = (("impedance", impedance), ("response", response))
        told = [f"the {what} of {and_words(some)}" for what, some in both if some]
    told += [] if board is None else [f"the parts of network {board}"]
    weak = _weak(speaker, [n for n in names if n not in impedance], [n for n in names if n not in response])
    weak += [] if board is not None else ["the parts are taken as marked or as drawn"]
    phone = [n for n in response if drivers[n].response_instrument is Instrument.PHONE]
    weak += [f"the treble of {and_words(phone)}, which a phone does not tell"] if phone else []
    if not told:
        return f"Nothing was measured: {', '.join(weak)}."
    return f"Measured: {', '.join(told)}" + (f"; not measured: {', '.join(weak)}." if weak else "; nothing is assumed.")


def _weak(speaker: Speaker, impedance: Sequence[str], sound: Sequence[str]) -> list[str]:
    """Where what was not measured comes from instead."""
    said = []
    blank = [n for n in impedance if speaker.drivers[n].impedance_instrument is Instrument.PLACEHOLDER]
    if blank:
        said.append(f"the values of {and_words(blank)} are a template's placeholders")
    impedance, sound = ([n for n in names if n not in blank] for names in (impedance, sound))
    if impedance:
        kinds = {speaker.drivers[n].impedance_evidence for n in impedance}
        where = "is assumed" if kinds == {Evidence.ASSUMED} else "comes from datasheets"
        said.append(f"the impedance of {and_words(impedance)} {where}")
    if sound:
        drivers = [speaker.drivers[n] for n in sound]
        whose = "their sound" if sound == impedance else f"the sound of {and_words(sound)}"
        if not any(d.has_response for d in drivers):
            said.append(f"{whose} is not known")
        elif any(d.response_evidence is Evidence.DATASHEET for d in drivers):
            said.append(f"{whose} comes from datasheets")
        else:
            said.append(f"{whose} is assumed flat")
    return said


def measured_network(speaker: Speaker, network_names: Sequence[str]) -> str | None:
    """The network whose values were read on the board; None where none was."""
    for name in network_names:
        network = speaker.network(name)
        if any(p.evidence == Evidence.MEASURED for p in network.parts):
            return name
        if name == FOUND and not _copied(speaker, network):
            return name
    return None


def _copied(speaker: Speaker, found: Network) -> bool:
    """Whether `found` only repeats the original, or a ready circuit: no board measures so."""
    if ORIGINAL in speaker.network_names:
        return is_copy(found, speaker.network(ORIGINAL))
    return is_ready_circuit(found)


def _all(speaker: Speaker, network: Network, listed: bool) -> Iterator[tuple[str, str]]:
    yield from _curves(speaker, network)
    yield from _board(speaker)
    yield from _timing(speaker, network)
    yield from _amplifier(speaker)
    yield from _proof(speaker)
    yield from _cards(network)
    yield from _places(speaker, network)
    yield from _extras(speaker, network, listed)


def _curves(speaker: Speaker, network: Network) -> Iterator[tuple[str, str]]:
    drivers = {n: speaker.drivers[n] for n in network.driver_names}
    weak = [n for n, d in drivers.items() if d.impedance_evidence is not Evidence.MEASURED]
    if weak:
        yield (
            f"an impedance sweep of {and_words(weak)}, in the cabinet",
            "the true load, drive and crossover, which now rest on values that were not measured",
        )
    deaf = [n for n, d in drivers.items() if not d.has_response or d.response_evidence is Evidence.ASSUMED]
    if deaf:
        yield (
            f"a response of {and_words(deaf)}",
            "the sum, its dips and its reversed null; without it only voltages and loads can be judged",
        )
    sheet = [n for n, d in drivers.items() if d.has_response and d.response_evidence is Evidence.DATASHEET]
    if sheet:
        yield (
            f"a measured response of {and_words(sheet)}",
            "the sum as it is in this cabinet, and not on a maker's baffle",
        )
    phone = [n for n, d in drivers.items() if d.response_instrument is Instrument.PHONE]
    if phone:
        yield (
            f"a response of {and_words(phone)} with a measuring microphone",
            "how even the sum is, and its treble; a phone tells differences between two states only",
        )


def _board(speaker: Speaker) -> Iterator[tuple[str, str]]:
    names = speaker.network_names
    if measured_network(speaker, names) is None:
        why = "repeats the original, so it tells nothing" if FOUND in names else "is missing"
        yield (
            f"the values found on the board (network '{FOUND}' {why})",
            "what age has done, part by part, and which parts may stay",
        )
    if ORIGINAL not in names or is_ready_circuit(speaker.network(ORIGINAL)):
        why = "is a ready circuit as it came" if ORIGINAL in names else "is missing"
        yield (
            f"the values as marked (network '{ORIGINAL}' {why})",
            "how far the voicing has moved, and a like-for-like refresh back to it",
        )


def _timing(speaker: Speaker, network: Network) -> Iterator[tuple[str, str]]:
    known, why = speaker.timing_is_known(network)
    if not known and all(speaker.drivers[n].has_response for n in network.driver_names):
        yield (
            f"one time reference for all drivers ({why})",
            "one sum with its null, in place of a best and a worst that it lies between",
        )
    rebuilt = [
        n
        for n in network.driver_names
        if speaker.drivers[n].response is not None and speaker.drivers[n].phase_source is PhaseSource.MINIMUM
    ]
    if rebuilt:
        yield (
            f"a measured phase of {and_words(rebuilt)}",
            "delays that are measured and not worked out from positions, so a null that can be trusted to the decibel",
        )


def _amplifier(speaker: Speaker) -> Iterator[tuple[str, str]]:
    amplifier = speaker.amplifier
    if amplifier is None or amplifier.minimum_load_ohm is None:
        yield "minimum_load_ohm in [amplifier]", "whether the amplifier may drive this load"
    if amplifier is None or not (amplifier.rated_power_w and amplifier.rated_load_ohm):
        yield "rated_power_w and rated_load_ohm in [amplifier]", "the watts and volts that every part must stand"
    if amplifier is None or amplifier.output_ohm is None:
        yield "output_ohm in [amplifier]", "how the amplifier's own resistance bends the response"
    wish = speaker.listening
    if wish is None or wish.level_db is None:
        yield (
            "level_db and distance_m in [listening]",
            "the power that your listening takes, and what reaches the tweeter",
        )


def _proof(speaker: Speaker) -> Iterator[tuple[str, str]]:
    if not _has_file(speaker, "terminal"):
        yield (
            "a sweep at the speaker's terminals",
            "the proof that board and drivers are what the netlist says (xover verify), or values that no mark tells "
            "(xover infer)",
        )


def _cards(network: Network) -> Iterator[tuple[str, str]]:
    def lack(parts: Sequence[Part], what: str) -> list[str]:
        return [p.name for p in parts if getattr(p, what) in (None, False)]

    no_kind = [*lack(network.capacitors, "kind"), *lack(network.coils, "core")]
    if no_kind:
        yield (
            f"kind= or core= on {and_words(no_kind)}",
            "which parts wear out, what is hazardous to touch, and how far apart the coils must stand",
        )
    loss = [*lack(network.coils, "losses_stated"), *lack(network.capacitors, "losses_stated")]
    if loss:
        yield (
            f"dcr= or loss= on {and_words(loss)}",
            "levels, peaks and unplugged-driver loads as they are, not too good",
        )
    rating = [*lack(network.capacitors, "volts"), *lack([r for r in network.resistors if not r.is_lamp], "watts")]
    if rating:
        yield f"volts= or watts= on {and_words(rating)}", "whether these parts stand the amplifier"
    tolerance = lack(network.parts, "tolerance")
    if tolerance:
        yield f"tol= on {and_words(tolerance)}", "bands and checks that are yours, in place of those usual for the kind"


def _places(speaker: Speaker, network: Network) -> Iterator[tuple[str, str]]:
    nowhere = [c.key for c in network.drivers if speaker.drivers[c.driver].place_mm(c.name[1:]) is None]
    if nowhere and len(network.drivers) > 1:
        yield (
            f"position_mm of {and_words(nowhere)}",
            "the sound above, below and beside the axis, and where the lobe points",
        )
    sizes = [n for n in network.driver_names if speaker.drivers[n].diameter_mm is None]
    if sizes:
        yield f"diameter_mm of {and_words(sizes)}", "from which frequency it beams"


def _extras(speaker: Speaker, network: Network, listed: bool) -> Iterator[tuple[str, str]]:
    bypass = speaker.file.speaker.bypass
    silent = [n for n in network.driver_names if bypass is None or n not in bypass.channels]
    if silent and len(network.driver_names) > 1:
        yield (
            f"[bypass.channels] of {and_words(silent)}",
            "whether amplifiers at hand could drive the drivers one by one",
        )
    if not (listed or _has_file(speaker, "stock")):
        yield "a stock list (--stock FILE)", "prices, what is at hand, and proposals built from parts that exist"
    unread = [n for n in network.driver_names if speaker.file.speaker.drivers[n].re_ohm is None]
    if unread:
        yield (
            f"re_ohm of {and_words(unread)}, read with a meter",
            "tighter ohmmeter checks, and a check of the sweep itself",
        )


def _has_file(speaker: Speaker, word: str) -> bool:
    """Whether a table whose name holds a word lies in the folder, or in the one that holds it."""
    folder = speaker.file.folder
    try:
        here = [p for where in (folder, folder.parent) for p in where.iterdir() if p.suffix.lower() in _TABLES]
    except OSError:
        return False
    return any(word in p.stem.lower() for p in here)
