"""What to do: all steps worked out, read alike, and held against each other by one rule."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from xover.curve import Float, log_grid
from xover.errors import OptionError
from xover.figures import place
from xover.judge.faults import faults
from xover.judge.findings import Finding
from xover.parts.catalogue import Catalogue
from xover.plain import some_of
from xover.readable import Readable
from xover.rules.bands import JUDGED_HZ
from xover.rules.severity import Severity
from xover.rules.triage import KEEPS_VOICING, RULE, STEPS, Rung, Wants
from xover.sound.doubt import Known, unready, voicing_gain
from xover.speaker import Speaker, open_speaker
from xover.speaker.untouched import untouched
from xover.studies.change.decide.ladder import Picked, could_better, names_in_order, pick
from xover.studies.change.decide.option import UNKNOWN, Bar, DecisionCase, Option, no_option
from xover.studies.change.decide.setup import make_bench
from xover.studies.change.decide.words import answer, cannot_know, reasons, rests_on, to_measure, would_change

PER_OCTAVE: Final = 48
SEARCHES: Final = (Rung.BYPASS, Rung.REVALUE, Rung.REDESIGN)
"""Steps that take their time."""


@dataclass(frozen=True, eq=False, repr=False)
class Decision(Readable):
    """The steps side by side, and which of them is enough.

    Attributes
    ----------
    found : network as measured, or None. reference : network of the design, or None.
    options : the steps that were looked at, in their order. picked : which is taken, and why.
    taken : the step that a netlist is written of. faults : what is broken, wired wrongly or dead. stops : what forbids
        to switch it on as it is.
    answer : what to do, in words. reasons : why. unknown : what this cannot know. measure : what to measure, and how.
    would_change : what would make it another answer. remarks : what was said of the data on the way.
    rests_on : what the answer rests on that is not measured.
    design_level_db : (n,) of the design's sum; NaN where it is not known.
    folder, stock, mate : the speaker's folder, the stock list and the other speaker's folder, to go on with.
    most_cost : as given. seed : of all draws.
    """

    title: str
    found: str | None
    reference: str | None
    source: str
    band_hz: tuple[float, float]
    frequency_hz: Float
    options: Mapping[Rung, Option]
    picked: Picked
    taken: Rung
    faults: tuple[Finding, ...]
    stops: tuple[Finding, ...]
    unready: tuple[str, ...]
    rests_on: tuple[str, ...]
    answer: str
    reasons: tuple[str, ...]
    unknown: tuple[str, ...]
    measure: tuple[str, ...]
    would_change: tuple[str, ...]
    remarks: tuple[str, ...]
    design_level_db: Float
    folder: Path = Path()
    stock: Path | None = None
    mate: Path | None = None
    most_cost: float | None = None
    seed: int = 1

    @property
    def recommendation(self) -> Rung:
        """The step that is recommended."""
        return self.picked.rung

    @property
    def chosen(self) -> Option | None:
        """It, with its figures; None where there is no verdict yet, or what is to be mended builds nothing."""
        return self.options.get(self.picked.rung)

    def gain(self, option: Option) -> Known:
        """How much nearer a step comes; not told of one that is there for something else."""
        target = self.picked.target
        other = target is Wants.VOICING and option.name not in KEEPS_VOICING
        return UNKNOWN if other else option.gain(target)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to heed with the recommended step."""
        return () if self.chosen is None else self.chosen.cautions

    @property
    def netlist(self) -> str | None:
        """What the step that was taken builds, as the text of a netlist; None where it builds nothing."""
        taken = self.options.get(self.taken)
        return None if taken is None else taken.netlist or None

    @property
    def next(self) -> str:
        """The command that builds exactly what was judged, or shows how to go on; "" where there is none."""
        return self.command(self.picked.rung)

    def command(self, rung: Rung) -> str:
        """The command that goes on with a step, quoted for a shell."""
        folder = place(self.folder)
        if rung is Rung.BYPASS:
            return shlex.join(["xover", "bypass", folder])
        option = self.options.get(rung)
        if option is None or not option.netlist:
            return shlex.join(["xover", "check", folder]) if rung in (Rung.NONE_YET, Rung.MEND) else ""
        words = ["xover", "decide", folder]
        for name, given, usual in (("--network", self.found, "found"), ("--reference", self.reference, "original")):
            words += [name, given] if given not in (usual, None) else []
        words += [] if self.stock is None else ["--stock", place(self.stock)]
        words += [] if self.mate is None else ["--mate", place(self.mate)]
        words += [] if self.most_cost is None else ["--most-cost", f"{self.most_cost:g}"]
        words += [] if self.seed == 1 else ["--seed", str(self.seed)]
        return shlex.join([*words, "--take", str(rung), "--write", option.called])

    @property
    def clean(self) -> bool:
        """Whether there is a recommendation, nothing is broken, and nothing of it is marginal or fails."""
        return self.chosen is not None and not self.faults and not (self.chosen.failing or self.chosen.marginal)

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return some_of(
            self,
            "title recommendation answer reasons next stops rests_on unknown measure would_change cautions found "
            "reference source band_hz frequency_hz design_level_db",
            warnings=self.remarks,
            rule=RULE,
            wants=self.picked.target,
            faults=[_fault(f) for f in (*self.faults, *self.stops)],
            ladder=[self._rung(self.options[n]) for n in names_in_order(self.options)],
            options=[o.plain() for o in self.options.values()],
        )

    def _rung(self, option: Option) -> dict[str, Any]:
        gain = self.gain(option)
        return some_of(
            option,
            "what parts minutes undo available why_not netlist stops",
            rung=option.name,
            gain_db=gain.value_db,
            uncertainty_db=gain.uncertainty_db,
            cost=option.cost_for_pair,
            bar=self.picked.bars.get(option.name, Bar.NO_OPTION),
            command=self.command(option.name),
        )


