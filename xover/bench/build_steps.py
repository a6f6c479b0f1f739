"""In which order to build a network, a check after every step worked out from what is soldered so far; then power."""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from xover.acoustic.crossover import read_crossovers
from xover.amplifier.extremum import with_connected_channels
from xover.bench.dc import DcCheck, Link, Usual, dc_check, driver_link, part_link, resistance_ohm, sees
from xover.bench.sweep_checks import SweepCheck, leaves_short, sweep_check
from xover.bench.wiring import PadNames, driver_polarities, feeding, pad_names
from xover.bench.words import number
from xover.curve import Float
from xover.network import Capacitor, Channel, Inductor, Network, Part, Resistor, find_sections
from xover.network.network import Section
from xover.network.parts import shown_value, unit_of, value_of
from xover.parts.kinds import PartKind, kind_of, tolerance_of
from xover.quantity import format_quantity, ohms
from xover.readable import Readable
from xover.rules.margins import BATTERY_V, OFFSET_V, ONE_WINDING_K
from xover.sentences import and_words
from xover.sound.prediction import sound_of
from xover.sound.resonance import Role, keys_of, roles
from xover.speaker import Speaker
from xover.studies.change.decide.setup import SpeakerWith


@dataclass(frozen=True)
class BuildStep:
    """One thing to solder or to plug in.

    Attributes
    ----------
    parts : their names; empty for a driver. action : what to do. before : what to measure first, or "".
    checks : with the ohmmeter, on everything that is soldered by then. note : where a check cannot tell, or "".
    """

    number: int
    parts: tuple[str, ...]
    action: str
    before: str
    checks: tuple[DcCheck, ...]
    note: str


@dataclass(frozen=True)
class SectionBuild:
    """One section.

    Attributes
    ----------
    number : from 1. name : after its drivers. reason : why in this order.
    sweeps : at the end, with the drivers of the sections so far, then with this section's drivers unplugged.
    """

    number: int
    name: str
    parts: tuple[str, ...]
    drivers: tuple[str, ...]
    reason: str
    steps: tuple[BuildStep, ...]
    sweeps: tuple[SweepCheck, ...]


@dataclass(frozen=True, repr=False)
class BuildOrder(Readable):
    """The whole build.

    Attributes
    ----------
    whole_dc : ohmmeter at the terminals and at every driver, all in place. whole : sweeps of every channel, then with
        each driver unplugged whose absence makes a short. power_up : the first time with an amplifier.
    unknown : what could not be worked out, one sentence each.
    """

    title: str
    sections: tuple[SectionBuild, ...]
    whole_dc: tuple[DcCheck, ...]
    whole: tuple[SweepCheck, ...]
    power_up: tuple[PowerUpStep, ...]
    assumptions: tuple[str, ...]
    unknown: tuple[str, ...]


@dataclass(frozen=True)
class PowerUpStep:
    """One step: what to do, and what must be seen before the next."""

    number: int
    what: str
    expect: str


def power_up(
    network: Network, speaker: Speaker, terminals: Sequence[DcCheck], name: str | None
) -> tuple[PowerUpStep, ...]:
    """The procedure of a network.

    Parameters
    ----------
    terminals : ohmmeter readings of the finished network, one for each channel.
    name : of the network in the speaker folder; None where it does not stand there yet.
    """
    steps = _power_steps(network, speaker, terminals, name)
    return tuple(PowerUpStep(i, what, expect) for i, (what, expect) in enumerate(steps, start=1))


