"""What reaches each driver, and what is the sum?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np

from xover.acoustic.crossover import CrossoverReading, read_crossovers
from xover.acoustic.level import BandLevel, Sensitivity, level_db, phase_deg, sensitivity
from xover.acoustic.limits import Corner, EffectiveRange, effective_range, read_corners
from xover.acoustic.off_axis import OffAxis, VerticalNulls, off_axis, vertical_nulls
from xover.acoustic.summing import AcousticSum, Branch, make_branch, sum_branches
from xover.acoustic.time import StepResponse, delay_factor, delay_s, group_delay_s, step_response
from xover.amplifier.load import epdr
from xover.amplifier.programme import cold_lamps, driven_together
from xover.curve import Complex, Float
from xover.network import DriverCard, Network, Solution
from xover.readable import Warned
from xover.sentences import and_words
from xover.sound.beyond import Bound, solved
from xover.sound.deviation import sum_deviation
from xover.sound.grouping import one_way_drivers
from xover.speaker import PhaseSource, Speaker

RESPONSE_DISTANCE_M: Final = 1.0
"""Distance at which the responses of a speaker folder are taken."""


@dataclass(frozen=True, eq=False, repr=False)
class Prediction(Warned):
    """The drive of each driver, the acoustic sum and the load of one network.

    Attributes
    ----------
    network : its name in the speaker folder.
    frequency_hz : (n,).
    drive : (n,) complex by driver's key: voltage at the driver over the amplifier's, polarity included.
    branches : the sound of each driver card at 1 m on the design axis, 2.83 V at the amplifier.
    total : the sum, the reversed sum and the envelope.
    impedance_ohm : (n,) complex by channel.
    timing_reason : why the sum is one curve, or why only its envelope is sure.
    delay_doubt_db : (n,) how far what is not known of delay_us moves the sum, +-, 95 %; None where that is not said.
    band : level and deviation of the sum in a stated band.
    corners : where the sum leaves that band's mean by 3 and 10 dB.
    off_axis, nulls : vertical sums and lobes; None where no positions are given.
    output_ohm : amplifier's output resistance that the sound is computed with; the drive is always
        that of an ideal source.
    residual : of the solve.
    warnings : what a reader must know.
    undriven : keys of the drivers that get no voltage at any frequency.
    bounds : how far load and drives may be off where a driver's sweep does not reach.
    """

    title: str
    network: str
    frequency_hz: Float
    drive: Mapping[str, Complex]
    branches: tuple[Branch, ...]
    total: AcousticSum
    impedance_ohm: Mapping[str, Complex]
    evidence: Mapping[str, Mapping[str, str]]
    timing_reason: str
    delay_doubt_db: Float | None
    crossovers: tuple[CrossoverReading, ...]
    band: BandLevel
    sensitivity: Sensitivity
    corners: tuple[Corner, ...]
    effective_range: EffectiveRange
    off_axis: OffAxis | None
    nulls: tuple[VerticalNulls, ...]
    output_ohm: float
    residual: float
    warnings: tuple[str, ...]
    undriven: tuple[str, ...]
    bounds: tuple[Bound, ...] = ()

    @cached_property
    def group_delay_s(self) -> Float:
        """(n,) group delay of the sum; worked out when asked for."""
        return group_delay_s(self.frequency_hz, self.total.pressure)

    @cached_property
    def step(self) -> StepResponse | None:
        """Step response of the sum, band-limited; None where the timing is unknown. Worked out when asked for."""
        return step_response(self.frequency_hz, self.total.pressure) if self.total.coherent else None

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, with the figures read from the curves under `summary`."""
        total = self.total
        acoustic: dict[str, Any] = {
            b.key: {"level_db": b.level_db, "phase_deg": phase_deg(b.pressure)} for b in self.branches
        }
        acoustic["sum"] = {
            "level_db": total.level_db,
            "phase_deg": phase_deg(total.pressure),
            "best_level_db": total.best_level_db,
            "worst_level_db": total.worst_level_db,
            "group_delay_s": self.group_delay_s,
        }
        if self.delay_doubt_db is not None:
            acoustic["sum"]["delay_uncertainty_db"] = self.delay_doubt_db
        acoustic["reversed_sum"] = {
            "level_db": total.reversed_level_db,
            "phase_deg": phase_deg(total.reversed_pressure),
            "reversed": total.reversed_keys,
        }
        return {
            "title": self.title,
            "network": self.network,
            "frequency_hz": self.frequency_hz,
            "drive": {
                key: {"magnitude_db": level_db(value), "phase_deg": phase_deg(value)}
                for key, value in self.drive.items()
            },
            "acoustic": acoustic,
            "load": plain_load(self.impedance_ohm),
            "summary": {
                "coherent": total.coherent,
                "timing": self.timing_reason,
                "evidence": self.evidence,
                "band": self.band,
                "sensitivity": self.sensitivity,
                "corners": self.corners,
                "effective_range": self.effective_range,
                "crossovers": self.crossovers,
                "off_axis": self.off_axis,
                "vertical_nulls": self.nulls,
                "step": self.step,
                "output_ohm": self.output_ohm,
                "solve_residual": self.residual,
                **({"beyond_sweeps": self.bounds} if self.bounds else {}),
            },
            "warnings": self.warnings,
        }


