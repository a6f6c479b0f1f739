"""Where to mount the coils: what stray coupling between them does to every driver, to the sum and to the load."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import permutations, product
from typing import Any, Final

import numpy as np

from xover.acoustic.level import level_db
from xover.curve import Complex, Float
from xover.errors import OptionError, named
from xover.network import Network, Solution, solve
from xover.network.faults import topology_faults
from xover.network.open_impedance import couple_pair
from xover.parts.kinds import PartKind, kind_of
from xover.parts.placement import Arrangement, keep_apart
from xover.parts.wire import Winding
from xover.plain import fields_of
from xover.quantity import hertz
from xover.readable import Readable, Warned
from xover.rules.audibility import REPEATS_DB
from xover.rules.bands import CHANGES_HZ, LEAST_KNOWN_OF_CHANGE
from xover.rules.budgets import hold
from xover.sound.change import Rows, Worst, band_rows, change_db, difference_db, known_share, largest, near_highest
from xover.sound.prediction import sound_of
from xover.sound.sums import Listener, known_level_db, listener
from xover.speaker import Speaker
from xover.studies.bears.crosstalk.stray import Couple, Stray, checked_couples, open_pairs, stray_cards, with_strays

CLOSEST: Final = 0.5
"""Couplings are tried up to this; air coils laid against each other stay below it."""
EXAMPLE_COIL: Final = Winding(0.0125, 0.0275, 0.020, 100.0)
"""25 mm inside, 55 mm outside, 20 mm long: the size of a common air coil, to turn a coupling into millimetres."""


@dataclass(frozen=True)
class DriveEffect:
    """What coupling does to one drive.

    Attributes
    ----------
    pass_band : largest change where the drive lies within 20 dB of its highest, dB.
    stop_band : largest rise where it lies lower, dB; zero where nothing rises, NaN where it has no stop band.
    stop_before_db, stop_after_db : the drive there, re the amplifier.
    floor_before_db, floor_after_db : lowest drive in the stop band.
    """

    key: str
    pass_band: Worst
    stop_band: Worst
    stop_before_db: float
    stop_after_db: float
    floor_before_db: float
    floor_after_db: float


@dataclass(frozen=True, eq=False, repr=False)
class CoupledCase(Readable):
    """One set of signs of the given couplings.

    Attributes
    ----------
    total : largest change of the sum in its band, dB. total_db : (n,) that change at all frequencies.
    load : largest change of each channel's impedance, per cent.
    drive_db : (n,) the drives with the coupling, by key, re the amplifier.
    stray_db : (n,) the voltage that the coupling alone adds to each drive, re the amplifier; -inf where it adds none.
    """

    couples: tuple[Couple, ...]
    drive: tuple[DriveEffect, ...]
    total: Worst
    total_db: Float
    load: Mapping[str, Worst]
    drive_db: Mapping[str, Float]
    stray_db: Mapping[str, Float]


@dataclass(frozen=True)
class PairLimit:
    """How much coupling two coils may have.

    Attributes
    ----------
    k_positive, k_negative : least coupling of each sign (negative below zero) that changes the sum by the limit; None
        where none up to 0.5 does.
    at_hz : where, for the smaller one. NaN where neither does.
    apart_m : centre distance from which two air coils of the example's size side by side stay below the smaller;
        None where they may touch.
    cored : those of the two that are not said to be air coils: distances then say nothing.
    carried : pairs that the coupling reaches too, as a K card of the network ties their coils to these.
    known : False where neither sign reaches the limit in what is known, and too little is known for that to stand.
    """

    first: str
    second: str
    k_positive: float | None
    k_negative: float | None
    at_hz: float
    apart_m: float | None
    cored: tuple[str, ...]
    carried: tuple[str, ...]
    known: bool = True

    @property
    def name(self) -> str:
        """Both coils."""
        return f"{self.first}:{self.second}"

    @property
    def smaller(self) -> float:
        """The coupling to stay below whatever its sign; infinite where none matters."""
        return min((abs(k) for k in (self.k_positive, self.k_negative) if k is not None), default=math.inf)


@dataclass(frozen=True, eq=False, repr=False)
class Crosstalk(Warned):
    """Answer of `study_crosstalk`.

    Attributes
    ----------
    judged_by : what the limit is held against: "sum", "highest sum that any timing allows", or "drives" where the
        sound is not known.
    cases : the given couplings with all combinations of signs; empty without any.
    drive_db : (n,) the drives without stray coupling, by key, re the amplifier.
    pairs : limits, the pair that allows least first.
    at_limit : the pair that allows least with the coupling that it may just have; None where none matters, and where
        couplings are given.
    skipped : pairs that a K card couples already; it stays as it is.
    """

    title: str
    network: str
    frequency_hz: Float
    limit_db: float
    judged_by: str
    drive_db: Mapping[str, Float]
    cases: tuple[CoupledCase, ...]
    pairs: tuple[PairLimit, ...]
    at_limit: CoupledCase | None
    skipped: tuple[str, ...]
    warnings: tuple[str, ...]

    def plain(self) -> dict[str, Any]:
        """All of it, with the cases' drives by key."""
        own = fields_of(self, unsafe=None)
        own["cases"] = [_plain_case(case) for case in self.cases]
        own["at_limit"] = None if self.at_limit is None else _plain_case(self.at_limit)
        return own | {"sum_band_hz": CHANGES_HZ, "example_coil": EXAMPLE_COIL}


