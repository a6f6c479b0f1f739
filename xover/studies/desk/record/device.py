"""The system's sound device, through a library that is loaded only here: what there is; samples out, samples in."""

from __future__ import annotations

import contextlib
import os
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from xover.errors import OptionError, named
from xover.rules.recordings import FULL_SCALE

LOOK_S: Final = 0.1
STALLED_S: Final = 5.0
OTHER_MEANS: Final = "or play and record by any other means"
_SEE_LIST: Final = f"see what there is with {named('listing')}"

Samples = NDArray[np.float32]


@dataclass(frozen=True)
class SoundDevice:
    """One device. `number` : what it is asked for by. `usual` : whether it is taken by itself, for in- and output."""

    number: int
    name: str
    inputs: int
    outputs: int
    rate_hz: float
    usual: tuple[bool, bool]


def load_library() -> Any:
    """The library. Raises OptionError: it, or what it stands on, is not installed."""
    try:
        import sounddevice
    except ImportError:
        raise OptionError(
            "the library sounddevice is not installed", f"install it (pip install sounddevice), {OTHER_MEANS}"
        ) from None
    except OSError:
        raise OptionError(
            "the system's library portaudio is not installed",
            f"install it (its package is libportaudio2, or portaudio), {OTHER_MEANS}",
        ) from None
    return sounddevice


def find_devices(library: Any) -> tuple[SoundDevice, ...]:
    """All devices. Raises OptionError: there is none."""
    usual = tuple(library.default.device)
    try:
        found = tuple(
            SoundDevice(
                number,
                str(one["name"]),
                int(one["max_input_channels"]),
                int(one["max_output_channels"]),
                float(one["default_samplerate"]),
                (number == usual[0], number == usual[1]),
            )
            for number, one in enumerate(library.query_devices())
        )
    except library.PortAudioError as error:
        raise _refused(error) from None
    if not found:
        raise OptionError("this system has no sound device", f"plug one in, {OTHER_MEANS}")
    return found


def choose(devices: tuple[SoundDevice, ...], asked: tuple[int, ...], inputs: int, outputs: int) -> tuple[int, int]:
    """Numbers of the recorder and the player. Raises OptionError: no such device, or too few channels."""
    if len(asked) > 2:
        raise OptionError(f"{named('device')} names {len(asked)} devices", "name one, or the recorder and the player")
    found = []
    for way, (wanted, what) in enumerate(((inputs, "inputs"), (outputs, "outputs"))):
        usual = next((d.number for d in devices if d.usual[way]), -1)
        number = asked[min(way, len(asked) - 1)] if asked else usual
        one = next((d for d in devices if d.number == number), None)
        if one is None:
            wrong = f"there is no device {number}" if asked else f"the system has no usual device for {what}"
            raise OptionError(wrong, f"{_SEE_LIST}, and give {named('device')}")
        has = (one.inputs, one.outputs)[way]
        if has < wanted:
            raise OptionError(
                f"device {number} has {has} {what}, and {wanted} are needed",
                f"give another {named('device')}" + (f", or fewer {named('inputs')}" if has and not way else ""),
            )
        found.append(number)
    return found[0], found[1]


class _Running:
    """What the device's own thread does, block by block: hands the wave out as it is, and takes what comes in."""

    def __init__(self, library: Any, wave: Samples, inputs: int, settled: int) -> None:
        self._library = library
        self._wave = wave
        self._settled = settled
        self.taken = np.zeros((len(wave), inputs), np.float32)
        self.peaks = np.zeros(inputs, np.float32)
        self.at = 0
        self.clipped = 0
        self.lost = False
        self.ended = threading.Event()

    def step(self, came: Samples, goes: Samples, count: int, _clock: Any, status: Any) -> None:
        """One block."""
        count = min(count, len(self._wave) - self.at)
        there = slice(self.at, self.at + count)
        goes[count:] = 0.0
        goes[:count] = self._wave[there]
        self.taken[there] = came[:count]
        highest = np.abs(came[:count]).max(axis=0, initial=0.0)
        self.peaks = np.maximum(self.peaks, highest)
        if self.at >= self._settled:
            self.lost |= bool(status.input_overflow or status.output_underflow)
            if not highest.max() < FULL_SCALE:  # what is no number, too
                self.clipped = int(np.argmax(highest)) + 1
                goes[:] = 0.0
                raise self._library.CallbackAbort
        self.at += count
        if self.at == len(self._wave):
            raise self._library.CallbackStop


def play(
    library: Any,
    wave: Samples,
    rate_hz: int,
    pair: tuple[int, int],
    inputs: int,
    settled: int,
    watch: Callable[[float, Samples], None],
) -> Samples:
    """(n, inputs) what came in while (n, outputs) samples went out as they are.

    Parameters
    ----------
    pair : recorder and player. settled : sample from which on no input may clip and nothing may be lost; devices start
        with a jerk. watch : is told the share done and (inputs,) the peaks since it was told last.

    Raises OptionError: an input clips, the computer lost samples, the device refuses or stands still. Whatever ends it,
    a KeyboardInterrupt too, silences the device at once.
    """
    run = _Running(library, wave, inputs, settled)
    try:
        with _hushed():
            stream = library.Stream(
                samplerate=rate_hz,
                device=pair,
                channels=(inputs, wave.shape[1]),
                dtype="float32",
                latency="high",
                clip_off=True,
                dither_off=True,
                callback=run.step,
                finished_callback=run.ended.set,
            )
        try:
            stream.start()
            _wait(run, len(wave), watch)
        except BaseException:
            stream.abort()
            raise
        finally:
            stream.close()
    except (library.PortAudioError, ValueError) as error:
        raise _refused(error) from None
    if run.clipped:
        raise OptionError(
            f"input {run.clipped} clips: stopped, and nothing is kept",
            "turn that input down, not the amplifier, until its peaks stay below -6 dB, and record again",
        )
    if run.lost:
        raise OptionError(
            "the computer lost samples meanwhile: nothing is kept", "close what else is running, and record again"
        )
    if run.at < len(wave):
        raise OptionError("the sound device stopped by itself: nothing is kept", f"plug it in anew, {OTHER_MEANS}")
    return run.taken


@contextlib.contextmanager
def _hushed() -> Iterator[None]:
    """The system's libraries tell standard error of each try that fails; what matters of it is raised."""
    try:
        kept, nothing = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    except OSError:  # there is no standard error
        yield
        return
    os.dup2(nothing, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nothing)


def _wait(run: _Running, length: int, watch: Callable[[float, Samples], None]) -> None:
    at, since = -1, time.monotonic()
    while not run.ended.wait(LOOK_S):
        peaks, run.peaks = run.peaks, np.zeros_like(run.peaks)
        watch(run.at / length, peaks)
        if run.at != at:
            at, since = run.at, time.monotonic()
        elif time.monotonic() > since + STALLED_S:
            raise OptionError("the sound device stands still", f"plug it in anew, {OTHER_MEANS}")


def _refused(error: Exception) -> OptionError:
    why = " ".join(str(error).split())[:80]
    return OptionError(
        f"the sound device refuses: {why}", f"{_SEE_LIST}; write the sweep at the device's own --rate, {OTHER_MEANS}"
    )
