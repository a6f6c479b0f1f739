"""What is wanted of a redesign, and the goal that it makes on a grid with what is known of the speaker."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from xover.acoustic.level import level_db
from xover.acoustic.off_axis import axis_factor
from xover.acoustic.summing import make_branch
from xover.curve import Complex, Float
from xover.electronic.biquad import band_pass, parse_slope
from xover.errors import OptionError, named, nearest_word
from xover.network import DriverCard, Network, Solution, solve
from xover.rules.bands import AUDIO_BAND_HZ, JUDGED_HZ
from xover.rules.margins import EPDR_FLOOR_SHARE, MORE_DB, QUIET_DB
from xover.sound.meeting import ways
from xover.sound.prediction import RESPONSE_DISTANCE_M, card_response
from xover.sound.resonance import driver_resonance_hz
from xover.sound.sums import sum_level_db
from xover.speaker import Speaker
from xover.studies.change.redesign.goal import Goal, mean_level_db


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
CORNER_STEPS: Final = (2.0 ** (-1 / 3), 2.0 ** (1 / 3))
"""Where no frequency is given, a third of an octave down and up is tried too."""


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
) -> Goal:
    """Make the goal for networks whose drivers stand on `cards`.

    Parameters
    ----------
    reference : the present network: its level, and what its tweeter gets below resonance, are the measure.
    crossover_hz : corner frequencies of the slopes, rising; None leaves the slopes out.

    Raises
    ------
    OptionError : the wish does not fit the speaker.
    """
    f = frequency_hz
    before = solve(reference, f, speaker.impedances_ohm(reference, f))
    names = tuple(dict.fromkeys(c.driver for c in cards))
    response = np.stack([card_response(speaker, c, f) for c in cards])
    known, _ = speaker.timing_is_known(replace(reference, drivers=tuple(cards)))
    band = (f >= wish.band_hz[0]) & (f <= wish.band_hz[1])
    reach = np.isfinite(response)
    has_response = bool(reach[:, band].any(axis=1).all())
    # Where a driver's response does not reach it counts as silent: in the band at least one must be known.
    in_band = band & reach.any(axis=0)
    has_sum = known and has_response and int(in_band.sum()) >= 8
    quiet = np.where(reach, response, 0.0)
    goal = Goal(
        frequency_hz=f,
        keys=tuple(c.key for c in cards),
        driver_ohm={name: speaker.drivers[name].impedance_ohm(f) for name in names},
        response=quiet if has_sum else None,
        magnitude=np.where(reach, np.abs(response), 0.0) if has_response else np.ones(response.shape),
        shape_db=_shape(speaker, wish, f),
        in_band=in_band if has_sum else band,
        slope_db=_slopes(speaker, cards, wish, reference, crossover_hz, f),
        off_axis=_off_axis(speaker, cards, wish, quiet, f) if has_sum else None,
        least_ohm=wish.minimum_load_ohm if wish.minimum_load_ohm is not None else math.nan,
        least_epdr_ohm=_epdr_floor(wish),
        least_level_db=math.nan,
        most_drive_db=_most_drive(speaker, cards, reference, before, f),
        weights=dict(vars(wish.weights)),
    )
    if not has_sum:
        return goal
    same = [d.key for d in reference.drivers if d.driver in names]
    if tuple(same) != goal.keys:
        return goal
    drive = np.stack([before.drive[key] for key in goal.keys])[None]
    return replace(goal, least_level_db=float(mean_level_db(goal, drive)[0]) - wish.may_lose_db)


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


def _slopes(
    speaker: Speaker,
    cards: Sequence[DriverCard],
    wish: Wish,
    reference: Network,
    crossover_hz: Sequence[float] | None,
    f: Float,
) -> Float:
    out = np.full((len(cards), f.size), np.nan)
    if wish.slope is None or crossover_hz is None:
        return out
    order = ways(speaker, reference, f)
    if len(crossover_hz) != len(order) - 1:
        raise OptionError(
            f"{len(order)} ways have {len(order) - 1} crossover frequencies, {len(crossover_hz)} were given",
            "give one for each neighbouring pair, rising",
        )
    slope = parse_slope(wish.slope)
    for row, card in enumerate(cards):
        way = next(i for i, w in enumerate(order) if card.driver in w.names)
        lower = crossover_hz[way - 1] if way > 0 else None
        upper = crossover_hz[way] if way < len(order) - 1 else None
        target = band_pass(slope, lower, upper, f, None)
        out[row] = level_db(target)
        response = card_response(speaker, card, f)
        if np.isfinite(response).any():
            out[row] = np.where(np.isfinite(response), out[row], np.nan)
    in_band = (f >= wish.band_hz[0]) & (f <= wish.band_hz[1])
    return np.where(in_band[None], out, np.nan)


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


def _most_drive(speaker: Speaker, cards: Sequence[DriverCard], reference: Network, before: Solution, f: Float) -> Float:
    """The highest way's driver below its resonance: 20 dB down, or a little more than it gets today."""
    out = np.full((len(cards), f.size), np.nan)
    highest = ways(speaker, reference, f)[-1].names
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
