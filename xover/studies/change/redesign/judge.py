"""All networks by the same readings, on a finer grid than the search's, and how many builds keep a limit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from xover.acoustic.crossover import read_crossovers
from xover.amplifier.stress import rate_part, read_stress
from xover.curve import Float, log_grid
from xover.judge.findings import Finding
from xover.judge.kinds import Fault
from xover.judge.levels import full_voltages
from xover.judge.network import dc_drive
from xover.judge.safety import hazards
from xover.network import Network, Solution, solve
from xover.parts.stock import Bill
from xover.rules.audibility import REPEATS_DB
from xover.rules.margins import AS_FLAT_DB, CREST, NEAR_LIMIT, WOOFER_LOSS_DB
from xover.rules.severity import Severity
from xover.search.builds import Distribution, build_solver, built_values, draw_names, part_spreads, standard_draws
from xover.sound.deviation import sum_deviation
from xover.sound.load import channel_load
from xover.sound.meeting import shallowest_null_db
from xover.sound.prediction import sound_of_network
from xover.sound.sums import sum_level_db
from xover.speaker import Speaker
from xover.studies.change.redesign.goal import Goal, read, score
from xover.studies.change.redesign.result import Judged, Limit, Proposal
from xover.studies.change.redesign.structure import Simpler, simpler
from xover.studies.change.redesign.wish import Ground, Slopes, Wish, prepare_goal, slopes_of
from xover.studies.change.redesign.words import differences

PER_OCTAVE: Final = 48
"""As the commands that predict have it, so that a network has one figure everywhere."""
BUILDS: Final = 500
_NAME: Final = "proposed"
_OVER: Final = (Fault.OVER_RATING, Fault.BURNS)


@dataclass(frozen=True)
class Strength:
    """Limits that a network breaks.

    Attributes
    ----------
    share : the highest share of a rating that a part needs; NaN where not known. weak : parts whose rating is too low,
        or leaves less than the usual margin.
    """

    breaks: tuple[Limit, ...]
    share: float
    weak: tuple[str, ...]


class Judge:
    """All networks by the same readings, on a finer grid than the search."""

    def __init__(
        self, speaker: Speaker, reference: Network, wish: Wish, corners: tuple[float, ...] | None, f: Float
    ) -> None:
        self.speaker, self.reference, self.wish = speaker, reference, wish
        self.frequency_hz = log_grid(float(f[0]), float(f[-1]), PER_OCTAVE)
        self._corners = corners
        self._ground = Ground(speaker, wish, reference, self.frequency_hz)
        self._goals: dict[object, tuple[Goal, Slopes | None]] = {}
        self._judged: dict[object, Judged] = {}
        self._strengths: dict[object, Strength] = {}
        self.goal = self.goals(reference)[0]

    def goals(self, network: Network) -> tuple[Goal, Slopes | None]:
        """The goal for a network's own cards, and the slopes where their corners are open."""
        ends = tuple((p.name, p.a, p.b) for p in network.parts)
        key = (network.drivers, ends if self._goals and self.goal.heard is not None else None)
        if key not in self._goals:
            named, f = self.wish.crossover_hz, self.frequency_hz
            goal = prepare_goal(
                self.speaker, network.drivers, self.wish, self.reference, named, f, network, self._ground
            )
            slopes = None
            if named is None:
                reach = (goal.magnitude > 0) & (True if goal.heard is None else goal.heard)
                slopes = slopes_of(self._ground, network.drivers, reach)
                slopes = None if slopes is None else slopes.around(self._corners, goal.has_sum)
            self._goals[key] = goal, slopes
        return self._goals[key]

    def score(self, network: Network) -> float:
        """Distance of a network from the goal, its slopes where they suit it best; smaller is better."""
        solution = solve(network, self.frequency_hz, self.speaker.impedances_ohm(network, self.frequency_hz))
        return self._score(network, solution)

    def _score(self, network: Network, solution: Solution) -> float:
        goal, slopes = self.goals(network)
        drive = np.stack([solution.drive[key] for key in goal.keys])
        if slopes is not None:
            goal = replace(goal, slope_db=slopes.level_db(slopes.fitted(goal, drive)))
        return float(score(goal, drive[None], solution.impedance_ohm[network.channels[0].name][None])[0])

    def strays_db(self, judged: Judged) -> float:
        """What is compared first: half the range of the sum; without one, how far all that is asked for is missed."""
        return judged.deviation_db if self.goal.has_sum else math.sqrt(judged.score)

    def worth_it(self, before: Judged, proposals: Sequence[Proposal]) -> bool:
        """Whether the pick breaks no limit, and the present network breaks one or is not as flat as the flattest."""
        if proposals[0].breaks:
            return False
        least = min(self.strays_db(p.judged) for p in proposals if not p.breaks)
        return self.strays_db(before) > least + AS_FLAT_DB or self.present_breaks

    @cached_property
    def present_breaks(self) -> bool:
        """Whether the present network breaks a limit."""
        return bool(self.strength(self.reference).breaks)

    def strength(self, network: Network) -> Strength:
        """What a network breaks, by the readings that `load`, `check` and `stress` go by."""
        key = (network.parts, network.drivers)
        if key not in self._strengths:
            self._strengths[key] = self._strength(network, self.judged(network))
        return self._strengths[key]

    def _strength(self, network: Network, judged: Judged) -> Strength:
        breaks: list[Limit] = []
        limit = self.wish.minimum_load_ohm
        if limit is not None and judged.lowest_ohm < limit * (1.0 - NEAR_LIMIT):
            breaks.append(Limit.LOAD)
        said = hazards(self.speaker, _NAME, network)
        loud = any(x.fault is Fault.BELOW_RESONANCE and x.severity is Severity.STOP for x in said)
        if loud or (_is_near(said) and not self._was_near):
            breaks.append(Limit.TWEETER)
        if any(x.fault is Fault.BARE_TWEETER for x in said):
            breaks.append(Limit.DIRECT)
        if self._too_resistive(network):
            breaks.append(Limit.BASS)
        if any(x.fault in _OVER for x in said):
            breaks.append(Limit.RATING)
        weak = tuple(x.part for x in said if x.fault in (*_OVER, Fault.THIN_RATING))
        return Strength(tuple(breaks), self._rating_share(network), weak)

    def _too_resistive(self, network: Network) -> bool:
        lowest = self._ground.order[0].names
        now, today = (bass_loss_db(self.speaker, n, lowest) for n in (network, self.reference))
        return now > max(WOOFER_LOSS_DB, today + REPEATS_DB)

    def bass_coils(self, network: Network) -> tuple[str, ...]:
        """The coils whose resistance the lowest drivers' bass passes."""
        lowest = self._ground.order[0].names
        now = bass_loss_db(self.speaker, network, lowest)
        found = []
        for coil in network.coils:
            parts = tuple(replace(p, dcr_ohm=0.0) if p is coil else p for p in network.parts)
            if bass_loss_db(self.speaker, replace(network, parts=parts), lowest) < now:
                found.append(coil.name)
        return tuple(found)

    @cached_property
    def _was_near(self) -> bool:
        """Whether the tweeter's corner lies near its resonance as it is."""
        return _is_near(hazards(self.speaker, _NAME, self.reference))

    def _rating_share(self, network: Network) -> float:
        """Highest share of a rating that a part needs at the amplifier's full level; NaN where nothing is known."""
        volts = full_voltages(self.speaker, network)
        if len(volts) < len(network.channels) or not network.parts:
            return math.nan
        solution = solve(network, self.frequency_hz, self.speaker.impedances_ohm(network, self.frequency_hz))
        stress = read_stress(solution, {name: v.rms_v for name, v in volts.items()}, CREST)
        ratings = [rate_part(p, stress.of(p.name)) for p in network.parts]
        return max((r.needed / r.said for r in ratings if r is not None and r.said), default=math.nan)

    def idle_part(self, network: Network, names: Sequence[str]) -> Simpler | None:
        """The simpler circuit that comes nearest to the goal, of those as near as this but for 0.1 dB, and as safe."""
        now = self.judged(network)
        reach_db, strays_db = math.sqrt(now.score) + REPEATS_DB, self.strays_db(now) + REPEATS_DB
        found = [(self.score(s.network), number, s) for number, s in enumerate(simpler(network, names))]
        near = sorted((one for one in found if math.sqrt(one[0]) < reach_db), key=lambda one: one[:2])
        broken = set(self.strength(network).breaks) if near else set()
        for merit, _, one in near:
            as_flat = merit < now.score or self.strays_db(self.judged(one.network)) < strays_db
            if as_flat and set(self.strength(one.network).breaks) <= broken:
                return one
        return None

    def judged(self, network: Network) -> Judged:
        """Read one network."""
        key = (network.parts, network.drivers)
        if key not in self._judged:
            self._judged[key] = self._read(network)
        return self._judged[key]

    def _read(self, network: Network) -> Judged:
        goal, f = self.goals(network)[0], self.frequency_hz
        sound = sound_of_network(self.speaker, network, f)
        channel = network.channels[0].name
        level = sum_level_db(self.speaker, network, sound.solution)
        shape = level - goal.shape_db if goal.response is not None else np.full(f.shape, math.nan)
        strays = sum_deviation(f, shape, self.wish.band_hz)
        load = channel_load(self.speaker, sound.solution, channel)
        return Judged(
            score=self._score(network, sound.solution),
            deviation_db=strays.half_range_db,
            rms_db=strays.rms_deviation_db,
            null_depth_db=shallowest_null_db(read_crossovers(f, sound.branches, sound.total.coherent)),
            lowest_ohm=load.minimum_ohm,
            lowest_epdr_ohm=load.lowest_epdr_ohm,
            level_db=sum_deviation(f, level, self.wish.band_hz).mean_db if goal.response is not None else math.nan,
            level_curve_db=level,
        )

    def proposal(
        self,
        name: str,
        circuit: str,
        network: Network,
        before: Judged,
        bill: Bill,
        *,
        note: str,
        limit_db: float,
        seed: int,
        changed: Sequence[str] = (),
        turned: tuple[str, ...] = (),
        corners_hz: tuple[float, ...] = (),
        proved: bool = False,
    ) -> Proposal:
        """A network read and held against the present one, `before`; `note` is written into its netlist."""
        title = f"{self.speaker.title}: {name} ({circuit})"
        network = replace(network, title=title, notes=(note,), path=None)
        judged = self.judged(network)
        better, worse = differences(before, judged, self.wish)
        strength = self.strength(network)
        if strength.weak:
            worse = (*worse, f"{' and '.join(strength.weak)} without the usual margin to the rating")
        return Proposal(
            name=name,
            circuit=circuit,
            reversed=turned,
            crossover_hz=corners_hz,
            network=network,
            judged=judged,
            changed=tuple(changed),
            parts=len(network.parts),
            bill=bill,
            yield_share=yield_share(self.goals(network)[0], network, limit_db, seed),
            proved=proved,
            better=better,
            worse=worse,
            breaks=strength.breaks,
            rating_share=strength.share,
        )


