"""Is what was typed and measured sound: the whole folder, and its drivers' curves?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from xover.blocks import Block, Facts, Head, Text, plain_table
from xover.driver.datasheet import DatasheetValues
from xover.driver.fit import DriverFit
from xover.judge.faults import faults, worn
from xover.judge.findings import Finding, found
from xover.judge.health import DriverHealth, speaker_health, unsound
from xover.judge.health_words import told_health
from xover.judge.kinds import Fault
from xover.judge.network import driver_counts, network_findings
from xover.judge.safety import hazards
from xover.plain import some_of
from xover.readable import Readable
from xover.remark import About
from xover.rules.instruments import Instrument
from xover.rules.likeness import ABOVE_SWEEP, BELOW_SWEEP, COARSE_SWEEP, LEAST_OVERLAP_OCTAVES, PRESSURE_DB
from xover.rules.severity import Severity
from xover.sound.driver_fit import fit_sweep
from xover.speaker import PhaseSource, Speaker, SpeakerDriver
from xover.studies.desk.check.files import SweepFile, sweep_files, told_files
from xover.terms import legend

_HEADS: Final = {
    Severity.STOP: "STOP: mend this before you switch anything on",
    Severity.CAUTION: "Warnings: a result is wrong or doubtful until this is mended or explained",
    Severity.NOTE: "Notes",
}
_SINE: Final = (Fault.THIN_RATING, Fault.OPEN_DRIVER)
"""Findings that speak of a full sine."""
_EACH: Final = (Fault.FROM_DATASHEET, Fault.DOUBTFUL_FILE, Fault.DOUBTFUL_SWEEP, Fault.UNSOUND)
"""Findings that say something else each time."""
_OF_REMARK: Final = {
    About.REBUILT_PHASE: Fault.PHASE_REBUILT,
    About.NO_TIME_REFERENCE: Fault.DENIED_TIMING,
    About.RELATIVE_LEVEL: Fault.RELATIVE_LEVEL,
    About.DATASHEET_IMPEDANCE: Fault.FROM_DATASHEET,
    About.DATASHEET_RESPONSE: Fault.FROM_DATASHEET,
    About.NO_RESPONSE: Fault.NO_SOUND,
}


@dataclass(frozen=True, eq=False, repr=False)
class CheckStudy(Readable):
    """Everything that `check` found.

    Attributes
    ----------
    findings : the gravest first.
    fits : the electrical model of each driver with a sweep, None where there is none.
    networks : names of the networks that were gone through.
    sheets : the values of those drivers that have them: a datasheet's, a template's, or assumed.
    values_are : by driver, what its impedance was got with.
    health : by driver with a sweep, what ails it beside its like.
    files : what was read of each file of measurements.
    """

    title: str
    findings: tuple[Finding, ...]
    fits: Mapping[str, DriverFit | None]
    networks: tuple[str, ...]
    sheets: Mapping[str, DatasheetValues]
    values_are: Mapping[str, Instrument]
    health: Mapping[str, DriverHealth]
    files: tuple[SweepFile, ...] = ()

    @property
    def stops(self) -> tuple[Finding, ...]:
        """The findings that forbid switching on."""
        return tuple(f for f in self.findings if f.severity is Severity.STOP)

    @property
    def safe(self) -> bool:
        """Whether nothing forbids switching on."""
        return not self.stops

    @property
    def unsound(self) -> frozenset[str]:
        """The drivers of whose health a finding tells."""
        return frozenset(h.driver for h in unsound(self.health))

    def plain(self) -> dict[str, Any]:
        """Findings, and the figures of each driver."""
        names = "fs_hz qms qes qts parameters band_hz relative_rms worst_residual worst_at_hz mounting_note"
        drivers = {
            n: f and some_of(f, names + " holds failure", re_ohm=f.model.re_ohm if f.holds else None)
            for n, f in self.fits.items()
        }
        return some_of(self, "title networks findings health files", drivers=drivers)


def study_check(speaker: Speaker, mate: Speaker | None = None) -> CheckStudy:
    """Read everything of a speaker folder and list what is wrong or doubtful; `mate` is the pair's other one.

    Raises InputError: a file that cannot be understood at all.
    """
    fits = {name: fit_sweep(driver) for name, driver in speaker.drivers.items()}
    findings = [f for name, driver in speaker.drivers.items() for f in _driver_findings(driver, fits[name])]
    network = speaker.network(speaker.default_network()) if speaker.network_names else None
    health = speaker_health(speaker, network, mate)
    findings += [found(Fault.UNSOUND, h.driver, health=h) for h in unsound(health)]
    findings += _timing(speaker)
    bound: set[str] = set()
    for name in speaker.network_names:
        network = speaker.network(name)
        bound |= set(network.driver_names)
        findings += network_findings(speaker, name, network, fits)
        findings += hazards(speaker, name, network)
    if speaker.network_names:
        findings = with_faults(speaker, findings)
    if not speaker.network_names:
        findings.append(found(Fault.NO_NETWORK, "speaker.toml"))
    else:
        findings += [found(Fault.UNUSED_DRIVER, driver) for driver in speaker.drivers if driver not in bound]
        gone = {f.driver for f in findings if f.fault is Fault.NO_DRIVER}
        findings += [f for f in driver_counts(speaker) if f.driver not in gone]
    return CheckStudy(
        title=speaker.title,
        findings=tuple(sorted(_merged(findings), key=lambda f: f.severity.order)),
        fits=fits,
        networks=speaker.network_names,
        sheets={name: d.datasheet for name, d in speaker.drivers.items() if d.datasheet is not None},
        values_are={name: d.impedance_instrument for name, d in speaker.drivers.items()},
        health=health,
        files=sweep_files(speaker),
    )


def with_faults(speaker: Speaker, findings: list[Finding]) -> list[Finding]:
    """The same with what is broken against the original, and each told once."""
    now = speaker.default_network()
    original = "original" if "original" in speaker.network_names else None
    broken = faults(speaker, now, original)
    if original is not None and original != now and not broken:
        broken = tuple(worn(speaker, now, original))
    cut = {f.driver for f in findings if f.fault is Fault.NO_VOLTAGE and f.where == now}
    cut |= {key for f in findings if f.fault is Fault.NO_CIRCUIT and f.where == now for key in f.facts["drivers"]}
    broken = tuple(f for f in broken if f.fault is not Fault.NO_SIGNAL or f.driver not in cut)  # told with its reason
    turned = any(f.fault is Fault.SWAPPED for f in broken)
    kept = [f for f in findings if not (turned and f.fault in (Fault.POLARITY, Fault.REVERSED) and f.where == now)]
    dead = {f.driver for f in broken if f.fault in (Fault.DEAD_OPEN, Fault.DEAD_SHORTED)}
    kept = [f for f in kept if not (f.where in dead and f.fault in (Fault.DOUBTFUL_SWEEP, Fault.NO_MODEL))]
    own = {f.facts["pair"] for f in findings if f.fault is Fault.POLARITY and f.where == original}
    return [*broken, *(_of_the_design(f, own) for f in kept)]


def _of_the_design(finding: Finding, pairs: set[str]) -> Finding:
    """A polarity that the original has too is no former owner's fault."""
    if finding.fault is not Fault.POLARITY or finding.facts["pair"] not in pairs:
        return finding
    return replace(finding, facts={**finding.facts, "design": True})


