"""Findings: what is wrong or doubtful, each a value of its own; its words are made last."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from xover.judge.finding_words import words_of
from xover.judge.kinds import Fault
from xover.plain import some_of
from xover.rules.severity import Severity


@dataclass(frozen=True)
class Finding:
    """One finding.

    Attributes
    ----------
    where : network, driver or file that it concerns. facts : what was found, by the names that `words_of` knows.
    severity : how much it matters. sure : False where it rests on a datasheet or an assumption that could be so far
        off that nothing is wrong: a doubt, which stops nobody, and whose remedy is the measurement that settles it.
    part, driver : the part's card, or the driver's key, that it is about; "" where there is none.
    """

    fault: Fault
    where: str
    facts: Mapping[str, Any]
    severity: Severity
    sure: bool = True
    part: str = ""
    driver: str = ""

    @property
    def text(self) -> str:
        """What was found, in words."""
        return words_of(self.fault, self.facts)[0]

    @property
    def remedy(self) -> str:
        """What to do, in words."""
        return words_of(self.fault, self.facts)[1]

    def plain(self) -> dict[str, Any]:
        """What it is, how much it matters, and both in words."""
        return some_of(self, "severity where text remedy fault sure part driver")


def found(
    fault: Fault,
    where: str,
    *,
    severity: Severity | None = None,
    unsure: str = "",
    about_part: str = "",
    about_driver: str = "",
    **facts: Any,
) -> Finding:
    """A finding.

    Parameters
    ----------
    severity : by default that of its kind. unsure : what to measure where it rests on too little to be sure; a stop is
        then a caution. about_part, about_driver : what it is about.
    """
    matters = fault.severity if severity is None else severity
    if unsure and matters is Severity.STOP:
        matters = Severity.CAUTION
    return Finding(fault, where, {**facts, "unsure": unsure}, matters, not unsure, about_part, about_driver)
