"""Microphone against loop-back, through a gate."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np

from xover.acoustic.level import NEPER_DB
from xover.acoustic.time import SPEED_OF_SOUND_M_S
from xover.curve import Evidence, Float
from xover.errors import InputError, OptionError, named
from xover.files.add_curve import FolderCurve
from xover.files.tables import read_response
from xover.files.wav import read_wav
from xover.readable import Readable
from xover.recordings.faults import Found, noise_fault
from xover.recordings.gate import Arrival, find_arrival, gated
from xover.recordings.rattle import Distortion, distortion_of
from xover.recordings.reading import grid_of, read_microphone, read_plan
from xover.rules.instruments import Instrument
from xover.rules.recordings import GATE_SHARE, LONGEST_GATE_S


class CurveIs(StrEnum):
    """What a microphone's file holds."""

    RESPONSE = "response"
    CORRECTION = "correction"


@dataclass(frozen=True, eq=False, repr=False)
class RecordedResponse(Readable):
    """A response, with what it was got by.

    Attributes
    ----------
    frequency_hz : (n,) from 1/gate on. level_db : (n,) relative, for 1 m. phase_deg : (n,), the way's delay taken off;
        None without a loop-back. noise_db : (n,) one standard deviation by noise. arrival : of the sound.
    gate_s : applied; gate_given : by the user. delay_s : taken off the phase.
    distortion : of the speaker. found : what is wrong. curve_hz : where the microphone's file reaches; None without
        one. files : names of what was read. same_place : as it was said.
    """

    source: str
    frequency_hz: Float
    level_db: Float
    phase_deg: Float | None
    noise_db: Float
    arrival: Arrival
    gate_s: float
    gate_given: bool
    delay_s: float
    distance_m: float
    distortion: Distortion
    found: tuple[Found, ...]
    curve_hz: tuple[float, float] | None
    warnings: tuple[str, ...]
    files: tuple[str, ...] = ()
    same_place: bool = False

    @property
    def for_folder(self) -> FolderCurve:
        """As a speaker folder takes it."""
        known = self.curve_hz is not None
        instrument = Instrument.CALIBRATED if known else Instrument.UNCALIBRATED
        gate = f"gate {1e3 * self.gate_s:.2f} ms, {'given' if self.gate_given else 'chosen'}"
        lines = (
            "read from " + ", ".join(self.files),
            f"microphone at {self.distance_m:g} m, {gate}, its own file {'used' if known else 'not used'}",
            "no loop-back" if self.phase_deg is None else "timed by a loop-back, the way's delay taken off",
            "level relative, for 1 m",
        )
        why = f"{instrument.value}, {'by' if known else 'without'} the microphone's own file"
        if self.phase_deg is None:
            return FolderCurve(self.table, lines, instrument, f"{why}; its timing is unknown", "minimum")
        same = f"one time for all drivers that are read with --distance {self.distance_m:g}m"
        common = same if self.same_place else "timing unknown: say --same-place if it has not moved"
        timing = "common" if self.same_place else "unknown"
        return FolderCurve(self.table, lines, instrument, f"{why}; {common}", "measured", timing)

    @property
    def table(self) -> str:
        """As a measurement table that every command reads."""
        if self.phase_deg is None:
            rows = zip(self.frequency_hz, self.level_db, strict=True)
            return "frequency Hz,level dB\n" + "".join(f"{f:.6g},{d:.3f}\n" for f, d in rows)
        three = zip(self.frequency_hz, self.level_db, self.phase_deg, strict=True)
        return "frequency Hz,level dB,phase deg\n" + "".join(f"{f:.6g},{d:.3f},{p:.2f}\n" for f, d, p in three)

    def plain(self) -> dict[str, Any]:
        """Curves and figures; SI units."""
        worst = self.distortion.worst_harmonic
        return {
            "source": self.source,
            "frequency_hz": self.frequency_hz,
            "level_db": self.level_db,
            "phase_deg": self.phase_deg,
            "noise_db": self.noise_db,
            "arrival_s": self.arrival.at_s,
            "reflection_s": self.arrival.reflection_s,
            "gate_s": self.gate_s,
            "delay_s": self.delay_s,
            "worst_harmonic": None if worst is None else dict(zip(("order", "db", "hz"), worst, strict=True)),
            "distortion": self.distortion.plain(),
            "found": [f.plain() for f in self.found],
            "warnings": list(self.warnings),
        }


