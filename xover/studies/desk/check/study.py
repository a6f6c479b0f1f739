"""Is what was typed and measured sound?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from xover.driver.fit import DriverFit
from xover.driver.model import DatasheetValues
from xover.readable import Readable
from xover.rules.severity import Severity
from xover.speaker import Speaker
from xover.studies.desk.check.amplifier import amplifier_findings
from xover.studies.desk.check.drivers import driver_findings, fit_sweep
from xover.studies.desk.check.findings import Finding, note, warning
from xover.studies.desk.check.network import network_findings


@dataclass(frozen=True, eq=False, repr=False)
class CheckStudy(Readable):
    """Everything that `check` found.

    Attributes
    ----------
    findings : the gravest first.
    fits : the electrical model of each driver with a sweep, None where there is none.
    networks : names of the networks that were gone through.
    sheets : the datasheet values of those drivers that have them.
    """

    title: str
    findings: tuple[Finding, ...]
    fits: Mapping[str, DriverFit | None]
    networks: tuple[str, ...]
    sheets: Mapping[str, DatasheetValues]

    @property
    def stops(self) -> tuple[Finding, ...]:
        """The findings that forbid switching on."""
        return tuple(f for f in self.findings if f.severity is Severity.STOP)

    def plain(self) -> dict[str, Any]:
        """Findings, and the figures of each driver."""
        return {
            "title": self.title,
            "networks": self.networks,
            "findings": self.findings,
            "drivers": {name: None if fit is None else _plain_fit(fit) for name, fit in self.fits.items()},
        }


def _plain_fit(fit: DriverFit) -> dict[str, Any]:
    return {
        "re_ohm": fit.model.re_ohm,
        "fs_hz": fit.fs_hz,
        "qms": fit.qms,
        "qes": fit.qes,
        "qts": fit.qts,
        "parameters": fit.parameters,
        "band_hz": fit.band_hz,
        "relative_rms": fit.relative_rms,
        "worst_residual": fit.worst_residual,
        "worst_at_hz": fit.worst_at_hz,
        "mounting_note": fit.mounting_note,
    }


def study_check(speaker: Speaker) -> CheckStudy:
    """Read everything of a speaker folder and list what is wrong or doubtful.

    Raises
    ------
    InputError : a file that cannot be understood at all.
    """
    fits = {name: fit_sweep(driver) for name, driver in speaker.drivers.items()}
    findings: list[Finding] = list(driver_findings(speaker, fits))
    bound: set[str] = set()
    for name in speaker.network_names:
        network = speaker.network(name)
        bound |= set(network.driver_names)
        findings += network_findings(speaker, name, network, fits)
        findings += amplifier_findings(speaker, name, network)
    if not speaker.network_names:
        findings.append(
            warning("speaker.toml", "no network is named", 'add [networks.found] with circuit = "found.cir"')
        )
    for driver in speaker.drivers:
        if speaker.network_names and driver not in bound:
            findings.append(note(driver, "no network uses this driver", "remove it, or bind it in a netlist"))
    return CheckStudy(
        title=speaker.title,
        findings=tuple(sorted(_merged(findings), key=lambda f: f.severity.order)),
        fits=fits,
        networks=speaker.network_names,
        sheets={name: d.datasheet for name, d in speaker.drivers.items() if d.datasheet is not None},
    )


def _merged(findings: list[Finding]) -> list[Finding]:
    """One finding for what is the same of several drivers or networks."""
    places: dict[tuple[Severity, str, str], list[str]] = {}
    for finding in findings:
        places.setdefault((finding.severity, finding.text, finding.remedy), []).append(finding.where)
    return [
        Finding(severity, ", ".join(dict.fromkeys(where)), text, remedy)
        for (severity, text, remedy), where in places.items()
    ]
