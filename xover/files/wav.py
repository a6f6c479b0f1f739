"""Recordings: RIFF/WAVE files of plain samples, read behind a gate and written whole.

The chunks are walked before a sample is read, so that a header that lies, a compressed format or a cut file is told in
one line; scipy decodes what is left.
"""

from __future__ import annotations

import io
import struct
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from xover.curve import Float
from xover.errors import InputError
from xover.files.atomic import read_bytes
from xover.files.budget import RECORDING_FILE
from xover.readable import Readable

MOST_CHANNELS: Final = 8
MOST_SAMPLES: Final = 40_000_000
"""Of all channels together: more would not fit beside the work on it."""
LOWEST_RATE_HZ: Final = 8000
HIGHEST_RATE_HZ: Final = 384_000
_PLAIN: Final = 1
_FLOAT: Final = 3
_EXTENSIBLE: Final = 0xFFFE
_EXPORT: Final = "export it as uncompressed WAV (PCM, 16 or 24 bit)"


@dataclass(frozen=True, eq=False, repr=False)
class Recording(Readable):
    """Samples as they were recorded.

    Attributes
    ----------
    samples : (n, channels), full scale 1. rate_hz : samples a second. bits : of each sample. comment : what the file
        says
        of itself.
    """

    path: Path
    rate_hz: int
    bits: int
    samples: Float
    comment: str

    @property
    def channels(self) -> int:
        """How many."""
        return int(self.samples.shape[1])

    @property
    def length_s(self) -> float:
        """Seconds."""
        return len(self.samples) / self.rate_hz


def is_wav(path: Path | str) -> bool:
    """Whether the name says that it is a recording."""
    return Path(path).suffix.lower() in (".wav", ".wave", ".rf64")


def read_wav(path: Path | str) -> Recording:
    """Read a recording of 8 to 32 bit whole numbers or of floats, 1 to 8 channels, RIFF or RF64.

    Raises InputError: no WAV, compressed, cut short, without samples, values that are no numbers, over 256 MB.
    """
    path = Path(path)
    data = read_bytes(path, RECORDING_FILE)
    try:
        form, bits, comment = _walk(data)
    except struct.error:
        raise InputError("is a WAV file whose header is cut short", "record or export it again", path) from None
    except InputError as fault:
        raise fault.at(path, None) from None
    from scipy.io import wavfile  # slow to load

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)
            rate, raw = wavfile.read(io.BytesIO(data))
    except (ValueError, EOFError, struct.error, TypeError) as error:
        raise InputError(f"is no WAV file that can be read: {str(error)[:60]}", _EXPORT, path) from error
    samples = np.asarray(raw, dtype=np.float32 if bits <= 24 else float)
    if form != _FLOAT:
        # scipy gives 24 bit left-justified in 32; 8 bit has its zero at 128.
        if raw.dtype.kind == "u":
            samples -= 128.0
        samples /= float(1 << (8 * raw.dtype.itemsize - 1))
    if not samples.size:
        raise InputError("holds no samples", "record it again", path)
    samples = samples.reshape(len(samples), -1)
    if not np.isfinite(samples).all():
        raise InputError("holds samples that are no numbers", "record it again, or export it as 24 bit", path)
    return Recording(path, int(rate), bits, samples, comment)


def wav_bytes(samples: Float, rate_hz: int, bits: int = 24, comment: str = "") -> bytes:
    """A WAV file of (n,) or (n, channels) samples as 16 or 24 bit. Raises InputError: beyond full scale, 1."""
    if np.abs(samples).max(initial=0.0) > 1.0:
        raise InputError("samples beyond full scale", "lower the level")
    table = samples[:, None] if samples.ndim == 1 else samples
    whole = np.round(table * ((1 << (bits - 1)) - 1)).astype("<i4")
    width = bits // 8
    body = np.ascontiguousarray(whole).view(np.uint8).reshape(-1, 4)[:, :width].tobytes()
    channels = table.shape[1]
    form = struct.pack("<HHIIHH", _PLAIN, channels, rate_hz, rate_hz * channels * width, channels * width, bits)
    chunks = _chunk(b"fmt ", form)
    if comment:
        chunks += _chunk(b"LIST", b"INFO" + _chunk(b"ICMT", comment.encode("ascii") + b"\0"))
    chunks += _chunk(b"data", body)
    return b"RIFF" + struct.pack("<I", 4 + len(chunks)) + b"WAVE" + chunks


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def _walk(data: bytes) -> tuple[int, int, str]:
    """Format, bits and comment, from the chunks. Raises InputError without path."""
    if data[:4] not in (b"RIFF", b"RF64") or data[8:12] != b"WAVE":
        raise InputError(f"is no WAV file{_looks_like(data)}", _EXPORT)
    place, form, bits, comment, sized = 12, 0, 0, "", None
    found = b""
    while place + 8 <= len(data):
        name, size = data[place : place + 4], struct.unpack_from("<I", data, place + 4)[0]
        start = place + 8
        if name == b"ds64":
            sized = struct.unpack_from("<Q", data, start + 8)[0]
        elif name == b"fmt ":
            form, bits = _form(data, start, size)
        elif name == b"LIST" and data[start : start + 8] == b"INFOICMT":
            length = min(struct.unpack_from("<I", data, start + 8)[0], 300)
            comment = data[start + 12 : start + 12 + length].split(b"\0")[0].decode("ascii", "replace")
        elif name == b"data":
            size = sized if size == 0xFFFFFFFF and sized is not None else size
            if start + size > len(data):
                raise InputError(
                    f"is cut short: it promises {size} bytes of samples and holds {len(data) - start}",
                    "record it to its end, or copy it again",
                )
            if bits and 8 * size // bits > MOST_SAMPLES:
                raise InputError(f"holds more than {MOST_SAMPLES} samples", RECORDING_FILE.remedy)
            found = name
            break
        place = start + size + size % 2
    if not form or not found:
        raise InputError("is a WAV file without " + ("samples" if form else "a format"), "record or export it again")
    return form, bits, comment


def _form(data: bytes, start: int, size: int) -> tuple[int, int]:
    form, channels, rate, _, _, bits = struct.unpack_from("<HHIIHH", data, start)
    if form == _EXTENSIBLE and size >= 26:
        form = struct.unpack_from("<H", data, start + 24)[0]
    if form not in (_PLAIN, _FLOAT):
        raise InputError(f"holds compressed sound (format {form})", _EXPORT)
    if bits not in ((8, 16, 24, 32) if form == _PLAIN else (32, 64)):
        raise InputError(f"has samples of {bits} bit", _EXPORT)
    if not 1 <= channels <= MOST_CHANNELS:
        raise InputError(f"has {channels} channels", f"record 1 to {MOST_CHANNELS}")
    if not LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
        raise InputError(f"has {rate} samples a second", "record at 44100 to 192000")
    return form, bits


_OTHERS: Final = (
    (b"ID3", 0, "MP3"),
    (b"\xff\xfb", 0, "MP3"),
    (b"ftyp", 4, "M4A"),
    (b"OggS", 0, "Ogg"),
    (b"fLaC", 0, "FLAC"),
    (b"FORM", 0, "AIFF"),
    (b"caff", 0, "CAF"),
)


def _looks_like(data: bytes) -> str:
    """What it is instead: lossy formats smear what a sweep measures."""
    return next((f" but {name}" for mark, at, name in _OTHERS if data[at : at + len(mark)] == mark), "")
