"""What a driver adds of its own while the sweep passes: harmonics, and all that lies above the fifth of them.

Smooth distortion of a driver dies away within a few orders. What rubs, buzzes or rattles does not: it is short and
broad, and fills the spectrum far above the tone that wakes it. So each short piece of the recording is asked what is in
it above the fifth harmonic of what plays then, beside the same band of the silences. IEC 60268-21 (2018) tests drivers
for such impulsive distortion in a like way, by all that a high-pass that follows the sweep lets through; from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.recordings.faults import Found, RecordingFault
from xover.recordings.transfer import HARMONICS, Deconvolved, harmonics
from xover.rules.recordings import BESIDE_HARMONICS_DB, LOUD_DB, OVERLOAD_DB, RATTLE_DB

_FRAME_S: Final = (0.03, 0.1)
_OF_GROWTH: Final = 0.12
_LOBE: Final = 4.0
"""Half the width of the taper's main lobe, in lines."""
_TOP_HZ: Final = 20_000.0
_ABOVE_NOISE: Final = 4.0
_ABOVE_LOUDEST: Final = 3.0
"""So far above the mean of the silences, and above the loudest of their frames, is more than noise."""
_IN_A_ROW: Final = 2


@dataclass(frozen=True, eq=False)
class Distortion:
    """Beside the tone that plays, dB.

    Attributes
    ----------
    frequency_hz : (n,) of the tone. harmonics_db : (orders, n) of `HARMONICS`; higher_db : (n,) all above the fifth;
        both NaN where noise hides them. lower_db : (n,) all between the tone and there. floor_db : (n,) noise where
        `higher_db` is looked for. loud : (n,) whether the tone itself is not far below the loudest: elsewhere all is
        large beside it.
    """

    frequency_hz: Float
    harmonics_db: Float
    lower_db: Float
    higher_db: Float
    floor_db: Float
    loud: NDArray[np.bool_]

    @property
    def worst_harmonic(self) -> tuple[int, float, float] | None:
        """Order, dB and Hz of the strongest where the tone is loud; None where none is known."""
        table = np.where(self.loud, self.harmonics_db, np.nan)
        if not np.isfinite(table).any():
            return None
        row, column = np.unravel_index(int(np.nanargmax(table)), table.shape)
        return HARMONICS[row], float(table[row, column]), float(self.frequency_hz[column])

    def faults(self, channel: int) -> list[Found]:
        """A rattle, or plain overload: the former leaves more above the fifth harmonic than these would."""
        # What bends the tone itself by a tenth leaves much above the fifth harmonic too.
        beside = np.where(self.lower_db > OVERLOAD_DB, 0.0, BESIDE_HARMONICS_DB)
        much = self.loud & (self.higher_db > RATTLE_DB) & (self.higher_db > self.lower_db + beside)
        for k in range(1, _IN_A_ROW):
            much &= np.roll(much, k) | np.roll(much, -k)
        out = []
        if much.any():
            at = int(np.argmax(np.where(much, self.higher_db, -np.inf)))
            out.append(Found(RecordingFault.RATTLE, channel, float(self.higher_db[at]), float(self.frequency_hz[at])))
        worst = self.worst_harmonic
        if worst is not None and worst[1] > OVERLOAD_DB:
            out.append(Found(RecordingFault.OVERLOAD, channel, worst[1], worst[2]))
        return out

    def plain(self) -> dict[str, Any]:
        """Curves by name."""
        named = {f"harmonic_{n}_db": row for n, row in zip(HARMONICS, self.harmonics_db, strict=True)}
        return {
            "frequency_hz": self.frequency_hz,
            **named,
            "above_fifth_db": self.higher_db,
            "noise_above_fifth_db": self.floor_db,
        }


def distortion_of(found: Deconvolved, row: int) -> Distortion:
    """Of one channel, by its row of `found`, over the frequency that was played."""
    plan, rate = found.plan, found.rate_hz
    length = float(np.clip(_OF_GROWTH * plan.growth_s, *_FRAME_S))
    size = int(length * rate)
    taper = _blackman_harris(size)
    lines = np.fft.rfftfreq(size, 1.0 / rate)
    top = min(_TOP_HZ, 0.45 * rate)
    wave = found.block[:, row]
    quiet = [(piece[:, row], i) for piece in found.silences for i in range(0, len(piece) - size + 1, size // 2)]
    silences = np.array([_power(piece, i, taper) for piece, i in quiet])
    silent = silences.mean(axis=0)
    f, tone, lower, higher, floor, hides = [], [], [], [], [], []
    low, high = plan.usable_hz
    for start in range(int(found.block_start), int(found.block_start + plan.sweep_s * rate) - size, size // 2):
        begin = plan.low_hz * np.exp((start - found.block_start) / rate / plan.growth_s)
        end = begin * np.exp(length / plan.growth_s)
        split = 1.05 * HARMONICS[-1] * end + _LOBE / length
        above = (lines > split) & (lines < top)
        if begin < low or end > high or above.sum() < 10:
            continue
        power = _power(wave, start, taper)
        near = (lines > 0.5 * begin) & (lines < 1.4 * end + _LOBE / length)
        between = (lines <= split) & (lines >= 1.4 * end + _LOBE / length)
        f.append(np.sqrt(begin * end))
        tone.append(max(float(power[near].sum() - silent[near].sum()), 1e-30))
        lower.append(max(float(power[between].sum() - silent[between].sum()), 1e-30))
        higher.append(float(power[above].sum()))
        floor.append(max(float(silent[above].sum()), 1e-30))
        hides.append(max(_ABOVE_NOISE * floor[-1], _ABOVE_LOUDEST * float(silences[:, above].sum(axis=1).max())))
    played, t, low_orders, h, n = (np.array(x) for x in (f, tone, lower, higher, floor))
    # A notch is the room's: the tone is the mean of a third of an octave.
    near_by = np.abs(np.log2(played[:, None] / played)) < 1.0 / 6.0
    t = near_by @ t / near_by.sum(axis=1)
    shown = np.where(h > np.array(hides), 10.0 * np.log10(np.maximum(h - n, 1e-30) / t), np.nan)
    loud = t > 10.0 ** (LOUD_DB / 10.0) * t.max(initial=0.0)
    bent, noise = 10.0 * np.log10(low_orders / t), 10.0 * np.log10(n / t)
    return Distortion(played, harmonics(found, row, played), bent, shown, noise, loud)


def _power(wave: Float, start: int, taper: Float) -> Float:
    return np.asarray(np.abs(np.fft.rfft(wave[start : start + len(taper)] * taper)) ** 2)


def _blackman_harris(size: int) -> Float:
    """(n,) four-term taper, its side lobes 92 dB down. F. J. Harris, Proc. IEEE 66 (1978); from memory."""
    turn = 2.0 * np.pi * (np.arange(size) + 0.5) / size
    return np.asarray(0.35875 - 0.48829 * np.cos(turn) + 0.14128 * np.cos(2 * turn) - 0.01168 * np.cos(3 * turn))
