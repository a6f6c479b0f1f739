"""An invented bench: a sound card, an amplifier, a resistor and a driver, with all that goes wrong between them.

Nothing here is shared with what reads the recordings: voltages are worked out line by line in the frequency domain, and
another clock is made by interpolating what was played.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class SoundCard:
    """Two inputs, and what is wrong with them. All invented."""

    gain_db: tuple[float, float] = (0.0, 0.0)
    skew_samples: float = 0.0
    crosstalk_db: float = -200.0
    input_ohm: float = np.inf
    leads_ohm: float = 0.0
    noise: float = 0.0
    hum: float = 0.0
    hum_hz: float = 50.0
    clock_ppm: float = 0.0
    cubic: float = 0.0
    clip: float = np.inf
    delay_s: float = 0.031
    before_s: float = 0.4
    seed: int = 1
    gain: float = 0.5
    more: dict = field(default_factory=dict)


def divider(card: SoundCard, z: np.ndarray, resistor: float) -> tuple[np.ndarray, np.ndarray]:
    """Voltages of both inputs over the amplifier's: across both, and across the load behind its leads."""
    load = 1.0 / (1.0 / (z + card.leads_ohm) + 1.0 / card.input_ohm)
    return np.ones_like(load), load / (load + resistor)


def record(
    card: SoundCard, wave: np.ndarray, rate: int, voltages: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
) -> np.ndarray:
    """(n, 2) samples of both inputs while the wave is played."""
    rng = np.random.default_rng(card.seed)
    wave = card.gain * (wave + card.cubic * wave**3)
    pad = int(1.0 * rate)
    length = 1 << (len(wave) + 2 * pad).bit_length()
    f = np.fft.rfftfreq(length, 1.0 / rate)
    late = np.exp(-2j * np.pi * f * (card.delay_s + card.before_s))
    first, second = (np.fft.rfft(wave, length) * late * v for v in voltages(np.maximum(f, 1e-3)))
    k = 10.0 ** (card.crosstalk_db / 20.0)
    first, second = first + k * second, second + k * first
    second = second * np.exp(-2j * np.pi * f * card.skew_samples / rate)
    both = [s * 10.0 ** (g / 20.0) for s, g in zip((first, second), card.gain_db, strict=True)]
    out = np.stack([np.fft.irfft(s, length)[: len(wave) + pad] for s in both], axis=1)
    if card.clock_ppm:
        out = slower(out, 1.0 + 1e-6 * card.clock_ppm)
    t = np.arange(len(out)) / rate
    for n, share in ((1, 1.0), (3, 0.4), (5, 0.2)):
        out += card.hum * share * np.sin(2 * np.pi * card.hum_hz * n * t + n)[:, None] * np.array([1.0, 0.6])
    out += card.noise * rng.standard_normal(out.shape)
    return np.clip(out, -min(1.0, card.clip), min(1.0, card.clip))


def slower(samples: np.ndarray, stretch: float) -> np.ndarray:
    """(n, channels) as a clock that is fast by `stretch` takes them: all resampled at once, by their spectrum."""
    from scipy.fft import irfft, rfft

    n = len(samples)
    # Silence behind, until a whole number of samples is as good as the number that is wanted.
    longer = int(np.ceil(n / min(1.0, stretch))) + np.arange(40_000)
    length = int(longer[np.argmin(np.abs(longer * stretch - np.round(longer * stretch)))])
    wanted = round(length * stretch)
    spectrum = rfft(samples, length, axis=0)
    return np.asarray(irfft(spectrum[: wanted // 2 + 1], wanted, axis=0)[:n] * (wanted / length))