def plain_load(impedance_ohm: Mapping[str, Complex]) -> dict[str, Any]:
    """The load by the blueprint: flat with one channel, else one object for each channel's name."""
    loads = {
        name: {
            "impedance_ohm": np.abs(z),
            "phase_deg": phase_deg(z),
            "epdr_ohm": epdr(z),
        }
        for name, z in impedance_ohm.items()
    }
    return next(iter(loads.values())) if len(loads) == 1 else dict(loads)


def predict(
    speaker: Speaker,
    network_name: str,
    frequency_hz: Float,
    *,
    band_hz: tuple[float, float] | None = None,
    output_ohm: float = 0.0,
) -> Prediction:
    """Predict one network of a speaker.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    band_hz : band for level and deviation; by default the judged band, as far as the grid reaches into it.
    output_ohm : amplifier's output resistance to compute the sound with.

    Raises
    ------
    InputError, OptionError, NoSolutionError.
    """
    sound = sound_of(speaker, network_name, frequency_hz, output_ohm=output_ohm)
    network, solution, branches, total = sound.network, sound.solution, sound.branches, sound.total
    known, reason = total.coherent, sound.timing_reason
    level = total.level_db
    crossovers = read_crossovers(frequency_hz, branches, known)
    band = sum_deviation(frequency_hz, level, band_hz)
    angles, nulls = _lobes(speaker, frequency_hz, branches, crossovers, known)
    rated = speaker.amplifier.rated_load_ohm if speaker.amplifier else None
    return Prediction(
        title=speaker.title,
        network=network_name,
        frequency_hz=frequency_hz,
        drive=solution.drive,
        branches=branches,
        total=total,
        impedance_ohm=solution.impedance_ohm,
        evidence={
            name: {
                "impedance": str(speaker.drivers[name].impedance_evidence),
                "response": str(speaker.drivers[name].response_evidence),
            }
            for name in network.driver_names
        },
        timing_reason=reason,
        delay_doubt_db=_delay_doubt_db(speaker, frequency_hz, branches, total),
        crossovers=crossovers,
        band=band,
        sensitivity=sensitivity(frequency_hz, level, resistance_ohm=rated),
        corners=read_corners(frequency_hz, level, band.mean_db, band.from_hz, band.to_hz),
        effective_range=effective_range(frequency_hz, level),
        off_axis=angles,
        nulls=nulls,
        output_ohm=output_ohm,
        residual=solution.residual,
        warnings=_warnings(speaker, sound, total, reason),
        undriven=undriven(solution),
        bounds=sound.bounds,
    )


@dataclass(frozen=True, eq=False)
class Sound:
    """A network solved and its branches added: what every reading of the sound starts from."""

    network: Network
    solution: Solution
    branches: tuple[Branch, ...]
    total: AcousticSum
    timing_reason: str
    bounds: tuple[Bound, ...] = ()


def sound_of(speaker: Speaker, network_name: str, frequency_hz: Float, *, output_ohm: float = 0.0) -> Sound:
    """Solve one network of a speaker and add up its drivers; arguments and errors as for `predict`."""
    return sound_of_network(speaker, speaker.network(network_name), frequency_hz, output_ohm=output_ohm)


def sound_of_network(speaker: Speaker, network: Network, frequency_hz: Float, *, output_ohm: float = 0.0) -> Sound:
    """The same for a network that need not stand in the folder."""
    found = solved(speaker, network, frequency_hz)
    known, reason = speaker.timing_is_known(network)
    branches = make_branches(speaker, network, found.solution, known, output_ohm, found.within)
    total = sum_branches(frequency_hz, branches, coherent=known)
    bounds = tuple(bound.with_sum(frequency_hz, total.doubt) for bound in found.bounds)
    return Sound(network, found.solution, branches, total, reason, bounds)


