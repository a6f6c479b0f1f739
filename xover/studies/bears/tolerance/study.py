"""What do the tolerances of the parts do: thousands of builds, the exact worst corner, left against right?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from xover.amplifier.programme import cold_lamps, driven_together
from xover.curve import Evidence, Float
from xover.errors import OptionError, named
from xover.network import Network
from xover.parts.kinds import SOURCE
from xover.plain import some_of
from xover.quantity import hertz
from xover.readable import Warned
from xover.remark import About, Remark
from xover.rules.audibility import HARD_DB
from xover.rules.bands import CHANGES_HZ, COUNTS_WITHIN_DB
from xover.rules.budgets import MOST_SECONDS, hold, solving_s
from xover.rules.likeness import MATCH
from xover.search.builds import (
    BuildSolver,
    Distribution,
    PartSpread,
    build_solver,
    built_values,
    draw_names,
    magnitude_db,
    matched_values,
    part_spreads,
    standard_draws,
    sum_rule,
)
from xover.sound.load import amplifier_of
from xover.sound.prediction import Sound, sound_of
from xover.sound.sums import responses
from xover.speaker import Speaker
from xover.studies.bears.tolerance.bands import (
    HOW,
    QUANTILES,
    Band,
    PairDifference,
    Share,
    Shares,
    Widest,
    ascending,
    largest_in_band,
    level_band,
    pair_difference,
    part_shares,
    quantiles,
    run_builds,
    share_of,
    sum_levels,
    widest,
)
from xover.studies.bears.tolerance.corners import INSIDE_NOTE, Corners, corner_band, find_corners
from xover.studies.options import Progress, quiet


def tolerance_notes(
    speaker: Speaker,
    sound: Sound,
    spreads: tuple[PartSpread, ...],
    band_hz: tuple[float, float],
    judged: NDArray[np.bool_],
    refused: tuple[str, ...],
) -> tuple[str, ...]:
    network = sound.network
    said: list[str] = []
    assumed = [f"{s.part} {100 * s.tolerance:g} %" for s in spreads if s.evidence is Evidence.ASSUMED]
    if assumed:
        words = f"tolerance assumed, as the cards state none ({SOURCE}): {', '.join(assumed)}"
        said.append(Remark(words, About.METHOD))
    said += list(refused)
    said += _sum_notes(sound, band_hz, judged)
    said += _core_notes(spreads)
    words = (
        "only values of parts vary: coil resistance, capacitor losses and couplings stay as they are, and so do the "
        "drivers, whose own spread can be larger than that of the parts"
    )
    said.append(Remark(words, About.METHOD))
    said.append(INSIDE_NOTE)
    said += _network_notes(network)
    said += [note for name in network.driver_names for note in speaker.drivers[name].notes]
    return tuple(dict.fromkeys(said))


def _sum_notes(sound: Sound, band_hz: tuple[float, float], judged: NDArray[np.bool_]) -> list[str]:
    notes = []
    if not sound.total.coherent:
        notes.append(
            "the timing between the drivers is not known, so the sum here is the highest that any timing allows: "
            f"{sound.timing_reason}"
        )
    frequency = sound.solution.frequency_hz
    known = frequency[judged]
    inside = frequency[(frequency >= band_hz[0]) & (frequency <= band_hz[1])]
    if known.size == 0:
        notes.append("the sum is not known in the band: only the drives and the load are judged")
    elif known.size < inside.size or known[0] > 1.1 * band_hz[0] or known[-1] < band_hz[1] / 1.1:
        notes.append(
            f"of the band from {hertz(band_hz[0])} to {hertz(band_hz[1])} the sum is known and judged at "
            f"{known.size} frequencies from {hertz(float(known[0]))} to {hertz(float(known[-1]))}"
        )
    return [*notes, *(gap.note for gap in sound.total.gaps)]


def _core_notes(spreads: tuple[PartSpread, ...]) -> list[str]:
    notes = []
    for name in draw_names(spreads):
        coils = [s.part for s in spreads if s.draw == name]
        if len(coils) > 1:
            notes.append(f"{', '.join(coils)} are wound on one core: they vary together, by one draw")
    return notes


def _network_notes(network: Network) -> list[str]:
    return driven_together(network) + cold_lamps(network, "this holds at low level only")


BUILDS: Final = 10_000
SEED: Final = 1
FEWEST: Final = 100
MOST: Final = 200_000


@dataclass(frozen=True, eq=False)
class LoadSpread:
    """The lowest impedance that a channel sees, over many builds, at the grid's own frequencies.

    Attributes
    ----------
    nominal_ohm : with every part at its own value. lowest_ohm : of all builds.
    quantile_ohm : (5,) those of `QUANTILES`.
    limit_ohm : the lowest load that the amplifier allows, if speaker.toml says so.
    below : builds that fall below it.
    """

    nominal_ohm: float
    lowest_ohm: float
    quantile_ohm: Float
    limit_ohm: float | None
    below: Share | None


@dataclass(frozen=True, eq=False, repr=False)
class ToleranceStudy(Warned):
    """How one network spreads when it is built many times from parts within their tolerance.

    Attributes
    ----------
    frequency_hz : (n,).
    builds, seed, distribution : what was drawn.
    band_hz : where limit, pairs and shares are judged; in_band : (n,) the frequencies within it.
    limit_db : how far the sum may stray from its nominal there. match : of paired parts, fraction.
    spreads : the parts that vary, with the tolerances taken.
    of_sum : what the sum is: the sum itself, or the highest that an unknown timing allows.
    total_known : False where no sum is known in the band.
    total, drive : bands of the sum and of each driver's drive, by key.
    corners : the exact worst corners.
    load : by channel.
    passing : builds whose sum keeps within the limit. wanted : share of them that is asked for.
    independent : pairs of builds drawn apart. matched : the same left ones with right ones of matched parts.
    shares : which part the spread comes from.
    """

    title: str
    network: str
    frequency_hz: Float
    builds: int
    seed: int
    distribution: Distribution
    band_hz: tuple[float, float]
    in_band: NDArray[np.bool_]
    limit_db: float
    match: float
    spreads: tuple[PartSpread, ...]
    of_sum: str
    total_known: bool
    total: Band
    drive: Mapping[str, Band]
    corners: Corners
    load: Mapping[str, LoadSpread]
    passing: Share
    independent: PairDifference
    matched: PairDifference
    shares: Shares
    warnings: tuple[str, ...]
    sound: Sound = field(repr=False)
    wanted: float | None = None

    @property
    def reached(self) -> bool:
        """Whether as many builds keep within the limit as are wanted; what is not known is not enough."""
        return self.wanted is None or self.passing.share >= self.wanted

    def widest_drive(self, key: str) -> Widest:
        """The 95 % band of a drive where it is widest, within 20 dB of the drive's highest."""
        band = self.drive[key]
        known = np.isfinite(band.nominal_db)
        heard = known & (band.nominal_db >= np.max(band.nominal_db[known], initial=-np.inf) - COUNTS_WITHIN_DB)
        return widest(band.change_db[0], band.change_db[-1], self.frequency_hz, heard)

    @property
    def widest_sum(self) -> Widest:
        """The 95 % band of the sum where it is widest in the band that is judged."""
        return widest(self.total.change_db[0], self.total.change_db[-1], self.frequency_hz, self.in_band)

    @property
    def widest_corner(self) -> Widest | None:
        """The worst corners of the sum where they lie farthest apart in the band that is judged."""
        corner = self.corners.total
        return None if corner is None else widest(corner.lowest_db, corner.highest_db, self.frequency_hz, self.in_band)

    @property
    def sum_doubt_db(self) -> float:
        """How sure the sum's 95 % band is: the largest doubt of its two edges in the band; NaN where not known."""
        doubt = self.total.doubt_db[[0, -1]][:, self.in_band]
        doubt = doubt[np.isfinite(doubt)]
        return float(doubt.max()) if doubt.size else math.nan

    def plain(self) -> dict[str, Any]:
        """Curves of quantiles by name, and the figures."""
        by_name = {name: share for share in self.shares.parts for name in share.name.split(" + ")}
        return some_of(self, "title network frequency_hz builds seed distribution band_hz limit_db match") | {
            "sum_is": self.of_sum,
            "parts": [
                {**vars(s), "share": by_name[s.part].share, "spread_db": by_name[s.part].spread_db}
                for s in self.spreads
            ],
            "shares": {"how": HOW, "ranking": self.shares.parts, "rest": self.shares.rest},
            "sum_spread_db": self.shares.spread_db,
            "quantiles": QUANTILES,
            "sum": _plain_band(self.total, self.corners.total, self.in_band),
            "drive": {
                key: _plain_band(band, self.corners.drive.get(key), self.in_band) for key, band in self.drive.items()
            },
            "corners_refused": self.corners.refused,
            "load": self.load,
            "yield": self.passing,
            "yield_wanted": self.wanted,
            "pairs": {"independent": self.independent, "matched": self.matched},
            "warnings": self.warnings,
        }