def read_recorded(
    recording: Path | str,
    played: Path | str,
    microphone: int,
    loop: int | None,
    gate_s: float | None,
    distance_m: float,
    curve: Path | str | None,
    curve_is: CurveIs | None,
    same_place: bool = False,
) -> RecordedResponse:
    """Read it.

    Parameters
    ----------
    microphone, loop : channels from 1; a loop of 0 is the other one of two, None is none. same_place : as for the other
        drivers, so that all share one time.

    Raises InputError, OptionError.
    """
    if (curve is None) != (curve_is is None):
        raise OptionError(
            f"{named('curve')} and {named('curve_is')} only serve together",
            "microphone files come with either sign: read in it which it is",
        )
    whole = read_wav(recording)
    if same_place and (loop is None or (loop == 0 and whole.channels != 2)):
        raise OptionError(
            f"{named('same_place')} means nothing without a loop-back", "record one beside the microphone"
        )
    reference = loop if loop else None
    if loop == 0 and whole.channels == 2:
        reference = 3 - microphone
    for parameter, channel in (("microphone", microphone), ("loop", reference)):
        if channel is not None and channel > whole.channels:
            raise OptionError(
                f"{named(parameter)} is channel {channel} of {whole.channels}",
                "channels count from 1: name one that is there",
            )
    if reference == microphone:
        raise OptionError(f"{named('loop')} and {named('microphone')} are one channel", "give two, or no loop-back")
    plan = read_plan(played)
    found, faults = read_microphone(whole, plan, microphone - 1, None if reference is None else reference - 1)
    loop_at = None if reference is None else 1
    arrival = find_arrival(found, 0, loop_at)
    gate = gate_s
    if gate is None:
        gate = LONGEST_GATE_S if arrival.reflection_s is None else GATE_SHARE * arrival.reflection_s
    grid = grid_of(plan)
    grid = grid[grid >= 1.0 / gate]
    if len(grid) < 8:
        raise OptionError(
            f"a gate of {1000 * gate:.2g} ms leaves no band of the sweep", f"give a longer {named('gate_ms')}"
        )
    value, sigma = gated(found, 0, loop_at, arrival.at_s, gate, grid)
    noisy = noise_fault(value, sigma)
    distortion = distortion_of(found, 0)
    faults += [*([] if noisy is None else [noisy]), *distortion.faults(microphone)]
    delay = distance_m / SPEED_OF_SOUND_M_S
    level = 20.0 * np.log10(np.abs(value) * distance_m)
    reach = None
    if curve is not None:
        level, reach = _with_curve(grid, level, curve, -1.0 if curve_is is CurveIs.RESPONSE else 1.0)
    phase = None
    if loop_at is not None:
        phase = np.degrees(np.angle(value * np.exp(2j * np.pi * grid * delay)))
    noise = NEPER_DB * sigma / np.abs(value)
    return RecordedResponse(
        str(recording),
        grid,
        level,
        phase,
        noise,
        arrival,
        gate,
        gate_s is not None,
        delay,
        distance_m,
        distortion,
        tuple(faults),
        reach,
        (),
        tuple(Path(p).name for p in (recording, played, curve) if p is not None),
        same_place,
    )


def _with_curve(grid: Float, level: Float, path: Path | str, sign: float) -> tuple[Float, tuple[float, float]]:
    """Levels with the microphone's file in them; beyond its ends its last value stays."""
    own, _ = read_response(path, Evidence.MEASURED)
    if own.lowest_hz > grid[-1] or own.highest_hz < grid[0]:
        raise InputError("does not reach the band of the recording", "give the microphone's own file", path)
    at = np.interp(np.log(grid), np.log(own.frequency_hz), own.level_db)
    return level + sign * at, (own.lowest_hz, own.highest_hz)