def make_branches(
    speaker: Speaker,
    network: Network,
    solution: Solution,
    timing_known: bool,
    output_ohm: float = 0.0,
    within: Mapping[str, tuple[Complex, Float]] | None = None,
) -> tuple[Branch, ...]:
    """The sound of each driver card. A rebuilt phase gets the delay of the card's place; a measured one has it.

    `within` holds drives where they are bounded only, as in `sound.beyond.Solved`; that of an ideal source.
    """
    response = {card.key: card_response(speaker, card, solution.frequency_hz) for card in network.drivers}
    way = {n: "+".join(names) for names in one_way_drivers(speaker, network, solution, response) for n in names}
    return tuple(
        make_branch(
            card.key,
            _behind_output(network, solution, card.key, output_ohm),
            response[card.key],
            timing_known=timing_known,
            position_mm=speaker.drivers[card.driver].place_mm(card.name[1:]),
            diameter_mm=speaker.drivers[card.driver].diameter_mm,
            group=card.driver,
            way=way[card.driver],
            within=None if output_ohm else (within or {}).get(card.key),
        )
        for card in network.drivers
    )


def card_response(speaker: Speaker, card: DriverCard, frequency_hz: Float) -> Complex:
    """(n,) sound of a driver card at 1 m on the design axis for 2.83 V at its terminals, its delay in it."""
    driver = speaker.drivers[card.driver]
    place = driver.place_mm(card.name[1:])
    response = driver.pressure(frequency_hz)
    if driver.phase_source is PhaseSource.MINIMUM and place is not None:
        response = response * delay_factor(frequency_hz, delay_s(place, RESPONSE_DISTANCE_M))
    return response


def _delay_doubt_db(
    speaker: Speaker, frequency_hz: Float, branches: tuple[Branch, ...], total: AcousticSum
) -> Float | None:
    """(n,) by the larger change to either side of each driver's delay, those of several added as powers."""
    squares = []
    for name in dict.fromkeys(b.group for b in branches):
        wide_us = speaker.drivers[name].delay_uncertainty_us
        if wide_us is None or not total.coherent:
            continue
        own = np.sum([np.nan_to_num(b.pressure) for b in branches if b.group == name], axis=0)
        moved = [total.pressure + own * (delay_factor(frequency_hz, by * wide_us * 1e-6) - 1.0) for by in (-1, 1)]
        squares.append(np.max([np.abs(level_db(m) - total.level_db) for m in moved], axis=0) ** 2)
    return np.sqrt(np.sum(squares, axis=0)) if squares else None


def _behind_output(network: Network, solution: Solution, key: str, output_ohm: float) -> Complex:
    """Drive of a driver behind the amplifier's output resistance.

    Each channel divides by Z/(Z + Ro). Exact for a driver fed by one channel, which every driver is unless it
    hangs between two.
    """
    if output_ohm == 0.0:
        return solution.drive[key]
    total = np.zeros(solution.frequency_hz.shape, dtype=complex)
    for channel in network.channels:
        z = solution.impedance_ohm[channel.name]
        with np.errstate(invalid="ignore"):  # not known stays not known; no load takes nothing
            share = np.where(np.isinf(z), 1.0, z / (z + output_ohm))
        total = total + solution.transfer(key, channel.name) * share
    return total


def _lobes(
    speaker: Speaker,
    frequency_hz: Float,
    branches: tuple[Branch, ...],
    crossovers: tuple[CrossoverReading, ...],
    known: bool,
) -> tuple[OffAxis | None, tuple[VerticalNulls, ...]]:
    if not known or any(b.position_mm is None for b in branches):
        return None, ()
    listening = speaker.listening
    distance = listening.distance_m if listening is not None and listening.distance_m else RESPONSE_DISTANCE_M
    angles = off_axis(frequency_hz, branches, distance_m=distance, measured_at_m=RESPONSE_DISTANCE_M)
    at = [c.frequency_hz for c in crossovers if c.frequency_hz is not None]
    return angles, vertical_nulls(frequency_hz, branches, at, distance, RESPONSE_DISTANCE_M)


UNDRIVEN: Final = "no voltage reaches {}: 'xover check' says where the circuit ends"


def undriven(solution: Solution) -> tuple[str, ...]:
    """Keys of the drivers that get no voltage at any frequency."""
    known = {key: drive[np.isfinite(drive)] for key, drive in solution.drive.items()}
    return tuple(key for key, drive in known.items() if drive.size and not drive.any())


def _warnings(speaker: Speaker, sound: Sound, total: AcousticSum, reason: str) -> tuple[str, ...]:
    network = sound.network
    silent = undriven(sound.solution)
    said = [UNDRIVEN.format(and_words(silent))] if silent else []
    said += [note for name in network.driver_names for note in speaker.drivers[name].notes]
    said += [bound.of_all for bound in sound.bounds]
    if not total.coherent:
        said.append(f"the sum is one case among many, only its best and worst envelope is sure: {reason}")
    said += [gap.note for gap in total.gaps]
    said += driven_together(network, "these curves")
    said += cold_lamps(network, "true at low level only, it limits when it warms up")
    return tuple(dict.fromkeys(said))
