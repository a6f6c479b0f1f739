"""Findings: what `check` has to say, by severity."""

from __future__ import annotations

from dataclasses import dataclass

from xover.rules.severity import Severity


@dataclass(frozen=True)
class Finding:
    """One finding.

    Attributes
    ----------
    severity : how much it matters.
    where : network, driver or file that it concerns.
    text : what was found.
    remedy : what to do.
    """

    severity: Severity
    where: str
    text: str
    remedy: str


def stop(where: str, text: str, remedy: str) -> Finding:
    """A finding that must be mended before anything is switched on."""
    return Finding(Severity.STOP, where, text, remedy)


def warning(where: str, text: str, remedy: str) -> Finding:
    """A finding that makes a result doubtful."""
    return Finding(Severity.CAUTION, where, text, remedy)


def note(where: str, text: str, remedy: str) -> Finding:
    """A finding that is good to know."""
    return Finding(Severity.NOTE, where, text, remedy)
