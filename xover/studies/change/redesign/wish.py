"""What is wanted of a redesign, and the goal that it makes on a grid with what is known of the speaker."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import level_db
from xover.acoustic.off_axis import axis_factor
from xover.acoustic.summing import ABSENT_DB, make_branch
from xover.curve import Complex, Float
from xover.electronic.biquad import Slope, band_pass, parse_slope
from xover.errors import OptionError, named, nearest_word
from xover.network import DriverCard, Network, Solution, solve
from xover.rules.bands import AUDIO_BAND_HZ, JUDGED_HZ, LEAST_KNOWN_OF_CHANGE, PLAYS_WITHIN_DB
from xover.rules.margins import EPDR_FLOOR_SHARE, MORE_DB, QUIET_DB, RESONANCE_RATIO, RESONANCE_RATIO_FIRST_ORDER
from xover.sound.meeting import WayOfDrivers, ways
from xover.sound.prediction import RESPONSE_DISTANCE_M, card_response
from xover.sound.resonance import driver_resonance_hz
from xover.sound.sums import sum_level_db
from xover.speaker import Speaker
from xover.studies.change.redesign.goal import Goal, SlopeTable, mean_level_db


@dataclass(frozen=True)
class Weights:
    """What a decibel of each kind counts; all means of squares, so that a weight of 1 compares dB with dB.

    The defaults are a judgement, not a standard: the sum first, then drivers that work together.

    Attributes
    ----------
    total : deviation of the sum from its target.
    together : what the sum lacks of drivers that were in phase everywhere.
    slopes : deviation of each driver's own sound from its slope.
    off_axis : deviation of the sum at vertical angles from the same target.
    level : every decibel of mean level lost beyond `Wish.may_lose_db`.
    load : per cent below the lowest load, and below the lowest EPDR, at each frequency.
    below_resonance : decibels by which a tweeter is driven harder below its resonance than it may be.
    """

    total: float = 1.0
    together: float = 0.4
    slopes: float = 0.1
    off_axis: float = 0.1
    level: float = 1.0
    load: float = 1.0
    below_resonance: float = 1.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not (math.isfinite(value) and value >= 0):
                raise OptionError(f"the weight {name} is {value:g}", "give weights of 0 or more")


@dataclass(frozen=True)
class Wish:
    """The target of a redesign.

    Attributes
    ----------
    band_hz : where the sum counts.
    tilt_db_per_octave : of the target; negative falls towards the treble.
    voicing : network whose sum is the target instead of a straight line, or None.
    slope : acoustic slope of the drivers, such as "LR4"; None leaves it open.
    crossover_hz : corner frequencies, rising, or None to find them.
    may_lose_db : mean level that may be given up against the present network.
    minimum_load_ohm, epdr_floor_ohm : of the amplifier; None where nothing is said. The floor is by default the EPDR
        of the lowest load at 45 degrees.
    angles_deg : vertical angles at which the sum counts too.
    most_parts, most_cost, largest_coil_h : bounds, None for none.
    """

    band_hz: tuple[float, float] = JUDGED_HZ
    tilt_db_per_octave: float = 0.0
    voicing: str | None = None
    slope: str | None = "LR4"
    crossover_hz: tuple[float, ...] | None = None
    may_lose_db: float = 3.0
    minimum_load_ohm: float | None = None
    epdr_floor_ohm: float | None = None
    angles_deg: tuple[float, ...] = (-15.0, 15.0)
    most_parts: int | None = None
    most_cost: float | None = None
    largest_coil_h: float | None = None
    weights: Weights = field(default_factory=Weights)

    def __post_init__(self) -> None:
        low, high = self.band_hz
        if not 0 < low < high:
            raise OptionError(f"the band is {low:g} to {high:g} Hz", "give two rising frequencies")
        if not abs(self.tilt_db_per_octave) <= 6.0:
            raise OptionError(f"the tilt is {self.tilt_db_per_octave:g} dB per octave", "give -6 to 6")


def weights_of(given: Weights | Mapping[str, float] | Iterable[tuple[str, float]] | None) -> Weights:
    """The weights, those that are named changed. Raises OptionError."""
    usual = Weights()
    if given is None or isinstance(given, Weights):
        return given or usual
    pairs = list(given.items() if isinstance(given, Mapping) else given)
    known, names = tuple(vars(usual)), [name for name, _ in pairs]
    for name in names:
        if name not in known:
            near = nearest_word(name, known)
            remedy = f"did you mean {near}?" if near else f"write total=1,together=0.4 with {', '.join(known)}"
            raise OptionError(f"{named('weights')} has '{name[:40]}'", remedy)
        if names.count(name) > 1:
            raise OptionError(f"{named('weights')} names {name} twice", "give each weight once")
    return replace(usual, **dict(pairs))


POINTS: Final = 96


def grid() -> Float:
    """(96,) frequencies of the search, 20 Hz to 20 kHz."""
    return np.geomspace(*AUDIO_BAND_HZ, POINTS)


def prepare_goal(
    speaker: Speaker,
    cards: Sequence[DriverCard],
    wish: Wish,
    reference: Network,
    crossover_hz: Sequence[float] | None,
    frequency_hz: Float,
    network: Network | None = None,
    ground: Ground | None = None,
) -> Goal:
    """Make the goal for networks whose drivers stand on `cards`.

    Parameters
    ----------
    reference : the present network: its level, and what its tweeter gets below resonance, are the measure.
    crossover_hz : corner frequencies of the slopes, rising; None leaves the slopes out.
    network : one of those that will be judged: where a driver's impedance is not known, it tells which drives are not.
    ground : what is the same for all networks, where it is known already.

    Raises
    ------
    OptionError : the wish does not fit the speaker.
    """
    f = frequency_hz
    ground = ground or Ground(speaker, wish, reference, f)
    before = ground.before
    names = tuple(dict.fromkeys(c.driver for c in cards))
    response = np.stack([card_response(speaker, c, f) for c in cards])
    known, _ = speaker.timing_is_known(replace(reference, drivers=tuple(cards)))
    band = (f >= wish.band_hz[0]) & (f <= wish.band_hz[1])
    ohm = {name: speaker.drivers[name].impedance_ohm(f) for name in names}
    heard = _heard(cards, ohm, network, f)
    reach = np.isfinite(response) if heard is None else np.isfinite(response) & heard
    has_response = bool(reach[:, band].any(axis=1).all())
    # Where a driver's response does not reach it counts as silent: in the band at least one must be known.
    in_band = band & reach.any(axis=0)
    if heard is not None:
        in_band &= ~_missed(cards, reference, before, response, heard)
    least = max(8.0, LEAST_KNOWN_OF_CHANGE * float(band.sum()))
    has_sum = known and has_response and float(in_band.sum()) >= least
    quiet = np.where(reach, response, 0.0)
    corners = slopes_of(ground, cards, reach if has_response else heard)
    most_drive = _most_drive(speaker, cards, ground)
    goal = Goal(
        frequency_hz=f,
        keys=tuple(c.key for c in cards),
        driver_ohm=ohm,
        response=quiet if has_sum else None,
        magnitude=np.where(reach, np.abs(response), 0.0) if has_response else np.ones(response.shape),
        shape_db=ground.shape_db,
        in_band=in_band if has_sum else band,
        slope_db=np.full(response.shape, np.nan)
        if corners is None or crossover_hz is None
        else corners.level_db(crossover_hz),
        off_axis=_off_axis(speaker, cards, wish, quiet, f) if has_sum else None,
        least_ohm=wish.minimum_load_ohm if wish.minimum_load_ohm is not None else math.nan,
        least_epdr_ohm=_epdr_floor(wish),
        least_level_db=math.nan,
        most_drive_db=most_drive if heard is None else np.where(heard, most_drive, np.nan),
        weights=dict(vars(wish.weights)),
        heard=heard,
    )
    if not has_sum:
        return goal
    same = [d.key for d in reference.drivers if d.driver in names]
    if tuple(same) != goal.keys:
        return goal
    drive = np.stack([before.drive[key] for key in goal.keys])[None]
    level = float(mean_level_db(goal, drive)[0])
    # Of a network that gives nothing there is no level to keep.
    return replace(goal, least_level_db=level - wish.may_lose_db) if math.isfinite(level) else goal


@dataclass(frozen=True, eq=False)
class Ground:
    """What is the same for all networks that are judged alike.

    Attributes
    ----------
    reference : the present network. before : it solved. order : the ways, lowest first. shape_db : (n,) the target.
    """

    speaker: Speaker
    wish: Wish
    reference: Network
    frequency_hz: Float

    @cached_property
    def before(self) -> Solution:
        f = self.frequency_hz
        return solve(self.reference, f, self.speaker.impedances_ohm(self.reference, f))

    @cached_property
    def order(self) -> Sequence[WayOfDrivers]:
        return ways(self.speaker, self.reference, self.frequency_hz)

    @cached_property
    def shape_db(self) -> Float:
        return _shape(self.speaker, self.wish, self.frequency_hz)


def _heard(
    cards: Sequence[DriverCard], ohm: Mapping[str, Complex], network: Network | None, f: Float
) -> NDArray[np.bool_] | None:
    """(c, n) where each drive is known; None where all are."""
    if all(np.isfinite(z).all() for z in ohm.values()):
        return None
    if network is None:
        return np.stack([np.isfinite(ohm[c.driver]) for c in cards])
    drive = solve(network, f, ohm).drive
    return np.stack([np.isfinite(drive[c.key]) for c in cards])


def _missed(
    cards: Sequence[DriverCard], reference: Network, before: Solution, response: Complex, heard: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """(n,) where a drive is not known, and the driver does not lie far below the others where it last is."""
    own = {d.driver: before.drive[d.key] for d in reversed(reference.drivers)}
    with np.errstate(invalid="ignore"):
        level = level_db(np.stack([own[c.driver] for c in cards]) * response)
    known = np.isfinite(level) & heard
    top = np.max(np.where(known, level, -np.inf), axis=0)
    out = np.zeros(top.shape, dtype=bool)
    for row in range(len(cards)):
        there = np.flatnonzero(known[row])
        if there.size == 0:
            return np.ones(top.shape, dtype=bool)
        near = there[np.argmin(np.abs(there[:, None] - np.arange(top.size)), axis=0)]
        out |= ~heard[row] & (level[row, near] > top[near] - ABSENT_DB)
    return out


def _shape(speaker: Speaker, wish: Wish, f: Float) -> Float:
    straight = wish.tilt_db_per_octave * np.log2(f / 1000.0)
    if wish.voicing is None:
        return np.asarray(straight)
    network = speaker.network(wish.voicing)
    level = sum_level_db(speaker, network, solve(network, f, speaker.impedances_ohm(network, f)))
    if not np.isfinite(level).any():
        raise OptionError(
            f"the sum of '{wish.voicing}' is not known, so it cannot be the target", f"leave {named('voicing')} out"
        )
    known = np.isfinite(level)
    return np.asarray(straight + np.interp(np.log(f), np.log(f[known]), level[known]))


def _epdr_floor(wish: Wish) -> float:
    if wish.epdr_floor_ohm is not None:
        return wish.epdr_floor_ohm
    return math.nan if wish.minimum_load_ohm is None else wish.minimum_load_ohm * EPDR_FLOOR_SHARE


@dataclass(frozen=True, eq=False)
class Slopes:
    """What each driver's own sound should be against the target, whatever the corner frequencies.

    Attributes
    ----------
    places : (c,) number of the way that each driver card belongs to. counted : (c, n) where it counts.
    low_hz, high_hz : (w,) where a corner may lie: safe for the driver above it, within what the one below it plays.
    """

    slope: Slope
    places: tuple[int, ...]
    counted: NDArray[np.bool_]
    frequency_hz: Float
    low_hz: Float
    high_hz: Float

    def level_db(self, corners_hz: Sequence[float] | Float) -> Float:
        """(c, n) for corners (w,); NaN where it does not count."""
        at, low_pass, high_pass = _sides(self.slope.name)
        edges = (math.nan, *(float(c) for c in corners_hz), math.nan)
        out = np.zeros((len(self.places), self.frequency_hz.size))
        for row, way in zip(out, self.places, strict=True):
            for edge, side in ((edges[way], high_pass), (edges[way + 1], low_pass)):
                if not math.isnan(edge):
                    row += np.interp(self._log_f - math.log(edge), at, side)
        return np.where(self.counted, out, np.nan)

    @cached_property
    def _log_f(self) -> Float:
        return np.asarray(np.log(self.frequency_hz))

    @cached_property
    def table(self) -> SlopeTable:
        """All that a corner may be, coarsely."""
        return self._table(self.low_hz, self.high_hz, self._steps)

    @property
    def _steps(self) -> int:
        return _TABLE_STEPS[min(self.low_hz.size, len(_TABLE_STEPS)) - 1]

    def around(self, present_hz: Sequence[float] | None, has_sum: bool) -> Slopes | None:
        """The same with today's corners in reach; without a sum to go by, a third of an octave round them, or none."""
        if not has_sum:
            if present_hz is None:
                return None
            near = np.array(present_hz)
            return replace(self, low_hz=near / _NEAR, high_hz=near * _NEAR)
        if present_hz is None or len(present_hz) < 2:
            return self
        # Below the highest driver, resonances are less of a danger than drivers are few.
        low, high, near = self.low_hz.copy(), self.high_hz.copy(), np.array(present_hz)
        low[:-1], high[:-1] = np.minimum(low, near)[:-1], np.maximum(high, near)[:-1]
        return replace(self, low_hz=low, high_hz=high)

    def nearest(self, present_hz: Sequence[float] | None) -> tuple[float, ...]:
        """Corners within reach that lie nearest to today's; in the middle where there are none."""
        wanted = np.sqrt(self.low_hz * self.high_hz) if present_hz is None else np.array(present_hz)
        return tuple(float(c) for c in np.clip(wanted, self.low_hz, self.high_hz))

    def _table(self, low_hz: Float, high_hz: Float, steps: int) -> SlopeTable:
        axes = [np.geomspace(low, high, steps) for low, high in zip(low_hz, high_hz, strict=True)]
        corners = np.stack([g.ravel() for g in np.meshgrid(*axes, indexing="ij")], axis=1)
        rising = np.all(np.diff(corners, axis=1) > 0, axis=1)
        corners = corners[rising] if rising.any() else corners
        return SlopeTable(corners, np.stack([self.level_db(row) for row in corners]))

    def fitted(self, goal: Goal, drive: Complex) -> Float:
        """(w,) corners that suit drives (c, n) best."""
        table, apart = self.table, (self.high_hz / self.low_hz) ** (1.0 / (self._steps - 1))
        for _ in range(_ZOOMS):
            at = table.corners_hz[table.best(goal, drive[None])[1][0]]
            low = np.clip(at / apart, self.low_hz, self.high_hz * 0.999)
            table = self._table(low, np.clip(at * apart, low * 1.0005, self.high_hz), _ZOOM_STEPS)
            apart = apart ** (2.0 / (_ZOOM_STEPS - 1))
        return np.asarray(table.corners_hz[table.best(goal, drive[None])[1][0]])


