"""A caution, and the case that it is read from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from xover.bench.build_result import BuildOrder
from xover.network import Network
from xover.rules.severity import Severity
from xover.sound.roles import Role
from xover.speaker import Speaker
from xover.studies.bears.stress.study import StressStudy
from xover.studies.change.decide.study import Decision
from xover.studies.does.load.study import LoadStudy


@dataclass(frozen=True)
class CaseCaution:
    """One caution.

    Attributes
    ----------
    severity : stop, caution or note. heading : in a few words, no two alike. text : what to heed. why : what in this
        case calls for it; "" for the last one, which holds always.
    """

    severity: Severity
    heading: str
    text: str
    why: str


@dataclass(frozen=True, eq=False)
class Case:
    """What the cautions are read from; everything by the network's name.

    Attributes
    ----------
    loads, stresses : of the networks; a stress is missing where no amplifier is known. role : of each driver card.
    soldering : whether anything is to be built. bypassing : whether drivers get channels of their own.
    """

    speaker: Speaker
    networks: Mapping[str, Network]
    loads: Mapping[str, LoadStudy]
    stresses: Mapping[str, StressStudy]
    role: Mapping[str, Mapping[str, Role]]
    decision: Decision | None
    build: BuildOrder | None
    soldering: bool
    bypassing: bool
