"""A response with what it was got by: as a table, as numbers, as a folder takes it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from xover.curve import Float
from xover.files.add_curve import FolderCurve
from xover.readable import Readable
from xover.recordings.calibrator import Tone
from xover.recordings.faults import UNSTEADY, Found
from xover.recordings.gate import Arrival
from xover.recordings.rattle import Distortion
from xover.rules.instruments import Instrument
from xover.rules.recordings import GATE_LOUD_DB, GATE_SURE_DB


@dataclass(frozen=True)
class NearField:
    """What was taken close up.

    Attributes
    ----------
    diameter_m : of the cone. port_m : of the port; None without one. limit_hz : up to which it is believed. baffle_m :
        width whose step is in it; None: half space.
    """

    diameter_m: float
    port_m: float | None
    limit_hz: float
    baffle_m: float | None


@dataclass(frozen=True)
class Splice:
    """Where near and far field are joined, and how they fitted there.

    Attributes
    ----------
    at_hz : middle. step_db : what the near field was raised by. slope_db : per octave, by which the far field rises
        more. delay_s : what the near field was delayed by; None without phases.
    """

    at_hz: float
    step_db: float
    slope_db: float
    delay_s: float | None


@dataclass(frozen=True)
class Scale:
    """By what levels are absolute: the calibrator's tone and level, volts rms at the terminals while the tone sounds
    that sets the sweep, dB that were added."""

    tone: Tone
    level_db: float
    volt: float
    added_db: float


@dataclass(frozen=True, eq=False, repr=False)
class RecordedResponse(Readable):
    """A response, with what it was got by.

    Attributes
    ----------
    frequency_hz : (n,) from 1/gate on, or from the sweep's low end where a near field is in it. level_db : (n,) for
        1 m, relative, or re 20 uPa for 2.83 V where `scale` is there. phase_deg : (n,), the way's delay taken off; None
        without a loop-back. noise_db : (n,) one standard deviation by noise. gate_db : (n,) what the gate cuts off,
        estimated; NaN where the near field stands. arrival : of the sound.
    gate_s : applied; gate_given : by the user. delay_s : taken off the phase.
    distortion : of the speaker. found : what is wrong. curve_hz : where the
        microphone's file reaches; None without one. curve_cut : whether rows that lie beyond were left out.
    impulse : times from the arrival on, and the impulse response. files : names of what was read. same_place : as it
        was said. near, splice, scale : None without.
    """

    source: str
    frequency_hz: Float
    level_db: Float
    phase_deg: Float | None
    noise_db: Float
    gate_db: Float
    arrival: Arrival
    gate_s: float
    gate_given: bool
    delay_s: float
    distance_m: float
    distortion: Distortion
    found: tuple[Found, ...]
    curve_hz: tuple[float, float] | None
    curve_cut: bool
    impulse: tuple[Float, Float]
    warnings: tuple[str, ...]
    files: tuple[str, ...] = ()
    same_place: bool = False
    near: NearField | None = None
    splice: Splice | None = None
    scale: Scale | None = None

    @property
    def near_alone(self) -> bool:
        """Whether it is a near field and nothing else."""
        return self.near is not None and self.splice is None

    @property
    def gate_off(self) -> tuple[float, float, float] | None:
        """Most that the gate cuts off, dB, at Hz, and from which Hz on it is less than 0.2 dB, where the driver is
        loud; None where it is less throughout."""
        loud = self.level_db > self.level_db.max() - GATE_LOUD_DB
        off = np.where(loud, np.nan_to_num(self.gate_db), 0.0)
        rows = np.flatnonzero(off > GATE_SURE_DB)
        if not rows.size:
            return None
        most, f = int(np.argmax(off)), self.frequency_hz
        return float(off[most]), float(f[most]), float(f[min(rows[-1] + 1, len(f) - 1)])

    @property
    def conditions(self) -> Iterator[str]:
        """How it was got, in a few words each."""
        known = "used" if self.curve_hz is not None else "not used"
        gate = f"gate {1e3 * self.gate_s:.2f} ms, {'given' if self.gate_given else 'chosen'}"
        gate = "no gate" if self.near_alone and not self.gate_given else gate
        where = "in the near field" if self.near_alone else f"at {self.distance_m:g} m"
        yield "read from " + ", ".join(self.files)
        yield f"microphone {where}, {gate}, its own file {known}"
        if self.splice is not None and self.near is not None and self.near.baffle_m is not None:
            width = f"{1e3 * self.near.baffle_m:.0f} mm"
            yield f"below {self.splice.at_hz:.0f} Hz its near field with the step of a baffle {width} wide"
        if self.near_alone and self.near is not None and self.near.baffle_m is None:
            yield "in half space: no baffle's step is in it"
        yield "no loop-back" if self.phase_deg is None else "timed by a loop-back, the way's delay taken off"
        yield self.level_means

    @property
    def level_means(self) -> str:
        """What its levels are."""
        return "level relative, for 1 m" if self.scale is None else "level re 20 uPa for 2.83 V at 1 m"

    @property
    def for_folder(self) -> FolderCurve:
        """As a speaker folder takes it."""
        known = self.curve_hz is not None
        steady = UNSTEADY.isdisjoint(one.fault for one in self.found)
        instrument = Instrument.CALIBRATED if known and steady else Instrument.UNCALIBRATED
        lines = tuple(self.conditions)
        by = f"{'by' if known else 'without'} the microphone's own file" if steady else "as a gain moved"
        why = f"{instrument.value}, {by}"
        if self.phase_deg is None:
            return FolderCurve(self.rows, lines, instrument, f"{why}; its timing is unknown", "minimum")
        same = f"one time for all drivers that are read with --distance {self.distance_m:g}m"
        shared = self.same_place and not self.near_alone
        common = same if shared else "timing unknown: say --same-place if it has not moved"
        return FolderCurve(
            self.rows, lines, instrument, f"{why}; {common}", "measured", "common" if shared else "unknown"
        )

    @property
    def rows(self) -> str:
        """As a measurement table that every command reads."""
        if self.phase_deg is None:
            rows = zip(self.frequency_hz, self.level_db, strict=True)
            return "frequency Hz,level dB\n" + "".join(f"{f:.6g},{d:.3f}\n" for f, d in rows)
        three = zip(self.frequency_hz, self.level_db, self.phase_deg, strict=True)
        return "frequency Hz,level dB,phase deg\n" + "".join(f"{f:.6g},{d:.3f},{p:.2f}\n" for f, d, p in three)

    @property
    def table(self) -> str:
        """The same, with what its levels are above it."""
        half = self.near_alone and self.near is not None and self.near.baffle_m is None
        return f"# {self.level_means}{', near field in half space' if half else ''}\n{self.rows}"

    def plain(self) -> dict[str, Any]:
        """Curves and figures; SI units."""
        worst = self.distortion.worst_harmonic
        return {
            "source": self.source,
            "frequency_hz": self.frequency_hz,
            "level_db": self.level_db,
            "level_is": "relative" if self.scale is None else "absolute",
            "phase_deg": self.phase_deg,
            "noise_db": self.noise_db,
            "gate_error_db": self.gate_db,
            "arrival_s": self.arrival.at_s,
            "reflection_s": self.arrival.reflection_s,
            "gate_s": self.gate_s,
            "delay_s": self.delay_s,
            "near_field": self.near,
            "splice": self.splice,
            "scale": self.scale,
            "worst_harmonic": None if worst is None else dict(zip(("order", "db", "hz"), worst, strict=True)),
            "distortion": self.distortion.plain(),
            "found": [f.plain() for f in self.found],
            "warnings": list(self.warnings),
        }