@lru_cache(maxsize=8)
def _sides(slope: str) -> tuple[Float, Float, Float]:
    """Logarithms of f over the corner, and the levels of low-pass and high-pass there: good to 0.001 dB."""
    at = np.linspace(-10.0, 10.0, 4001)
    parsed, f = parse_slope(slope), np.exp(at)
    return at, level_db(band_pass(parsed, None, 1.0, f, None)), level_db(band_pass(parsed, 1.0, None, f, None))


_TABLE_STEPS: Final = (25, 11, 6)
_ZOOM_STEPS: Final = 7
_ZOOMS: Final = 2
_NEAR: Final = 2.0 ** (1.0 / 3.0)


def slopes_of(ground: Ground, cards: Sequence[DriverCard], reach: NDArray[np.bool_] | None) -> Slopes | None:
    """The slopes that are wanted; None where none are, or one way plays alone. Raises OptionError: other corners.

    Parameters
    ----------
    reach : (c, n) where each driver is known; None everywhere.
    """
    wish, f = ground.wish, ground.frequency_hz
    if wish.slope is None:
        return None
    order = ground.order
    if wish.crossover_hz is not None and len(wish.crossover_hz) != len(order) - 1:
        raise OptionError(
            f"{len(order)} ways have {len(order) - 1} crossover frequencies, {len(wish.crossover_hz)} were given",
            "give one for each neighbouring pair, rising",
        )
    if len(order) < 2:
        return None
    in_band = (f >= wish.band_hz[0]) & (f <= wish.band_hz[1])
    slope = parse_slope(wish.slope)
    low_hz, high_hz = _corner_limits(ground.speaker, order, slope, f)
    counted = np.broadcast_to(in_band, (len(cards), f.size)) & (True if reach is None else reach)
    return Slopes(
        slope,
        tuple(next(i for i, w in enumerate(order) if c.driver in w.names) for c in cards),
        counted,
        f,
        low_hz,
        high_hz,
    )


