"""Speakers to be judged, made of invented drivers: measured sweeps, or datasheets alone."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

from invented_speaker import GOOD

from xover.curve import log_grid
from xover.speaker import open_speaker

F = log_grid(10.0, 20e3, 48)
SHEETS = {
    "woofer": {"re_ohm": 6.0, "fs_hz": 50.0, "qms": 4.0, "qes": 0.5, "le_mh": 0.5, "sensitivity_db": 88.0},
    "tweeter": {"re_ohm": 5.6, "fs_hz": 1000.0, "qms": 2.0, "qes": 1.5, "le_mh": 0.03, "sensitivity_db": 90.0},
}
PLACES = {"woofer": "[0, -150, 0]", "tweeter": "[0, 0, 0]"}


def impedance(re_ohm, fs_hz, qms, qes, le_mh, scale=1.0, **_):
    x = F / fs_hz
    return scale * (re_ohm + 2j * np.pi * F * le_mh * 1e-3 + re_ohm * qms / qes / (1 + 1j * qms * (x - 1 / x)))


def response(fs_hz, qms, qes, sensitivity_db, top_hz=40e3, **_):
    """Second-order high-pass, with a roll-off of first order at its upper end."""
    x, q = 1j * F / fs_hz, qms * qes / (qms + qes)
    return 10 ** (sensitivity_db / 20) * x**2 / (x**2 + x / q + 1) / (1 + 1j * F / top_hz)


def table(value, unit):
    size = 20 * np.log10(np.abs(value)) if unit == "dB" else np.abs(value)
    rows = zip(F, size, np.degrees(np.angle(value)), strict=True)
    return f"Hz, {unit}, deg\n" + "".join(f"{f:.8g}, {s:.7g}, {p:.5f}\n" for f, s, p in rows)


@pytest.fixture
def folder(tmp_path):
    """Write a speaker folder and open it."""

    def make(found=GOOD, original=None, *, more="", sheets=(), dead=None, woofer_scale=1.0):
        """`sheets`: drivers known by datasheet alone; `dead`: ohms that a tweeter's sweep shows throughout."""
        text = 'title = "Invented"\ntiming = "common"\n'
        for name, values in SHEETS.items():
            text += f"[drivers.{name}]\nposition_mm = {PLACES[name]}\n"
            if name in sheets:
                text += f"[drivers.{name}.datasheet]\n" + "".join(f"{k} = {v}\n" for k, v in values.items())
                continue
            z = impedance(**values, scale=woofer_scale if name == "woofer" else 1.0)
            if dead is not None and name == "tweeter":
                z = np.full(F.shape, dead, dtype=complex)
            (tmp_path / f"{name}.csv").write_text(table(z, "ohm"))
            (tmp_path / f"{name}-sound.csv").write_text(table(response(**values), "dB"))
            text += f'impedance = "{name}.csv"\nresponse = "{name}-sound.csv"\nphase = "measured"\n'
            text += 'impedance_evidence = "measured"\n'
        for name, cir in {"found": found, "original": original}.items():
            if cir is not None:
                (tmp_path / f"{name}.cir").write_text(cir)
                text += f'[networks.{name}]\ncircuit = "{name}.cir"\n'
        (tmp_path / "speaker.toml").write_text(text + more)
        return open_speaker(tmp_path)

    return make
