"""Microphone against loop-back, through a gate; with the near field below it, and absolute where a calibrator says."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np

from xover.acoustic.level import NEPER_DB, STATED_VOLTAGE_V
from xover.acoustic.near_field import near_limit_hz
from xover.acoustic.time import SPEED_OF_SOUND_M_S
from xover.curve import Curve, Evidence, Float
from xover.errors import InputError, OptionError, named
from xover.files.tables import read_response
from xover.files.wav import read_wav
from xover.recordings.calibrator import read_tone
from xover.recordings.faults import Found, noise_fault
from xover.recordings.gate import Arrival, find_arrival, gated, impulse, reference_at
from xover.recordings.rattle import distortion_of
from xover.recordings.reading import grid_of, read_microphone, read_plan
from xover.recordings.sweep import SweepPlan, tone_hz
from xover.recordings.transfer import LONGEST_S
from xover.rules.recordings import GATE_SHARE, LONGEST_GATE_S, SPLICE_OCTAVES
from xover.studies.desk.response.near import Close, Opened, Piece, joined, near_piece, splice_at
from xover.studies.desk.response.result import NearField, RecordedResponse, Scale, Splice

FEWEST_ROWS = 8


class CurveIs(StrEnum):
    """What a microphone's file holds."""

    RESPONSE = "response"
    CORRECTION = "correction"


@dataclass(frozen=True)
class Calibrated:
    """A calibrator's recording, its level re 20 uPa, and volts rms at the terminals while the sweep's tone sounds."""

    path: Path | str
    level_db: float
    volt: float


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
    close: Close | None = None,
    calibrated: Calibrated | None = None,
) -> RecordedResponse:
    """Read it.

    Parameters
    ----------
    microphone, loop : channels from 1, of every recording; a loop of 0 is the other one of two, None is none.
        same_place : as for the other drivers, so that all share one time.

    Raises InputError, OptionError.
    """
    if (curve is None) != (curve_is is None):
        raise OptionError(
            f"{named('curve')} and {named('curve_is')} only serve together",
            "microphone files come with either sign: read in it which it is",
        )
    plan = read_plan(played)
    opened, faults = _open(recording, plan, microphone, loop)
    if same_place and not opened.has_loop:
        raise OptionError(
            f"{named('same_place')} means nothing without a loop-back", "record one beside the microphone"
        )
    others: list[tuple[Opened, float]] = []
    for path, diameter_m in () if close is None else ((close.cone, close.diameter_m), (close.port, close.port_m)):
        if path is not None and diameter_m is not None:
            one, wrong = _open(path, plan, microphone, loop)
            others.append((one, diameter_m))
            faults += wrong
    if close is not None and close.port is not None and not all(o.has_loop for o in (opened, *(o for o, _ in others))):
        raise OptionError(
            f"{named('port')} adds to the cone by its phase, and there is no loop-back", "record one beside each"
        )
    arrival = find_arrival(opened.found, 0, opened.loop_at)
    alone = close is not None and close.cone is None
    grid = grid_of(plan)
    near, splice = None, None
    if close is not None:
        near = NearField(close.diameter_m, close.port_m, near_limit_hz(close.diameter_m), close.baffle_m)
    gate = gate_s
    if gate is None:
        gate = LONGEST_GATE_S if arrival.reflection_s is None else GATE_SHARE * arrival.reflection_s
        gate = LONGEST_S if alone else gate
    _held(grid[(grid >= 1.0 / gate) & (grid <= (near.limit_hz if alone and near else np.inf))], gate)
    if alone and near is not None and close is not None:
        delay = near.diameter_m / 4.0 / SPEED_OF_SOUND_M_S
        rows = grid[(grid >= 1.0 / gate) & (grid <= near.limit_hz)]
        piece = near_piece([(opened, near.diameter_m), *others], near, rows, gate_s)
    else:
        delay = distance_m / SPEED_OF_SOUND_M_S
        piece = _far(opened, arrival, gate, grid[grid >= 1.0 / gate], distance_m)
        if near is not None and close is not None:
            piece, splice = _spliced(piece, others, near, close, grid, gate, opened.has_loop)
    noisy = noise_fault(piece.value, piece.sigma)
    distortion = distortion_of(opened.found, 0)
    faults += [*([] if noisy is None else [noisy]), *distortion.faults(microphone)]
    f, size = piece.frequency_hz, np.abs(piece.value)
    level, inside, reach, scale = 20.0 * np.log10(size), np.ones(len(f), dtype=bool), None, None
    phase = np.degrees(np.angle(piece.value))
    own = None if curve is None else _own(curve, f)
    sign = -1.0 if curve_is is CurveIs.RESPONSE else 1.0
    if own is not None:
        reach = (own.lowest_hz, own.highest_hz)
        inside = (f >= own.lowest_hz) & (f <= own.highest_hz)
        level = level + sign * _at(own, f)
        phase = phase + sign * _minimum_phase_deg(own, f)
    if calibrated is not None:
        scale = _scale(calibrated, opened, plan, microphone, own, sign)
        level = level + scale.added_db
    f = f[inside]
    shown_s = LONGEST_GATE_S if alone and gate_s is None else 1.5 * max(gate, arrival.reflection_s or 0.0)
    return RecordedResponse(
        str(recording),
        f,
        level[inside],
        phase[inside] if opened.has_loop else None,
        (NEPER_DB * piece.sigma / size)[inside],
        (NEPER_DB * piece.cut_share)[inside],
        arrival,
        gate,
        gate_s is not None,
        delay,
        distance_m,
        distortion,
        tuple(dict.fromkeys(faults)),
        reach,
        not inside.all(),
        impulse(opened.found, 0, opened.loop_at, arrival.at_s, shown_s),
        (),
        tuple(Path(p).name for p in (recording, *(o.path for o, _ in others), played, curve) if p is not None),
        same_place,
        near,
        splice,
        scale,
    )


