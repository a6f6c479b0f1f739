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
