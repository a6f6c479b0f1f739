"""Whole speaker folders of invented drivers, made from a few parameters: no such loudspeaker exists.

The formulas are this module's own, so that what the program assumes of drivers is not assumed here as well.
Convention: e^{+jwt}; responses re 20 uPa for 2.83 V at 1 m on the design axis, delayed by the driver's place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]
NOTE = "invented test data: no such loudspeaker exists"
ROWS_PER_OCTAVE = 12
THIRD_OCTAVES_HZ = 1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0)  # 20 Hz to 20 kHz, base ten


def rows(low_hz: float, high_hz: float, per_octave: int = ROWS_PER_OCTAVE) -> Float:
    """(n,) Hz, both ends among them."""
    return np.geomspace(low_hz, high_hz, int(np.ceil(np.log2(high_hz / low_hz) * per_octave)) + 1)


@dataclass(frozen=True)
class Driver:
    """One driver in its cabinet.

    Impedance: a DC resistance, one resonance (`fs_hz`, `qms`, `qes`), a coil that leans towards the square root of
    frequency above `knee_hz`. Response: high-passes of second order (Hz, Q), one low-pass of second order (Hz, Q),
    bells (Hz, dB, width in octaves). What is heard of a `dead` driver is nothing.

    `keys` are further lines of its table in speaker.toml; a value of None takes the line away.
    """

    re_ohm: float
    fs_hz: float
    qms: float
    qes: float
    le_mh: float
    knee_hz: float
    sensitivity_db: float
    diameter_mm: float
    position_mm: tuple[float, float, float]
    high_pass: tuple[tuple[float, float], ...]
    low_pass: tuple[float, float]
    bells: tuple[tuple[float, float, float], ...] = ()
    dead: str = ""  # "open" or "shorted"
    impedance_hz: tuple[float, float] = (10.0, 40_000.0)
    response_hz: tuple[float, float] = (20.0, 40_000.0)
    keys: Mapping[str, Any] = field(default_factory=dict)

    def impedance(self, f: Float) -> Complex:
        """(n,) ohm at (n,) Hz."""
        if self.dead:
            return np.full(f.shape, 0.12 + 0j) if self.dead == "shorted" else 1 / (2e-6 + 2j * np.pi * f * 60e-12)
        peak = self.re_ohm * self.qms / self.qes / (1 + 1j * self.qms * (f / self.fs_hz - self.fs_hz / f))
        coil = 2j * np.pi * f * self.le_mh * 1e-3 / (1 + np.sqrt(1j * f / self.knee_hz))
        return np.asarray(self.re_ohm + peak + coil)

    def pressure(self, f: Float) -> Complex:
        """(n,) pressure re 20 uPa at (n,) Hz."""
        p = np.full(f.shape, 10 ** (self.sensitivity_db / 20), dtype=complex)
        for hz, q in self.high_pass:
            s = 1j * f / hz
            p = p * s * s / (s * s + s / q + 1)
        s = 1j * f / self.low_pass[0]
        p = p / (s * s + s / self.low_pass[1] + 1)
        for hz, db, octaves in self.bells:
            # A resonator that is added: real, minimum phase, `db` high at its centre.
            s, width = 1j * f / hz, 2 ** (octaves / 2) - 2 ** (-octaves / 2)
            p = p * (s * s + s * width * 10 ** (db / 20) + 1) / (s * s + s * width + 1)
        right, up, forward = (x / 1000 for x in self.position_mm)
        far = np.hypot(1 - forward, np.hypot(right, up))
        return np.asarray(p * np.exp(-2j * np.pi * f * (far - 1) / 343.0) / far)


Board = Mapping[str, str | None]
"""Card's name -> the rest of its line; None takes the card away."""


