"""What a refresh tells: the parts, the differences from the design, what they do to the damping, and the bill."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import level_db
from xover.curve import Complex, Float, log_grid
from xover.figures import written
from xover.files.stock import StockItem
from xover.network import Network, Solution, solve
from xover.network.cards import netlist_text
from xover.parts.kinds import PartKind
from xover.parts.stock import Bill
from xover.plain import fields_of, some_of
from xover.readable import Readable, Warned
from xover.rules.bands import AUDIO_BAND_HZ, CHANGES_HZ, LEAST_KNOWN_OF_CHANGE
from xover.rules.margins import TWEETER_FS_HZ, WORTH_SAYING
from xover.sentences import and_words
from xover.sound.change import Worst, change_db, difference_db, known_share, largest_drive_change, largest_sum_change
from xover.sound.pairing import drives_like
from xover.sound.resonance import driver_resonance_hz
from xover.sound.sums import sum_level_db
from xover.speaker import Speaker, SpeakerDriver


@dataclass(frozen=True, eq=False, repr=False)
class Difference(Readable):
    """A network held against the reference.

    Attributes
    ----------
    drive_db : (n,) change of each driver's level, by key. sum_db : (n,) of the sum; NaN where that is not known.
    worst_db : largest of the drives in the band, without sign; at_hz, on : where, and of which driver.
    level_there_db : the reference's drive there: how deep in the stop band that is.
    """

    drive_db: Mapping[str, Float]
    sum_db: Float
    worst_db: float
    at_hz: float
    on: str
    level_there_db: float
    worst_sum_db: float


_JUDGED_PER_OCTAVE: Final = 96


class Comparison:
    """Networks held against the reference: curves on the grid that is shown, the largest change on one of its own.

    So it does not depend on what is shown.
    """

    def __init__(self, speaker: Speaker, design: Network, frequency_hz: Float) -> None:
        self._speaker = speaker
        self._shown = _Solved.of(speaker, design, frequency_hz)
        self._judged = _Solved.of(speaker, design, log_grid(*CHANGES_HZ, _JUDGED_PER_OCTAVE))
        self._sum_db = sum_level_db(speaker, design, self._shown.solution)
        known = np.any(np.isfinite(np.stack([abs(d) for d in self._judged.solution.drive.values()])), axis=0)
        self.band_hz = _reach(self._judged.solution.frequency_hz, known)
        drives, all_of_it = self._judged.solution.drive, np.ones(known.shape, dtype=bool)
        self.thin = tuple(k for k, d in drives.items() if known_share(np.abs(d), all_of_it) < LEAST_KNOWN_OF_CHANGE)

    def worst(self, network: Network) -> tuple[Worst, str]:
        """The largest change of a drive in the band, where it lies within 20 dB of its highest, and whose it is."""
        solution = self._judged.solution
        there = self._judged.like(self._judged.with_(network))
        return largest_drive_change(solution.frequency_hz, solution.drive, there)

    def difference(self, network: Network) -> Difference:
        """What another network of the same drivers does differently."""
        before, there = self._shown.solution, self._shown.with_(network)
        like, unknown = self._shown.like(there), np.full(before.frequency_hz.shape, np.nan)
        worst, on = self.worst(network)
        sum_db = sum_level_db(self._speaker, network, there)
        level = math.nan
        if on and math.isfinite(worst.at_hz):
            judged = self._judged.solution
            index = int(np.argmin(np.abs(judged.frequency_hz - worst.at_hz)))
            level = float(level_db(judged.drive[on])[index])
        return Difference(
            drive_db={key: change_db(drive, like.get(key, unknown)) for key, drive in before.drive.items()},
            sum_db=difference_db(self._sum_db, sum_db),
            worst_db=abs(worst.change),
            at_hz=worst.at_hz,
            on=on,
            level_there_db=level,
            worst_sum_db=abs(largest_sum_change(before.frequency_hz, self._sum_db, sum_db).change),
        )


@dataclass(frozen=True, eq=False)
class _Solved:
    """The reference on a grid, with its drivers there."""

    speaker: Speaker
    solution: Solution
    ohm: Mapping[str, Complex]

    @classmethod
    def of(cls, speaker: Speaker, design: Network, frequency_hz: Float) -> _Solved:
        ohm = speaker.impedances_ohm(design, frequency_hz)
        return cls(speaker, solve(design, frequency_hz, ohm), ohm)

    def with_(self, network: Network) -> Solution:
        """Another network on the same grid."""
        f = self.solution.frequency_hz
        known = set(network.driver_names) <= set(self.ohm)
        return solve(network, f, self.ohm if known else self.speaker.impedances_ohm(network, f))

    def like(self, there: Solution) -> Mapping[str, Complex]:
        """Its drives under the reference's keys, where they can be compared."""
        return drives_like(self.solution.network, self.solution.drive, there.network, there.drive)


def _reach(frequency_hz: Float, known: NDArray[np.bool_]) -> tuple[float, float]:
    """The band, or what is known of it."""
    reached = frequency_hz[known]
    return (float(reached[0]), float(reached[-1])) if reached.size else (math.nan, math.nan)