def _fault(finding: Finding) -> dict[str, Any]:
    # What is nobody's fault alone, such as a load, is told of the speaker.
    whose = {"part": finding.part} if finding.part else {"driver": finding.driver or finding.where}
    return {"what": finding.text, **whose, "remedy": finding.remedy, "fault": finding.fault}


def study_decide(
    speaker: Speaker,
    catalogue: Catalogue,
    *,
    found: str | None = None,
    original: str | None = None,
    mate: Path | None = None,
    seed: int = 1,
    options: Sequence[str] = tuple(STEPS),
    take: str | None = None,
    most_cost: float | None = None,
    frequency_hz: Float | None = None,
    progress: Callable[[float, str], None] = lambda _done, _words: None,
) -> Decision:
    """Work the steps out and hold them against each other; parameters and errors as declared.

    What is not among `options` gets no verdict. Another circuit is looked for only where it could still better what
    the other steps leave by what is heard, or where it is to be taken.
    """
    if not options:
        raise OptionError("no step is left to look at", f"skip fewer of {', '.join(STEPS)}")
    case = set_up(
        speaker,
        catalogue,
        found=found,
        original=original,
        mate=mate,
        seed=seed,
        most_cost=most_cost,
        frequency_hz=frequency_hz,
        progress=progress,
    )
    worked: dict[Rung, Option] = {}
    for done, name in enumerate(first_steps(case)):
        progress(done / len(STEPS), str(name))
        worked[name] = work_out(case, name) if name in (*options, Rung.MEND, Rung.LEAVE) else not_asked(case, name)
    for name in SEARCHES:
        progress(STEPS.index(name) / len(STEPS), str(name))
        if name not in options:
            worked[name] = not_asked(case, name)
        elif name == take and not (case.faults or case.unready):
            worked[name] = work_out(case, name)
        else:
            worked[name] = search(case, worked, name)
    progress(1.0, "comparing")
    return hold_against_each_other(case, worked, None if take is None else Rung(take))


def first_steps(case: DecisionCase) -> tuple[Rung, ...]:
    """The steps that are worked out whatever the others give; what is broken is mended before all else."""
    if case.faults or case.unready:
        return (Rung.MEND, Rung.LEAVE) if case.faults else (Rung.LEAVE,)
    return tuple(step for step in STEPS if step not in SEARCHES)


def search(case: DecisionCase, worked: Mapping[Rung, Option], name: Rung) -> Option:
    """Bypass, other values, or another circuit: where it could still better the other steps, or stands ready."""
    ready = name is Rung.BYPASS and (case.maps or case.channels_said)
    return work_out(case, name) if ready or could_better(case, worked, name) else not_searched(case, name)


def not_searched(case: DecisionCase, name: Rung) -> Option:
    """A search that nothing speaks for."""
    return no_option(case.bench, name, "not looked for: nothing that is heard is left for it to better")


