"""Protection lamps and resettable fuses: when they bite, what they do to the sound, and what taking them out does."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from xover.amplifier.programme import (
    ASSUMED_RATIO,
    SPECTRUM_WORDS,
    LampLaw,
    Spectrum,
    driven_together,
    lamp_law,
    programme_weights,
    settle_lamps,
)
from xover.amplifier.stress import element_power_w
from xover.curve import Float, log_grid
from xover.errors import InputError, OptionError
from xover.network import Network, Solution, solve
from xover.plain import some_of
from xover.readable import Readable, Warned
from xover.rules.margins import RESISTOR_MARGIN
from xover.sound.change import change_db, largest_drive_change
from xover.speaker import Speaker

DEFAULT_VOLTS: Final = (1.0, 10.0, 20.0)
MODEL: Final = (
    "a tungsten filament that sheds its heat by radiation, through the card's cold and hot resistances and watts "
    "(resistance as temperature to the power 1.2, from memory); a real lamp warms up later at small power"
)
STEADY: Final = (
    "steady programme, the filament following its average heat: a single loud peak meets the lamp as cold as it was"
)
FUSE: Final = (
    "a resettable fuse has the same card but not this law: it stays near its cold resistance up to its trip current, "
    "and then rises sharply within seconds"
)


@dataclass(frozen=True)
class LampPoint:
    """One lamp at one level. NaN where its law or a driver is not known.

    Attributes
    ----------
    resistance_ohm, power_w : with the programme playing.
    temperature_k : of the filament.
    over_rating : more than its rated watts: it may burn out.
    plain_power_w : what a plain resistor of the cold value would turn into heat in its place.
    """

    resistance_ohm: float
    power_w: float
    temperature_k: float
    over_rating: bool
    plain_power_w: float


@dataclass(frozen=True, eq=False)
class DriverPoint:
    """One driver at one level.

    Attributes
    ----------
    change_db : (n,) drive against that with all lamps cold.
    programme_db : the same for the programme as a whole.
    power_w : of the programme; cold_power_w : were the lamps plain resistors of their cold value;
        bare_power_w : with all lamps bridged.
    """

    change_db: Float = field(repr=False)
    programme_db: float
    power_w: float
    cold_power_w: float
    bare_power_w: float


@dataclass(frozen=True)
class LowestLoad:
    """Lowest load of a channel on the grid, and where; NaN where it is not known."""

    impedance_ohm: float
    at_hz: float


_NO_LOAD: Final = LowestLoad(math.nan, math.nan)


@dataclass(frozen=True, eq=False, repr=False)
class LampLevel(Readable):
    """The network with its lamps at one voltage: by lamp's name, and by driver's key.

    `voltage_rms_v` is the rms of the programme on every channel; `lowest` is by channel.
    """

    voltage_rms_v: float
    lamps: Mapping[str, LampPoint]
    drivers: Mapping[str, DriverPoint]
    lowest: Mapping[str, LowestLoad]


@dataclass(frozen=True, eq=False, repr=False)
class Removal(Readable):
    """What bridging one lamp does at low level, the other lamps cold.

    Attributes
    ----------
    change_db : by driver's key, (n,) drive without the lamp over that with it.
    programme_db : the same for the programme as a whole.
    worst_db, worst_at_hz : the largest change, in the judged band, where the drive lies within 20 dB of its highest.
    cold_lowest, bare_lowest : lowest load by channel, with the lamp and without.
    plain_ohm : the resistor that keeps the voicing: the lamp's cold resistance.
    plain_w : watts that it needs, twice its heat at the highest of the levels; NaN if not known.
    """

    lamp: str
    change_db: Mapping[str, Float] = field(repr=False)
    programme_db: Mapping[str, float]
    worst_db: Mapping[str, float]
    worst_at_hz: Mapping[str, float]
    cold_lowest: Mapping[str, LowestLoad]
    bare_lowest: Mapping[str, LowestLoad]
    plain_ohm: float
    plain_w: float


@dataclass(frozen=True, eq=False, repr=False)
class LampStudy(Warned):
    """The lamps of one network; `lamps`, `levels` and `removals` are empty where there are none."""

    title: str
    network: str
    frequency_hz: Float
    spectrum: Spectrum
    spectrum_words: str
    lamps: Mapping[str, LampLaw | None]
    cold_ohm: Mapping[str, float]
    levels: tuple[LampLevel, ...]
    removals: tuple[Removal, ...]
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]

    def plain(self) -> dict[str, Any]:
        """Curves by driver; lamps, levels and removals as they are."""
        return some_of(
            self,
            "title network frequency_hz spectrum",
            lamps={name: {"cold_ohm": self.cold_ohm[name], "law": law} for name, law in self.lamps.items()},
            **some_of(self, "levels removals"),
            summary={"assumptions": self.assumptions},
            warnings=self.warnings,
        )


def study_lamps(
    speaker: Speaker,
    network_name: str,
    volts: Sequence[float] = DEFAULT_VOLTS,
    *,
    spectrum: Spectrum = Spectrum.PROGRAMME,
    frequency_hz: Float | None = None,
) -> LampStudy:
    """Study the lamps of one network.

    Parameters
    ----------
    volts : rms of the programme at the amplifier, on every channel.
    frequency_hz : (n,) rising; by default 20 Hz to 20 kHz, 48 in an octave.

    Raises InputError, OptionError, NoSolutionError.
    """
    for v in volts:
        if not 0.0 < v < math.inf:
            raise OptionError(f"the programme has {v:g} V", "give volts above 0")
    grid = log_grid(20.0, 20_000.0, 48) if frequency_hz is None else frequency_hz
    network = speaker.network(network_name)
    lamps = {p.name: lamp_law(p) for p in network.resistors if p.is_lamp}
    bench = _LampSetup(speaker, network, grid, spectrum)
    levels = tuple(bench.level(v, lamps) for v in sorted(set(volts))) if lamps else ()
    return LampStudy(
        title=speaker.title,
        network=network_name,
        frequency_hz=grid,
        spectrum=spectrum,
        spectrum_words=SPECTRUM_WORDS[spectrum],
        lamps=lamps,
        cold_ohm={p.name: p.ohm for p in network.resistors if p.is_lamp},
        levels=levels,
        removals=tuple(bench.removal(name, levels) for name in lamps),
        assumptions=(SPECTRUM_WORDS[spectrum], MODEL, STEADY, FUSE) if lamps else (),
        warnings=tuple(_warnings(speaker, network, lamps, bench)),
    )


class _LampSetup:
    """One network on one grid, solved with its lamps at any resistance."""

    def __init__(self, speaker: Speaker, network: Network, grid: Float, spectrum: Spectrum) -> None:
        self.network, self.grid = network, grid
        self.weights = programme_weights(grid, spectrum)
        self._drivers = speaker.impedances_ohm(network, grid)
        self._cold = {p.name: p.ohm for p in network.resistors if p.is_lamp}
        self.cold = self.solve({})

    def solve(self, ohms: Mapping[str, float]) -> Solution:
        """Lamps not named are cold."""
        return solve(self.network, self.grid, self._drivers, {**self._cold, **ohms})

    def power_w(self, solution: Solution, name: str, rms_v: float) -> float:
        """Watts of the programme in a part or driver, of what is known of it; NaN where nothing is."""
        return self._weighted(element_power_w(solution, name, {c.name: rms_v for c in self.network.channels}))

    def _weighted(self, values: Float) -> float:
        known = np.isfinite(values)
        return float(np.sum(self.weights[known] * values[known])) if known.any() else math.nan

    def settle(self, rms_v: float, lamps: Mapping[str, LampLaw | None]) -> dict[str, float]:
        """Resistance of each lamp at a level; NaN where the law of one is not known, as it bears on all."""
        laws = [law for law in lamps.values() if law is not None]
        if len(laws) < len(lamps):
            return dict.fromkeys(lamps, math.nan)

        def watts(ohms: Float) -> Float:
            solution = self.solve(dict(zip(lamps, ohms.tolist(), strict=True)))
            return np.array([self.power_w(solution, name, rms_v) for name in lamps])

        try:
            return dict(zip(lamps, settle_lamps(laws, watts).tolist(), strict=True))
        except InputError as error:
            raise error.at(self.network.path, None) from None

    def level(self, rms_v: float, lamps: Mapping[str, LampLaw | None]) -> LampLevel:
        """Everything at one voltage."""
        ohms = self.settle(rms_v, lamps)
        known = all(math.isfinite(r) for r in ohms.values())
        hot = self.solve(ohms) if known else None
        bare = self.solve(dict.fromkeys(lamps, 0.0))
        points = {}
        for name, law in lamps.items():
            power = self.power_w(hot, name, rms_v) if hot else math.nan
            points[name] = LampPoint(
                resistance_ohm=ohms[name],
                power_w=power,
                temperature_k=float(law.temperature_k(ohms[name])) if law else math.nan,
                over_rating=law is not None and power > law.rated_w,
                plain_power_w=self.power_w(self.cold, name, rms_v),
            )
        drivers = {
            card.key: DriverPoint(
                change_db=change_db(self.cold.drive[card.key][0], hot.drive[card.key][0])
                if hot
                else np.full(self.grid.shape, np.nan),
                programme_db=self.programme_db(hot, self.cold, card.key) if hot else math.nan,
                power_w=self.power_w(hot, card.name, rms_v) if hot else math.nan,
                cold_power_w=self.power_w(self.cold, card.name, rms_v),
                bare_power_w=self.power_w(bare, card.name, rms_v),
            )
            for card in self.network.drivers
        }
        unknown = dict.fromkeys((c.name for c in self.network.channels), _NO_LOAD)
        return LampLevel(rms_v, points, drivers, self.lowest(hot) if hot else unknown)

    def programme_db(self, one: Solution, other: Solution, key: str) -> float:
        """Voltage of the programme at a driver, one case over another."""
        top, bottom = (self._weighted(np.abs(s.drive[key][0]) ** 2) for s in (one, other))
        return 10.0 * math.log10(top / bottom) if top > 0 and bottom > 0 else math.nan

    def lowest(self, solution: Solution) -> dict[str, LowestLoad]:
        """Lowest load of each channel."""
        found = {}
        for channel, z in solution.impedance_ohm.items():
            size = np.where(np.isfinite(z[0]), np.abs(z[0]), np.inf)
            row = int(np.argmin(size))
            known = math.isfinite(size[row])
            found[channel] = LowestLoad(float(size[row]), float(self.grid[row])) if known else _NO_LOAD
        return found

    def removal(self, name: str, levels: Sequence[LampLevel]) -> Removal:
        """What bridging one lamp does."""
        bare = self.solve({name: 0.0})
        drives = {card.key: (self.cold.drive[card.key][0], bare.drive[card.key][0]) for card in self.network.drivers}
        worst = {
            key: largest_drive_change(self.grid, {key: then}, {key: now})[0] for key, (then, now) in drives.items()
        }
        return Removal(
            lamp=name,
            change_db={key: change_db(then, now) for key, (then, now) in drives.items()},
            programme_db={key: self.programme_db(bare, self.cold, key) for key in drives},
            worst_db={key: w.change for key, w in worst.items()},
            worst_at_hz={key: w.at_hz for key, w in worst.items()},
            cold_lowest=self.lowest(self.cold),
            bare_lowest=self.lowest(bare),
            plain_ohm=self._cold[name],
            plain_w=RESISTOR_MARGIN * max((level.lamps[name].plain_power_w for level in levels), default=math.nan),
        )


def _warnings(speaker: Speaker, network: Network, lamps: Mapping[str, LampLaw | None], bench: _LampSetup) -> list[str]:
    if not lamps:
        return []
    notes = [note for name in network.driver_names for note in speaker.drivers[name].notes]
    said: list[str] = [note for note in notes if note.about.of_impedance]
    for part in network.resistors:
        if not part.is_lamp:
            continue
        law = lamps[part.name]
        if law is None:
            what = "cold resistance above 0" if part.ohm <= 0 else "watts"
            said.append(
                f"{part.name} states no {what}: when it bites is not known, and no level can be worked out; add "
                "watts= (of the lamp, when hot) and cold= to its card"
            )
        elif law.hot_assumed:
            said.append(
                f"{part.name} states no hot resistance: {law.hot_ohm:g} ohm is assumed, {ASSUMED_RATIO:g} times the "
                "cold one (common practice); read the lamp's volts and watts: hot = volts squared over watts"
            )
    lost = [
        name
        for name in network.driver_names
        if not np.isfinite(bench.cold.drive[next(d.key for d in network.drivers if d.driver == name)][0]).all()
    ]
    said += [f"{name} is not known at all frequencies: what lies there heats no lamp here" for name in lost]
    said += driven_together(network, "this")
    return list(dict.fromkeys(said))