def _plain_case(case: CoupledCase) -> dict[str, Any]:
    return {
        "couplings": case.couples,
        "drive": {d.key: d for d in case.drive},
        "sum": {"worst": case.total, "change_db": case.total_db},
        "load_percent": case.load,
        "curves": {key: {"with_db": case.drive_db[key], "stray_db": case.stray_db[key]} for key in case.drive_db},
    }


@dataclass(frozen=True, eq=False)
class _Uncoupled:
    """A network without stray coupling, and what others are compared by."""

    network: Network
    frequency_hz: Float
    driver_ohm: Mapping[str, Complex]
    base: Solution
    listener: Listener
    base_db: Float
    band: Rows

    def total_db(self, drive: Mapping[str, Complex]) -> Float:
        """(k, n) change of the sum for drives (k, n) or (n,) by key."""
        drives = {key: np.atleast_2d(value) for key, value in drive.items()}
        return difference_db(self.base_db, self.listener.levels_db(drives))

    def judged_db(self, drive: Mapping[str, Complex]) -> Float:
        """(k, n) the change that the limit is held against: of the sum, or of the drive that moves most."""
        if self.knows_sum:
            return np.where(self.band, self.total_db(drive), np.nan)
        moved = []
        for key, value in drive.items():
            rows = near_highest(self.base.drive[key])
            moved.append(np.where(rows, change_db(self.base.drive[key], np.atleast_2d(value)), 0.0))
        stacked = np.nan_to_num(np.stack(moved))
        most = np.argmax(np.abs(stacked), axis=0)
        return np.asarray(np.take_along_axis(stacked, most[None], axis=0)[0])

    @property
    def knows_sum(self) -> bool:
        """Whether the sum is known in enough of its band."""
        return known_share(self.base_db, self.band) >= LEAST_KNOWN_OF_CHANGE

    @property
    def thin(self) -> tuple[str, ...]:
        """Drivers whose drive is known in too little of the band for a change of it to be missed nowhere."""
        if self.knows_sum:
            return ()
        drives = self.base.drive.items()
        return tuple(k for k, d in drives if known_share(np.abs(d), self.band) < LEAST_KNOWN_OF_CHANGE)


def study_crosstalk(
    speaker: Speaker,
    network_name: str,
    frequency_hz: Float,
    couples: Sequence[Couple] = (),
    *,
    limit_db: float = REPEATS_DB,
) -> Crosstalk:
    """What coupling between coils does, by the ordinary solve with K cards added.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    couples : couplings to try together, each with both signs as winding senses are seldom known; at most six. Without
        any, only the limits are worked out, for all pairs of coils.
    limit_db : change of the sum, above zero, that the limits are for.

    Raises OptionError: a coil that is not there, a pair given twice or coupled by a K card already, |k| of 0 or above
    1, couplings that cannot all be. InputError, NoSolutionError: as for `predict`.
    """
    if not (math.isfinite(limit_db) and limit_db > 0):
        raise OptionError(f"a limit of {limit_db:g} dB makes no sense", "give one above zero, such as 0.1")
    sound = sound_of(speaker, network_name, frequency_hz)
    network = sound.network
    given = checked_couples(network, couples)
    hears = listener(speaker, sound, sound.total.coherent)
    base = {key: np.atleast_2d(value) for key, value in sound.solution.drive.items()}
    bench = _Uncoupled(
        network,
        frequency_hz,
        speaker.impedances_ohm(network, frequency_hz),
        sound.solution,
        hears,
        np.where(np.isfinite(known_level_db(sound)), hears.levels_db(base)[0], np.nan),
        band_rows(frequency_hz),
    )
    pairs: list[PairLimit] = []
    carried: set[str] = set()
    tried = [(c.first, c.second) for c in given] or open_pairs(network)
    hold(
        f"{len(tried)} pairs of coils with {len(network.drivers)} drivers at {frequency_hz.size} frequencies",
        f"name the pairs that are mounted near each other ({named('couples')}), or take fewer frequencies",
        seconds=len(tried) * frequency_hz.size * (0.1e-3 + 4e-6 * len(network.drivers)),
    )
    for first, second in tried:
        if given or f"{first}:{second}" not in carried:
            pairs.append(_limit(bench, first, second, limit_db))
            carried |= {f"{a}:{b}" for name in pairs[-1].carried for a, b in permutations(name.split(":"))}
    pairs.sort(key=lambda pair: pair.smaller)
    judged = "sum" if sound.total.coherent else "highest sum that any timing allows"
    return Crosstalk(
        title=speaker.title,
        network=network_name,
        frequency_hz=frequency_hz,
        limit_db=limit_db,
        judged_by=judged if bench.knows_sum else "drives",
        drive_db={key: level_db(drive) for key, drive in sound.solution.drive.items()},
        cases=_cases(bench, given),
        pairs=tuple(pairs),
        at_limit=None if given or not pairs else _at_limit(bench, pairs[0]),
        skipped=tuple(f"{network.part(c.first).name}:{network.part(c.second).name}" for c in network.couplings),
        warnings=_warnings(network, pairs, bench.thin, sound.timing_reason if not sound.total.coherent else None),
    )


