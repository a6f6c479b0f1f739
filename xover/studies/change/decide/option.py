"""One step that may be taken, and what all of them are worked out from."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from xover.curve import Evidence, Float
from xover.errors import OptionError
from xover.judge.findings import Finding
from xover.judge.kinds import Fault
from xover.network import Capacitor, Inductor, Network, value_of
from xover.network.cards import netlist_text
from xover.parts.catalogue import Catalogue
from xover.parts.stock import Bill
from xover.plain import some_of
from xover.readable import Readable
from xover.rules.instruments import Instrument
from xover.rules.margins import ALL_ALIKE_SHARE, ALL_OFF_PARTS, ALL_OFF_SHARE
from xover.rules.triage import MINUTES, UNDO, VOICING_STEP_DB, Rung, Wants
from xover.sound.doubt import Known
from xover.speaker import Speaker
from xover.speaker.untouched import is_copy
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict
from xover.studies.change.decide.setup import Read, ReadingSetup, read_network

if TYPE_CHECKING:
    from xover.studies.change.refresh.result import RefreshStudy

UNKNOWN: Final = Known(math.nan, math.nan)


class Bar(StrEnum):
    """What keeps a step from being taken."""

    NONE = "none"
    NO_OPTION = "no option"
    UNSAFE = "unsafe"
    LOAD = "load"
    MONEY = "money"
    PRICE = "price not known"
    CHANNELS = "channels"


@dataclass(frozen=True, eq=False, repr=False)
class Option(Readable):
    """One step.

    Attributes
    ----------
    why_not : why it is no option here; empty where it is one. asked : False where it was not to be looked at.
    criteria : one for each aspect, in their order.
    level_db : (n,) of its sum; NaN where that is not known.
    gains : how much nearer to each target it comes than what is there now.
    doubt_db : how far the deviation of its own sum may be off, +-.
    what : what it is, in words. fits : which parts by which, where that is more.
    parts : to buy for one speaker. renews : whether worn parts are renewed, too.
    cost_for_pair : NaN where a price is missing.
    cautions : what to heed if it is taken. stops : what forbids switching it on.
    danger : whether that is its load, or something else.
    network : as it was judged; None where it builds none. bill : what is bought for it.
    study : what it was worked out with: the RefreshStudy, the RedesignStudy (the proposal that was chosen comes
        first in it), the BypassStudy; None for others. Not part of `plain`.
    """

    name: Rung
    why_not: str
    criteria: tuple[Criterion, ...]
    level_db: Float
    gains: Mapping[Wants, Known] = field(default_factory=dict)
    doubt_db: float = math.inf
    what: str = ""
    fits: str = ""
    parts: int = 0
    renews: bool = False
    cost_for_pair: float = 0.0
    cautions: tuple[str, ...] = ()
    stops: tuple[Finding, ...] = ()
    danger: Bar = Bar.NONE
    asked: bool = True
    network: Network | None = field(default=None, repr=False)
    bill: Bill | None = field(default=None, repr=False)
    study: Any = field(default=None, repr=False)

    @property
    def available(self) -> bool:
        """Whether it is an option here at all."""
        return not self.why_not

    @property
    def minutes(self) -> int:
        """About how long it takes for one speaker."""
        whole, each = MINUTES[self.name]
        return whole + each * self.parts

    @property
    def called(self) -> str:
        """What its network is called: refreshed, trimmed."""
        return called(self.name)

    @property
    def undo(self) -> str:
        """How it is taken back."""
        return UNDO[self.name]

    @property
    def netlist(self) -> str:
        """What is built, as the text of a netlist; empty for nothing."""
        return "" if self.network is None or self.name is Rung.LEAVE else netlist_text(self.network)

    def gain(self, target: Wants) -> Known:
        """How much nearer to a target it comes than what is there now."""
        return self.gains.get(target, UNKNOWN)

    def of(self, aspect: Aspect) -> Criterion:
        """The criterion of an aspect."""
        return next(c for c in self.criteria if c.name == aspect)

    @property
    def failing(self) -> tuple[Criterion, ...]:
        """Criteria that fail."""
        return tuple(c for c in self.criteria if c.verdict is Verdict.FAIL)

    @property
    def marginal(self) -> tuple[Criterion, ...]:
        """Criteria that are marginal."""
        return tuple(c for c in self.criteria if c.verdict is Verdict.MARGINAL)

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return some_of(self, "name available why_not what criteria netlist cautions", sum_level_db=self.level_db)


@dataclass(frozen=True, eq=False)
class DecisionCase:
    """What the steps are worked out from.

    Attributes
    ----------
    found : network that is there as measured, or None. present : it, else the design as marked.
    aged : how far what is there lies from the design. most_cost : of one speaker's parts, or None.
    mate : the other speaker of the pair, or None.
    faults, mate_faults : what is broken, wired wrongly or dead here, and in the other speaker.
    unready : what is still a placeholder, so that nothing rests on it.
    maps : whether a bypass is to come with its maps, as a page shows them.
    """

    bench: ReadingSetup
    catalogue: Catalogue
    found: str | None
    present: str
    aged: Known
    most_cost: float | None
    mate: Speaker | None
    faults: tuple[Finding, ...]
    mate_faults: tuple[Finding, ...]
    unready: tuple[str, ...]
    maps: bool
    progress: Callable[[float, str], None]

    @property
    def speaker(self) -> Speaker:
        """The speaker."""
        return self.bench.speaker

    @property
    def network(self) -> Network:
        """What is there now."""
        return self.speaker.network(self.present)

    @property
    def worn(self) -> bool:
        """Whether age has done what is heard, and known."""
        return self.aged.value_db > max(VOICING_STEP_DB, self.aged.uncertainty_db)

    @cached_property
    def refresh(self) -> RefreshStudy:
        """Like-for-like parts. Raises OptionError."""
        return self.refresh_with(self.catalogue)

    def refresh_with(self, catalogue: Catalogue) -> RefreshStudy:
        """The same from another list. Raises OptionError."""
        from xover.studies.change.refresh.study import refresh

        if self.bench.reference is None:
            raise OptionError("no network tells the design", "name it, or type what the parts are marked with")
        f = self.bench.frequency_hz
        return refresh(self.speaker, catalogue, f, found=self.found, reference=self.bench.reference)

    @cached_property
    def base(self) -> tuple[Network, Bill | None]:
        """What a wire or a pad is changed in: what is there, or, where it is worn and the money is there, that renewed,
        and its bill."""
        if not self.worn:
            return self.network, None
        try:
            bill = self.refresh.bill
        except OptionError:
            return self.network, None
        dear = math.isfinite(self.most_for_pair) and not (bill.cost_for_pair or 0.0) <= self.most_for_pair
        return (self.network, None) if dear else (self.refresh.network, bill)

    @property
    def read_off(self) -> bool:
        """Whether anything was read off this speaker: a curve of a driver, or what stands on its board today."""
        drivers = [self.speaker.drivers[n] for n in self.network.driver_names]
        assumed = all(d.impedance_instrument is Instrument.ASSUMED for d in drivers)
        design = self.bench.design
        return self.found is not None and not (assumed and design and is_copy(self.network, design.network))

    @property
    def all_read_off(self) -> float:
        """What all parts read of their marks, where it is one share and none that age leaves; NaN where it is not."""
        if self.bench.design is None or self.found is None:
            return math.nan
        marks = {p.name.lower(): p for p in self.bench.design.network.parts}
        pairs = [(p, marks[p.name.lower()]) for p in self.network.parts if p.name.lower() in marks]
        kinds = {type(p) for p, mark in pairs if type(p) is type(mark)}
        if len(pairs) < ALL_OFF_PARTS or len(pairs) < len(marks) or not {Inductor, Capacitor} <= kinds:
            return math.nan
        shares = [value_of(p) / value_of(mark) for p, mark in pairs if value_of(mark) > 0.0]
        one_way = max(shares) < 1.0 - ALL_OFF_SHARE or min(shares) > 1.0 + ALL_OFF_SHARE
        alike = max(shares) <= (1.0 + ALL_ALIKE_SHARE) * min(shares)
        return float(np.median(shares)) if one_way and alike else math.nan

    @property
    def most_for_pair(self) -> float:
        """What the parts of a pair may cost; infinite where nothing is said."""
        means = self.speaker.file.speaker.means
        told = [2.0 * self.most_cost] if self.most_cost is not None else []
        told += [means.money] if means is not None and means.money is not None else []
        return min(told, default=math.inf)

    @property
    def channels_said(self) -> bool:
        """Whether the folder says that there are amplifier channels for a bypass."""
        file = self.speaker.file.speaker
        return bool(file.bypass and file.bypass.channels) or bool(file.means and file.means.channels)

    @cached_property
    def read_now(self) -> Read:
        """What is there, read."""
        return read_network(self.bench, self.present, meant=False, aged=True)

    @property
    def wants(self) -> Wants | None:
        """What the owner asked for."""
        means = self.speaker.file.speaker.means
        return None if means is None or means.wants is None else Wants(means.wants)


def danger_of(stops: Sequence[Finding]) -> Bar:
    """Whether something forbids it, and whether that is the load alone."""
    if not stops:
        return Bar.NONE
    return Bar.LOAD if all(f.fault is Fault.LOW_LOAD for f in stops) else Bar.UNSAFE


def called(rung: Rung) -> str:
    """What the network of a step is called."""
    return _CALLED.get(rung, f"{rung}d" if rung.endswith("e") else f"{rung}ed")


_CALLED: Final = {Rung.TRIM: "trimmed", Rung.DRIVER: "matched"}


def no_option(bench: ReadingSetup, name: Rung, why: str, *, asked: bool = True) -> Option:
    """A step that is none here, every criterion without a verdict."""
    nothing = np.full(bench.frequency_hz.shape, np.nan)
    criteria = tuple(judge.unknown(a, why) for a in Aspect)
    return Option(name, why, criteria, nothing, asked=asked, cost_for_pair=math.nan)


def all_criteria(of: str, read: Mapping[Aspect, Criterion], *more: Criterion) -> tuple[Criterion, ...]:
    """All criteria of an option in the order of the aspects; `of` names what their figures are of."""
    found = {**read, **{c.name: c for c in more}}
    return tuple(replace(found[a], of=of) for a in Aspect)


def evidence_of(speaker: Speaker, names: Sequence[str], measured: bool, parts: bool) -> Criterion:
    """What an option rests on: impedances, responses and, where old parts count, their values."""
    kinds: list[Evidence | None] = []
    notes = []
    for name in names:
        driver = speaker.drivers[name]
        response = driver.response_evidence if driver.has_response else None
        kinds += [driver.impedance_evidence, response]
        weak = [
            f"{what} {kind or 'not known'}"
            for what, kind in (("impedance", driver.impedance_evidence), ("response", response))
            if kind is not Evidence.MEASURED
        ]
        if weak:
            notes.append(f"{name}: {', '.join(weak)}")
    if parts and not measured:
        kinds.append(Evidence.ASSUMED)
        notes.append("parts taken as marked")
    return judge.evidence(tuple(kinds), "; ".join(notes))