def _power_steps(
    network: Network, speaker: Speaker, terminals: Sequence[DcCheck], name: str | None
) -> Iterator[tuple[str, str]]:
    found = roles(speaker, network)
    low, high = keys_of(found, Role.LOW), keys_of(found, Role.HIGH)
    for channel, check in zip(network.channels, terminals, strict=True):
        where = f"the {channel.name} terminals" if len(terminals) > 1 else "the terminals"
        yield f"no amplifier connected: ohmmeter across {where}", check.shown
    if low:
        never = f", never on {and_words(high)}" if high else ""
        each = "its own terminals" if len(low) == 1 else "the terminals of each"
        yield (
            f"polarity: unplug {and_words(low)} and touch {BATTERY_V:g} V from a battery to {each}, plus to plus, "
            f"for less than a second{never}",
            "the cone jumps outwards, or inwards on some old drivers: then mark it, and go by the sum",
        )
    outputs = "each output" if len(terminals) > 1 else "its output"
    yield (
        f"amplifier alone, switched on, no loudspeaker: DC volts across {outputs}",
        f"below {1e3 * OFFSET_V:g} mV; more heats a voice coil without end",
    )
    quiet = f", {and_words(high)} last" if high and len(terminals) > 1 else ""
    yield (
        f"all drivers plugged in, volume down: connect, switch on, then a quiet sweep or quiet music{quiet}",
        "every driver plays, nothing smells, no resistor is too hot to touch after some minutes",
    )
    which = name if name is not None else "NAME"
    where = shlex.quote(speaker.file.folder.name or "SPEAKER")
    told = "" if name is not None else ", once it stands in speaker.toml as [networks.NAME]"
    yield (
        f"sweep the impedance at the terminals at low level, then: xover verify {where} --network {which} --impedance "
        f"FILE{told}",
        "it says that the build agrees, or which part to look at",
    )


def _reason(shunts: Sequence[Part], series: Sequence[Part]) -> str:
    if not shunts and not series:
        return "nothing to solder: the amplifier feeds the driver straight"
    back = and_words([p.name for p in series])
    back += ", from the driver back to the amplifier" if len(series) > 1 else ", up to the amplifier"
    if not shunts:
        return f"{back}; the amplifier's end last"
    first = f"{and_words([p.name for p in shunts])} first, to the minus rail, while little lies beside"
    first += " it" if len(shunts) == 1 else " them"
    wet = [p.name for p in shunts if isinstance(p, Capacitor)]
    if wet and len(wet) < len(shunts):
        first += ", capacitors before what would hide a short in them"
    return f"{first}; then {back}" if series else first


def _named(part: Part) -> str:
    kind = kind_of(part)
    words = {PartKind.AIR_COIL: "air coil", PartKind.CORED_COIL: "coil", PartKind.RESISTOR: "", PartKind.LAMP: "lamp"}
    said = words.get(kind, str(kind) if part.kind else "")
    return f"{shown_value(part)} {said}".rstrip()


def _before(group: Sequence[Part]) -> str:
    """What to measure of parts before they are soldered, as an ohmmeter does not tell it."""
    told = [_own_value(p) for p in group if not isinstance(p, Resistor)]
    return "measure first: " + "; ".join(told) if told else ""


def _own_value(part: Part) -> str:
    share, value, unit = tolerance_of(part), value_of(part), unit_of(part)
    low, high = (format_quantity(value * (1 + s * share), unit, 2) for s in (-1.0, 1.0))
    text = f"{part.name} {shown_value(part)} ({low} to {high})"
    return f"{text}, {ohms(part.dcr_ohm)}" if isinstance(part, Inductor) and part.dcr_ohm else text


def _proof(part: Part, beside_ohm: float, missing: bool, shorted: bool) -> tuple[str, ...]:
    if isinstance(part, Capacitor):
        wet = kind_of(part) is PartKind.ELECTROLYTIC
        return (Usual.STAYS_LOW, "an electrolytic creeps up to it") if wet else (Usual.STAYS_LOW,)
    told: list[str] = []
    if missing:
        told.append(Usual.OPEN if math.isinf(beside_ohm) else f"{number(beside_ohm)} ohm is a bad joint")
    if shorted:
        told.append(Usual.SHORT)
    return tuple(told)