def bass_loss_db(speaker: Speaker, network: Network, names: Sequence[str]) -> float:
    """What resistances before the lowest drivers take at DC; infinite behind a capacitor."""
    shares = dc_drive(speaker, network, {})
    least = min(shares[d.key] for d in network.drivers if d.driver in names)
    return -20.0 * math.log10(least) if least > 0 else math.inf


def _is_near(said: Iterable[Finding]) -> bool:
    return any(x.fault is Fault.NEAR_RESONANCE for x in said)


def yield_share(goal: Goal, network: Network, limit_db: float, seed: int) -> float:
    """Share of 500 builds whose sum stays within +-limit_db of the target; NaN where the sum is not known.

    Uniform draws within the tolerance of each part's card, else that of its kind (common practice).
    """
    if not goal.has_sum or math.isnan(limit_db):
        return math.nan
    spreads = part_spreads(network)
    draws = standard_draws(np.random.default_rng(seed), BUILDS, len(draw_names(spreads)), Distribution.UNIFORM)
    every = slice(None, None, max(goal.frequency_hz.size // 100, 1))
    values = built_values(spreads, draws)
    thin = _thinned(goal, every)
    drives, loads = build_solver(network, thin.frequency_hz, thin.driver_ohm, list(values)).at(values, loads=True)
    drive = np.stack([drives[key] for key in thin.keys], axis=1)
    reading = read(thin, drive, loads[network.channels[0].name])
    return float(np.mean(reading.deviation_db <= limit_db))


def _thinned(goal: Goal, every: slice) -> Goal:
    """The goal on fewer frequencies."""
    return replace(
        goal,
        frequency_hz=goal.frequency_hz[every],
        driver_ohm={name: z[every] for name, z in goal.driver_ohm.items()},
        response=None if goal.response is None else goal.response[:, every],
        magnitude=goal.magnitude[:, every],
        shape_db=goal.shape_db[every],
        in_band=goal.in_band[every],
        slope_db=goal.slope_db[:, every],
        off_axis=None,
        most_drive_db=goal.most_drive_db[:, every],
        heard=None if goal.heard is None else goal.heard[:, every],
    )
