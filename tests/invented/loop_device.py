"""An invented sound device in the place of the library sounddevice: its outputs come back at its inputs.

It has of that library what xover uses of it. Blocks are handed over in a thread of their own, as there.
"""

import _thread
import os
import threading
import time
import types

import numpy as np

BLOCK = 500


class LoopDevice(types.ModuleType):
    """Two devices, of which the first has inputs and outputs.

    Parameters
    ----------
    gains, lags : of each input, and by how many samples it is late, a block or more. clip : full scale of the inputs.
    loses_at, interrupts_at, dies_at : sample at which samples are lost, a person presses Ctrl-C, the device goes away.
    refuses : what is said when it is opened. stands : it never asks for a block. pace : times real time; 0 is at once.
    """

    class PortAudioError(Exception):
        """As there."""

    class CallbackStop(Exception):
        """As there."""

    class CallbackAbort(Exception):
        """As there."""

    def __init__(
        self, gains=(0.5, 0.34375), lags=(600, 600), *, clip=1.0, pace=0.0, names=("Invented A", "B"), **faults
    ):
        super().__init__("sounddevice")
        self.gains, self.lags, self.clip, self.pace, self.names = gains, lags, clip, pace, names
        self.faults = faults
        self.default = types.SimpleNamespace(device=[0, 0] if names else [-1, -1])
        self.played = np.zeros((0, 2), np.float32)
        self.happened = []

    def query_devices(self):
        """Dictionaries, as there."""
        keys = ("name", "max_input_channels", "max_output_channels", "default_samplerate")
        return [
            dict(zip(keys, (name, (2, 1)[i], (2, 0)[i], 48_000.0), strict=True)) for i, name in enumerate(self.names)
        ]

    def Stream(self, **given):
        """As there; one at a time."""
        if "refuses" in self.faults:
            os.write(2, b"Expression 'x' failed, line 1\n")  # the system's library writes so itself
            raise self.PortAudioError(self.faults["refuses"])
        return _Stream(self, **given)


class _Stream:
    def __init__(self, bench, *, samplerate, channels, callback, finished_callback, dtype, **more):
        self.device, self.rate, self.channels = bench, samplerate, channels
        self.callback, self.finished = callback, finished_callback
        self.halted = False
        assert dtype == "float32"
        assert more["clip_off"]
        assert more["dither_off"]
        bench.pair = more["device"]

    def start(self):
        self.device.happened.append("start")
        if not self.device.faults.get("stands"):
            self.thread = threading.Thread(target=self._run, daemon=True)
            self.thread.start()

    def abort(self):
        self.device.happened.append("abort")
        self.halted = True

    def close(self):
        self.device.happened.append("close")
        self.halted = True

    def _run(self):
        device, faults, at = self.device, self.device.faults, 0
        while not self.halted and at < faults.get("dies_at", np.inf):
            goes = np.full((BLOCK, self.channels[1]), 0.9, np.float32)  # what is not written is heard
            came = np.zeros((BLOCK, self.channels[0]), np.float32)
            for i in range(self.channels[0]):
                start = at - device.lags[i]  # what was played before this block began
                late = device.played[max(0, start) : max(0, start + BLOCK), 0]
                came[BLOCK - len(late) :, i] = np.clip(device.gains[i] * late, -device.clip, device.clip) / device.clip
            lost = at <= faults.get("loses_at", -1) < at + BLOCK
            try:
                self.callback(
                    came, goes, BLOCK, None, types.SimpleNamespace(input_overflow=lost, output_underflow=False)
                )
            except (device.CallbackStop, device.CallbackAbort) as end:
                self.halted = True
                device.happened.append(type(end).__name__)
            device.played = np.concatenate([device.played, goes])
            at += BLOCK
            if at - BLOCK <= faults.get("interrupts_at", -1) < at:
                _thread.interrupt_main()
                time.sleep(0.05)
            if device.pace:
                time.sleep(BLOCK / self.rate / device.pace)
        self.finished()