def set_up(
    speaker: Speaker,
    catalogue: Catalogue,
    *,
    found: str | None = None,
    original: str | None = None,
    mate: Path | None = None,
    seed: int = 1,
    most_cost: float | None = None,
    maps: bool = False,
    frequency_hz: Float | None = None,
    progress: Callable[[float, str], None] = lambda _done, _words: None,
) -> DecisionCase:
    """What all steps are worked out from; parameters and errors as for `study_decide`."""
    for name in (found, original):
        if name is not None:
            speaker.network(name)  # told at once where there is none
    present, today, design = networks_of(speaker, found, original)
    f = log_grid(20.0, 20_000.0, PER_OCTAVE) if frequency_hz is None else frequency_hz
    other = None if mate is None else open_speaker(mate)
    network = speaker.network(present)
    bench = make_bench(speaker, design, network, f, seed)
    marked = None if bench.design is None else bench.design.network
    return DecisionCase(
        bench,
        catalogue,
        today,
        present,
        UNKNOWN if marked is None else voicing_gain(speaker, marked, network, marked, f),
        most_cost,
        other,
        _grave(faults(speaker, present, design)),
        () if other is None else _grave(faults(other, other.default_network(), _original(other))),
        unready(speaker, network.driver_names),
        maps,
        progress,
    )


def networks_of(
    speaker: Speaker, found: str | None = None, original: str | None = None
) -> tuple[str, str | None, str | None]:
    """Names of what stands there today, of what was measured of it, and of the design, where there are such."""
    names = speaker.network_names
    today = found if found is not None else ("found" if "found" in names else None)
    design = original if original is not None else ("original" if "original" in names else None)
    if today is None and design is None:
        today = speaker.default_network()
    present = today or design or ""
    # A template that nobody has edited is no history, and no board.
    raw = untouched(speaker).networks
    design = None if design in raw and design != present else design
    return present, None if today in raw and found is None else today, design


def _grave(found: Sequence[Finding]) -> tuple[Finding, ...]:
    return tuple(f for f in found if f.severity is not Severity.NOTE)


def _original(speaker: Speaker) -> str | None:
    return "original" if "original" in speaker.network_names else None


def work_out(case: DecisionCase, name: Rung) -> Option:
    """Work one step out; the steps know nothing of each other."""
    # Each step loads a good part of the studies: a process that shares the work loads those of its own.
    from xover.studies.change.decide import options as steps
    from xover.studies.change.decide.bypassing import bypassed

    makers: dict[Rung, Callable[[DecisionCase], Option]] = {
        Rung.MEND: steps.mended,
        Rung.LEAVE: steps.leave,
        Rung.REWIRE: steps.rewired,
        Rung.TRIM: steps.trimmed,
        Rung.REFRESH: steps.refreshed,
        Rung.DRIVER: steps.odd_driver,
        Rung.BYPASS: bypassed,
        Rung.REVALUE: steps.revalued,
        Rung.REDESIGN: steps.redesigned,
        Rung.AMPLIFIER: steps.amplified,
    }
    return makers[name](case)


def not_asked(case: DecisionCase, name: Rung) -> Option:
    """A step that is not looked at."""
    return no_option(case.bench, name, "not asked for", asked=False)


def hold_against_each_other(case: DecisionCase, worked: Mapping[Rung, Option], take: Rung | None = None) -> Decision:
    """Go through the steps by the rule."""
    bench, speaker = case.bench, case.bench.speaker
    options = {name: worked[name] for name in names_in_order(worked)}
    picked = pick(case, options)
    network = case.network
    heard = bench.design is not None and bench.design.total.coherent
    f = bench.frequency_hz
    return Decision(
        title=speaker.title,
        found=case.found,
        reference=bench.reference,
        source=case.catalogue.source,
        band_hz=JUDGED_HZ,
        frequency_hz=f,
        options=options,
        picked=picked,
        taken=take or picked.rung,
        faults=case.faults,
        stops=options[Rung.LEAVE].stops,
        unready=case.unready,
        rests_on=rests_on(speaker, network.driver_names, case.found, bench.reference),
        answer=answer(options, picked),
        reasons=reasons(case, options, picked),
        unknown=cannot_know(case),
        measure=to_measure(case, options, picked),
        would_change=would_change(options, picked),
        remarks=tuple(dict.fromkeys(n for d in network.driver_names for n in speaker.drivers[d].notes)),
        design_level_db=bench.design.total.level_db if bench.design is not None and heard else np.full(f.shape, np.nan),
        folder=speaker.file.folder,
        stock=None if case.catalogue.stock is None else case.catalogue.stock.path,
        mate=None if case.mate is None else case.mate.file.folder,
        most_cost=case.most_cost,
        seed=bench.seed,
    )
