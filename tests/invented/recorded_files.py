"""WAV files of every plain kind, written with `struct` alone, and hostile ones. All invented."""

import random
import struct
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

PLAIN, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
KINDS = {"8 bit": (PLAIN, 1), "16 bit": (PLAIN, 2), "24 bit": (PLAIN, 3), "32 bit": (PLAIN, 4)}
KINDS |= {"float": (FLOAT, 4), "double": (FLOAT, 8)}
GUID_TAIL = bytes.fromhex("000000001000800000aa00389b71")
"""Behind the two bytes of the code, of every extensible format that has a code."""


def samples_as(table: np.ndarray, code: int, width: int) -> bytes:
    """(n, channels) samples, full scale 1, as little-endian numbers; written one by one."""
    flat = [float(x) for x in np.asarray(table).ravel()]
    if code == FLOAT:
        return struct.pack(f"<{len(flat)}{'f' if width == 4 else 'd'}", *flat)
    full = (1 << (8 * width - 1)) - 1
    if width == 1:
        return bytes(128 + round(127 * x) for x in flat)
    return b"".join(round(full * x).to_bytes(width, "little", signed=True) for x in flat)


def chunk(name: bytes, body: bytes, size: int | None = None) -> bytes:
    return name + struct.pack("<I", len(body) if size is None else size) + body + b"\0" * (len(body) % 2)