def _merged(findings: Iterable[Finding]) -> list[Finding]:
    """One finding for what is told alike of several drivers or networks."""
    alike: dict[tuple[Fault, str], list[Finding]] = {}
    for finding in findings:
        alike.setdefault((finding.fault, finding.text), []).append(finding)
    return [replace(those[0], where=", ".join(dict.fromkeys(f.where for f in those))) for those in alike.values()]


def _driver_findings(driver: SpeakerDriver, fit: DriverFit | None) -> Iterator[Finding]:
    """Are a driver's curves sound, and do they agree with what else is said of it?"""
    for said in driver.notes:
        fault = _OF_REMARK.get(said.about, Fault.DOUBTFUL_FILE)
        yield found(fault, driver.name, note=said.bare)
    yield from _sweep(driver, fit)
    yield from _dc_resistance(driver, fit)
    yield from _overlap(driver)


def _timing(speaker: Speaker) -> Iterator[Finding]:
    """What of place and delay counts, and what does not."""
    timed = speaker.timed_by_delays(speaker.drivers)
    for name, d in speaker.drivers.items():
        placed = d.position_mm is not None or bool(d.card_positions_mm)
        if d.phase_source is PhaseSource.MINIMUM and not placed and not timed:
            yield found(Fault.NO_PLACE, name)
        if d.phase_source is PhaseSource.MEASURED and placed and speaker.file.speaker.timing == "common":
            yield found(Fault.PLACE_OF_ANGLES, name)
    known = all(speaker.timing_is_known(speaker.network(n))[0] for n in speaker.network_names)
    without = [n for n, d in speaker.drivers.items() if d.delay_us is None]
    if not known and len(without) < len(speaker.drivers):
        yield from (found(Fault.DELAY_UNUSED, n, without=without) for n in speaker.drivers if n not in without)


def _sweep(driver: SpeakerDriver, fit: DriverFit | None) -> Iterator[Finding]:
    curve = driver.impedance
    if curve is None:
        return
    if fit is None:
        yield found(Fault.NO_MODEL, driver.name)
        return
    for said in fit.warnings:
        fault = Fault.TWO_RESONANCES if said.about is About.TWO_RESONANCES else Fault.DOUBTFUL_SWEEP
        yield found(fault, driver.name, note=said)
    coarse = curve.interpolation_error()
    if np.isfinite(coarse) and coarse > COARSE_SWEEP:
        yield found(Fault.COARSE_SWEEP, driver.name, error=coarse)
    lowest, highest = curve.lowest_hz, curve.highest_hz
    if lowest > 20.0 * 1.001 or highest < 20e3 * 0.999:
        yield found(Fault.SHORT_SWEEP, driver.name, band_hz=(lowest, highest))


