"""Recordings as files: every plain kind is read, whatever lies or is cut is refused in one line."""

import contextlib
import io
import random
import struct
import wave

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented.recorded_files import HOSTILE, KINDS, OTHERS, chunk, samples_as, wav_file
from scipy.io import wavfile

from xover.errors import InputError
from xover.files.atomic import read_text
from xover.files.wav import is_recording, read_wav, wav_bytes

TONE = 0.5 * np.sin(2 * np.pi * 440 * np.arange(480) / 48_000)
RATES = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)


def table_of(channels):
    return np.stack([TONE * (c + 1) / 8 for c in range(channels)], axis=1)


def read_by_scipy(data):
    """(n, channels) samples of full scale 1: scipy gives 24 bit left-justified in 32, and 8 bit about 128."""
    rate, raw = wavfile.read(io.BytesIO(data))
    samples = raw.astype(float)
    if raw.dtype.kind == "u":
        samples -= 128
    full = 1.0 if raw.dtype.kind == "f" else 2.0 ** (8 * raw.dtype.itemsize - 1)
    return rate, samples.reshape(len(raw), -1) / full


@pytest.mark.parametrize("kind", KINDS)
def test_every_plain_kind_is_read_as_scipy_reads_it(tmp_path, kind):
    """Written by `struct`, plain, extensible and as RF64, at six rates, 1 to 8 channels; scipy.io.wavfile judges."""
    code, width = KINDS[kind]
    for number, channels in enumerate((1, 2, 3, 4, 6, 8)):
        table = table_of(channels)[:64]
        body = samples_as(table, code, width)
        for form in ({}, {"extensible": True}, {"large": True}, {"before": chunk(b"JUNK", b"odd")}):
            data = wav_file(body, code=code, width=width, channels=channels, rate=RATES[number], **form)
            (tmp_path / "a.wav").write_bytes(data)
            got = read_wav(tmp_path / "a.wav")
            rate, judged = read_by_scipy(data)
            assert (got.rate_hz, got.channels, got.bits) == (rate, channels, 8 * width)
            np.testing.assert_allclose(got.samples, judged, rtol=0, atol=2.0**-32)
            np.testing.assert_allclose(judged, table, rtol=0, atol=2.0 ** (1 - 8 * min(width, 3)))


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_files_that_the_wave_module_wrote(tmp_path, width):
    with wave.open(str(tmp_path / "a.wav"), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(width)
        file.setframerate(96_000)
        file.writeframes(samples_as(table_of(2), 1, width))
    np.testing.assert_allclose(read_wav(tmp_path / "a.wav").samples, table_of(2), atol=2.0 ** (1 - 8 * min(width, 3)))


def test_bits_that_count_are_fewer_than_those_that_are_kept(tmp_path):
    data = wav_file(samples_as(table_of(2), 1, 3), width=3, extensible=True, valid=20)
    (tmp_path / "a.wav").write_bytes(data)
    assert read_wav(tmp_path / "a.wav").bits == 20


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
}


@pytest.mark.parametrize("name", BAD)
def test_bad_files_are_refused(tmp_path, name):
    data, words = BAD[name]
    (tmp_path / "a.wav").write_bytes(data)
    with pytest.raises(InputError, match=words):
        read_wav(tmp_path / "a.wav")


LOSSY = {"m4a", "mp4", "3gp", "mp3", "mp3 bare", "aac", "ogg", "opus", "wma", "amr", "amr wide", "webm"}


@pytest.mark.parametrize("name", OTHERS)
def test_other_formats_are_known_by_their_content(tmp_path, name):
    """The name says WAV, the bytes do not; each is told what to do about it, and no program is named."""
    for called in ("a.wav", "a.csv"):
        (tmp_path / called).write_bytes(OTHERS[name] + bytes(2000))
        assert is_recording(tmp_path / called)
    with pytest.raises(InputError, match=r"is no WAV file but an? ") as caught:
        read_wav(tmp_path / "a.wav")
    lossy = "leaves out what a sweep measures" in caught.value.remedy
    assert lossy == (name in LOSSY)
    assert "as WAV (PCM, 16 or 24 bit) at the same sample rate" in caught.value.remedy
    with pytest.raises(InputError, match="where a text file belongs"):
        read_text(tmp_path / "a.csv")


def test_a_table_is_no_recording(tmp_path):
    (tmp_path / "a.csv").write_text("Hz,ohm\n20,6\n")
    assert not is_recording(tmp_path / "a.csv")
    assert not is_recording(tmp_path / "nowhere.csv")
    assert is_recording(tmp_path / "nowhere.wav")


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused(tmp_path, name):
    """A share of `benchmarks/hostile_wavs.py`, without the process around it."""
    for seed in range(3):
        (tmp_path / "a.wav").write_bytes(HOSTILE[name](random.Random(seed)))
        if name == "short but whole":
            assert read_wav(tmp_path / "a.wav").channels == 2
        elif name == "mangled":
            with contextlib.suppress(InputError):
                assert np.isfinite(read_wav(tmp_path / "a.wav").samples).all()
        else:
            with pytest.raises(InputError) as caught:
                read_wav(tmp_path / "a.wav")
            assert caught.value.path == tmp_path / "a.wav"


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
