"""Everything that a report tells, worked out once."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, TypeVar

from xover.blocks import Block, Picture, Text
from xover.network import Network
from xover.parts.stock import Bill
from xover.pool import Pool
from xover.report.workshop import Answer, Job, NotKnown, Request, Workshop, do, open_workshop
from xover.rules.triage import Rung
from xover.sentences import sentence
from xover.speaker import Speaker, open_speaker
from xover.studies.change.decide.ladder import could_better
from xover.studies.change.decide.option import DecisionCase, Option, no_option
from xover.studies.change.decide.study import SEARCHES, Decision, first_steps, hold_against_each_other, not_searched

JOBS = 25
"""About so many there are; only the progress that is told rests on it."""

Kind = TypeVar("Kind")


@dataclass(frozen=True, eq=False)
class Build:
    """What is to be built, or what stands where nothing is.

    Attributes
    ----------
    name : of the network. new : whether it differs from what is there.
    bill : what to buy; None where the network was given by the user, or nothing is bought.
    why : where it comes from, in words.
    """

    name: str
    network: Network
    new: bool
    bill: Bill | None
    why: str


@dataclass(frozen=True, eq=False)
class Answers:
    """Everything that a report tells.

    Attributes
    ----------
    speaker : with the network to be built among its networks. plain_speaker : as its folder has it.
    mate : the other one of the pair, or None.
    found, design : networks as measured and as marked, where there are such. present : what stands today.
    found_network, design_network : the same, read.
    known : by name, `Answer`, `Option` or `NotKnown`.
    bypassed : figures of the bypass. others : networks to be shown beside these.
    """

    request: Request
    speaker: Speaker
    plain_speaker: Speaker
    mate: Speaker | None
    decision: Decision
    found: str | None
    design: str | None
    present: str
    present_network: Network
    found_network: Network | None
    design_network: Network | None
    build: Build
    bypassed: tuple[Picture, ...]
    others: tuple[str, ...]
    known: Mapping[str, Any]

    def study(self, name: str, kind: type[Kind]) -> Kind | None:
        """The study of that name; None where it could not be worked out."""
        answer = self.known.get(name)
        study = answer.study if isinstance(answer, Answer) else answer
        return study if isinstance(study, kind) else None

    def pictures(self, *names: str) -> list[Block]:
        """The figures of answers, those that there are."""
        return [a.picture for a in map(self.known.get, names) if isinstance(a, Answer)]

    def gone(self, name: str, what: str) -> list[Block]:
        """Why an answer is missing, where it is."""
        answer = self.known.get(name)
        return [Text(f"Not told: {what}. {sentence(answer.why)}")] if isinstance(answer, NotKnown) else []


def gather(request: Request, processes: int, progress: Callable[[float, str], None]) -> Answers:
    """Work everything out.

    Parameters
    ----------
    processes : to share the work between; 1 works here alone.
    progress : told the share done and what is going on.

    Raises
    ------
    InputError, OptionError.
    """
    request = replace(request, token=uuid.uuid4().hex)
    progress(0.0, "reading the folder")
    shop = open_workshop(request)
    for name in (*shop.speaker.network_names, *request.networks):
        shop.speaker.network(name)  # a fault in a file is told before anything is worked out
    mate = open_speaker(request.mate) if request.mate is not None else None
    _ = shop.catalogue
    case = shop.case
    present = case.present
    from xover.report import works  # after what may be wrong with the folder: it loads nearly everything

    known: dict[str, Any] = {}
    steps = first_steps(case)
    with Pool(processes) as pool:
        first = [
            # The longest first.
            *(Job(str(step), f"step: {step}", works.option, (step,)) for step in reversed(steps)),
            Job("condition", "condition: what age has done", works.condition),
            Job("sensitivity", "sensitivity: which part matters", works.sensitivity, (present, {})),
            Job("load", "load", works.load, (present, {}, "load")),
            Job("sound", "sum and drive", works.sound, (present, {}, "sum")),
        ]
        _work_off(pool, request, first, known, progress)
        worked = {n: _worked(case, n, known[n]) for n in steps}
        for step in SEARCHES:
            # What is broken is mended first: a bypass round a dead driver, or a template's, is nobody's.
            shown = step is Rung.BYPASS and not (case.faults or case.unready)
            if shown or could_better(case, worked, step):
                _work_off(pool, request, [Job(str(step), f"step: {step}", works.option, (step,))], known, progress)
                worked[step] = _worked(case, step, known[str(step)])
            else:
                worked[step] = not_searched(case, step)
        decision = hold_against_each_other(case, worked)
        build = _build(shop, decision, present)
        proposed = {build.name: build.network} if build.new and build.name not in shop.speaker.network_names else {}
        given = (build.name, proposed)
        second = [
            Job("check", "going through the files", works.check),
            Job("formulas", "formulas", works.formulas, (build.network, build.name)),
            Job("build", "build order", works.build, (build.network, None if proposed else build.name)),
            Job("tolerance", "tolerances", works.tolerance, given),
            Job("board", "coil crosstalk, wiring list", works.board, given),
            Job("angles", "off the axis", works.angles, given),
            Job("stress", "stress on the parts", works.stress, given),
        ]
        others = [n for n in dict.fromkeys(request.networks) if n not in (present, build.name)]
        second += [Job(f"beside {n}", f"network {n}", works.beside, (n,)) for n in others]
        if build.new:
            second.append(Job("built load", "load of the new network", works.load, (*given, "load-built")))
            second.append(Job("built sound", "sum of the new network", works.sound, (*given, "sum-built")))
        study = worked[Rung.BYPASS].study if Rung.BYPASS in worked else None
        if study is not None:
            second.append(Job("bypassed", "figures of the bypass", works.bypass_pictures, (study,)))
        chosen = decision.chosen
        if chosen is not None and chosen.network is build.network:
            second.append(Job("before and after", "before and after", works.before_and_after, (chosen,)))
        second.append(Job("decision", "the steps' sums", works.decided, (decision,)))
        drawn = _compared(shop, decision, build, present)
        second.append(Job("schematic", "schematic", works.schematic, drawn))
        _work_off(pool, request, second, known, progress)
        board = known["board"]
        known["crosstalk"], known["wiring"] = (board, board) if isinstance(board, NotKnown) else board
    names, pictures = shop.speaker.network_names, known.get("bypassed")
    return Answers(
        request=request,
        speaker=shop.with_networks(proposed),
        plain_speaker=shop.speaker,
        mate=mate,
        decision=decision,
        found=decision.found,
        design=decision.reference,
        present=present,
        present_network=shop.speaker.network(present),
        found_network=shop.speaker.network(decision.found) if decision.found in names else None,
        design_network=shop.speaker.network(decision.reference) if decision.reference in names else None,
        build=build,
        others=tuple(others),
        bypassed=pictures if isinstance(pictures, tuple) else (),
        known=known,
    )


def _work_off(
    pool: Pool, request: Request, jobs: Sequence[Job], known: dict[str, Any], progress: Callable[[float, str], None]
) -> None:
    """Put the answers to `jobs` into `known`; what is told to be going on is the first of those not done."""
    left = {job.name: job.words for job in jobs}
    progress(min(len(known) / JOBS, 1.0), jobs[0].words)
    for number, answer in pool.as_they_come(partial(do, request), jobs):
        known[jobs[number].name] = answer
        del left[jobs[number].name]
        progress(min(len(known) / JOBS, 1.0), next(iter(left.values()), jobs[-1].words))


def _worked(case: DecisionCase, name: Rung, answer: Option | NotKnown) -> Option:
    """The option, or that it is none here."""
    return no_option(case.bench, name, answer.why) if isinstance(answer, NotKnown) else answer


def _build(shop: Workshop, decision: Decision, present: str) -> Build:
    """What is to be built: what was asked for, else what the rule recommends, else what is there."""
    there = shop.speaker.network(present)
    asked = shop.request.networks[-1:] or ()
    for name in asked:
        if name != present:
            return Build(name, shop.speaker.network(name), True, None, "the network that was asked for")
        return Build(present, there, False, None, "the network that was asked for")
    chosen = decision.chosen
    if chosen is None or chosen.network is None or chosen.name is Rung.LEAVE:
        return Build(present, there, False, None, "nothing is to be built: the network as it is")
    name = chosen.called
    while name in shop.speaker.network_names:
        name += " anew"
    return Build(name, chosen.network, True, chosen.bill, f"{chosen.name}: {chosen.what}")


def _compared(
    shop: Workshop, decision: Decision, build: Build, present: str
) -> tuple[Network, Network | None, str, str]:
    """What the schematic shows, what its values are held against, its title and its reading."""
    against = present if build.name != present else decision.reference
    size = f"{len(build.network.parts)} parts and {len(build.network.drivers)} drivers"
    title = f"Schematic of network {build.name}"
    if against is None or (against == present and build.name == present):
        return build.network, None, title, f"{size}."
    other = shop.speaker.network(against)
    if build.new:
        return build.network, other, title, f"{size}; where a value changes, {against} -> {build.name}."
    return build.network, other, title, f"{size}; where a value differs, {against} -> {present}."
