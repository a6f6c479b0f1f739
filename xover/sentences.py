"""Words put together: names in a list, a capital first, a full stop last."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def and_words(names: Iterable[str]) -> str:
    """Names in a sentence: "L1", "L1 and L2", "L1, L2 and L3"."""
    given = list(names)
    return " and ".join([", ".join(given[:-1]), given[-1]]) if len(given) > 1 else "".join(given)


def is_or_are(names: Sequence[str]) -> str:
    """The verb for as many names."""
    return "is" if len(names) == 1 else "are"


def capital(text: str) -> str:
    """The text with its first letter large, all else as it is."""
    return text[:1].upper() + text[1:]


def sentence(words: str) -> str:
    """A sentence part made a sentence: a capital first, a full stop last."""
    words = words.strip()
    return capital(words) + ("" if not words or words[-1] in ".!?" else ".")
