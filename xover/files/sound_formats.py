"""What holds sound, by how its bytes begin, whatever the name says; and what to do with what cannot be read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

_AS_WAV: Final = "as WAV (PCM, 16 or 24 bit) at the same sample rate"


@dataclass(frozen=True)
class SoundFormat:
    """A format. name : with its article. lossy : it keeps what is heard, not what was recorded. plain : it is read."""

    name: str
    lossy: bool = False
    plain: bool = False

    @property
    def remedy(self) -> str:
        """How to come to a file that can be read."""
        if self.lossy:
            return (
                "it leaves out what a sweep measures: set the recorder to WAV, PCM or uncompressed and record again; "
                f"if it has no such setting, open it in any audio editor and export it {_AS_WAV}"
            )
        return f"nothing is lost in it: open it in any audio editor and export it {_AS_WAV}"

    @property
    def to_curve(self) -> str:
        """How to come to a table."""
        return "make a table of it with 'xover jig' or 'xover response'" if self.plain else self.remedy


_WAV = SoundFormat("a WAV recording", plain=True)
_FORMATS: Final[tuple[tuple[int, bytes, SoundFormat], ...]] = (
    (0, b"RIFF....WAVE", _WAV),
    (0, b"RF64....WAVE", _WAV),
    (0, b"BW64....WAVE", _WAV),
    (0, b"RIFX....WAVE", SoundFormat("a WAV recording with its bytes turned round")),
    (0, b"riff\x2e\x91\xcf\x11", SoundFormat("a 64 bit WAV recording with long chunks")),
    (4, b"ftyp3g", SoundFormat("a 3GP recording", lossy=True)),
    (4, b"ftyp", SoundFormat("an M4A or MP4 recording", lossy=True)),
    (0, b"ID3", SoundFormat("an MP3 recording", lossy=True)),
    (28, b"OpusHead", SoundFormat("an Opus recording", lossy=True)),
    (0, b"OggS", SoundFormat("an Ogg recording", lossy=True)),
    (0, b"fLaC", SoundFormat("a FLAC recording")),
    (0, b"FORM....AIFF", SoundFormat("an AIFF recording")),
    (0, b"FORM....AIFC", SoundFormat("an AIFF recording")),
    (0, b"caff", SoundFormat("a CAF recording")),
    (0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", SoundFormat("a WMA recording", lossy=True)),
    (0, b"#!AMR", SoundFormat("an AMR recording", lossy=True)),
    (0, b".snd\0", SoundFormat("an AU recording")),
    (0, b"\x1a\x45\xdf\xa3", SoundFormat("a WebM or Matroska recording", lossy=True)),
)
MOST_BYTES: Final = 36
"""That are looked at."""


def kind_of(data: bytes) -> SoundFormat | None:
    """What a file that begins so is; None where it is none of them."""
    for place, mark, kind in _FORMATS:
        there = data[place : place + len(mark)]
        if len(there) == len(mark) and all(m in (46, t) for m, t in zip(mark, there, strict=True)):
            return kind
    # Frames without a head: eleven bits set, then version and layer (ISO/IEC 11172-3 and 13818-7).
    if len(data) > 3 and data[0] == 0xFF and data[1] & 0xE0 == 0xE0 and data[1] not in (0xFE, 0xFF):
        if data[1] & 0xF6 == 0xF0:
            return SoundFormat("an AAC recording", lossy=True)
        if data[1] & 0x18 != 0x08 and data[1] & 0x06 != 0 and data[2] & 0xF0 != 0xF0:
            return SoundFormat("an MP3 recording", lossy=True)
    return None
