"""Encodings: every one that is promised, and bytes that are no text."""

from __future__ import annotations

import codecs

import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.files.atomic import NotTextError, decode_text

TEXT = "Größe\t20 Ω\n1,5\n"


@pytest.mark.parametrize(
    "data",
    [
        TEXT.encode("utf-8"),
        codecs.BOM_UTF8 + TEXT.encode("utf-8"),
        codecs.BOM_UTF16_LE + TEXT.encode("utf-16-le"),
        codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be"),
        TEXT.encode("utf-16-le"),
        TEXT.encode("utf-16-be"),
    ],
    ids=["utf-8", "utf-8 with mark", "utf-16-le", "utf-16-be", "utf-16-le without mark", "utf-16-be without mark"],
)
def test_unicode(data: bytes) -> None:
    assert decode_text(data) == TEXT


def test_latin_1() -> None:
    assert decode_text("Größe 20 °C µF".encode("latin-1")) == "Größe 20 °C µF"


def test_windows_characters_stay_on_their_line() -> None:
    # 0x85 is an ellipsis in code page 1252 and a line break in Latin-1 and for str.splitlines.
    assert decode_text(b"a\x85b \x80 \xfc\nc") == "a\u2026b \u20ac ü\nc"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    assert decode_text(f"a{end}{end}b{end}".encode()) == "a\n\nb\n"


def test_odd_breaks_do_not_shift_line_numbers() -> None:
    text = decode_text("a\fb\vc\u2028d\u2029e\u0085f\ng".encode())
    assert text == "a b c d e f\ng"
    assert text.splitlines() == text.split("\n")


def test_end_of_file_mark_of_old_systems() -> None:
    assert decode_text(b"20 8 1\r\n\x1a") == "20 8 1\n"


def test_nothing() -> None:
    assert decode_text(b"") == ""


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"abc\0def", "holds NUL bytes"),
        (b"abc\x01def", "holds control codes"),
        (b"\x81\x9d\xff", "holds control codes"),
        (codecs.BOM_UTF8 + b"\xff", "is not whole UTF-8"),
        (codecs.BOM_UTF16_LE + b"a\0b", "is not whole UTF-16-LE"),
        (codecs.BOM_UTF16_BE + b"\xd8\x00", "is not whole UTF-16-BE"),
    ],
)
def test_not_text(data: bytes, message: str) -> None:
    with pytest.raises(NotTextError, match=message):
        decode_text(data)


@given(st.binary(max_size=200))
def test_any_bytes_give_text_or_the_one_error(data: bytes) -> None:
    try:
        text = decode_text(data)
    except NotTextError:
        return
    assert text.splitlines() == text.removesuffix("\n").split("\n") or not text
    assert "\r" not in text
    assert "\0" not in text


@given(st.text(st.characters(codec="latin-1", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=80))
def test_plain_text_survives_every_encoding(text: str) -> None:
    assert decode_text(text.encode("utf-8")) == text
    assert decode_text(codecs.BOM_UTF16_LE + text.encode("utf-16-le")) == text
    assert decode_text(codecs.BOM_UTF16_BE + text.encode("utf-16-be")) == text
