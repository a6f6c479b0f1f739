"""What to beware of in this case and no other, the gravest first, each once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from xover.bench.build_result import BuildOrder
from xover.bench.case import Case, CaseCaution
from xover.bench.case_amplifier import amplifier_cautions
from xover.bench.case_parts import part_cautions
from xover.bench.case_work import work_cautions
from xover.curve import Float, log_grid
from xover.errors import InputError
from xover.rules.severity import Severity
from xover.sound.roles import roles
from xover.speaker import Speaker
from xover.studies.bears.stress.study import StressStudy, study_stress
from xover.studies.change.decide.option import Name
from xover.studies.change.decide.study import Decision
from xover.studies.does.load.study import LoadStudy, study_load

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
    case = _case(speaker, networks, decision, build, loads or {}, stresses or {}, frequency_hz)
    found: dict[str, CaseCaution] = {}
    for caution in (*amplifier_cautions(case), *part_cautions(case), *_decided(case), *work_cautions(case)):
        found.setdefault(caution.heading, caution)
    return (*sorted(found.values(), key=lambda c: c.severity.order), LAST)


def _case(
    speaker: Speaker,
    names: Sequence[str],
    decision: Decision | None,
    build: BuildOrder | None,
    loads: Mapping[str, LoadStudy],
    stresses: Mapping[str, StressStudy],
    frequency_hz: Float | None,
) -> Case:
    grid = log_grid(20.0, 20_000.0, PER_OCTAVE) if frequency_hz is None else frequency_hz
    networks = {name: speaker.network(name) for name in dict.fromkeys(names)}
    found = {}
    for name in networks:
        study = stresses.get(name)
        found[name] = study if study is not None else _stress(speaker, name, grid)
    chosen = None if decision is None else decision.recommendation
    return Case(
        speaker=speaker,
        networks=networks,
        loads={n: loads[n] if n in loads else study_load(speaker, n, grid) for n in networks},
        stresses={name: study for name, study in found.items() if study is not None},
        role={name: roles(speaker, network) for name, network in networks.items()},
        decision=decision,
        build=build,
        soldering=decision is None or chosen is not Name.LEAVE or len(networks) > 1,
        bypassing=chosen is Name.BYPASS or any(len(n.channels) > 1 for n in networks.values()),
    )


def _stress(speaker: Speaker, name: str, grid: Float) -> StressStudy | None:
    """The stress at the amplifier's limit; None where no amplifier is known."""
    try:
        return study_stress(speaker, name, grid)
    except InputError:
        return None


_COVERED: Final = ("pcb", "without its capacitor", "no driver has", "common minus")
"""What other topics say already, each with this case's figures."""


def _decided(case: Case) -> Iterator[CaseCaution]:
    """What the recommended option says to heed, as far as nothing else says it."""
    from xover.bench.words import capital
    from xover.studies.change.bypass.result import BypassStudy

    chosen = None if case.decision is None else case.decision.chosen
    if chosen is None:
        return
    why = f"the recommendation is: {chosen.name}"
    if isinstance(chosen.study, BypassStudy):
        for finding in chosen.study.findings:
            if finding.severity is not Severity.NOTE and finding.about not in ("common minus", "bridged outputs"):
                yield CaseCaution(finding.severity, finding.about, capital(finding.text), why)
        return
    left = [c for c in chosen.cautions if not any(word in c.lower() for word in _COVERED)]
    if left:
        text = " ".join(f"{capital(c).rstrip('.')}." for c in left)
        yield CaseCaution(Severity.NOTE, f"with this {chosen.name}", text, why)
