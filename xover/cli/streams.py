"""Standard output and standard error as every command needs them: no encoding and no reader can break it."""

from __future__ import annotations

import codecs
import errno
import io
import os
import sys
import unicodedata
from typing import Any, Final

from xover.errors import OptionError

SPELLED: Final = {
    **{"\u2126": "ohm", "\u03a9": "ohm", "\u03c9": "ohm", "\u00b5": "u", "\u03bc": "u", "\u00b0": " deg"},
    **{"\u00b1": "+-", "\u2212": "-", "\u2013": "-", "\u2014": "-", "\u2010": "-", "\u2011": "-", "\u00d7": "x"},
    **{"\u00b7": "-", "\u2022": "-", "\u2192": "->", "\u2190": "<-", "\u2264": "<=", "\u2265": ">=", "\u2248": "~"},
    **{"\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"', "\u00ab": '"', "\u00bb": '"', "\u2044": "/"},
    **{"\u00df": "ss", "\u00e6": "ae", "\u00f8": "o", "\u0153": "oe", "\u0142": "l", "\u20ac": "EUR"},
}
"""What stands for a character that an encoding does not have; letters lose their accents, the rest becomes `?`."""
_HANDLER: Final = "xover.spelled"


def _spelled(fault: UnicodeError) -> tuple[str, int]:
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    words = (SPELLED.get(c) or _plain_letters(c) for c in fault.object[fault.start : fault.end])
    return "".join(words), fault.end


def _plain_letters(character: str) -> str:
    apart = (c for c in unicodedata.normalize("NFKD", character) if not unicodedata.combining(c))
    return "".join(SPELLED.get(c) or (c if c.isascii() else "?") for c in apart)


codecs.register_error(_HANDLER, _spelled)


def encoding_of(stream: Any) -> str:
    """What a stream can show; text that is only kept can show everything."""
    return getattr(stream, "shows", None) or getattr(stream, "encoding", None) or "utf-8"


def spelled(text: str, encoding: str) -> str:
    """The text with what an encoding does not have in plain spelling."""
    return text if text.isascii() else text.encode(encoding, _HANDLER).decode(encoding)


class Stream(io.TextIOWrapper):
    """A standard stream of this process.

    A reader who has gone, as with `| head -1`, misses the rest, and the command ends as if it had been read. What else
    cannot be written raises OptionError, once; on standard error it is lost, as there is nowhere to tell it.

    Parameters
    ----------
    file : what Python made of the stream; None where it was closed before the start.
    optional : whether what it does not take may be lost.
    """

    def __init__(self, file: Any, optional: bool) -> None:
        self._optional = optional
        self.shows = encoding_of(file)
        # Typer takes a stream for ASCII for a mistake and writes UTF-8 into it: what is in ASCII is in Latin-1, too.
        ascii_only = codecs.lookup(self.shows).name == "ascii"
        # The number of a stream that was closed must not go to the next file that is opened; what is opened for
        # reading takes nothing.
        buffer = io.BufferedWriter(io.FileIO(os.open(os.devnull, os.O_RDONLY), "w")) if file is None else file.detach()
        encoding = "latin-1" if ascii_only else self.shows
        super().__init__(buffer, encoding=encoding, errors=_HANDLER, line_buffering=optional)

    def write(self, text: str) -> int:
        """Write what can be shown; the number of letters that were given."""
        try:
            super().write(spelled(text, self.shows))
        except OSError as fault:
            self._failed(fault)
        return len(text)

    def flush(self) -> None:
        """See that it arrives."""
        try:
            super().flush()
        except OSError as fault:
            self._failed(fault)

    def _failed(self, fault: OSError) -> None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), self.fileno())  # what is left in the buffers goes there
        if self._optional or isinstance(fault, BrokenPipeError):
            return
        closed = fault.errno == errno.EBADF
        why = "it is closed" if closed else (fault.strerror or type(fault).__name__).lower()
        raise OptionError(
            f"standard output does not take the answer: {why}",
            "send it to a file or a pipe that does" if closed else "make room, or send it elsewhere",
        )


def take_streams() -> None:
    """Put such streams in the place of this process's own."""
    if sys.stdin is None:
        os.open(os.devnull, os.O_RDONLY)  # its number as well
    sys.stdout = Stream(sys.stdout, optional=False)
    sys.stderr = Stream(sys.stderr, optional=True)