@dataclass(frozen=True)
class DampingChange:
    """Resistance seen by a driver at its resonance, in the reference and in the new network.

    Attributes
    ----------
    before_ohm, after_ohm : real part of the network's output impedance at the driver's resonance.
    q_ratio : Q_es, and nearly Q_tc, after over before: (Re + after) / (Re + before).
    level_db : change of the level well above resonance, into the driver's DC resistance.
    """

    driver: str
    resonance_hz: float
    before_ohm: float
    after_ohm: float
    q_ratio: float
    level_db: float

    @property
    def worth_saying(self) -> bool:
        """Whether the damping moves by 2 % or more."""
        return abs(self.q_ratio - 1.0) >= WORTH_SAYING

    @property
    def sentence(self) -> str:
        """What it does."""
        up = "rises" if self.q_ratio > 1 else "falls"
        return (
            f"{self.driver}: {self.before_ohm:.2f} ohm in front of it becomes {self.after_ohm:.2f} ohm: its electrical "
            f"Q in the cabinet {up} by {abs(self.q_ratio - 1) * 100:.0f} % "
            f"({written('resonance', self.resonance_hz, self.driver)}) "
            f"and its level moves by {self.level_db:+.2f} dB"
        )


def damping_changes(speaker: Speaker, reference: Network, network: Network) -> tuple[DampingChange, ...]:
    """For every driver that stands once and has a resonance below 300 Hz; others are left out."""
    out = []
    for card in reference.drivers:
        if sum(d.driver == card.driver for d in reference.drivers) > 1:
            continue
        resonance = _resonance(speaker.drivers[card.driver])
        if resonance is None:
            continue
        fs, re = resonance
        before, after = (_output_ohm(speaker, n, card.driver, card.key, fs) for n in (reference, network))
        if math.isnan(before) or math.isnan(after):
            continue
        ratio = (re + after) / (re + before)
        out.append(DampingChange(card.key, fs, before, after, ratio, -20.0 * math.log10(ratio)))
    return tuple(out)


def _resonance(driver: SpeakerDriver) -> tuple[float, float] | None:
    """(resonance, DC resistance: as told, else the lowest real part below 1 kHz)."""
    peak = driver_resonance_hz(driver)
    if not peak <= TWEETER_FS_HZ:
        return None
    z = driver.impedance_ohm(log_grid(AUDIO_BAND_HZ[0], 1000.0, 48))
    re = driver.re_ohm if driver.re_ohm is not None else float(np.nanmin(z.real))
    return (peak, re) if re > 0.0 else None


def _output_ohm(speaker: Speaker, network: Network, driver: str, key: str, at_hz: float) -> float:
    """Real part of what the driver sees looking back into the network: from two loads, H Z_th + H Z = H_open Z."""
    f = np.array([at_hz])
    ohm = speaker.impedances_ohm(network, f)
    loads = (4.0, 40.0)
    first, second = (solve(network, f, ohm | {driver: np.array([load], dtype=complex)}).drive[key][0] for load in loads)
    top = loads[0] * loads[1] * (second - first)
    bottom = first * loads[1] - second * loads[0]
    return float((top / bottom).real) if bottom != 0 else math.nan


class Policy(StrEnum):
    """Which old parts must go whatever they measure."""

    NEEDED = "needed"
    """None: what has moved by what is heard may go; what wears out and was not measured goes."""
    WORN = "worn"
    """Kinds that wear out: electrolytic and paper capacitors."""
    ALL = "all"


@dataclass(frozen=True, eq=False)
class Exchanged:
    """One place of the network: the old part, what stands there afterwards, and why.

    Attributes
    ----------
    part : the old part's name. old, design, fitted : in words; old is None where it was not measured.
    stays : whether the old part remains.
    old_effect_db : largest change of any driver's level, where its drive lies within 20 dB of its highest, if this
        old part alone stays and all else is as in the reference; NaN where it was not measured.
    old_effect_at_hz : where. old_effect_on : driver's key.
    told : the verdict; named : whether it says of which part it is.
    """

    part: str
    kind: PartKind
    design: str
    old: str | None
    fitted: str
    stays: bool
    old_effect_db: float
    old_effect_at_hz: float
    old_effect_on: str
    told: str
    named: bool

    @property
    def sentence(self) -> str:
        """The verdict with the part's name."""
        return self.told if self.named else f"{self.part}: {self.told}"

    def plain(self) -> dict[str, Any]:
        """Its fields, the verdict as a sentence."""
        return fields_of(self, told=None, named=None) | {"sentence": self.sentence}


