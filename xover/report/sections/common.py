"""What several sections need."""

from __future__ import annotations

from xover.bench.words import capital
from xover.blocks import Block, Picture, Text
from xover.quantity import hertz
from xover.report.answers import Answers
from xover.rounded import db, ohm
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
        readings = [c.reading for c in load.channels.values()]
        lowest = "; ".join(f"{ohm(r.minimum_ohm, 2)} at {hertz(r.minimum_at_hz)}" for r in readings)
    swing, where = "-", ""
    if sound is not None:
        where = ", ".join(hertz(c.frequency_hz) for c in sound.crossovers if c.frequency_hz)
        if sound.total.coherent:
            band = sound.band
            swing = f"{db(band.highest_deviation_db, signed=True)} / {db(band.lowest_deviation_db, signed=True)}"
    return [words, swing, where or "-", lowest]
