"""What to beware of in this case and no other, the gravest first, each once; here those about the amplifier."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from typing import Final

from xover.amplifier.faults import FaultKind
from xover.bench.build_steps import BuildOrder
from xover.bench.hazards import CaseCaution, HazardCase, part_cautions, work_cautions
from xover.curve import Float, log_grid
from xover.errors import InputError
from xover.figures import written
from xover.judge.hazard_words import Unplugged
from xover.judge.kinds import Fault
from xover.judge.network import bridged_tables
from xover.judge.safety import hazards
from xover.quantity import hertz, ohms
from xover.rules.margins import VALVES_OHM
from xover.rules.severity import Severity
from xover.rules.triage import Rung
from xover.sentences import and_words, capital
from xover.sound.resonance import roles
from xover.speaker import Speaker
from xover.studies.bears.stress.study import StressStudy, study_stress
from xover.studies.change.bypass.result import BypassStudy
from xover.studies.change.decide.study import Decision
from xover.studies.change.redesign.words import HEAT_AND_TWEETER
from xover.studies.change.refresh.words import BARE_TWEETER, OIL
from xover.studies.does.load.study import ChannelLoad, LoadStudy, study_load

PER_OCTAVE: Final = 48

LAST: Final = CaseCaution(
    Severity.NOTE,
    "local rules",
    "These are the habits of the trade, no law and no substitute for it. Local electrical, waste and workplace "
    "rules and licensed practice come first; leave everything on the mains side to those who are licensed for it.",
    "",
)


def case_cautions(
    speaker: Speaker,
    networks: Sequence[str],
    *,
    decision: Decision | None = None,
    build: BuildOrder | None = None,
    loads: Mapping[str, LoadStudy] | None = None,
    stresses: Mapping[str, StressStudy] | None = None,
    frequency_hz: Float | None = None,
) -> tuple[CaseCaution, ...]:
    """All that applies to the networks that somebody will handle, and to what was decided.

    Parameters
    ----------
    networks : names that `speaker.network` knows: what is on the board, what is to be built.
    decision : what it recommends counts. Without one, soldering is taken to be likely.
    build : the build order, whose sweeps without a driver are heeded too.
    loads, stresses : studies of these networks that are there already, by name; the others are made.
    frequency_hz : (n,) rising, for studies that are made; by default 20 Hz to 20 kHz, 48 in an octave.

    Raises
    ------
    InputError, OptionError, NoSolutionError.
    """
    grid = log_grid(20.0, 20_000.0, PER_OCTAVE) if frequency_hz is None else frequency_hz
    used = {name: speaker.network(name) for name in dict.fromkeys(networks)}
    chosen = None if decision is None else decision.recommendation
    case = HazardCase(
        speaker=speaker,
        networks=used,
        judged=tuple(f for name, network in used.items() for f in hazards(speaker, name, network)),
        loads={n: (loads or {}).get(n) or study_load(speaker, n, grid) for n in used},
        stresses=dict(_stresses(speaker, used, stresses or {}, grid)),
        role={name: roles(speaker, network) for name, network in used.items()},
        decision=decision,
        build=build,
        soldering=chosen not in (Rung.LEAVE, Rung.AMPLIFIER) or len(used) > 1,
        bypassing=chosen is Rung.BYPASS or any(len(n.channels) > 1 for n in used.values()),
    )
    found: dict[str, CaseCaution] = {}
    for caution in (*amplifier_cautions(case), *part_cautions(case), *_decided(case), *work_cautions(case)):
        found.setdefault(caution.heading, caution)
    return (*sorted(found.values(), key=lambda c: c.severity.order), LAST)


def _stresses(
    speaker: Speaker, names: Iterable[str], known: Mapping[str, StressStudy], grid: Float
) -> Iterator[tuple[str, StressStudy]]:
    """Those that are there already, else at the amplifier's limit; none where no amplifier is known."""
    for name in names:
        with suppress(InputError):
            yield name, known.get(name) or study_stress(speaker, name, grid)


_COVERED: Final = frozenset({OIL, BARE_TWEETER, HEAT_AND_TWEETER})
"""What other topics say already, each with this case's figures."""


def _decided(case: HazardCase) -> Iterator[CaseCaution]:
    """What the recommended option says to heed, as far as nothing else says it."""
    chosen = None if case.decision is None else case.decision.chosen
    if chosen is None:
        return
    why = f"the recommendation is: {chosen.name}"
    if isinstance(chosen.study, BypassStudy):
        for finding in chosen.study.findings:
            if finding.severity is not Severity.NOTE and finding.about not in ("common minus", "bridged outputs"):
                yield CaseCaution(finding.severity, finding.about, capital(finding.text), why)
        return
    left = [c for c in chosen.cautions if c not in _COVERED]
    if left:
        text = " ".join(f"{capital(c).rstrip('.')}." for c in left)
        yield CaseCaution(Severity.NOTE, f"with this {chosen.name}", text, why)