@dataclass(frozen=True, eq=False, repr=False)
class Step(Readable):
    """The nearest network that so many bought parts attain, one speaker; of a pair, the worse of both.

    Attributes
    ----------
    nominal_db : largest change of any drive from the reference, every part of its marked value.
    built_db : what half of all builds keep to, bought parts anywhere within their tolerance; old parts that stay are
        as they were measured. matched_db : the same of parts that were measured and picked within 1 %.
    exchanged : in the order of the reference's cards.
    """

    parts: int
    nominal_db: float
    built_db: float
    matched_db: float
    network: Network
    exchanged: tuple[Exchanged, ...]
    bill: Bill

    @property
    def cost(self) -> float | None:
        """Of one speaker; None where nothing has a price."""
        return self.bill.cost

    @property
    def words(self) -> str:
        """What is fitted, by part."""
        return "; ".join(f"{e.part}: {e.fitted}" for e in self.exchanged if not e.stays) or "nothing is bought"

    def plain(self) -> dict[str, Any]:
        """Its figures, its words and its netlist."""
        return some_of(self, "parts nominal_db built_db matched_db cost words", netlist=netlist_text(self.network))


@dataclass(frozen=True, eq=False, repr=False)
class Mate(Readable):
    """The other speaker of the pair, built alike.

    Attributes
    ----------
    refreshed, before : differences from the reference; before is None where it was not measured.
    pairs : new part's name and the two pieces of the list that stand for it, one in each speaker.
    """

    title: str
    found: str | None
    refreshed: Difference
    before: Difference | None
    network: Network
    exchanged: tuple[Exchanged, ...]
    pairs: tuple[tuple[str, tuple[StockItem, StockItem]], ...]

    @property
    def netlist(self) -> str:
        """As the text of a netlist."""
        return netlist_text(self.network)

    def plain(self) -> dict[str, Any]:
        """Its figures and its netlist."""
        return some_of(
            self,
            "title found netlist",
            pairs=[{"part": name, "values": [i.value for i in pieces]} for name, pieces in self.pairs],
            worst_drive_difference_db=self.refreshed.worst_db,
            before_drive_difference_db=None if self.before is None else self.before.worst_db,
            parts=self.exchanged,
        )


@dataclass(frozen=True, eq=False, repr=False)
class RefreshStudy(Warned):
    """A like-for-like refresh of one network.

    Attributes
    ----------
    found : name of the network as it is, None if there is none. reference : name of the one whose voicing is kept.
    frequency_hz : (n,). band_hz : where the difference counts, as far as the drivers are known.
    thin : drivers whose drive is known in too little of the band to be held to anything.
    frontier : by rising number of bought parts, each nearer than those before. pick : index of the one to build.
    tolerance_db : what the pick may differ by, every part of its marked value; asked : whether that was given.
    refreshed, naive, before : differences of the pick, of the plain swap (worn parts by the nearest value, all else
        kept), and of today's network, None without `found`.
    naive_network : the plain swap.
    exchanged : of the pick, in the order of the reference's cards.
    mate : the other speaker, where both are refreshed in one.
    rewired : whether today's board is another circuit than the reference's with old parts.
    """

    title: str
    found: str | None
    reference: str
    source: str
    tolerance_db: float
    asked: bool
    band_hz: tuple[float, float]
    thin: tuple[str, ...]
    frequency_hz: Float
    frontier: tuple[Step, ...]
    pick: int
    refreshed: Difference
    naive: Difference
    before: Difference | None
    naive_network: Network
    naive_bill: Bill
    mate: Mate | None
    rewired: bool
    damping: tuple[DampingChange, ...]
    headline: str
    warnings: tuple[str, ...]

    @property
    def every_drive(self) -> str:
        """Of which drives the largest change is told, in words."""
        return f"every drive but that of {and_words(self.thin)}, which is not known," if self.thin else "every drive"

    @property
    def picked(self) -> Step:
        """The step to build."""
        return self.frontier[self.pick]

    @property
    def network(self) -> Network:
        """What is built."""
        return self.picked.network

    @property
    def exchanged(self) -> tuple[Exchanged, ...]:
        """What is done at each place."""
        return self.picked.exchanged

    @property
    def bill(self) -> Bill:
        """What is bought."""
        return self.picked.bill

    @property
    def held(self) -> bool:
        """Whether every drive stays within the tolerance, of both speakers where there is a mate."""
        return self.picked.nominal_db <= self.tolerance_db

    @property
    def netlist(self) -> str:
        """The refreshed network as the text of a netlist."""
        return netlist_text(self.network)

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, with more under names of its own."""
        return some_of(
            self,
            "title found reference headline netlist tolerance_db band_hz damping source frequency_hz warnings frontier",
            picked=self.pick,
            tolerance_held=self.held,
            worst_drive_difference_db=self.refreshed.worst_db,
            worst_drive_at_hz=self.refreshed.at_hz,
            naive_drive_difference_db=self.naive.worst_db,
            naive_netlist=netlist_text(self.naive_network),
            before_drive_difference_db=None if self.before is None else self.before.worst_db,
            bill=self.bill.lines,
            cost=self.bill.cost,
            cost_for_pair=self.bill.cost_for_pair,
            naive_cost=self.naive_bill.cost,
            parts=self.exchanged,
            mate=self.mate,
            differences={"before": self.before, "refreshed": self.refreshed, "naive": self.naive},
        )
