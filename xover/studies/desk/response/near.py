"""Near fields of cone and port, and how they are joined to the far field."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from xover.acoustic.near_field import baffle_step, far_over_near
from xover.curve import Complex, Float
from xover.errors import InputError, OptionError, named
from xover.quantity import hertz
from xover.recordings.gate import find_arrival, gated
from xover.recordings.transfer import Deconvolved, read_channels
from xover.rules.recordings import SPLICE_HZ, SPLICE_OCTAVES
from xover.studies.desk.response.result import NearField, Splice


@dataclass(frozen=True)
class Close:
    """Options of a near field: recordings of cone and port with their diameters. A `cone` of None is the recording
    itself. baffle_m : its width. splice_hz : None chooses."""

    diameter_m: float
    cone: Path | str | None = None
    port: Path | str | None = None
    port_m: float | None = None
    baffle_m: float | None = None
    splice_hz: float | None = None


@dataclass(frozen=True, eq=False)
class Opened:
    """A recording, divided by its sweep; whether there is a loop-back."""

    path: Path | str
    found: Deconvolved
    has_loop: bool

    @property
    def loop_at(self) -> int | None:
        """Its channel in `found`."""
        return 1 if self.has_loop else None


@dataclass(frozen=True, eq=False)
class Piece:
    """A response for 1 m.

    Attributes
    ----------
    frequency_hz : (n,). value : (n,) complex, its own delay taken off. sigma : (n,) of it, by noise. cut_share : (n,)
        as `Gated` has it.
    """

    frequency_hz: Float
    value: Complex
    sigma: Float
    cut_share: Float


def near_piece(
    sources: Sequence[tuple[Opened, float]], near: NearField, frequency_hz: Float, gate_s: float | None
) -> Piece:
    """Cone and port, each with its diameter, added as they are at 1 m; with the baffle's step where that is known.

    Parameters
    ----------
    gate_s : from the cone's arrival on, for the port too, which starts slowly; None lets all of it ring out.
    """
    total = np.zeros(len(frequency_hz), dtype=complex)
    power, cut = np.zeros(len(frequency_hz)), np.zeros(len(frequency_hz))
    first = sources[0][0]
    at_s = 0.0 if gate_s is None else find_arrival(first.found, 0, first.loop_at).at_s
    for opened, diameter_m in sources:
        factor = far_over_near(diameter_m, frequency_hz)
        if gate_s is None:
            all_of_it = read_channels(opened.found, frequency_hz)
            value, sigma = all_of_it.value[0], all_of_it.sigma[0]
            if opened.has_loop:
                loop, unsure = all_of_it.value[1], all_of_it.sigma[1]
                value = value / loop
                sigma = np.hypot(sigma, np.abs(value) * unsure) / np.abs(loop)
        else:
            one = gated(opened.found, 0, opened.loop_at, at_s, gate_s, frequency_hz)
            value, sigma = one.value, one.sigma
            cut += one.cut_share * np.abs(value * factor)
        total += value * factor
        power += np.abs(sigma * factor) ** 2
    step = np.ones(1, dtype=complex)
    if near.baffle_m is not None:
        step = baffle_step(frequency_hz, near.baffle_m)
    return Piece(frequency_hz, total * step, np.sqrt(power) * np.abs(step), cut / np.maximum(np.abs(total), 1e-12))


def splice_at(far_hz: float, near: NearField, wanted_hz: float | None) -> float:
    """Where both are known to both sides. Raises OptionError: nowhere, or not there."""
    room = 2.0 ** (SPLICE_OCTAVES / 2.0)
    low, high = far_hz * room, near.limit_hz / room
    if low > high:
        raise OptionError(
            f"the gate tells the far field from {hertz(far_hz)} on, and the near field ends at {hertz(near.limit_hz)}",
            "get the first reflection later: speaker and microphone farther from floor and walls, nearer to each other",
        )
    if wanted_hz is None:
        return float(np.clip(np.mean(SPLICE_HZ), low, high))
    if not low <= wanted_hz <= high:
        raise OptionError(
            f"{named('splice_hz')} at {hertz(wanted_hz)} has not both fields around it",
            f"give {hertz(low)} to {hertz(high)}, for this gate and this cone",
        )
    return wanted_hz


def joined(
    far: Piece, near: Piece, compared: tuple[Piece, Piece], at_hz: float, timed: bool, path: Path | str
) -> tuple[Piece, Splice]:
    """Below `at_hz` the near field, raised and delayed so that it meets the far field.

    Parameters
    ----------
    far, near : on rows of one grid. compared : both on the rows around the splice, through one gate. timed : phases
        are known. path : of the near field, for messages.

    Raises InputError: one is turned over against the other.
    """
    f = compared[0].frequency_hz
    ratio = compared[0].value / compared[1].value
    octaves = np.log2(f / at_hz)
    slope, step = np.polyfit(octaves, 20.0 * np.log10(np.abs(ratio)), 1)
    delay = None
    low, high = near.value * 10.0 ** (step / 20.0), far.value
    if timed:
        middle = np.angle(ratio.sum())
        if abs(middle) > 0.5 * np.pi:
            raise InputError(
                f"is {np.degrees(abs(middle)):.0f} degrees from the far field at {hertz(at_hz)}: turned over, or of "
                "another driver",
                f"record it through the same leads; check {named('distance_m')}",
                path,
            )
        w = 2.0 * np.pi * f
        turned = middle + np.angle(ratio * np.exp(-1j * middle))
        delay = -float((w * turned).sum() / (w * w).sum())
        low = low * np.exp(-2j * np.pi * near.frequency_hz * delay)
    else:
        low, high = np.abs(low).astype(complex), np.abs(high).astype(complex)
    whole = np.union1d(near.frequency_hz, far.frequency_hz)
    rows_near, rows_far = np.searchsorted(whole, near.frequency_hz), np.searchsorted(whole, far.frequency_hz)
    share = np.clip(np.log2(whole / at_hz) / SPLICE_OCTAVES + 0.5, 0.0, 1.0)
    below, above = (np.full(len(whole), np.nan, dtype=complex) for _ in range(2))
    below[rows_near], above[rows_far] = low, high
    # Where one is not known its share is 0 or 1: its logarithm counts for nothing.
    known = [np.where(np.isnan(v), w, v) for v, w in ((below, above), (above, below))]
    value = known[0] * np.exp(share * np.log(known[1] / known[0]))
    sigma = np.zeros(len(whole))
    sigma[rows_near] += (1.0 - share[rows_near]) * near.sigma * 10.0 ** (step / 20.0)
    sigma[rows_far] += share[rows_far] * far.sigma
    cut = np.full(len(whole), np.nan)
    cut[rows_far] = np.where(share[rows_far] > 0.0, share[rows_far] * far.cut_share, np.nan)
    return Piece(whole, value, sigma, cut), Splice(at_hz, float(step), float(slope), delay)
