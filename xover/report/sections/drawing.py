"""The schematic."""

from __future__ import annotations

from xover.blocks import Picture, Section, Text
from xover.report.answers import Answers


def section(answers: Answers) -> Section:
    """What is to be built, or what is there; old values beside new ones."""
    drawn = answers.known.get("schematic")
    words = f"Network '{answers.build.name}': {answers.build.why.rstrip('.')}."
    return Section("schematic", "Schematic", (Text(words), *([drawn] if isinstance(drawn, Picture) else [])))
