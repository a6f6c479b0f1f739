"""A take, and a list of devices."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from xover.curve import Float
from xover.errors import OptionError, named
from xover.files.wav import wav_bytes
from xover.plain import some_of
from xover.readable import Readable
from xover.studies.desk.record.device import Samples, SoundDevice


@dataclass(frozen=True, eq=False, repr=False)
class SoundDevices(Readable):
    """What the system has."""

    devices: tuple[SoundDevice, ...]

    @property
    def wav(self) -> bytes:
        """Raises OptionError: there is none."""
        raise OptionError("a list of devices is no recording", f"leave out {named('output')}")

    def plain(self) -> dict[str, Any]:
        """Figures."""
        return {"devices": self.devices}


@dataclass(frozen=True, eq=False, repr=False)
class Take(Readable):
    """What was recorded.

    Attributes
    ----------
    played : the file. tone_hz : of the tone that was played instead; None of the sweep. samples : (n, inputs), full
        scale 1. peak_db : (inputs,) re full scale. recorder, player : numbers of the devices.
    """

    played: str
    tone_hz: float | None
    rate_hz: int
    samples: Samples
    peak_db: Float
    recorder: int
    player: int
    warnings: tuple[str, ...]

    @property
    def wav(self) -> bytes:
        """As a file of 24 bit. Raises OptionError: of a tone."""
        if self.tone_hz is not None:
            raise OptionError("of a tone nothing is kept", f"leave out {named('output')}, or {named('tone')}")
        return wav_bytes(self.samples.astype(float), self.rate_hz, 24)

    def plain(self) -> dict[str, Any]:
        """Figures; SI units."""
        return some_of(self, "played tone_hz rate_hz peak_db recorder player warnings", length_s=self.length_s)

    @property
    def length_s(self) -> float:
        """Seconds."""
        return len(self.samples) / self.rate_hz