@dataclass(frozen=True)
class Folder:
    """A speaker folder before it is written.

    Attributes
    ----------
    original : the board as marked. changes : cards that are otherwise today, on the board that was found.
    phone : responses are third octaves without a phase, and the phone falls off by so many dB at 16 kHz; None: swept.
    responses, impedances, history : False leaves the responses, the sweeps, original.cir away.
    means, bypass : their tables, empty where the owner said nothing. tables : further lines of speaker.toml.
    name : of the folder itself.
    """

    drivers: Mapping[str, Driver]
    original: Board
    changes: Board = field(default_factory=dict)
    title: str = "Shelf two-way"
    amplifier: Mapping[str, float] = field(
        default_factory=lambda: {"minimum_load_ohm": 4, "output_ohm": 0.05, "rated_power_w": 50, "rated_load_ohm": 8}
    )
    listening: Mapping[str, float] = field(
        default_factory=lambda: {"level_db": 85, "distance_m": 2.5, "headroom_db": 12}
    )
    means: Mapping[str, Any] = field(default_factory=dict)
    bypass: Mapping[str, Any] = field(default_factory=dict)
    channels: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    timing: str = "common"
    phone: float | None = None
    responses: bool = True
    impedances: bool = True
    history: bool = True
    name: str = "speaker"

    def found(self, **changes: str | None) -> Folder:
        """The same folder with these cards otherwise today."""
        return replace(self, changes={**self.changes, **changes})

    def marked(self, **changes: str | None) -> Folder:
        """The same folder of another design."""
        return replace(self, original={**self.original, **changes})

    def driver(self, name: str, **changes: Any) -> Folder:
        """The same folder with another driver in this place; `keys` are added to those that it has."""
        old = self.drivers[name]
        changes["keys"] = {**old.keys, **changes.get("keys", {})}
        return replace(self, drivers={**self.drivers, name: replace(old, **changes)})

    def every_driver(self, **keys: Any) -> Folder:
        """The same folder with these keys for each driver."""
        made = self
        for name in self.drivers:
            made = made.driver(name, keys=keys)
        return made

    def write(self, parent: Path) -> Path:
        """Write it, and give its path."""
        folder = parent / self.name
        folder.mkdir(parents=True)
        (folder / "found.cir").write_text(_board({**self.original, **self.changes}, f"{self.title}, as measured today"))
        if self.history:
            (folder / "original.cir").write_text(_board(self.original, f"{self.title}, as marked"))
        for name, driver in self.drivers.items():
            self._tables(folder, name, driver)
        (folder / "speaker.toml").write_text(self._toml())
        return folder

    def _tables(self, folder: Path, name: str, driver: Driver) -> None:
        if self.impedances:
            f = rows(*driver.impedance_hz)
            z = driver.impedance(f)
            _table(folder / f"{name}-impedance.csv", "impedance_ohm", f, np.abs(z), np.degrees(np.angle(z)))
        if self.responses and not driver.dead:
            f = rows(*driver.response_hz) if self.phone is None else THIRD_OCTAVES_HZ
            p = driver.pressure(f)
            level, phase = 20 * np.log10(np.abs(p)), np.degrees(np.angle(p))
            if self.phone is not None:
                # Flat to 2 kHz, then falling evenly in octaves.
                level, phase = level - self.phone * np.clip(np.log2(f / 2000.0) / 3.0, 0.0, None), None
            _table(folder / f"{name}-response.csv", "level_db", f, level, phase)

    def _toml(self) -> str:
        text = [f"# {NOTE}", f'title = "{self.title} (invented)"', f'timing = "{self.timing}"', ""]
        text += _keys("amplifier", self.amplifier) + _keys("listening", self.listening) + _keys("means", self.means)
        for name, driver in self.drivers.items():
            heard = self.responses and not driver.dead
            keys: dict[str, Any] = {
                "impedance": f"{name}-impedance.csv" if self.impedances else None,
                "response": f"{name}-response.csv" if heard else None,
                "phase": ("minimum" if self.phone is not None else "measured") if heard else None,
                "position_mm": driver.position_mm,
                "diameter_mm": driver.diameter_mm,
                "impedance_instrument": "calibrated" if self.impedances else None,
                "response_instrument": ("phone" if self.phone is not None else "calibrated") if heard else None,
                **driver.keys,
            }
            datasheet = keys.pop("datasheet", {})
            text += _keys(f"drivers.{name}", keys) + _keys(f"drivers.{name}.datasheet", datasheet)
        text += _keys("networks.found", {"circuit": "found.cir"})
        if self.history:
            text += _keys("networks.original", {"circuit": "original.cir"})
        text += _keys("bypass", self.bypass)
        for name, channel in self.channels.items():
            text += _keys(f"bypass.channels.{name}", channel)
        return "\n".join(text)


def _board(cards: Board, title: str) -> str:
    lines = [f"{name} {rest}" for name, rest in cards.items() if rest is not None]
    return "\n".join([f"* {title} ({NOTE})", *lines, ".end", ""])


def _table(path: Path, quantity: str, f: Float, magnitude: Float, phase_deg: Float | None) -> None:
    columns = [f, magnitude] if phase_deg is None else [f, magnitude, phase_deg]
    head = f"# {NOTE}\nfrequency_hz,{quantity}" + ("" if phase_deg is None else ",phase_deg")
    lines = [",".join(f"{x:.3f}" for x in row) for row in zip(*columns, strict=True)]
    path.write_text("\n".join([head, *lines, ""]))


def _keys(table: str, keys: Mapping[str, Any]) -> list[str]:
    said = {key: value for key, value in keys.items() if value is not None}
    return [f"[{table}]", *(f"{key} = {_toml_value(value)}" for key, value in said.items()), ""] if said else []


def _toml_value(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    return f"[{', '.join(f'{x:g}' for x in value)}]" if isinstance(value, tuple) else f"{value:g}"
