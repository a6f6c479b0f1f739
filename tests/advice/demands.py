"""What a case demands of an answer. A demand takes the answer and gives what is wrong with it, "" where nothing is."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ORDER = (
    "none yet",
    "mend",
    "leave",
    "rewire",
    "trim",
    "refresh",
    "driver",
    "bypass",
    "revalue",
    "redesign",
    "amplifier",
)
"""The rungs, in the order in which a person would try them."""
BUILDS = ("rewire", "trim", "refresh", "bypass", "revalue", "redesign")
"""Rungs after which there is something to build or to set, and so a command that gives it."""
SPEAKERS_IN_COST = 2
"""`cost` is told for a pair, as `[means] money` is."""

Answer = Mapping[str, Any]


@dataclass(frozen=True)
class Told:
    """What decide answered: the JSON, and the text without options."""

    json: Answer
    text: str

    @property
    def rung(self) -> str:
        """The recommendation."""
        return str(self.json["recommendation"])

    def entries(self, rung: str) -> list[Answer]:
        """The steps of the ladder of this name."""
        return [entry for entry in self.json["ladder"] if entry["rung"] == rung]

    @property
    def pick(self) -> Answer | None:
        """The recommended step of the ladder; None where the recommendation is no step of it."""
        return next(iter(self.entries(self.rung)), None)


Demand = Callable[[Told], str]


@dataclass(frozen=True)
class Case:
    """One case; see the module."""

    name: str
    make: Callable[[Path], Path]
    rungs: tuple[str, ...]
    why: str
    demands: tuple[Demand, ...] = ()
    options: tuple[str, ...] = ()
    for_safety: bool = False
    """The step is worth it for what it keeps from harm, whatever it gains."""


def count(parts: Any) -> int:
    """How many parts a step buys: told as a number, or as their names."""
    return len(parts) if isinstance(parts, Sequence) and not isinstance(parts, str) else int(parts or 0)


def blames(name: str) -> Demand:
    """A fault names this part or driver, and has a remedy."""

    def demand(told: Told) -> str:
        faults = told.json["faults"]
        named = [f for f in faults if name in (f.get("part"), f.get("driver"))]
        if not named:
            return f"no fault names {name}: {faults}"
        return "" if all(f["remedy"] for f in named) else f"no remedy for {name}: {named}"

    return demand


def blames_nobody(told: Told) -> str:
    """There is no fault."""
    return f"faults {told.json['faults']}" if told.json["faults"] else ""


def buys(least: int, most: int) -> Demand:
    """The pick buys so many parts."""

    def demand(told: Told) -> str:
        if told.pick is None:
            return "the pick is no step of the ladder"
        n = count(told.pick["parts"])
        return "" if least <= n <= most else f"{n} parts, not {least} to {most}: {told.pick}"

    return demand


def names(*words: str) -> Demand:
    """The pick, in its words, names all of these parts or drivers."""

    def demand(told: Told) -> str:
        if told.pick is None:
            return "the pick is no step of the ladder"
        said = f"{told.pick['what']} {told.pick['parts']}"
        lacking = [word for word in words if not re.search(rf"\b{word}\b", said)]
        return f"{lacking} not named in: {said}" if lacking else ""

    return demand


def gains(least_db: float) -> Demand:
    """The pick betters by at least so much, and by more than is not known."""

    def demand(told: Told) -> str:
        gain = told.pick["gain_db"] if told.pick is not None else None
        return "" if gain is not None and gain >= least_db else f"gain {gain}, not {least_db} dB"

    return demand


def spoils_no_more_than(most_db: float) -> Demand:
    """What the pick does for safety does not ruin the sound."""

    def demand(told: Told) -> str:
        gain = told.pick["gain_db"] if told.pick is not None else None
        return f"it makes the sound {-gain:.1f} dB worse" if gain is not None and gain < -most_db else ""

    return demand


def within(money: float) -> Demand:
    """The pick costs no more than this for a pair."""

    def demand(told: Told) -> str:
        cost = (told.pick["cost"] or 0.0) if told.pick is not None else 0.0
        pair = cost * 2 / SPEAKERS_IN_COST
        return "" if pair <= money + 1e-9 else f"{pair:.2f} for a pair, over {money:g}"

    return demand


def without(*rungs: str) -> Demand:
    """None of these is a step that gains more than is not known."""

    def demand(told: Told) -> str:
        claimed = [e for rung in rungs for e in told.entries(rung) if known_gain(e)]
        return f"claimed: {claimed}" if claimed else ""

    return demand


def tells(pattern: str, times: int | None = None) -> Demand:
    """The text says this; so many times, where a number is given."""

    def demand(told: Told) -> str:
        found = re.findall(pattern, " ".join(told.text.split()), re.IGNORECASE)
        wrong = not found if times is None else len(found) != times
        return f"'{pattern}' is said {len(found)} times" if wrong else ""

    return demand


def never_tells(pattern: str) -> Demand:
    """The text does not say this."""
    return tells(pattern, 0)


def three_things(told: Told) -> str:
    """Three things to do are listed by number, so many words each that a person can act on them."""
    lines = [line.split(maxsplit=1) for line in told.text.splitlines()]
    numbered = [words[0].rstrip(".)") for words in lines if len(words) == 2 and len(words[1]) > 10]
    return "" if all(str(n) in numbered for n in (1, 2, 3)) else "no list of three things to do"


def known_gain(entry: Answer) -> bool:
    """The step's gain is larger than what is not known of it."""
    gain, doubt = entry["gain_db"], entry["uncertainty_db"]
    return gain is not None and doubt is not None and gain > doubt


def of_every_answer(told: Told, for_safety: bool = False) -> Iterator[str]:
    """What holds for each case: yields what is wrong."""
    answer = told.json
    if told.rung not in ORDER:
        yield f"'{told.rung}' is no rung"
    for fault in answer["faults"]:
        if not ((fault.get("part") or fault.get("driver")) and fault["what"] and fault["remedy"]):
            yield f"a fault without a part or driver, or without a remedy: {fault}"
    for entry in answer["ladder"]:
        if not {"rung", "what", "gain_db", "uncertainty_db", "cost", "parts"} <= entry.keys():
            yield f"a step lacks a key: {sorted(entry)}"
    steps = [ORDER.index(entry["rung"]) for entry in answer["ladder"]]
    if steps != sorted(steps):
        yield f"the ladder is not in order: {[entry['rung'] for entry in answer['ladder']]}"
    if told.rung in BUILDS:
        if told.pick is None:
            yield f"{told.rung} is no step of the ladder"
        elif not known_gain(told.pick) and not for_safety:
            yield f"recommended, and its gain is not known: {told.pick}"
        if not re.match(r"xover \S", answer["next"] or ""):
            yield f"next builds nothing: {answer['next']}"
    lines = told.text.splitlines()
    if len(lines) > 24:
        yield f"{len(lines)} lines"
    yield from (f"over 80 columns: {line}" for line in lines if len(line) > 80)
