"""A sentence that knows what it is about, so that nothing below has to look into its words."""

from __future__ import annotations

from enum import StrEnum


class About(StrEnum):
    """What a remark is about."""

    ANYTHING = "anything"
    IMPEDANCE = "impedance"
    RESPONSE = "response"
    REBUILT_PHASE = "rebuilt phase"
    """Of a response: the phase was not measured."""
    DATASHEET_IMPEDANCE = "impedance from a datasheet"
    DATASHEET_RESPONSE = "response from a datasheet"
    TWO_RESONANCES = "two resonances"

    @property
    def of_impedance(self) -> bool:
        """Whether it touches drive, load, watts and volts, and not the sound alone."""
        return self not in (About.RESPONSE, About.REBUILT_PHASE, About.DATASHEET_RESPONSE)


class Remark(str):
    """Words for a person, and what they are about."""

    about: About

    def __new__(cls, words: str, about: About = About.ANYTHING) -> Remark:
        """A remark; without `about` it is about anything."""
        made = super().__new__(cls, words)
        made.about = about
        return made

    def of(self, name: str) -> Remark:
        """The same with a name before it."""
        return Remark(f"{name}: {self}", self.about)
