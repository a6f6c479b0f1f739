"""Stops in one line each, told alike by every command that reads the network, and by the page."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from xover.blocks import Warn
from xover.judge.findings import Finding
from xover.readable import Warned
from xover.rules.severity import Severity


def stop_blocks(findings: Iterable[Finding]) -> tuple[Warn, ...]:
    """Those that forbid switching on, to stand above an answer; what is told of several networks alike, once."""
    alike: dict[tuple[str, str], list[str]] = {}
    for f in findings:
        if f.severity is Severity.STOP:
            alike.setdefault((f.text, f.remedy), []).append(f.where)
    return tuple(
        Warn(Severity.STOP, f"network {', '.join(dict.fromkeys(where))}", f"{text}: {remedy}.")
        for (text, remedy), where in alike.items()
    )


def stops_of(result: Any) -> tuple[Warn, ...]:
    """Those of an answer that reads one network; none of any other."""
    return stop_blocks(result.unsafe) if isinstance(result, Warned) else ()