def _cases(bench: _Uncoupled, couples: tuple[Couple, ...]) -> tuple[CoupledCase, ...]:
    """All combinations of signs, solved at once."""
    if not couples:
        return ()
    signed = [
        tuple(replace(c, k=sign * abs(c.k)) for c, sign in zip(couples, signs, strict=True))
        for signs in product((1.0, -1.0), repeat=len(couples))
    ]
    return _solved(bench, signed)


def _at_limit(bench: _Uncoupled, pair: PairLimit) -> CoupledCase | None:
    """A pair with the smaller of its two limits; None where neither sign has one."""
    known = [k for k in (pair.k_positive, pair.k_negative) if k is not None]
    if not known:
        return None
    return _solved(bench, [(Couple(pair.first, pair.second, min(known, key=abs)),)])[0]


def _solved(bench: _Uncoupled, signed: Sequence[tuple[Couple, ...]]) -> tuple[CoupledCase, ...]:
    """Couplings of the same pairs, solved at once. Raises OptionError for those that cannot all be."""
    strays = stray_cards(bench.network, signed[0])
    networks = [with_strays(bench.network, strays, [c.k for c in chosen]) for chosen in signed]
    for network in networks:
        fault = next(topology_faults(network), None)
        if fault is not None:
            raise OptionError(fault.problem, "give smaller couplings")
    values = {s.card: np.array([chosen[s.couple].k * s.factor for chosen in signed]) for s in strays}
    solution = solve(networks[0], bench.frequency_hz, bench.driver_ohm, values)
    total = bench.total_db(solution.drive)
    return tuple(
        CoupledCase(
            couples=chosen,
            drive=tuple(_drive_effect(bench, key, drive[i]) for key, drive in solution.drive.items()),
            total=largest(bench.frequency_hz, total[i], bench.band),
            total_db=total[i],
            load={
                name: _percent(bench.frequency_hz, z[i], bench.base.impedance_ohm[name])
                for name, z in solution.impedance_ohm.items()
            },
            drive_db={key: level_db(drive[i]) for key, drive in solution.drive.items()},
            stray_db={key: level_db(drive[i] - bench.base.drive[key]) for key, drive in solution.drive.items()},
        )
        for i, chosen in enumerate(signed)
    )


def _drive_effect(bench: _Uncoupled, key: str, drive: Complex) -> DriveEffect:
    f, base = bench.frequency_hz, bench.base.drive[key]
    passing = near_highest(base)
    stopping = ~passing & np.isfinite(base)
    change = change_db(base, drive)
    before, after = level_db(base), level_db(drive)
    if not stopping.any():
        lost = (math.nan, math.nan)
        return DriveEffect(key, largest(f, change, passing), Worst(*lost), *lost, *lost)
    rise = largest(f, np.maximum(change, 0.0), stopping)
    row = int(np.argmin(np.abs(f - rise.at_hz))) if math.isfinite(rise.at_hz) else None
    return DriveEffect(
        key=key,
        pass_band=largest(f, change, passing),
        stop_band=rise,
        stop_before_db=math.nan if row is None else float(before[row]),
        stop_after_db=math.nan if row is None else float(after[row]),
        floor_before_db=float(before[stopping].min()),
        floor_after_db=float(after[stopping].min()),
    )


def _percent(frequency_hz: Float, now: Complex, then: Complex) -> Worst:
    with np.errstate(invalid="ignore"):
        change = 100.0 * (np.abs(now) / np.abs(then) - 1.0)
    return largest(frequency_hz, change, np.isfinite(change))


