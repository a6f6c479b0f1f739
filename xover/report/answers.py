"""Everything that a report tells, worked out once."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, TypeVar

from xover.blocks import Block, Text
from xover.network import Network
from xover.parts.stock import Bill
from xover.pool import Pool
from xover.report.workshop import Answer, Fault, Job, NotKnown, Request, Workshop, attempt, do, open_workshop
from xover.rules.triage import STEPS, Rung
from xover.speaker import Speaker, open_speaker
from xover.studies.change.decide.ladder import could_better
from xover.studies.change.decide.option import DecisionCase, Option, no_option
from xover.studies.change.decide.study import (
    SEARCHES,
    Decision,
    first_steps,
    hold_against_each_other,
    networks_of,
    not_searched,
)

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
    decided : the decision, or why there is none.
    found, design : networks as measured and as marked, where there are such. present : what stands today.
    found_network, design_network : the same, read.
    known : by name, `Answer`, `Option` or `NotKnown`. words : what each of them tells.
    bypassed : figures of the bypass. others : networks to be shown beside these.
    """

    request: Request
    speaker: Speaker
    plain_speaker: Speaker
    mate: Speaker | None
    decided: Decision | NotKnown
    found: str | None
    design: str | None
    present: str
    present_network: Network
    found_network: Network | None
    design_network: Network | None
    build: Build
    bypassed: tuple[Block, ...]
    others: tuple[str, ...]
    known: Mapping[str, Any]
    words: Mapping[str, str]

    def study(self, name: str, kind: type[Kind]) -> Kind | None:
        """The study of that name; None where it could not be worked out."""
        answer = self.known.get(name)
        study = answer.study if isinstance(answer, Answer) else answer
        return study if isinstance(study, kind) else None

    @property
    def decided_on(self) -> Decision | None:
        """What to do, where that is known."""
        return None if isinstance(self.decided, NotKnown) else self.decided

    @property
    def decision(self) -> Decision:
        """What to do. Raises NotToldError where that is not known."""
        if isinstance(self.decided, NotKnown):
            raise NotToldError(self.decided.box("what to do"))
        return self.decided

    def pictures(self, *names: str) -> list[Block]:
        """The figures of answers, those that there are, and what stands in the place of those that failed."""
        blocks: list[Block] = []
        for name in names:
            answer = self.known.get(name)
            blocks += [answer.picture] if isinstance(answer, Answer) else self.failed(name)
        return blocks

    def gone(self, name: str, what: str = "") -> list[Block]:
        """Why an answer is missing, where it is for want of data."""
        answer = self.known.get(name)
        return (
            [answer.box(what or self.words[name])]
            if isinstance(answer, NotKnown) and not isinstance(answer, Fault)
            else []
        )

    def failed(self, *names: str) -> list[Block]:
        """What stands in the place of answers that xover itself has failed to give."""
        found = {n: self.known[n] for n in names if n in self.known}
        return [a.box(self.words.get(n, n)) for n, a in found.items() if isinstance(a, Fault)]


class NotToldError(Exception):
    """A section rests on what is not known; `box` stands in its place."""

    def __init__(self, box: Text) -> None:
        super().__init__(box.words)
        self.box = box


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
    present, found, design = networks_of(shop.speaker)
    from xover.report import works  # after what may be wrong with the folder: it loads nearly everything

    work = _Work(request, progress)
    started = attempt(lambda: (shop.case, first_steps(shop.case)))
    steps: tuple[Rung, ...] = () if isinstance(started, NotKnown) else started[1]
    with Pool(processes) as pool:
        first = [
            # The longest first.
            *map(_step, reversed(steps)),
            Job("condition", "what age has done", works.condition),
            Job("sensitivity", "which part matters", works.sensitivity, (present, {})),
            Job("load", "the load", works.load, (present, {}, "load")),
            Job("sound", "sum and drive", works.sound, (present, {}, "sum")),
        ]
        work.off(pool, first)
        decided = started if isinstance(started, NotKnown) else attempt(_decided, *started, work, pool)
        if isinstance(decided, Fault):  # the step that failed tells more than what missed it
            decided = next((a for a in map(work.known.get, map(str, STEPS)) if isinstance(a, Fault)), decided)
        build = attempt(_build, shop, decided, present)
        if isinstance(build, NotKnown):
            build = Build(present, shop.speaker.network(present), False, None, "the network as it is")
        proposed = {build.name: build.network} if build.new and build.name not in shop.speaker.network_names else {}
        given = (build.name, proposed)
        second = [
            Job("check", "going through the files", works.check),
            Job("formulas", "the formulas", works.formulas, (build.network, build.name)),
            Job("build", "the build order", works.build, (build.network, None if proposed else build.name)),
            Job("tolerance", "what tolerances do", works.tolerance, given),
            Job("board", "wiring list, coil crosstalk", works.board, given),
            Job("angles", "the sum off the axis", works.angles, given),
            Job("stress", "stress on the parts", works.stress, given),
        ]
        others = [n for n in dict.fromkeys(request.networks) if n not in (present, build.name)]
        second += [Job(f"beside {n}", f"network {n}", works.beside, (n,)) for n in others]
        if build.new:
            second.append(Job("built load", "load of the new network", works.load, (*given, "load-built")))
            second.append(Job("built sound", "sum of the new network", works.sound, (*given, "sum-built")))
        if isinstance(decided, Decision):
            bypass, chosen = decided.options.get(Rung.BYPASS), decided.chosen
            if bypass is not None and bypass.study is not None:
                second.append(Job("bypassed", "figures of the bypass", works.bypass_pictures, (bypass.study,)))
            if chosen is not None and chosen.network is build.network:
                second.append(Job("before and after", "before and after", works.before_and_after, (chosen,)))
            second.append(Job("decision", "the steps' sums", works.decided, (decided,)))
        drawn = _compared(shop, design, build, present)
        second.append(Job("schematic", "the schematic", works.schematic, drawn))
        work.off(pool, second)
    board = work.known["board"]
    work.known["crosstalk"], work.known["wiring"] = (None, board) if isinstance(board, NotKnown) else board
    work.words["crosstalk"] = "coil crosstalk"
    names, pictures = shop.speaker.network_names, work.known.get("bypassed")
    return Answers(
        request=request,
        speaker=shop.with_networks(proposed),
        plain_speaker=shop.speaker,
        mate=mate,
        decided=decided,
        found=found,
        design=design,
        present=present,
        present_network=shop.speaker.network(present),
        found_network=shop.speaker.network(found) if found in names else None,
        design_network=shop.speaker.network(design) if design in names else None,
        build=build,
        others=tuple(others),
        bypassed=pictures if isinstance(pictures, tuple) else (),
        known=work.known,
        words=work.words,
    )


