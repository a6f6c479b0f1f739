"""Cautions about the work itself: loud sweeps, solder, stuffing, mains, high tension."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from xover.amplifier.stress import ElementStress
from xover.bench.case import Case, CaseCaution
from xover.bench.words import and_words, watts
from xover.quantity import hertz
from xover.rules.bands import PANEL_DEG, PANEL_HZ
from xover.rules.margins import LOUD_DB
from xover.rules.severity import Severity
from xover.sound.roles import Role, keys_of
from xover.speaker import SpeakerDriver
from xover.studies.bears.stress.study import hot_under_a_sine

_PANEL_WORDS: Final = ("electrostat", "esl")


def work_cautions(case: Case) -> Iterator[CaseCaution]:
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


def _panel(case: Case) -> Iterator[CaseCaution]:
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


def _mains(case: Case) -> Iterator[CaseCaution]:
    if case.bypassing:
        yield CaseCaution(
            Severity.CAUTION,
            "mains in amplifiers",
            "More amplifiers mean more mains wiring. Use closed ones; bare boards and open supplies hold mains and "
            "stored charge. Switch the crossover on first and off last, and name both ends of every cable.",
            "each driver gets a channel of its own",
        )


def _sweeps(case: Case) -> Iterator[CaseCaution]:
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


def _loud(case: Case) -> Iterator[CaseCaution]:
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


def _soldering(case: Case) -> Iterator[CaseCaution]:
    old = [n for n in case.networks if n in case.speaker.network_names]
    yield CaseCaution(
        Severity.NOTE,
        "soldering",
        "Old joints hold lead: wash your hands before you eat, and keep children away. Rosin smoke harms the lungs: "
        "open a window or draw it off. Wear glasses, cut leads fly.",
        f"parts are to be soldered{' on the old board' if old else ''}",
    )


def _stuffing(case: Case) -> Iterator[CaseCaution]:
    if any(n in case.speaker.network_names for n in case.networks):
        yield CaseCaution(
            Severity.NOTE,
            "stuffing",
            "To reach the network the box is opened: if the damping is mineral or glass wool, wear gloves, glasses "
            "and a dust mask, do not shake it, and put all of it back. Loose grey fibre or caulk that nobody knows: "
            "have it tested.",
            "an old box is to be opened",
        )