def _plain_band(band: Band, corner: Any, in_band: NDArray[np.bool_]) -> dict[str, Any]:
    known = band.doubt_db[:, in_band & np.isfinite(band.doubt_db).all(axis=0)]
    return {
        "nominal_db": band.nominal_db,
        "change_db": dict(zip((f"{q:g}" for q in QUANTILES), band.change_db, strict=True)),
        **some_of(band, "lowest_db highest_db"),
        "largest_doubt_db": known.max(axis=1) if known.size else None,
        "corner": corner,
    }


def study_tolerance(
    speaker: Speaker,
    network_name: str,
    frequency_hz: Float,
    *,
    builds: int = BUILDS,
    seed: int = SEED,
    distribution: Distribution | str = Distribution.UNIFORM,
    limit_db: float = HARD_DB,
    band_hz: tuple[float, float] = CHANGES_HZ,
    match: float = MATCH,
    jobs: int = 1,
    wanted: float | None = None,
    progress: Progress = quiet,
) -> ToleranceStudy:
    """Build one network of a speaker many times over from parts within their tolerance.

    Only the values of resistors, coils and capacitors vary: losses stay as they are, drivers too, the source is
    ideal. The same seed gives the same result.

    Parameters
    ----------
    frequency_hz : (n,) rising; each counts alike in the shares.
    builds : 100 to 200,000. seed : 0 or more.
    limit_db : above 0. match : 0 to below 1. wanted : share of builds that must keep within the limit.
    jobs : processes that the builds are spread over (see `xover.pool`); the answer is the same.
    progress : is told the fraction that is done, now and then.

    Raises InputError, NoSolutionError. OptionError: no part varies, or an argument out of its range.
    """
    shape = _checked(frequency_hz, builds, seed, distribution, limit_db, band_hz, match)

    def tell(done: float) -> None:
        progress(done, "")

    sound = sound_of(speaker, network_name, frequency_hz)
    network, nominal = sound.network, sound.solution.drive
    _check_size(builds, frequency_hz.size, len(network.drivers))
    spreads = part_spreads(network)
    rule = sum_rule(sound, responses(speaker, sound))
    driver_ohm = speaker.impedances_ohm(network, frequency_hz)
    solver = build_solver(network, frequency_hz, driver_ohm, tuple(s.part for s in spreads))
    _check_time(solver, builds)
    own, mates = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(2))
    draws = standard_draws(own, builds, len(draw_names(spreads)), shape)
    values = built_values(spreads, draws)
    lowest_known = {name: np.isfinite(z) for name, z in sound.solution.impedance_ohm.items()}
    run = run_builds(solver, rule, values, builds, lowest_known, lambda done: tell(0.6 * done), jobs)
    left = {name: v[0 : builds // 2 * 2 : 2] for name, v in values.items()}
    close = standard_draws(mates, builds // 2, draws.shape[1], Distribution.UNIFORM)
    right = matched_values(spreads, left, close, match)
    mate_db = sum_levels(solver, rule, right, builds // 2, lambda done: tell(0.6 + 0.2 * done))
    extremes, of_total, refused = find_corners(
        network, frequency_hz, driver_ohm, spreads, rule, nominal, lambda done: tell(0.8 + 0.2 * done)
    )
    in_band = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    nominal_db = rule.level_db({key: d[None, :] for key, d in nominal.items()})[0]
    total = level_band(run.sum_db, nominal_db)
    drive = {key: level_band(db, magnitude_db(nominal[key])) for key, db in run.drive_db.items()}
    with np.errstate(invalid="ignore"):  # a sum that is nothing at all
        astray = largest_in_band(np.abs(run.sum_db - nominal_db), in_band)
    judged = int(np.count_nonzero(np.isfinite(astray)))
    first, second = run.sum_db[0 : builds // 2 * 2 : 2], run.sum_db[1::2]
    return ToleranceStudy(
        title=speaker.title,
        network=network_name,
        frequency_hz=frequency_hz,
        builds=builds,
        seed=seed,
        distribution=shape,
        band_hz=band_hz,
        in_band=in_band,
        limit_db=limit_db,
        match=match,
        spreads=spreads,
        of_sum="sum" if sound.total.coherent else "highest sum that any timing allows",
        total_known=judged > 0,
        total=total,
        drive=drive,
        corners=Corners(
            {key: corner_band(found, drive[key], frequency_hz) for key, found in extremes.items()},
            None if of_total is None else corner_band(of_total, total, frequency_hz),
            refused,
        ),
        load=_loads(speaker, sound, run.lowest_ohm, lowest_known),
        passing=share_of(int(np.count_nonzero(astray <= limit_db)), judged),
        independent=pair_difference(first, second, in_band),
        matched=pair_difference(first, mate_db, in_band),
        shares=part_shares(spreads, draws, run.sum_db[:, in_band]),
        warnings=tolerance_notes(speaker, sound, spreads, band_hz, in_band & np.isfinite(nominal_db), refused),
        sound=sound,
        wanted=wanted,
    )


def _checked(
    frequency_hz: Float,
    builds: int,
    seed: int,
    distribution: Distribution | str,
    limit_db: float,
    band_hz: tuple[float, float],
    match: float,
) -> Distribution:
    if distribution not in list(Distribution):
        raise OptionError(f"there is no distribution '{distribution}'", "use uniform or normal")
    if not FEWEST <= builds <= MOST:
        raise OptionError(f"{builds} builds were asked for", f"ask for {FEWEST} to {MOST}")
    if seed < 0:
        raise OptionError(f"the seed is {seed}", "give 0 or more")
    if not limit_db > 0:
        raise OptionError(f"the limit is {limit_db:g} dB", "give more than 0 dB")
    if not 0 <= match < 1:
        raise OptionError(f"parts are to match to {match:g}", "give a fraction from 0 to below 1, such as 1%")
    if not np.any((frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])):
        raise OptionError(
            f"no frequency lies in the band from {hertz(band_hz[0])} to {hertz(band_hz[1])}",
            "widen the frequencies or the band",
        )
    return Distribution(distribution)


def _check_size(builds: int, frequencies: int, drivers: int) -> None:
    """The levels of the sum, of the paired builds, of each drive, and one of these once more in order."""
    hold(
        f"{builds} builds at {frequencies} frequencies",
        "take fewer builds or fewer frequencies",
        size_bytes=builds * frequencies * (drivers + 3) * 8,
    )


def _check_time(solver: BuildSolver, builds: int) -> None:
    """Each build is solved, and half of them once more with its mate; closed forms are fast enough for all."""
    if solver.form is not None:
        return
    nodes = len({n for e in (*solver.network.parts, *solver.network.drivers) for n in (e.a, e.b)})
    # What is read of each build costs twice as much as the solve.
    seconds = 3.0 * solving_s(nodes, 1.5 * builds * solver.frequency_hz.size, len(solver.network.couplings))
    fewer = max(FEWEST, int(builds * MOST_SECONDS / seconds) // 100 * 100)
    hold(
        f"{builds} builds of {len(solver.network.parts)} parts at {solver.frequency_hz.size} frequencies",
        f"take fewer frequencies, or {fewer} builds by {named('builds')}",
        seconds=seconds,
    )


def _loads(
    speaker: Speaker, sound: Sound, lowest_ohm: Mapping[str, Float], known: Mapping[str, NDArray[np.bool_]]
) -> dict[str, LoadSpread]:
    found = {}
    for name, lowest in lowest_ohm.items():
        amplifier = amplifier_of(speaker, sound.network, name)
        limit = amplifier.minimum_load_ohm if amplifier else None
        found[name] = LoadSpread(
            nominal_ohm=float(np.abs(sound.solution.impedance_ohm[name][known[name]]).min()),
            lowest_ohm=float(lowest.min()),
            quantile_ohm=quantiles(ascending(lowest[:, None]))[:, 0],
            limit_ohm=limit,
            below=None if limit is None else share_of(int(np.count_nonzero(lowest < limit)), lowest.size),
        )
    return found