def _limit(bench: _Uncoupled, first: str, second: str, limit_db: float) -> PairLimit:
    """The least coupling of each sign that changes the sum by the limit."""
    strays = stray_cards(bench.network, [Couple(first, second, 0.0)])
    drives = _drives_of(bench, strays)
    found = {sign: _crossing(bench, strays, drives, sign, limit_db) for sign in (1.0, -1.0)}
    known = [pair for pair in found.values() if pair is not None]
    least = min(known, key=lambda pair: abs(pair[0]), default=None)
    coils = [bench.network.part(n) for n in (first, second)]
    cored = tuple(c.name for c in coils if kind_of(c) is not PartKind.AIR_COIL)
    return PairLimit(
        first=first,
        second=second,
        k_positive=None if found[1.0] is None else found[1.0][0],
        k_negative=None if found[-1.0] is None else found[-1.0][0],
        at_hz=math.nan if least is None else least[1],
        apart_m=None if least is None else example_distance_m(abs(least[0])),
        cored=cored,
        carried=tuple(f"{s.first}:{s.second}" for s in strays[1:]),
        known=least is not None or not bench.thin,
    )


def _drives_of(bench: _Uncoupled, strays: Sequence[Stray]) -> Callable[[Float], Mapping[str, Complex]]:
    """What gives the drives for (k,) couplings: in closed form for a pair that carries no others along."""
    if len(strays) > 1:
        network = with_strays(bench.network, strays, [0.0])

        def solved(couplings: Float) -> Mapping[str, Complex]:
            values = {s.card: s.factor * couplings for s in strays}
            return solve(network, bench.frequency_hz, bench.driver_ohm, values).drive

        return solved
    (one,) = strays
    pair = couple_pair(bench.base, one.first, one.second)
    coils = [c.henry for c in bench.network.coils if c.name in (one.first, one.second)]
    ohm = 2j * np.pi * bench.frequency_hz * math.sqrt(coils[0] * coils[1])
    return lambda couplings: pair.drives(couplings[:, None] * ohm)


def _crossing(
    bench: _Uncoupled,
    strays: Sequence[Stray],
    drives: Callable[[Float], Mapping[str, Complex]],
    sign: float,
    limit_db: float,
) -> tuple[float, float] | None:
    """(k, Hz) of the least coupling of one sign that reaches the limit, to 1e-3 of itself; None up to 0.5."""

    def moved(couplings: Float) -> Float:
        return np.abs(np.nan_to_num(bench.judged_db(drives(sign * couplings))))

    low, tried = 0.0, np.geomspace(1e-4, CLOSEST, 24)
    at_hz = math.nan
    for _ in range(3):
        changes = moved(tried)
        over = np.flatnonzero(changes.max(axis=1) >= limit_db)
        if over.size == 0:
            return None
        row = int(over[0])
        at_hz = float(bench.frequency_hz[int(np.argmax(changes[row]))])
        high = float(tried[row])
        low = float(tried[row - 1]) if row else low
        tried = np.append(low + (high - low) * np.arange(1, 24) / 24, high)
    if next(topology_faults(with_strays(bench.network, strays, [sign * high])), None) is not None:
        return None  # coils that share a mate cannot couple as much
    return sign * high, at_hz


def example_distance_m(k: float) -> float | None:
    """Centre distance from which two of the example's coils, side by side, couple less than k; None if always."""
    from xover.parts.inductance import section_h

    henry = section_h(EXAMPLE_COIL)
    apart = keep_apart(EXAMPLE_COIL, EXAMPLE_COIL, Arrangement.SIDE_BY_SIDE, henry, henry, min(k, 1.0))
    return None if apart.gap_m == 0 else apart.distance_m


def _warnings(network: Network, pairs: Sequence[PairLimit], thin: Sequence[str], timing: str | None) -> tuple[str, ...]:
    said = []
    if not pairs:
        word = {0: "no coil", 1: "1 coil and no pair that is not coupled already"}
        said.append(f"the network has {word.get(len(network.coils), 'no pair of coils that is not coupled already')}")
    if thin and pairs:
        said.append(
            f"the drive of {', '.join(thin)} is known in less than half of {hertz(CHANGES_HZ[0])} to "
            f"{hertz(CHANGES_HZ[1])}: beyond that coupling may do more; sweep the impedance over all of it"
        )
    cored = dict.fromkeys(name for pair in pairs for name in pair.cored)
    if cored:
        said.append(
            f"{', '.join(cored)}: not said to be air coils (core=air); a core bundles or spreads the field, so measure "
            "their coupling instead of a distance"
        )
    if timing is not None:
        said.append(f"changes are of the highest sum that any timing allows: {timing}")
    return tuple(said)