def _corner_limits(speaker: Speaker, order: Sequence[WayOfDrivers], slope: Slope, f: Float) -> tuple[Float, Float]:
    """(w,) lowest and highest corners: above the upper driver's resonance, and where both drivers play."""
    low, high = [], []
    for below, above in pairwise(order):
        ratio = RESONANCE_RATIO_FIRST_ORDER if slope.order == 1 else RESONANCE_RATIO
        safe = [ratio * driver_resonance_hz(speaker.drivers[name]) for name in above.names]
        least = max([_plays(speaker, name, f)[0] for name in above.names] + [hz for hz in safe if not math.isnan(hz)])
        most = min(_plays(speaker, name, f)[1] for name in below.names)
        low.append(least)
        # What is safe comes first.
        high.append(max(most, 1.5 * least))
    return np.array(low), np.array(high)


def _plays(speaker: Speaker, name: str, f: Float) -> tuple[float, float]:
    """Where a driver's own response lies within 10 dB of its highest; all of hearing where it is not known."""
    level = level_db(speaker.drivers[name].pressure(f))
    judged = np.isfinite(level) & (f >= JUDGED_HZ[0]) & (f <= JUDGED_HZ[1])
    if not judged.any():
        return AUDIO_BAND_HZ
    loud = f[np.nan_to_num(level, nan=-np.inf) >= level[judged].max() - PLAYS_WITHIN_DB]
    return float(loud[0]), float(loud[-1])


