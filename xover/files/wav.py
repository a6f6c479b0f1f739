"""Recordings: RIFF/WAVE files of plain samples, read behind a gate and written whole.

The chunks are walked before a sample is read, so that a header that lies, a compressed format or a cut file is told in
one line; then samples are taken piece by piece. Extensible headers and RF64: ITU-R BS.2088, from memory.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np

from xover.curve import Float
from xover.errors import InputError
from xover.files.atomic import opened_file
from xover.files.budget import RECORDING_FILE
from xover.files.sound_formats import MOST_BYTES, kind_of
from xover.readable import Readable

MOST_CHANNELS: Final = 8
MOST_SAMPLES: Final = 40_000_000
"""Of all channels together: more would not fit beside the work on it."""
MOST_CHUNKS: Final = 1000
MOST_TIMES_FULL: Final = 1e6
"""Floats may pass full scale; whole numbers that were taken over as they were reach 32768 times it."""
LOWEST_RATE_HZ: Final = 8000
HIGHEST_RATE_HZ: Final = 384_000
_PLAIN: Final = 1
_FLOAT: Final = 3
_EXTENSIBLE: Final = 0xFFFE
_PIECE: Final = 1 << 20
"""Samples taken at once."""
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


def is_recording(path: Path | str) -> bool:
    """Whether a file holds sound, readable or not; by its name where it cannot be opened."""
    try:
        with opened_file(Path(path)) as stream:
            return kind_of(stream.read(MOST_BYTES)) is not None or _named_wav(path)
    except InputError:
        return _named_wav(path)


def _named_wav(path: Path | str) -> bool:
    return Path(path).suffix.lower() in (".wav", ".wave", ".rf64")


def read_wav(path: Path | str) -> Recording:
    """Read a recording of 8 to 32 bit whole numbers or of floats, 1 to 8 channels, RIFF or RF64.

    Raises InputError: no WAV, compressed, cut short, without samples, values that are no numbers, over 256 MB.
    """
    path = Path(path)
    with opened_file(path) as stream:
        size = stream.seek(0, os.SEEK_END)
        RECORDING_FILE.check_bytes(size, path)
        try:
            head = _walk(stream, size)
        except struct.error:
            raise InputError("is a WAV file whose header is cut short", "record or export it again", path) from None
        except InputError as fault:
            raise fault.at(path, None) from None
        form = head.form
        samples = np.empty(head.count, dtype=float if form.bytes > (4 if form.is_float else 3) else np.float32)
        if form.is_float:  # nothing is kept of a file that is refused
            for _, piece in _pieces(stream, head):
                with np.errstate(invalid="ignore"):
                    if not np.abs(piece).max(initial=0.0) <= MOST_TIMES_FULL:
                        raise InputError(
                            "holds samples that are no numbers, or far beyond full scale",
                            "record it again, or export it as 24 bit",
                            path,
                        )
        for place, piece in _pieces(stream, head):
            samples[place : place + len(piece)] = piece
    table = samples.reshape(-1, form.channels)
    return Recording(path, form.rate_hz, form.bits, table, head.comment)


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


@dataclass(frozen=True)
class _Form:
    """How samples are written: bits that count, bytes of each."""

    is_float: bool
    channels: int
    rate_hz: int
    bits: int
    bytes: int


@dataclass(frozen=True)
class _Head:
    """Where the samples are: first byte, and how many of all channels together."""

    form: _Form
    comment: str
    start: int
    count: int


def _pieces(stream: BinaryIO, head: _Head) -> Iterator[tuple[int, Float]]:
    """Samples piece by piece, full scale 1: (number of the first, samples)."""
    width = head.form.bytes
    stream.seek(head.start)
    for place in range(0, head.count, _PIECE):
        data = stream.read(min(_PIECE, head.count - place) * width)
        if head.form.is_float:
            yield place, np.frombuffer(data, f"<f{width}").astype(np.float64)
        elif width == 1:  # 8 bit have their zero at 128
            yield place, np.frombuffer(data, np.uint8).astype(np.float64) / 128.0 - 1.0
        else:
            wide = np.zeros((len(data) // width, 4), np.uint8)
            wide[:, 4 - width :] = np.frombuffer(data, np.uint8).reshape(-1, width)
            yield place, wide.view("<i4")[:, 0] / 2.0**31


def _walk(stream: BinaryIO, total: int) -> _Head:
    """What the chunks say. Raises InputError without path; struct.error: cut short."""
    stream.seek(0)
    first = stream.read(MOST_BYTES)
    kind = kind_of(first)
    if kind is None or not kind.plain:
        raise InputError(
            f"is no WAV file but {kind.name}" if kind else "is no WAV file", kind.remedy if kind else _EXPORT
        )
    place, sized, comment = 12, 0, ""
    form: _Form | None = None
    for _ in range(MOST_CHUNKS):
        stream.seek(place)
        header = stream.read(8)
        if len(header) < 8:
            break
        name, size = struct.unpack("<4sI", header)
        start = place + 8
        if name == b"ds64":
            sized = struct.unpack("<8xQ", stream.read(16))[0]
        elif name == b"fmt ":
            form = _form(stream.read(min(size, 40)))
        elif name == b"LIST":
            comment = _comment(stream.read(min(size, 400))) or comment
        elif name == b"data":
            size = sized if size == 0xFFFFFFFF and sized else size
            if start + size > total:
                raise InputError(
                    f"is cut short: it promises {size} bytes of samples and holds {total - start}",
                    "record it to its end, or copy it again",
                )
            if form is None:
                break
            count = size // (form.bytes * form.channels) * form.channels
            if count > MOST_SAMPLES:
                raise InputError(f"holds more than {MOST_SAMPLES} samples", RECORDING_FILE.remedy)
            if not count:
                raise InputError("holds no samples", "record it again")
            return _Head(form, comment, start, count)
        place = start + size + size % 2
    else:
        raise InputError(f"has {MOST_CHUNKS} pieces before its samples", "export it again, without its extras")
    raise InputError("is a WAV file without " + ("samples" if form else "a format"), "record or export it again")


def _comment(data: bytes) -> str:
    """Of a LIST chunk; empty where it has none."""
    place = 4
    while data[:4] == b"INFO" and place + 8 <= len(data):
        name, size = struct.unpack_from("<4sI", data, place)
        if name == b"ICMT":
            words: bytes = data[place + 8 : place + 8 + min(size, 300)]
            return words.split(b"\0")[0].decode("ascii", "replace")
        place += 8 + size + size % 2
    return ""


def _form(data: bytes) -> _Form:
    code, channels, rate, _, frame, bits = struct.unpack_from("<HHIIHH", data)
    counting = bits
    if code == _EXTENSIBLE and len(data) >= 26:
        counting, code = struct.unpack_from("<2xH4xH", data, 16)
    if code not in (_PLAIN, _FLOAT):
        name = _CODECS.get(code, f"of code {code}")
        raise InputError(f"holds compressed sound ({name}), not plain samples", _EXPORT)
    if bits not in ((8, 16, 24, 32) if code == _PLAIN else (32, 64)):
        raise InputError(f"has samples of {bits} bit", _EXPORT)
    if not 1 <= channels <= MOST_CHANNELS:
        raise InputError(f"has {channels} channels", f"record 1 to {MOST_CHANNELS}")
    if not LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
        raise InputError(f"has {rate} samples a second", "record at 44100 to 192000")
    if frame != channels * bits // 8:
        raise InputError(
            f"has a header that contradicts itself: {channels} channels of {bits} bit in {frame} bytes", _EXPORT
        )
    return _Form(code == _FLOAT, channels, rate, counting if 0 < counting <= bits else bits, bits // 8)


_CODECS: Final = {2: "ADPCM", 6: "A-law", 7: "mu-law", 17: "ADPCM", 49: "GSM", 80: "MPEG", 85: "MP3", 255: "AAC"}
"""As RFC 2361 registers them."""
