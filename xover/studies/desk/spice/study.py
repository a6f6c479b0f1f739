"""The network with its drivers as a netlist for any SPICE: measured drivers as the circuits fitted to them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from xover import __version__
from xover.blocks import Block, plain_table
from xover.curve import Evidence
from xover.driver.fit import MOUNTING_NOTE, DriverFit, fit_driver
from xover.driver.model import DriverModel
from xover.errors import InputError
from xover.network import Network
from xover.plain import some_of
from xover.quantity import hertz
from xover.readable import Readable
from xover.remark import About, Remark
from xover.rules.instruments import Instrument
from xover.speaker import Speaker, SpeakerDriver
from xover.studies.desk.spice.cards import FROM_HZ, TO_HZ, SpiceCards, SpiceLoss, comment, network_cards

PER_DECADE: Final = 48
LADDER_ROWS: Final = 400


@dataclass(frozen=True, eq=False, repr=False)
class SpiceDriver(Readable):
    """A driver as it was written.

    Attributes
    ----------
    model : the circuit itself, of plain parts.
    fit : how it was found and how far it can be trusted; None where it is that of values.
    evidence : what the impedance rests on. instrument : what it was got with, or what the values are.
    warnings : what is doubtful, one sentence each.
    """

    model: DriverModel
    fit: DriverFit | None
    evidence: Evidence
    instrument: Instrument
    warnings: tuple[Remark, ...]

    @property
    def source(self) -> str:
        """ "fit", or what its values are: "data sheet", "placeholder" or "assumed"."""
        if self.fit is not None:
            return "fit"
        return "data sheet" if self.instrument is Instrument.DATASHEET else str(self.instrument)

    def plain(self) -> dict[str, Any]:
        """Residual and band of the fit, null for values; the figures of the circuit."""
        residual = "relative_rms worst_residual worst_at_hz band_hz"
        known = dict.fromkeys(residual.split()) if self.fit is None else some_of(self.fit, residual)
        return {
            **some_of(self, "source evidence warnings"),
            **known,
            "re_ohm": self.model.re_ohm,
            **some_of(self.model if self.fit is None else self.fit, "fs_hz qms qes qts"),
            "elements": self.model.rlc_elements(),
        }


@dataclass(frozen=True, eq=False, repr=False)
class SpiceNetlist(Readable):
    """A netlist and what it holds.

    Attributes
    ----------
    netlist : the text, lines ended by a line feed.
    drivers : by name.
    losses : how each dissipation factor was written.
    drive : node that carries each driver's voltage over the amplifier's, by key.
    channels : voltage source of each channel: the load is -1/its current.
    renamed : names that had to change, old to new, under "parts", "nodes" and "drivers".
    """

    title: str
    network: str
    netlist: str
    drivers: Mapping[str, SpiceDriver]
    losses: tuple[SpiceLoss, ...]
    drive: Mapping[str, str]
    channels: Mapping[str, str]
    renamed: Mapping[str, Mapping[str, str]]
    warnings: tuple[str, ...]


def study_spice(speaker: Speaker, network_name: str, *, loss_at_hz: float | None = None) -> SpiceNetlist:
    """Write one network of a speaker as SPICE3 cards, drivers included.

    A measured driver becomes the circuit fitted to its impedance (`fit_driver`), one that is known by its data sheet
    that circuit itself. Losses stand in series as resistors, a dissipation factor as cells that follow it.

    Parameters
    ----------
    loss_at_hz : write each dissipation factor as the fixed resistor that it is at this frequency, for analysis in
        time; None: as cells that follow it from 20 Hz to 20 kHz, for small-signal analysis.

    Raises InputError: a sweep to which no circuit can be fitted.
    """
    network = speaker.network(network_name)
    drivers = {name: _driver(speaker.drivers[name]) for name in network.driver_names}
    cards = network_cards(network, {name: d.model for name, d in drivers.items()}, loss_at_hz)
    warnings = tuple(_warnings(network, drivers, cards))
    return SpiceNetlist(
        title=speaker.title,
        network=network_name,
        netlist=_text(speaker.title, network_name, network, drivers, cards),
        drivers=drivers,
        losses=cards.losses,
        drive=cards.drive,
        channels=cards.channel,
        renamed=cards.renamed,
        warnings=warnings,
    )


def _driver(driver: SpeakerDriver) -> SpiceDriver:
    said = [note for note in driver.notes if note.about.of_impedance]
    ground = driver.impedance_evidence, driver.impedance_instrument
    if driver.impedance is None:
        assert driver.datasheet is not None  # the speaker file has been checked
        return SpiceDriver(driver.datasheet.model, None, *ground, tuple(said))
    fit = fit_driver(driver.impedance, re_ohm=driver.metered_re_ohm)
    if not fit.holds:
        raise InputError(
            f"{driver.name}: {fit.failure}, so there is no circuit to write for it",
            "measure its impedance again, or give [drivers.NAME.datasheet] instead",
            driver.impedance.source or None,
        )
    said += fit.warnings
    low, high = fit.band_hz
    if low > FROM_HZ * 1.001 or high < TO_HZ * 0.999:
        words = f"it was measured from {hertz(low)} to {hertz(high)} only: outside of that the circuit is a guess"
        said.append(Remark(words, About.IMPEDANCE))
    return SpiceDriver(fit.model.with_plain_parts(), fit, *ground, tuple(said))


def _warnings(network: Network, drivers: Mapping[str, SpiceDriver], cards: SpiceCards) -> Iterator[str]:
    for name, driver in drivers.items():
        yield from (text.of(name) for text in driver.warnings)
    for part in network.resistors:
        if part.is_lamp:
            yield f"{part.name} is a lamp or resettable fuse, written cold ({part.ohm:g} ohm): true at low level only"
    if any(loss.pairs for loss in cards.losses):
        yield (
            "dissipation factors are written for small-signal analysis (.ac): for one in time, such as .tran, "
            "ask for fixed resistors, right at 1 kHz or at the frequency that matters"
        )
    if any(loss.fixed_ohm is not None for loss in cards.losses):
        worst = max(cards.losses, key=lambda loss: loss.worst_error)
        yield (
            f"fixed resistors stand for dissipation factors: the impedance of {worst.part} is off by up to "
            f"{worst.worst_error:.1%} (at {hertz(worst.worst_at_hz)})"
        )


def _text(
    title: str, network_name: str, network: Network, drivers: Mapping[str, SpiceDriver], cards: SpiceCards
) -> str:
    load = ", ".join(f"-1/I({source})" for source in cards.channel.values())
    lines = comment(f"{title}: network '{network_name}'")
    lines += comment()
    lines += comment(
        "A passive loudspeaker network with its drivers, for small-signal analysis, "
        f"{hertz(FROM_HZ)} to {hertz(TO_HZ)}. "
        f"Amplifier channels are ideal sources of 1 V. V(drive_...) is the voltage at a driver, its own polarity "
        f"included; the load is {load}. Written by xover {__version__}."
    )
    lines += comment()
    for name, driver in drivers.items():
        lines += _driver_comment(name, driver)
    if any(driver.fit is not None for driver in drivers.values()):
        lines += comment(f"Of the fitted drivers, {MOUNTING_NOTE}.", "  ")
    said = [*_loss_sentences(cards.losses)]
    said += [
        f"{p.name}: a lamp or resettable fuse, cold: true at low level only." for p in network.resistors if p.is_lamp
    ]
    said += [f"{remark}." for remark in cards.remarks]
    for what, names in cards.renamed.items():
        if names:
            said.append(f"Renamed {what}: " + ", ".join(f"{old} is {new}" for old, new in names.items()) + ".")
    lines += [line for sentence in said for line in comment(sentence, "  ")]
    lines += [*comment(), *cards.main, *comment(), *cards.subcircuits, *comment()]
    lines.append(f".ac dec {PER_DECADE} {FROM_HZ:g} {TO_HZ:g}")
    lines += [f".print ac vdb({node}) vp({node})" for node in cards.drive.values()]
    lines += [f".print ac i({source})" for source in cards.channel.values()]
    return "\n".join([*lines, ".end", ""])


def _driver_comment(name: str, driver: SpiceDriver) -> list[str]:
    fit = driver.fit
    if fit is None:
        said = f"the circuit of its {driver.source} values (evidence: {driver.evidence}), no fit"
    else:
        low, high = (hertz(f) for f in fit.band_hz)
        said = f"fitted to its impedance (evidence: {driver.evidence}), {fit.rows} rows from {low} to {high}"
        said += "" if fit.phase_used else ", magnitude only"
        said += f". Residual, relative: {fit.relative_rms:.2%} rms, {fit.worst_residual:.2%} at most"
        said += f" (at {hertz(fit.worst_at_hz)})"
        if fit.model.coil is not None:
            error = fit.model.ladder_error(np.geomspace(FROM_HZ, TO_HZ, LADDER_ROWS))
            said += f". The coil goes with the power {fit.model.coil.power:.2f} of the frequency: its cells follow "
            said += f"that to {error:.2%} of the impedance, {hertz(FROM_HZ)} to {hertz(TO_HZ)}"
        if math.isfinite(fit.fs_hz):
            said += f". As mounted, fs {hertz(fit.fs_hz)}"
            said += f", Qms {fit.qms:.2f}" if math.isfinite(fit.qms) else ""
            said += f", Qes {fit.qes:.2f}" if math.isfinite(fit.qes) else ""
    lines = comment(f"{name}: {said}.", "  ")
    return lines + [line for text in driver.warnings for line in comment(f"{text.of(name)}.", "  ")]


def _loss_sentences(losses: Sequence[SpiceLoss]) -> Iterator[str]:
    band = f"{hertz(FROM_HZ)} to {hertz(TO_HZ)}"
    if any(loss.pairs for loss in losses):
        yield (
            "A dissipation factor, or constant loss angle, is a series resistance df/(2 pi f C). Pairs of R||C and "
            f"R||-C follow it from {band}, for .ac only: in time the negative capacitors are unstable."
        )
    for loss in losses:
        how = f"{loss.pairs} pairs" if loss.fixed_ohm is None else f"one fixed resistor of {loss.fixed_ohm:.4g} ohm"
        yield (
            f"{loss.part}: dissipation factor {loss.dissipation_factor:.4g} as {how}; from {band} its impedance is "
            f"right to {loss.worst_error:.2g} of itself (worst at {hertz(loss.worst_at_hz)})."
        )


def tell(result: SpiceNetlist) -> Iterator[Block]:
    """What stands for each driver, and how well."""
    rows = []
    for name, driver in result.drivers.items():
        fit = driver.fit
        if fit is None:
            rows.append([name, driver.source, "-", "-", "-"])
        else:
            rows.append([name, "fit", f"{fit.relative_rms:.2%}", f"{fit.worst_residual:.2%}", hertz(fit.worst_at_hz)])
    yield plain_table(["driver", "circuit", "residual rms", "at most", "at"], rows)