def _dc_resistance(driver: SpeakerDriver, fit: DriverFit | None) -> Iterator[Finding]:
    if driver.impedance is None or driver.re_ohm is None:
        return
    size = np.abs(driver.impedance.value)
    at = int(np.argmin(size))
    least, where, read = float(size[at]), float(driver.impedance.frequency_hz[at]), driver.re_ohm
    shown = fit.model.re_ohm if fit is not None and fit.holds else least
    if read > ABOVE_SWEEP * least:
        yield found(Fault.DC_ABOVE_SWEEP, driver.name, read_ohm=read, lowest_ohm=least, at_hz=where)
    elif read < BELOW_SWEEP * shown:
        yield found(Fault.DC_BELOW_SWEEP, driver.name, read_ohm=read, shown_ohm=shown)


def _overlap(driver: SpeakerDriver) -> Iterator[Finding]:
    if driver.impedance is None or driver.response is None:
        return
    impedance_hz = driver.impedance.lowest_hz, driver.impedance.highest_hz
    response_hz = driver.response.lowest_hz, driver.response.highest_hz
    low, high = max(impedance_hz[0], response_hz[0]), min(impedance_hz[1], response_hz[1])
    if low >= high:
        yield found(Fault.NO_OVERLAP, driver.name, impedance_hz=impedance_hz, response_hz=response_hz)
    elif np.log2(high / low) < LEAST_OVERLAP_OCTAVES:
        yield found(Fault.LITTLE_OVERLAP, driver.name, band_hz=(low, high))
    level_db = float(np.nanmax(driver.response.level_db))
    said = any(note.about is About.RELATIVE_LEVEL for note in driver.notes)
    if not said and not PRESSURE_DB[0] < level_db < PRESSURE_DB[1]:
        yield found(Fault.RELATIVE_LEVEL, driver.name, level_db=level_db)


def tell(check: CheckStudy, everything: bool = False) -> Iterator[Block]:
    """What was found, the gravest first, what is alike of several once; then the drivers."""
    yield Head(f"{check.title}: {len(check.fits)} drivers, networks {', '.join(check.networks) or 'none'}")
    yield Text(_answer(check))
    for severity, head in _HEADS.items():
        those = [f for f in check.findings if f.severity is severity]
        told = [(f.where, f.text, f.remedy) for f in those] if everything else _once(those)
        if told:
            yield Head(head)
            yield Facts(
                tuple(line for where, text, remedy in told for line in ((where, text), ("", f"-> {remedy}"))), 16
            )
    if any(f.fault in _SINE for f in check.findings):
        yield Text(legend("full sine"))
    yield Head("The drivers, as they were measured: in their cabinet and through their leads")
    rows = [[name, *_driver(check, name, fit)] for name, fit in check.fits.items()]
    yield plain_table(["driver", "Re ohm", "fs Hz", "Qms", "Qes", "Qts", "fit misses by"], rows)
    yield from told_files(check.files, everything)
    if everything:
        yield from told_health(check.health.values(), check.unsound)


def _answer(check: CheckStudy) -> str:
    if not check.findings:
        return "Nothing to report: files, drivers, networks and amplifier agree."
    counts = {s: sum(f.severity is s for f in check.findings) for s in _HEADS}
    if counts[Severity.STOP]:
        return "Do not switch on: something below must be mended first."
    if counts[Severity.CAUTION]:
        return "Nothing forbids switching on, but something below is wrong or doubtful."
    return "Nothing forbids switching on, and nothing is wrong; mind the notes."


def _once(findings: Iterable[Finding]) -> list[tuple[str, str, str]]:
    """(where, what, remedy), with one text for what several have that is of one kind and has one remedy."""
    alike: dict[tuple[Fault, str, str], list[Finding]] = {}
    for f in findings:
        alike.setdefault((f.fault, f.remedy, f.text if f.fault in _EACH else ""), []).append(f)
    told = []
    for first, *others in alike.values():
        also = ", ".join(dict.fromkeys(f.where for f in others if f.where != first.where))
        told.append((first.where, f"{first.text}{f' ({also}: alike, see --all)' if also else ''}", first.remedy))
    return told


def _driver(check: CheckStudy, name: str, fit: DriverFit | None) -> list[str]:
    sheet = check.sheets.get(name)
    if fit is not None and not fit.holds:
        figures, last = (math.nan,) * 5, f"{100 * fit.relative_rms:.1f} %, fails"
    elif fit is not None:
        figures, last = (fit.model.re_ohm, fit.fs_hz, fit.qms, fit.qes, fit.qts), f"{100 * fit.relative_rms:.1f} %"
    elif sheet is not None:
        figures, last = (sheet.re_ohm, sheet.fs_hz, sheet.qms, sheet.qes, sheet.qts), str(check.values_are[name])
    else:
        figures, last = (math.nan,) * 5, "no model"
    digits = (2, 0, 2, 2, 2)
    return [*(f"{v:.{n}f}" if math.isfinite(v) else "-" for v, n in zip(figures, digits, strict=True)), last]