def _off_axis(speaker: Speaker, cards: Sequence[DriverCard], wish: Wish, response: Complex, f: Float) -> Complex | None:
    places = [speaker.drivers[c.driver].place_mm(c.name[1:]) for c in cards]
    if any(p is None for p in places) or not wish.angles_deg:
        return None
    listening = speaker.listening
    distance = listening.distance_m if listening is not None and listening.distance_m else RESPONSE_DISTANCE_M
    rows = []
    for angle in wish.angles_deg:
        factors = []
        for card, place, own in zip(cards, places, response, strict=True):
            branch = make_branch(
                card.key,
                np.ones(f.shape),
                own,
                timing_known=True,
                position_mm=place,
                diameter_mm=speaker.drivers[card.driver].diameter_mm,
            )
            factors.append(axis_factor(f, branch, angle, distance, RESPONSE_DISTANCE_M) * own)
        rows.append(np.stack(factors))
    return np.stack(rows)


def _most_drive(speaker: Speaker, cards: Sequence[DriverCard], ground: Ground) -> Float:
    """The highest way's driver below its resonance: 20 dB down, or a little more than it gets today."""
    f, before, reference = ground.frequency_hz, ground.before, ground.reference
    out = np.full((len(cards), f.size), np.nan)
    highest = ground.order[-1].names
    if len(cards) < 2:
        return out
    for name in highest:
        fs = driver_resonance_hz(speaker.drivers[name])
        today = next((before.drive[d.key] for d in reference.drivers if d.driver == name), None)
        limit = np.full(f.shape, QUIET_DB)
        if today is not None:
            limit = np.fmax(limit, level_db(today) + MORE_DB)
        for row, card in enumerate(cards):
            if card.driver == name:
                out[row] = np.where(f <= fs, limit, np.nan)
    return out