def _open(path: Path | str, plan: SweepPlan, microphone: int, loop: int | None) -> tuple[Opened, list[Found]]:
    whole = read_wav(path)
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
    found, faults = read_microphone(whole, plan, microphone - 1, None if reference is None else reference - 1)
    return Opened(path, found, reference is not None), faults


def _held(rows: Float, gate_s: float) -> None:
    if len(rows) < FEWEST_ROWS:
        raise OptionError(
            f"a gate of {1000 * gate_s:.2g} ms leaves no band of the sweep", f"give a longer {named('gate_ms')}"
        )


def _far(opened: Opened, arrival: Arrival, gate_s: float, rows: Float, distance_m: float) -> Piece:
    one = gated(opened.found, 0, opened.loop_at, arrival.at_s, gate_s, rows)
    way = distance_m * np.exp(2j * np.pi * rows * distance_m / SPEED_OF_SOUND_M_S)
    return Piece(rows, one.value * way, one.sigma * distance_m, one.cut_share)


def _spliced(
    far: Piece,
    sources: list[tuple[Opened, float]],
    near: NearField,
    close: Close,
    grid: Float,
    gate_s: float,
    has_loop: bool,
) -> tuple[Piece, Splice]:
    at = splice_at(float(far.frequency_hz[0]), near, close.splice_hz)
    below = grid[grid <= near.limit_hz]
    beside = far.frequency_hz <= near.limit_hz
    beside &= np.abs(np.log2(far.frequency_hz / at)) <= SPLICE_OCTAVES
    rows = far.frequency_hz[beside]
    # Both through one gate: what it cuts off of a woofer is no difference between them then.
    pair = (
        Piece(rows, far.value[beside], far.sigma[beside], far.cut_share[beside]),
        near_piece(sources, near, rows, gate_s),
    )
    timed = has_loop and all(o.has_loop for o, _ in sources)
    if has_loop and not timed:
        raise OptionError(f"{named('near')} has no loop-back, the far field has one", "record both alike")
    return joined(far, near_piece(sources, near, below, None), pair, at, timed, sources[0][0].path)


def _own(path: Path | str, rows: Float) -> Curve:
    """The microphone's file."""
    own, _ = read_response(path, Evidence.MEASURED)
    if ((rows >= own.lowest_hz) & (rows <= own.highest_hz)).sum() < FEWEST_ROWS:
        raise InputError("does not reach the band of the recording", "give the microphone's own file", path)
    return own


def _at(own: Curve, frequency_hz: Float) -> Float:
    return np.asarray(np.interp(np.log(frequency_hz), np.log(own.frequency_hz), own.level_db))


def _minimum_phase_deg(own: Curve, frequency_hz: Float) -> Float:
    """Of a microphone, whose small capsule is of minimum phase: common practice, no published source.

    Above its file a capsule rises to its resonance and falls then: its level is taken to stay, between the two.
    """
    from xover.driver.minimum_phase import minimum_phase

    degrees = minimum_phase(own.frequency_hz, own.level_db, high_slope_db_per_octave=0.0).phase_deg
    return np.asarray(np.interp(np.log(frequency_hz), np.log(own.frequency_hz), degrees))


def _scale(
    given: Calibrated, opened: Opened, plan: SweepPlan, microphone: int, own: Curve | None, sign: float
) -> Scale:
    """What makes levels absolute. Raises InputError, OptionError."""
    tone = read_tone(given.path, microphone)
    heard_db = 20.0 * np.log10(tone.rms)
    if own is not None:
        if not own.lowest_hz <= tone.hz <= own.highest_hz:
            raise OptionError(
                f"{named('curve')} does not reach the calibrator's {tone.hz:.0f} Hz", "give the microphone's own file"
            )
        heard_db += sign * float(_at(own, np.array([tone.hz]))[0])
    # The sweep has the tone's peak, 1 in what it was divided by; its rms is what the meter read. With a loop-back that
    # is what the loop-back has at the tone's frequency.
    loop = abs(complex(reference_at(opened.found, opened.loop_at, np.array([tone_hz(plan)]))[0][0]))
    added = given.level_db - heard_db + 20.0 * np.log10(STATED_VOLTAGE_V / given.volt * loop / np.sqrt(2.0))
    return Scale(tone, given.level_db, given.volt, float(added))