def wav_file(
    body: bytes,
    *,
    code: int = PLAIN,
    width: int = 2,
    channels: int = 2,
    rate: int = 48_000,
    bits: int | None = None,
    frame: int | None = None,
    extensible: bool = False,
    valid: int | None = None,
    large: bool = False,
    size: int | None = None,
    before: bytes = b"",
    riff: bytes = b"RIFF",
) -> bytes:
    """A file around samples that are already bytes; whatever is named besides may lie."""
    bits = 8 * width if bits is None else bits
    frame = channels * width if frame is None else frame
    form = struct.pack(
        "<HHIIHH", EXTENSIBLE if extensible else code, channels, rate, (rate * frame) % 2**32, frame % 2**16, bits
    )
    if extensible:
        form += struct.pack("<HHIH", 22, bits if valid is None else valid, (1 << channels) - 1, code) + GUID_TAIL
    chunks = chunk(b"fmt ", form) + before
    if large:
        whole = 4 + 36 + len(chunks) + 8 + len(body)
        sizes = chunk(b"ds64", struct.pack("<QQQI", whole, len(body) if size is None else size, len(body) // frame, 0))
        chunks = sizes + chunks + chunk(b"data", body, 0xFFFFFFFF)
        return b"RF64" + struct.pack("<I", 0xFFFFFFFF) + b"WAVE" + chunks
    chunks += chunk(b"data", body, size)
    return riff + struct.pack("<I", (4 + len(chunks)) % 2**32) + b"WAVE" + chunks


OTHERS = {
    "m4a": b"\0\0\0\x20ftypM4A \0\0\2\0isomiso2",
    "mp4": b"\0\0\0\x18ftypmp42\0\0\0\0",
    "3gp": b"\0\0\0\x18ftyp3gp4\0\0\0\0",
    "mp3": b"ID3\4\0\0\0\0\0\x23TSSE",
    "mp3 bare": b"\xff\xfb\x90\x64\0\x0f\xf0\0",
    "aac": b"\xff\xf1\x50\x80\x02\x1f\xfc\xde",
    "flac": b"fLaC\0\0\0\x22\x10\0\x10\0",
    "ogg": b"OggS\0\2" + bytes(22) + b"\x01vorbis",
    "opus": b"OggS\0\2" + bytes(22) + b"OpusHead\1\2",
    "aiff": b"FORM\0\0\1\0AIFFCOMM",
    "aifc": b"FORM\0\0\1\0AIFCFVER",
    "wma": bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c"),
    "caf": b"caff\0\1\0\0desc",
    "amr": b"#!AMR\n\x3c\x91\x17",
    "amr wide": b"#!AMR-WB\n\x3c\x91",
    "au": b".snd\0\0\0\x18\0\0\1\0",
    "webm": bytes.fromhex("1a45dfa3") + b"\x9fB\x86\x81\x01B\xf7\x81",
    "turned round": b"RIFX\0\0\1\0WAVEfmt ",
    "w64": b"riff" + bytes.fromhex("2e91cf11a5d628db04c10000"),
}
"""How files of other formats begin, each as its standard or its maker's paper says; from memory."""
_TONE = np.random.default_rng(5).uniform(-0.5, 0.5, (600, 2))
_SOUND = samples_as(_TONE, PLAIN, 2)


def _odd_floats(value: float, width: int) -> bytes:
    table = _TONE.copy()
    table[300, 1] = value
    return wav_file(samples_as(table, FLOAT, width), code=FLOAT, width=width)


def _nested(depth: int) -> bytes:
    body = b"LIST" + struct.pack("<I", 4) + b"INFO"
    for _ in range(depth):
        body = chunk(b"LIST", b"INFO" + body)
    return body


HOSTILE: dict[str, Callable[[random.Random], bytes]] = {
    "empty": lambda _: b"",
    "a few bytes": lambda rng: wav_file(_SOUND)[: rng.randrange(1, 44)],
    "44 bytes only": lambda _: wav_file(_SOUND)[:44],
    "cut in the samples": lambda rng: wav_file(_SOUND)[: rng.randrange(45, 2400)],
    "2 GB claimed": lambda rng: wav_file(_SOUND, size=2**31 - rng.randrange(9)),
    "4 GB claimed": lambda _: wav_file(_SOUND, size=2**32 - 1),
    "2 EB claimed": lambda rng: wav_file(_SOUND, large=True, size=2**61 + rng.randrange(9)),
    "no samples": lambda _: wav_file(b""),
    "half a frame": lambda rng: wav_file(_SOUND[: rng.randrange(1, 4)]),
    "not a number": lambda rng: _odd_floats(float("nan"), rng.choice((4, 8))),
    "infinite": lambda rng: _odd_floats(rng.choice((np.inf, -np.inf)), rng.choice((4, 8))),
    "huge": lambda rng: _odd_floats(rng.choice((-1e30, 1e38)), rng.choice((4, 8))),
    "no channels": lambda rng: wav_file(_SOUND, channels=0, frame=rng.choice((0, 4))),
    "many channels": lambda rng: wav_file(_SOUND, channels=rng.choice((9, 255, 65_535))),
    "no rate": lambda _: wav_file(_SOUND, rate=0),
    "odd rate": lambda rng: wav_file(_SOUND, rate=rng.choice((1, 999, 2**31, 2**32 - 1))),
    "no frame": lambda _: _framed(0),
    "odd frame": lambda rng: _framed(rng.choice((1, 3, 5, 7, 65_535))),
    "odd bits": lambda rng: wav_file(_SOUND, bits=rng.choice((0, 1, 4, 7, 12, 20, 33, 64, 65_535)), frame=4),
    "compressed": lambda rng: wav_file(_SOUND, code=rng.choice((0, 2, 6, 7, 17, 49, 80, 85, 255, 0x161, 0x704F))),
    "extensible, compressed": lambda rng: wav_file(_SOUND, code=rng.choice((2, 6, 7, 85)), extensible=True),
    "extensible, cut": lambda _: wav_file(_SOUND, code=EXTENSIBLE),
    "float of 16 bit": lambda _: wav_file(_SOUND, code=FLOAT),
    "no format": lambda _: b"RIFF\0\1\0\0WAVE" + chunk(b"data", _SOUND),
    "format behind the samples": lambda _: b"RIFF\0\1\0\0WAVE" + chunk(b"data", _SOUND) + wav_file(b"")[12:36],
    "short format": lambda rng: b"RIFF\0\1\0\0WAVE" + chunk(b"fmt ", bytes(rng.randrange(15))) + chunk(b"data", _SOUND),
    "junk": lambda rng: wav_file(_SOUND, before=chunk(b"JUNK", b"", rng.choice((2**31, 2**32 - 1, 2**32 - 2)))),
    "a million pieces": lambda _: wav_file(_SOUND, before=chunk(b"junk", b"") * 1_000_000),
    "nested pieces": lambda rng: wav_file(b"", before=_nested(rng.choice((3, 50, 500)))),
    "noise behind the name": lambda rng: b"RIFF\0\1\0\0WAVE" + rng.randbytes(4000),
    "noise": lambda rng: rng.randbytes(4000),
    "zeros": lambda _: bytes(4000),
    "words": lambda _: b"Hz,dB,deg\n" * 400,
    "another format": lambda rng: rng.choice(list(OTHERS.values())) + rng.randbytes(2000),
    "mangled": lambda rng: _mangled(rng),
    "short but whole": lambda rng: wav_file(
        samples_as(_TONE, *(k := rng.choice(list(KINDS.values())))), code=k[0], width=k[1]
    ),
}


def _framed(frame: int) -> bytes:
    data = bytearray(wav_file(_SOUND))
    struct.pack_into("<H", data, 32, frame)
    return bytes(data)


def _mangled(rng: random.Random) -> bytes:
    code, width = rng.choice(list(KINDS.values()))
    large, extensible = rng.random() < 0.3, rng.random() < 0.3
    data = bytearray(
        wav_file(samples_as(_TONE[:200], code, width), code=code, width=width, large=large, extensible=extensible)
    )
    for _ in range(rng.randrange(1, 5)):
        data[rng.randrange(min(len(data), 110))] = rng.randrange(256)
    return bytes(data[: rng.choice((len(data), rng.randrange(len(data))))])


LARGE: dict[str, Callable[[Path], None]] = {
    "a file of 2 GB, of zeros": lambda path: _of_zeros(path, wav_file(b"", size=2**31 - 100), 2**31),
    "a file of 255 MB without a head": lambda path: _of_zeros(path, b"", 255 << 20),
    "250 MB of 8 bit": lambda path: _of_zeros(path, wav_file(b"", width=1, size=250 << 20), (250 << 20) + 44),
    "156 MB, its last sample not a number": lambda path: _ends_odd(path),
}
"""Files that are as large as they say, made without their bytes."""


def _of_zeros(path: Path, head: bytes, size: int) -> None:
    with open(path, "wb") as stream:
        stream.write(head)
        stream.truncate(size)


def _ends_odd(path: Path) -> None:
    size = 39_000_000 * 4
    _of_zeros(path, wav_file(b"", code=FLOAT, width=4, size=size), size + 44)
    with open(path, "r+b") as stream:
        stream.seek(size + 40)
        stream.write(struct.pack("<f", float("nan")))


def hostile_files(count: int) -> Iterator[tuple[str, bytes]]:
    """So many, kind after kind; each is made of its number alone."""
    kinds = list(HOSTILE.items())
    for number in range(count):
        name, make = kinds[number % len(kinds)]
        yield name, make(random.Random(number))
