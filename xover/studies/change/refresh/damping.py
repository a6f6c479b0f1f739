"""What a changed DC resistance in front of a woofer does to its damping and its level."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from xover.curve import log_grid
from xover.figures import written
from xover.network import Network, solve
from xover.rules.bands import AUDIO_BAND_HZ
from xover.rules.margins import TWEETER_FS_HZ, WORTH_SAYING
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import Speaker, SpeakerDriver


@dataclass(frozen=True)
class DampingChange:
    """Resistance seen by a driver at its resonance, in the reference and in the new network.

    Attributes
    ----------
    before_ohm, after_ohm : real part of the network's output impedance at the driver's resonance.
    q_ratio : Q_es, and nearly Q_tc, after over before: (Re + after) / (Re + before).
    level_db : change of the level well above resonance, into the driver's DC resistance.
    """

    driver: str
    resonance_hz: float
    before_ohm: float
    after_ohm: float
    q_ratio: float
    level_db: float

    @property
    def worth_saying(self) -> bool:
        """Whether the damping moves by 2 % or more."""
        return abs(self.q_ratio - 1.0) >= WORTH_SAYING

    @property
    def sentence(self) -> str:
        """What it does."""
        up = "rises" if self.q_ratio > 1 else "falls"
        return (
            f"{self.driver}: {self.before_ohm:.2f} ohm in front of it becomes {self.after_ohm:.2f} ohm: its electrical "
            f"Q in the cabinet {up} by {abs(self.q_ratio - 1) * 100:.0f} % "
            f"({written('resonance', self.resonance_hz, self.driver)}) "
            f"and its level moves by {self.level_db:+.2f} dB"
        )


def damping_changes(speaker: Speaker, reference: Network, network: Network) -> tuple[DampingChange, ...]:
    """For every driver that stands once and has a resonance below 300 Hz; others are left out."""
    out = []
    for card in reference.drivers:
        if sum(d.driver == card.driver for d in reference.drivers) > 1:
            continue
        resonance = _resonance(speaker.drivers[card.driver])
        if resonance is None:
            continue
        fs, re = resonance
        before, after = (_output_ohm(speaker, n, card.driver, card.key, fs) for n in (reference, network))
        if math.isnan(before) or math.isnan(after):
            continue
        ratio = (re + after) / (re + before)
        out.append(DampingChange(card.key, fs, before, after, ratio, -20.0 * math.log10(ratio)))
    return tuple(out)


def _resonance(driver: SpeakerDriver) -> tuple[float, float] | None:
    """(resonance, DC resistance: as told, else the lowest real part below 1 kHz)."""
    peak = driver_resonance_hz(driver)
    if not peak <= TWEETER_FS_HZ:
        return None
    z = driver.impedance_ohm(log_grid(AUDIO_BAND_HZ[0], 1000.0, 48))
    re = driver.re_ohm if driver.re_ohm is not None else float(np.nanmin(z.real))
    return (peak, re) if re > 0.0 else None


def _output_ohm(speaker: Speaker, network: Network, driver: str, key: str, at_hz: float) -> float:
    """Real part of what the driver sees looking back into the network: from two loads, H Z_th + H Z = H_open Z."""
    f = np.array([at_hz])
    ohm = speaker.impedances_ohm(network, f)
    loads = (4.0, 40.0)
    first, second = (solve(network, f, ohm | {driver: np.array([load], dtype=complex)}).drive[key][0] for load in loads)
    top = loads[0] * loads[1] * (second - first)
    bottom = first * loads[1] - second * loads[0]
    return float((top / bottom).real) if bottom != 0 else math.nan
