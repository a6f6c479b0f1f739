"""Cautions about parts (tweeters without protection, heat, poison) and about the work (sweeps, solder, mains)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from xover.amplifier.stress import ElementKind, ElementStress
from xover.bench.build_steps import BuildOrder
from xover.bench.words import watts
from xover.errors import NoSolutionError
from xover.judge.findings import Finding
from xover.judge.kinds import Fault
from xover.judge.network import dc_drive
from xover.judge.safety import says_oil
from xover.network import Capacitor, Inductor, Network, Part, Resistor
from xover.parts.kinds import PartKind, kind_of
from xover.quantity import hertz
from xover.rules.bands import PANEL_DEG, PANEL_HZ
from xover.rules.margins import BARE_SHARE, HOT_W, LOUD_DB
from xover.rules.severity import Severity
from xover.sentences import and_words, capital
from xover.sound.resonance import Role, keys_of
from xover.speaker import Speaker, SpeakerDriver
from xover.studies.aged.condition.words import PCB
from xover.studies.bears.stress.study import StressStudy, hot_under_a_sine
from xover.studies.change.decide.study import Decision
from xover.studies.does.load.study import LoadStudy


@dataclass(frozen=True)
class CaseCaution:
    """One caution.

    Attributes
    ----------
    severity : stop, caution or note. heading : in a few words, no two alike. text : what to heed. why : what in this
        case calls for it; "" for the last one, which holds always.
    """

    severity: Severity
    heading: str
    text: str
    why: str


@dataclass(frozen=True, eq=False)
class HazardCase:
    """What the cautions are read from; everything by the network's name.

    Attributes
    ----------
    judged : what is unsafe of the networks. loads, stresses : of each; a stress is missing where no amplifier is known.
    role : of each driver card.
    soldering : whether anything is to be built. bypassing : whether drivers get channels of their own.
    """

    speaker: Speaker
    networks: Mapping[str, Network]
    judged: tuple[Finding, ...]
    loads: Mapping[str, LoadStudy]
    stresses: Mapping[str, StressStudy]
    role: Mapping[str, Mapping[str, Role]]
    decision: Decision | None
    build: BuildOrder | None
    soldering: bool
    bypassing: bool


_SHORT_OHM: Final = 1e-6


def part_cautions(case: HazardCase) -> Iterator[CaseCaution]:
    """All of them, those that stop first."""
    yield from _judged(case)
    yield from _guarded_tweeter(case)
    yield from _hot(case)
    yield from _oil(case)
    yield from _unknown_kind(case)
    yield from _electrolytics(case)
    yield from _lamps(case)


def guards(speaker: Speaker, network: Network, key: str) -> tuple[str, ...]:
    """Parts any one of which, shorted (a capacitor) or taken out (a coil), lets DC through to a driver."""
    return tuple(p.name for p in network.parts if _lets_dc(speaker, network, p, key))


def _lets_dc(speaker: Speaker, network: Network, part: Part, key: str) -> bool:
    others = tuple(p for p in network.parts if p is not part)
    if isinstance(part, Capacitor):
        changed = replace(network, parts=(*others, Resistor(part.name, part.a, part.b, _SHORT_OHM)))
    elif isinstance(part, Inductor):
        changed = replace(network, parts=others, couplings=()).pruned()
    else:
        return False
    try:
        shares = dc_drive(speaker, changed, {})
    except NoSolutionError:
        return False
    return shares.get(key, 0.0) > BARE_SHARE


def _judged(case: HazardCase) -> Iterator[CaseCaution]:
    """What the judge finds of the networks, those of one heading together; each text once."""
    kinds = {p.name: _OF_KIND[type(p)] for n in case.networks.values() for p in n.parts}
    told: dict[str, list[Finding]] = {}
    for f in case.judged:
        heading = kinds[f.part] if f.fault in (Fault.OVER_RATING, Fault.THIN_RATING) else _HEADINGS.get(f.fault)
        if heading:
            told.setdefault(heading.format(f=f), []).append(f)
    for heading, found in told.items():
        grave = min((f.severity for f in found), key=lambda s: s.order)
        said = {(f.part or f.driver or f.text, f.severity is grave): f for f in found}
        texts = [f"{capital(f.text)}: {f.remedy}." for (_, worst), f in said.items() if worst]
        where = dict.fromkeys(f.where for f in found if f.severity is grave)
        # A network that does better, though not well, is not blamed for the figures of the other.
        texts += [f"In {f.where}: {f.text}." for f in found if f.where not in where]
        yield CaseCaution(grave, heading, " ".join(texts), f"network {and_words(where)}")


# Resistors that get hot have a caution of their own, with their rating.
_OF_KIND: Final = {Capacitor: "capacitor voltage", Inductor: "coil current", Resistor: ""}
_HEADINGS: Final = {
    Fault.BARE_TWEETER: "{f.driver} without a capacitor",
    Fault.BELOW_RESONANCE: "{f.driver} below its resonance",
    Fault.NEAR_RESONANCE: "{f.driver} near its resonance",
    Fault.LOW_LOAD: "load below the rating",
    Fault.BURNS: "resistors that burn",
}


def _guarded_tweeter(case: HazardCase) -> Iterator[CaseCaution]:
    told: dict[str, tuple[str, list[str]]] = {}
    for name, network in case.networks.items():
        shares = dc_drive(case.speaker, network, {})
        for key in keys_of(case.role[name], Role.HIGH):
            if shares[key] <= BARE_SHARE:
                found = guards(case.speaker, network, key)
                words = and_words(found) if found else "several parts together"
                told.setdefault(key, (name, []))[1].append(f"{words} in {name}")
    for key, (_, where) in told.items():
        yield CaseCaution(
            Severity.CAUTION,
            f"{key} without its protection",
            f"Never feed {key} past what protects it, not for a moment and not to hear whether it lives; never "
            "bridge such a capacitor or take such a coil off. Switch off before soldering.",
            f"DC and bass are kept off it by {'; '.join(where)}",
        )


def _hot(case: HazardCase) -> Iterator[CaseCaution]:
    """Resistors that get hot with programme, or that their cards do not allow."""
    worst: dict[str, tuple[float, str, str]] = {}
    for name, study in case.stresses.items():
        for element in study.full.stress.of_kind(ElementKind.RESISTOR, ElementKind.LAMP):
            rating = study.ratings.get(element.name)
            broken = rating is not None and rating.broken
            if not (element.power_w >= HOT_W or broken):
                continue
            short = f", rated {watts(rating.said)}" if broken and rating is not None and rating.said else ""
            if element.power_w > worst.get(element.name, (0.0, "", ""))[0]:
                worst[element.name] = (element.power_w, f"{element.name} {watts(element.power_w)}{short}", name)
    if worst:
        study = next(iter(case.stresses.values()))
        yield CaseCaution(
            Severity.CAUTION,
            "hot resistors",
            f"At full level, music makes of {and_words(text for _, text, _ in worst.values())} in heat: keep wires, "
            "glue, stuffing and capacitors away, and do not touch.",
            f"network {and_words(dict.fromkeys(n for _, _, n in worst.values()))}; {study.full.sentence}",
        )


def _oil(case: HazardCase) -> Iterator[CaseCaution]:
    paper = [p for n in case.networks.values() for p in n.capacitors if kind_of(p) is PartKind.PAPER]
    # The card's own word may be longer than the kinds that are known: "oil-filled".
    paper += [p for n in case.networks.values() for p in n.capacitors if p not in paper and says_oil(p.kind)]
    if paper:
        names = list(dict.fromkeys(p.name for p in paper))
        yield CaseCaution(
            Severity.STOP if any(says_oil(p.kind) for p in paper) else Severity.CAUTION,
            "old paper and oil capacitors",
            f"{capital(PCB)}.",
            f"{and_words(names)}: kind={and_words(dict.fromkeys(p.kind or 'paper' for p in paper))}",
        )


def _unknown_kind(case: HazardCase) -> Iterator[CaseCaution]:
    """Capacitors of the old board of which nobody says what they are."""
    names = [
        p.name
        for name, network in case.networks.items()
        if name in case.speaker.network_names
        for p in network.capacitors
        if p.kind is None
    ]
    if names:
        yield CaseCaution(
            Severity.NOTE,
            "capacitors of unknown kind",
            "A metal can or a waxed block from before 1980 or so may be oil-filled: do not open, burn or bin it before "
            "you know, and wear gloves.",
            f"{and_words(dict.fromkeys(names))}: no kind= on the card",
        )


def _electrolytics(case: HazardCase) -> Iterator[CaseCaution]:
    wet = _named(case, [PartKind.ELECTROLYTIC])
    if wet:
        yield CaseCaution(
            Severity.NOTE,
            "electrolytics",
            "Replace them by non-polar (bipolar) ones or film only: a polarised one fails on music, and may burst. "
            "Discharge a large one through a resistor before it is measured.",
            and_words(wet),
        )


def _lamps(case: HazardCase) -> Iterator[CaseCaution]:
    lamps = _named(case, [PartKind.LAMP])
    if lamps:
        yield CaseCaution(
            Severity.NOTE,
            "lamp or resettable fuse",
            "Leave it in: cold, it belongs to the voicing; hot, it saves a driver. It gets hot enough to burn.",
            and_words(lamps),
        )


def _named(case: HazardCase, kinds: Sequence[PartKind]) -> list[str]:
    return list(dict.fromkeys(p.name for n in case.networks.values() for p in n.parts if kind_of(p) in kinds))


_PANEL_WORDS: Final = ("electrostat", "esl")


def work_cautions(case: HazardCase) -> Iterator[CaseCaution]:
    """All of them."""
    yield from _panel(case)
    yield from _mains(case)
    yield from _sweeps(case)
    yield from _loud(case)
    if case.soldering:
        yield from _soldering(case)
    yield from _stuffing(case)


def is_electrostatic(driver: SpeakerDriver) -> bool:
    """Whether a driver is an electrostatic panel, by its name or its impedance."""
    if any(word in driver.name.lower() for word in _PANEL_WORDS):
        return True
    if driver.impedance is None or not driver.impedance.has_phase:
        return False
    low, high = PANEL_HZ
    f = driver.impedance.frequency_hz
    phase = np.degrees(np.angle(driver.impedance.value[(f >= low) & (f <= high)]))
    return phase.size > 0 and bool(np.all(phase < PANEL_DEG))


def _panel(case: HazardCase) -> Iterator[CaseCaution]:
    names = dict.fromkeys(d for n in case.networks.values() for d in n.driver_names)
    found = [n for n in names if is_electrostatic(case.speaker.drivers[n])]
    if found:
        yield CaseCaution(
            Severity.STOP,
            "electrostatic panel",
            f"{and_words(found)}: the panel holds kilovolts, long after it is unplugged, and its supply is on the "
            "mains. No work behind its cover; its load is nearly a capacitor, so many amplifiers do not stand it.",
            "a driver named or measured as one: its impedance is capacitive from "
            f"{hertz(PANEL_HZ[0])} to {hertz(PANEL_HZ[1])}",
        )


def _mains(case: HazardCase) -> Iterator[CaseCaution]:
    if case.bypassing:
        yield CaseCaution(
            Severity.CAUTION,
            "mains in amplifiers",
            "More amplifiers mean more mains wiring. Use closed ones; bare boards and open supplies hold mains and "
            "stored charge. Switch the crossover on first and off last, and name both ends of every cable.",
            "each driver gets a channel of its own",
        )


def _sweeps(case: HazardCase) -> Iterator[CaseCaution]:
    """Sweeps and sines: tweeters, and resistors that a full sine burns; the worst network."""
    high = dict.fromkeys(k for role in case.role.values() for k in keys_of(role, Role.HIGH))
    burnt: dict[str, tuple[str, ElementStress]] = {}
    for name, study in case.stresses.items():
        for element in hot_under_a_sine(case.networks[name], study.full.stress):
            before = burnt.get(element.name)
            if before is None or element.sine_power_w > before[1].sine_power_w:
                burnt[element.name] = (name, element)
    if not high and not burnt:
        return
    text = "Begin every sweep with the level all the way down."
    if high:
        text += f" A sine that a woofer shrugs off burns {and_words(high)} within seconds."
    if burnt:
        _, worst = max(burnt.values(), key=lambda pair: pair[1].sine_power_w)
        text += (
            f" A full sine passes the rating of {and_words(burnt)}: {worst.name} would take "
            f"{watts(worst.sine_power_w)} at {hertz(worst.sine_power_at_hz)}."
        )
    yield CaseCaution(Severity.CAUTION, "sweeps", text, "checks and measurements here are made with sweeps")


def _loud(case: HazardCase) -> Iterator[CaseCaution]:
    """Where full level, or the listening level, is loud enough to harm."""
    levels = [
        (level.sound_level_db, level.distance_m, study.network)
        for study in case.stresses.values()
        for level in study.levels
        if level.sound_level_db is not None and level.sound_level_db >= LOUD_DB
    ]
    if levels:
        loudest, distance, network = max(levels)
        yield CaseCaution(
            Severity.NOTE,
            "hearing",
            f"With this amplifier at its limit music reaches {loudest:.0f} dB on average at {distance:g} m: wear "
            f"hearing protection when you test loud ({LOUD_DB:g} dB(A) for 8 hours is the usual limit at work).",
            f"network {network}",
        )


def _soldering(case: HazardCase) -> Iterator[CaseCaution]:
    old = [n for n in case.networks if n in case.speaker.network_names]
    yield CaseCaution(
        Severity.NOTE,
        "soldering",
        "Old joints hold lead: wash your hands before you eat, and keep children away. Rosin smoke harms the lungs: "
        "open a window or draw it off. Wear glasses, cut leads fly.",
        f"parts are to be soldered{' on the old board' if old else ''}",
    )


def _stuffing(case: HazardCase) -> Iterator[CaseCaution]:
    if any(n in case.speaker.network_names for n in case.networks):
        yield CaseCaution(
            Severity.NOTE,
            "stuffing",
            "To reach the network the box is opened: if the damping is mineral or glass wool, wear gloves, glasses "
            "and a dust mask, do not shake it, and put all of it back. Loose grey fibre or caulk that nobody knows: "
            "have it tested.",
            "an old box is to be opened",
        )