class _Work:
    """The answers so far, by name, and what each of them tells."""

    def __init__(self, request: Request, progress: Callable[[float, str], None]) -> None:
        self.known: dict[str, Any] = {}
        self.words: dict[str, str] = {}
        self._request, self._progress = request, progress

    def off(self, pool: Pool, jobs: Sequence[Job]) -> None:
        """Do the jobs; what is told to be going on is the first of those not done."""
        left = {job.name: job for job in jobs}
        self.words |= {job.name: job.words for job in jobs}
        self._progress(min(len(self.known) / JOBS, 1.0), jobs[0].words)

        def share() -> None:
            for number, answer in pool.as_they_come(partial(do, self._request), jobs):
                self.known[jobs[number].name] = answer
                del left[jobs[number].name]
                going_on = next(iter(left.values()), jobs[-1])
                self._progress(min(len(self.known) / JOBS, 1.0), going_on.words)

        if isinstance(attempt(share), NotKnown):  # an answer that cannot travel
            for name, job in left.items():
                self.known[name] = do(self._request, job)


def _decided(case: DecisionCase, steps: Sequence[Rung], work: _Work, pool: Pool) -> Decision:
    """The decision, once the first steps are worked out; the searches are made where they could better them."""
    worked = {n: _worked(case, n, work.known[str(n)]) for n in steps}
    for step in SEARCHES:
        # What is broken is mended first: a bypass round a dead driver, or a template's, is nobody's.
        shown = step is Rung.BYPASS and not (case.faults or case.unready)
        if shown or could_better(case, worked, step):
            work.off(pool, [_step(step)])
            worked[step] = _worked(case, step, work.known[str(step)])
        else:
            worked[step] = not_searched(case, step)
    return hold_against_each_other(case, worked)


def _step(step: Rung) -> Job:
    from xover.report import works

    return Job(str(step), f"the step '{step}'", works.option, (step,))


def _worked(case: DecisionCase, name: Rung, answer: Option | NotKnown) -> Option:
    """The option, or that it is none here."""
    return no_option(case.bench, name, answer.why) if isinstance(answer, NotKnown) else answer


def _build(shop: Workshop, decided: Decision | NotKnown, present: str) -> Build:
    """What is to be built: what was asked for, else what the rule recommends, else what is there."""
    there = shop.speaker.network(present)
    asked = shop.request.networks[-1:] or ()
    for name in asked:
        if name != present:
            return Build(name, shop.speaker.network(name), True, None, "the network that was asked for")
        return Build(present, there, False, None, "the network that was asked for")
    if isinstance(decided, NotKnown):
        return Build(present, there, False, None, "the network as it is, as what to do is not known")
    chosen = decided.chosen
    if chosen is None or chosen.network is None or chosen.name is Rung.LEAVE:
        return Build(present, there, False, None, "nothing is to be built: the network as it is")
    name = chosen.called
    while name in shop.speaker.network_names:
        name += " anew"
    return Build(name, chosen.network, True, chosen.bill, f"{chosen.name}: {chosen.what}")


def _compared(
    shop: Workshop, design: str | None, build: Build, present: str
) -> tuple[Network, Network | None, str, str]:
    """What the schematic shows, what its values are held against, its title and its reading."""
    against = present if build.name != present else design
    size = f"{len(build.network.parts)} parts and {len(build.network.drivers)} drivers"
    title = f"Schematic of network {build.name}"
    if against is None or (against == present and build.name == present):
        return build.network, None, title, f"{size}."
    other = shop.speaker.network(against)
    if build.new:
        return build.network, other, title, f"{size}; where a value changes, {against} -> {build.name}."
    return build.network, other, title, f"{size}; where a value differs, {against} -> {present}."
