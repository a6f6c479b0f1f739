"""Words from files, made fit for a page: no control characters, no turned reading direction, no endless words."""

from __future__ import annotations

import unicodedata
from typing import Final

LONGEST: Final = 2000
_TURNING: Final = frozenset("\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def safe(text: str, longest: int = LONGEST) -> str:
    """The text with line ends kept; what cannot be seen becomes a mark, what is too long is cut and says so.

    Marks that turn the reading direction would let a name rearrange the words around it.
    """
    shown = "".join(c if c == "\n" or _visible(c) else "\ufffd" for c in text)
    if len(shown) <= longest:
        return shown
    return f"{shown[: longest - 1]}… ({len(text):,} characters)"


def one_line(text: str, longest: int) -> str:
    """The same in one line."""
    return " ".join(safe(text, longest).split())


def _visible(character: str) -> bool:
    return character not in _TURNING and unicodedata.category(character) not in {"Cc", "Cs", "Co", "Cn", "Zl", "Zp"}
