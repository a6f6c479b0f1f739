"""What several sections need."""

from __future__ import annotations

from xover.report.answers import Answers
from xover.report.blocks import Block, Picture, Text


def pictures(answers: Answers, *names: str) -> list[Block]:
    """Figures of answers, those that there are."""
    found: list[Picture | None] = [answers.picture(name) for name in names]
    return [p for p in found if p is not None]


def gone(answers: Answers, name: str, what: str) -> list[Block]:
    """Why an answer is missing, where it is."""
    why = answers.why_not(name)
    return [Text(f"Not told: {what}. {first_up(why)}")] if why else []


def first_up(words: str) -> str:
    """A sentence part made a sentence: a capital first, a full stop last."""
    words = words.strip()
    if not words:
        return words
    end = "" if words[-1] in ".!?" else "."
    return words[:1].upper() + words[1:] + end