ASSUMPTIONS: Final = (
    "ohmmeter: 1 % and 0.1 ohm after its leads are taken off (short them first); above 1 Mohm counts as open",
    "ohmmeter checks: only the drivers named in the step are connected, sweeps: those of all sections so far",
    "DC readings: parts at the ends of their tolerance, DCR within 10 %, drivers' Re as stated (common practice)",
    "sweeps: each tolerance, each DCR (10 %) and each capacitor's loss (50 %) by itself, their effects multiplied; "
    "then 5 % for a sweep made at home, 20 % where a driver is known from its datasheet only (common practice)",
)


def build_order(network: Network, speaker: Speaker, *, frequency_hz: Float, name: str | None = None) -> BuildOrder:
    """Work out a build order with its checks.

    Ohmmeter checks are made with no driver connected, until the drivers are; sweeps with the drivers of all sections
    that are built.

    Parameters
    ----------
    frequency_hz : (n,) rising: the span of the sweeps.
    name : of the network in the speaker folder, for the last step; None where it does not stand there yet.

    Raises
    ------
    InputError, OptionError, NoSolutionError.
    """
    return _Builder(network, speaker, frequency_hz, name).order()


class _Builder:
    """Solders part by part, and works out what a meter then reads."""

    def __init__(self, network: Network, speaker: Speaker, frequency_hz: Float, name: str | None) -> None:
        self.network, self.speaker, self.frequency_hz, self.name = network, speaker, frequency_hz, name
        self.names: PadNames = pad_names(network)
        self.cold = {c.minus for c in network.channels} | {"0"}
        self.soldered: list[Part] = []
        self.plugged: list[str] = []
        self.count = 0
        self.unknown: list[str] = []
        self.crossovers = self._crossovers()

    def order(self) -> BuildOrder:
        ordered = sorted(find_sections(self.network), key=lambda s: not s.reaches_driver)
        sections = tuple(self._section(i, section) for i, section in enumerate(ordered, start=1))
        links = [*map(part_link, self.network.parts), *self._driver_links(self.network.drivers)]
        whole_dc = (
            *(self._terminals(links, c) for c in self.network.channels),
            *(self._at_driver(links, card.name) for card in self.network.drivers),
        )
        return BuildOrder(
            title=self.network.title,
            sections=sections,
            whole_dc=whole_dc,
            whole=tuple(self._whole()),
            power_up=power_up(self.network, self.speaker, whole_dc[: len(self.network.channels)], self.name),
            assumptions=ASSUMPTIONS,
            unknown=tuple(dict.fromkeys(self.unknown)),
        )

    def _crossovers(self) -> list[tuple[frozenset[str], float]]:
        """Drivers on either side, and where they cross; empty where the sound is not known."""
        key = self.name or "the network on the board"
        with_it = SpeakerWith(self.speaker.file, self.speaker.drivers, {key: self.network})
        if len(self.network.channels) > 1:
            self.unknown.append("no crossover is checked: it lies in the electronic crossover")
            return []
        sound = sound_of(with_it, key, self.frequency_hz)
        found = read_crossovers(self.frequency_hz, sound.branches, sound.total.coherent)
        self.unknown += [
            f"no check at the crossover of {and_words(c.lower)} and {and_words(c.upper)}: {c.reason}"
            for c in found
            if c.frequency_hz is None
        ]
        return [(frozenset((*c.lower, *c.upper)), c.frequency_hz) for c in found if c.frequency_hz is not None]

    def _section(self, number: int, section: Section) -> SectionBuild:
        parts = [p for p in self.network.parts if p.name in section.elements]
        cards = [d for d in self.network.drivers if d.name in section.drivers]
        shunts, series = self._sorted(parts)
        steps = [self._solder(group) for group in self._groups([*shunts, *series])]
        channels = feeding(self.network, section)
        plugged = [d.key for d in self.network.drivers if d.name in self.plugged]
        if plugged and steps:
            steps[0] = replace(
                steps[0], note="; ".join(n for n in (f"unplug {and_words(plugged)} first", steps[0].note) if n)
            )
        if parts:
            links = [part_link(p) for p in self.soldered]
            ends = tuple(self._terminals(links, c) for c in channels)
            steps[-1] = replace(steps[-1], checks=_unlike((*steps[-1].checks, *ends)))
        self.plugged += [d.name for d in cards]
        if cards:
            steps.append(self._plug([d.name for d in cards], channels))
        built = self._built()
        sweeps = []
        for channel in channels:
            crossing = [hz for keys, hz in self.crossovers if keys <= {d.key for d in built.drivers}]
            sweeps.append(sweep_check(built, self.speaker, channel.name, self.frequency_hz, crossovers_hz=crossing))
            if cards and parts:
                gone = [d.name for d in cards]
                sweeps.append(sweep_check(built, self.speaker, channel.name, self.frequency_hz, without=gone))
        keys = tuple(d.key for d in cards)
        return SectionBuild(
            number=number,
            name=f"{and_words(keys)} section" if keys else "parts across the amplifier",
            parts=tuple(p.name for p in parts),
            drivers=keys,
            reason=_reason(shunts, series),
            steps=tuple(steps),
            sweeps=tuple(sweeps),
        )

    def _sorted(self, parts: Sequence[Part]) -> tuple[list[Part], list[Part]]:
        """Shunts with the capacitors first, then the others from the driver back to the amplifier."""
        steps = self._steps_from_amplifier()
        rank = {p.name: i for i, p in enumerate(self.network.parts)}
        shunts = [p for p in parts if p.a in self.cold or p.b in self.cold]
        series = [p for p in parts if p not in shunts]
        shunts.sort(key=lambda p: (not isinstance(p, Capacitor), rank[p.name]))
        series.sort(key=lambda p: (-min(steps[p.a], steps[p.b]), not isinstance(p, Capacitor), rank[p.name]))
        return shunts, series

    def _steps_from_amplifier(self) -> dict[str, float]:
        """Parts between each node and the amplifier's plus, not by way of its minus."""
        steps: dict[str, float] = {n: math.inf for p in self.network.parts for n in (p.a, p.b)}
        edge = {c.plus for c in self.network.channels}
        distance = 0.0
        while edge:
            steps |= dict.fromkeys(edge, distance)
            distance += 1.0
            reached = {n for p in self.network.parts if {p.a, p.b} & edge for n in (p.a, p.b)}
            edge = {n for n in reached if math.isinf(steps[n]) and n not in self.cold}
        return steps

    def _groups(self, parts: Sequence[Part]) -> Iterator[tuple[Part, ...]]:
        """One part at a time; the parts of one winding together."""
        mates: dict[str, set[str]] = {}
        for c in self.network.couplings:
            if abs(c.k) >= ONE_WINDING_K:
                for one, other in ((c.first, c.second), (c.second, c.first)):
                    mates.setdefault(one.lower(), set()).add(other.lower())
        done: set[str] = set()
        for part in parts:
            if part.name.lower() not in done:
                whole = {part.name.lower(), *mates.get(part.name.lower(), ())}
                done |= whole
                yield tuple(p for p in parts if p.name.lower() in whole)

    def _solder(self, group: tuple[Part, ...]) -> BuildStep:
        self.soldered += group
        self.count += 1
        links = [part_link(p) for p in self.soldered]
        own = links[-len(group) :]
        checks, blind = [], []
        for part, link in zip(group, own, strict=True):
            missing, shorted = sees(links, link, (part.a, part.b))
            beside = resistance_ohm(((k.a, k.b, k.ohm) for k in links if k is not link), part.a, part.b)
            if isinstance(part, Capacitor) and not (shorted and math.isinf(beside)):
                blind.append(f"an ohmmeter cannot see {part.name} here, other parts lie beside it")
                continue
            if not isinstance(part, Capacitor) and not missing:
                blind.append(f"an ohmmeter cannot tell whether {part.name} is in, too little changes")
            pads = (self.names.of(part.a, part.name), self.names.of(part.b, part.name))
            checks.append(dc_check(links, (part.a, part.b), pads, _proof(part, beside, missing, shorted)))
        return BuildStep(
            number=self.count,
            parts=tuple(p.name for p in group),
            action=self._action(group),
            before=_before(group),
            checks=tuple(checks),
            note="; ".join(blind),
        )

    def _action(self, group: tuple[Part, ...]) -> str:
        first = group[0]
        ends = [(self.names.words(p.a, p.name), self.names.words(p.b, p.name)) for p in group]
        if len(group) > 1:
            taps = ", ".join(f"{p.name} from {a} to {b}" for p, (a, b) in zip(group, ends, strict=True))
            return f"solder the winding of {and_words([p.name for p in group])}: {taps}"
        return f"solder {first.name} ({_named(first)}) between {ends[0][0]} and {ends[0][1]}"

    def _plug(self, cards: Sequence[str], channels: Sequence[Channel]) -> BuildStep:
        self.count += 1
        told = {p.card: p.sentence for p in driver_polarities(self.network, self.names)}
        links = [part_link(p) for p in self.soldered]
        links += self._driver_links([self.network.driver_card(card) for card in cards])
        checks = [self._at_driver(links, card) for card in cards] + [self._terminals(links, c) for c in channels]
        return BuildStep(
            number=self.count,
            parts=(),
            action="connect " + "; ".join(told[card] for card in cards),
            before="",
            checks=_unlike(checks),
            note="",
        )

    def _driver_links(self, cards: Sequence[object]) -> list[Link]:
        found = []
        for card in self.network.drivers:
            if card not in cards:
                continue
            link = driver_link(card, self.speaker.drivers[card.driver])
            if link is None:
                self.unknown.append(f"the DC resistance of {card.key} is not known: readings leave it out")
            else:
                found.append(link)
        return found

    def _at_driver(self, links: Sequence[Link], name: str) -> DcCheck:
        card = self.network.driver_card(name)
        pads = (f"{card.key} plus", "minus")
        return dc_check(links, (card.plus, card.minus), pads)

    def _terminals(self, links: Sequence[Link], channel: Channel) -> DcCheck:
        pads = (self.names.of(channel.plus), self.names.rail_of(channel.name))
        return dc_check(links, (channel.plus, channel.minus), pads)

    def _built(self) -> Network:
        """What is soldered and plugged in by now."""
        names = {p.name.lower() for p in self.soldered}
        part = replace(
            self.network,
            parts=tuple(p for p in self.network.parts if p.name.lower() in names),
            drivers=tuple(d for d in self.network.drivers if d.name in self.plugged),
            couplings=tuple(
                c for c in self.network.couplings if c.first.lower() in names and c.second.lower() in names
            ),
        )
        return with_connected_channels(part).pruned()

    def _whole(self) -> Iterator[SweepCheck]:
        """All channels with everything in place, then without each driver that leaves a short."""
        crossing = [hz for _, hz in self.crossovers]
        for channel in self.network.channels:
            yield sweep_check(self.network, self.speaker, channel.name, self.frequency_hz, crossovers_hz=crossing)
        for card in self.network.drivers:
            for channel in self.network.channels:
                about = (self.network, self.speaker, channel.name)
                if leaves_short(*about, card.name, self.frequency_hz):
                    yield sweep_check(*about, self.frequency_hz, without=[card.name])


def _unlike(checks: Sequence[DcCheck]) -> tuple[DcCheck, ...]:
    """Checks between the same two pads once only."""
    found: dict[frozenset[str], DcCheck] = {}
    for check in checks:
        found.setdefault(frozenset(check.between), check)
    return tuple(found.values())
