"""Bytes to text, whatever program wrote them: UTF-8, UTF-16 or Latin-1."""

from __future__ import annotations

import codecs
import re

# What stays of the control codes: tab and line feed. Everything else of them means "not text".
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f-\x9f]")
# Characters at which str.splitlines breaks a line and an editor does not: they would shift line numbers.
_ODD_BREAKS = str.maketrans(dict.fromkeys("\x0b\x0c\x85\u2028\u2029", " "))
# Latin-1 leaves 0x80-0x9F to control codes; what stands there in practice is the Windows set (code page 1252).
_WINDOWS = {code: bytes([code]).decode("cp1252", "ignore") or chr(code) for code in range(0x80, 0xA0)}
# A sweep of plain digits in UTF-16 has a NUL in every second byte; a third is asked for.
_LEAST_NULS = 0.3


class NotTextError(ValueError):
    """The bytes are no text in any encoding that is recognised."""


def decode_text(data: bytes) -> str:
    r"""Decode a whole file.

    Recognised: UTF-8 with or without byte order mark; UTF-16 with a mark, or without one by its
    NUL bytes; else Latin-1. Line ends come back as "\n" only, so that text.split("\n") and
    text.splitlines() both count lines as an editor does.

    Raises
    ------
    NotTextError
        Control codes are left, or the bytes break the encoding that their mark promises.
    """
    text = _decoded(data).replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a").translate(_ODD_BREAKS)
    if _CONTROL.search(text):
        raise NotTextError("holds control codes")
    return text


def _decoded(data: bytes) -> str:
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if data.startswith(mark):
            return _strictly(data[len(mark) :], encoding)
    if b"\0" in data:
        return _strictly(data, _utf16_without_mark(data))
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1").translate(_WINDOWS)


def _utf16_without_mark(data: bytes) -> str:
    """Name the byte order by the side on which the NULs stand."""
    first, second, pairs = data[0::2].count(0), data[1::2].count(0), len(data) / 2
    if second > _LEAST_NULS * pairs and first == 0:
        return "utf-16-le"
    if first > _LEAST_NULS * pairs and second == 0:
        return "utf-16-be"
    raise NotTextError("holds NUL bytes")


def _strictly(data: bytes, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        raise NotTextError(f"is not whole {encoding.upper()}") from error
