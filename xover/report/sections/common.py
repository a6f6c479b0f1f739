"""What several sections need."""

from __future__ import annotations

from xover.bench.words import capital
from xover.blocks import Block, Picture, Text
from xover.figures import load_of, written
from xover.quantity import hertz
from xover.report.answers import Answers
from xover.sound.prediction import Prediction
from xover.studies.does.load.study import LoadStudy


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
    return capital(words) + end


def network_row(words: str, sound: Prediction | None, load: LoadStudy | None) -> list[str]:
    """A network in figures: how far its sum strays from its mean, where its drivers meet, its lowest load."""
    lowest = "-"
    if load is not None:
        lowest = "; ".join(
            f"{written('lowest load', c.reading.minimum_ohm, load_of(load.network, name))} at "
            f"{hertz(c.reading.minimum_at_hz)}"
            for name, c in load.channels.items()
        )
    swing, where = "-", ""
    if sound is not None:
        where = ", ".join(
            written("crossover", c.frequency_hz, c.of(sound.network)) for c in sound.crossovers if c.frequency_hz
        )
        if sound.total.coherent:
            band = sound.band
            swing = " / ".join(
                (
                    written("above mean", band.highest_deviation_db, sound.network),
                    written("below mean", band.lowest_deviation_db, sound.network),
                )
            )
    return [words, swing, where or "-", lowest]
