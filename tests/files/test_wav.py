"""Recordings as files: every plain kind is read, whatever lies or is cut is refused in one line."""

import io
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.io import wavfile

from xover.errors import InputError
from xover.files.wav import read_wav, wav_bytes

TONE = 0.5 * np.sin(2 * np.pi * 440 * np.arange(480) / 48_000)
KINDS = {
    "u1": lambda x: np.round(128 + 127 * x).astype("u1"),
    "i2": lambda x: np.round(32767 * x).astype("<i2"),
    "i4": lambda x: np.round(2147483647 * x).astype("<i4"),
    "f4": lambda x: x.astype("<f4"),
    "f8": lambda x: x.astype("<f8"),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("channels", [1, 2, 8])
@pytest.mark.parametrize("rate", [44_100, 192_000])
def test_files_that_scipy_wrote(tmp_path, kind, channels, rate):
    table = np.stack([TONE * (c + 1) / 8 for c in range(channels)], axis=1)
    wavfile.write(tmp_path / "a.wav", rate, KINDS[kind](table))
    got = read_wav(tmp_path / "a.wav")
    assert (got.rate_hz, got.channels) == (rate, channels)
    np.testing.assert_allclose(got.samples, table, atol=1.0 / 127 if kind == "u1" else 1e-4)


@pytest.mark.parametrize("bits", [16, 24])
def test_what_is_written_is_read_back_by_others_too(tmp_path, bits):
    table = np.stack([TONE, -TONE], axis=1)
    data = wav_bytes(table, 48_000, bits, "a comment")
    (tmp_path / "a.wav").write_bytes(data)
    got = read_wav(tmp_path / "a.wav")
    assert (got.comment, got.bits) == ("a comment", bits)
    np.testing.assert_allclose(got.samples, table, atol=2.0**-bits * 2)
    rate, raw = wavfile.read(io.BytesIO(data))
    assert rate == 48_000
    np.testing.assert_allclose(raw / float(1 << (8 * raw.dtype.itemsize - 1)), table, atol=2.0**-bits * 2)


def changed(at, form, value):
    data = bytearray(wav_bytes(TONE, 48_000))
    struct.pack_into(form, data, at, value)
    return bytes(data)


BAD = {
    "empty": (b"", "is no WAV"),
    "cut in the header": (wav_bytes(TONE, 48_000)[:30], "cut short|without"),
    "cut in the samples": (wav_bytes(TONE, 48_000)[:-100], "cut short"),
    "two gigabytes promised": (changed(40, "<I", 2**31 - 1), "cut short"),
    "compressed": (changed(20, "<H", 0x55), "compressed"),
    "no channels": (changed(22, "<H", 0), "channels"),
    "60000 channels": (changed(22, "<H", 60_000), "channels"),
    "no rate": (changed(24, "<I", 0), "samples a second"),
    "7 bit": (changed(34, "<H", 7), "7 bit"),
    "no samples": (wav_bytes(TONE[:0], 48_000), "no samples"),
    "mp3": (b"ID3\x04" + bytes(100), "MP3"),
    "m4a": (b"\0\0\0\x20ftypM4A " + bytes(100), "M4A"),
    "flac": (b"fLaC" + bytes(100), "FLAC"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_files_are_refused(tmp_path, name):
    data, words = BAD[name]
    (tmp_path / "a.wav").write_bytes(data)
    with pytest.raises(InputError, match=words):
        read_wav(tmp_path / "a.wav")


def test_no_numbers(tmp_path):
    wavfile.write(tmp_path / "a.wav", 48_000, np.array([0.0, np.nan, 1.0], dtype="<f4"))
    with pytest.raises(InputError, match="no numbers"):
        read_wav(tmp_path / "a.wav")


@given(st.data())
def test_any_damage_is_read_or_refused(tmp_path_factory, data):
    whole = bytearray(wav_bytes(TONE, 48_000, 16, "x"))
    for _ in range(data.draw(st.integers(1, 4))):
        whole[data.draw(st.integers(0, 79))] = data.draw(st.integers(0, 255))
    path = tmp_path_factory.mktemp("wav") / "a.wav"
    path.write_bytes(whole[: data.draw(st.integers(0, len(whole)))])
    try:
        got = read_wav(path)
    except InputError:
        return
    assert np.isfinite(got.samples).all()
    assert np.abs(got.samples).max() <= 1.0 or got.bits >= 32


def test_more_samples_than_there_is_room_for(tmp_path, monkeypatch):
    monkeypatch.setattr("xover.files.wav.MOST_SAMPLES", len(TONE) - 1)
    (tmp_path / "a.wav").write_bytes(wav_bytes(TONE, 48_000))
    with pytest.raises(InputError, match="more than 479 samples"):
        read_wav(tmp_path / "a.wav")
