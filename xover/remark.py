"""A sentence that knows what it is about, so that nothing below has to look into its words."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum


class About(StrEnum):
    """What a remark is about."""

    ANYTHING = "anything"
    IMPEDANCE = "impedance"
    RESPONSE = "response"
    NO_RESPONSE = "no response"
    REBUILT_PHASE = "rebuilt phase"
    """Of a response: the phase was not measured."""
    NO_TIME_REFERENCE = "no time reference"
    """Of a response: its file says that its phase shares no zero of time with others."""
    RELATIVE_LEVEL = "relative level"
    """Of a response: its file says that its level is relative."""
    DATASHEET_IMPEDANCE = "impedance from a datasheet"
    DATASHEET_RESPONSE = "response from a datasheet"
    TWO_RESONANCES = "two resonances"
    METHOD = "method"
    """How an answer was got: nobody does anything else for it."""
    FAINT = "left out"
    """A driver that is not known where it is far below the rest, and left out there."""

    @property
    def of_impedance(self) -> bool:
        """Whether it touches drive, load, watts and volts, and not the sound alone."""
        return self not in (
            About.RESPONSE,
            About.NO_RESPONSE,
            About.REBUILT_PHASE,
            About.NO_TIME_REFERENCE,
            About.RELATIVE_LEVEL,
            About.DATASHEET_RESPONSE,
        )

    @property
    def is_detail(self) -> bool:
        """Whether it changes nothing of what a reader should do: told where all is asked for."""
        return self in (About.METHOD, About.FAINT, About.REBUILT_PHASE)


def pressing(remarks: Iterable[str]) -> list[str]:
    """Those that change what a reader should do; words that do not say what they are about are among them."""
    return [r for r in remarks if not (isinstance(r, Remark) and r.about.is_detail)]


class Remark(str):
    """Words for a person, and what they are about."""

    about: About
    bare: str
    """Without the name that stands before it."""
    named: bool
    """Whether it says of whom it is."""

    def __new__(cls, words: str, about: About = About.ANYTHING, *, named: bool = False) -> Remark:
        """A remark; without `about` it is about anything."""
        made = super().__new__(cls, words)
        made.about, made.bare, made.named = about, words, named
        return made

    def of(self, name: str) -> Remark:
        """The same with a name before it, where it does not say of whom it is."""
        if self.named:
            return self
        made = Remark(f"{name}: {self}", self.about, named=True)
        made.bare = self.bare
        return made