def amplifier_cautions(case: HazardCase) -> Iterator[CaseCaution]:
    """All of them, those that stop first."""
    yield from _bridged(case)
    yield from _missing_driver(case)
    yield from _half_built(case)
    yield from _valves(case)
    yield from _epdr(case)


def _bridged(case: HazardCase) -> Iterator[CaseCaution]:
    for finding in case.judged:
        if finding.fault in (Fault.BRIDGED_JOINED, Fault.PERHAPS_BRIDGED):
            text = f"{capital(finding.text)}. {capital(finding.remedy)}."
            yield CaseCaution(finding.severity, "bridged outputs", text, f"network {finding.where}")
    said = [where for where, bridged in bridged_tables(case.speaker, case.bypassing).items() if bridged]
    if said:
        yield CaseCaution(
            Severity.STOP,
            "bridged outputs",
            "The minus of a bridged output carries the signal. It must touch no other minus, no ground, no measuring "
            "lead's ground and no common return, or the amplifier is shorted: two wires of its own to every channel.",
            f"bridged = true in {and_words(said)}",
        )
    elif case.bypassing and case.decision is not None:
        yield CaseCaution(
            Severity.CAUTION,
            "bridged outputs",
            "Find out whether the amplifiers are bridged (BTL, as many of class D are) before two channels share a "
            "wire: their minus is live, and joining it shorts them. Two wires of its own to every channel are "
            "always right.",
            "several amplifier channels, and speaker.toml does not say bridged = false",
        )


def _channels(case: HazardCase) -> list[tuple[str, ChannelLoad]]:
    return [(name, c) for name, study in case.loads.items() for c in study.channels.values()]


def _epdr(case: HazardCase) -> Iterator[CaseCaution]:
    hot = [(n, c) for n, c in _channels(case) if c.verdict.epdr_caution]
    if hot:
        name, worst = min(hot, key=lambda pair: pair[1].reading.lowest_epdr_ohm)
        reading, limit = worst.reading, worst.verdict.minimum_load_ohm
        yield CaseCaution(
            Severity.CAUTION,
            "a hot amplifier",
            f"EPDR falls to {written('lowest EPDR', reading.lowest_epdr_ohm)} ohm at "
            f"{hertz(reading.lowest_epdr_at_hz)}, under half of the "
            f"{ohms(limit or math.nan)} allowed: a linear amplifier runs hot when loud, class D hardly.",
            _whose(case, name, worst),
        )


def _missing_driver(case: HazardCase) -> Iterator[CaseCaution]:
    """A driver that is unplugged or dead, where that makes a short or overloads a capacitor: worst network of each."""
    worst: dict[str, tuple[Unplugged, str]] = {}
    for finding in case.judged:
        for one in finding.facts["cases"] if finding.fault is Fault.OPEN_DRIVER else ():
            before = worst.get(one.key)
            if before is None or one.left_ohm < before[0].left_ohm:
                worst[one.key] = one, finding.where
    if worst:
        told = [f"{capital(one.words)}." for one, _ in sorted(worst.values(), key=lambda pair: pair[0].left_ohm)]
        yield CaseCaution(
            Severity.CAUTION,
            "a driver unplugged or dead",
            "Never unplug a driver while the amplifier plays, and sweep without one at low level only. "
            + " ".join(told),
            f"network {and_words(dict.fromkeys(where for _, where in worst.values()))}",
        )


def _half_built(case: HazardCase) -> Iterator[CaseCaution]:
    """Sections of the build with all of their drivers out, where those are several: single drivers are told above."""
    if case.build is None:
        return
    sweeps = [s for section in case.build.sections for s in section.sweeps if s.caution and len(s.unplugged) > 1]
    if sweeps:
        yield CaseCaution(
            Severity.CAUTION,
            "a section without its drivers",
            " ".join(f"{capital(s.caution)}." for s in sweeps),
            "the build order connects drivers last",
        )


def _valves(case: HazardCase) -> Iterator[CaseCaution]:
    amplifier = case.speaker.amplifier
    if amplifier is None or (amplifier.output_ohm or 0.0) < VALVES_OHM:
        return
    idle = [
        f.driver
        for study in case.loads.values()
        for f in study.faults
        if f.kind is FaultKind.OPEN and f.minimum_ohm is None
    ]
    text = (
        "If it is a valve amplifier, never run it without a load: the output transformer may arc and fail. Switch it "
        "off before a wire is taken off. It holds hundreds of volts after it is switched off: no work inside."
    )
    if idle:
        text += f" Without {and_words(dict.fromkeys(idle))} it has no load at all."
    yield CaseCaution(
        Severity.CAUTION, "valve amplifier", text, f"output_ohm = {amplifier.output_ohm:g} in [amplifier]"
    )


def _whose(case: HazardCase, name: str, channel: ChannelLoad) -> str:
    many = len(case.loads[name].channels) > 1
    return f"network {name}" + (f", channel {channel.channel}" if many else "")
