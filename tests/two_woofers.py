"""A two-way with two woofers in parallel that bear two names, one of them replaced. Invented: no such drivers exist."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

F = np.geomspace(15.0, 22e3, 500)


@dataclass(frozen=True)
class Made:
    """A driver by formulas: a resonance beside a coil, a second-order high-pass, and a roll-off (Hz) of Q 0.7."""

    re_ohm: float
    fs_hz: float
    level_db: float
    top_hz: float
    le_h: float = 0.5e-3
    qms: float = 4.0
    qes: float = 0.5

    def impedance_ohm(self):
        turn = 1j * self.qms * (F / self.fs_hz - self.fs_hz / F)
        return self.re_ohm + 2j * np.pi * F * self.le_h + self.re_ohm * self.qms / self.qes / (1.0 + turn)

    def pressure(self):
        s, q = 1j * F / self.fs_hz, self.qms * self.qes / (self.qms + self.qes)
        u = 1j * F / self.top_hz
        return 10.0 ** (self.level_db / 20.0) * s * s / (s * s + s / q + 1.0) / (u * u + u / 0.7 + 1.0)


WOOFER = Made(6.2, 38.0, 88.0, 4500.0)
ODD = Made(5.6, 48.0, 90.5, 5500.0, le_h=0.6e-3, qes=0.4)
TWEETER = Made(5.8, 900.0, 92.0, 25e3, le_h=0.03e-3, qms=2.0, qes=1.0)

PARALLEL = """* two woofers in parallel behind one coil
L1 in w 1.0mH dcr=0.2
C1 w 0 20uF
Xupper w 0 woofer
Xlower w 0 {second}
C2 in t 4.7uF
L2 t 0 0.35mH
Xhigh t 0 tweeter
"""


def write_folder(folder: Path, drivers, network, *, places=True):
    """Write a speaker folder of made drivers, by name, and return it.

    `places` may give a line or a table of speaker.toml for each driver; True spreads them over the baffle.
    """
    folder.mkdir(parents=True, exist_ok=True)
    text = f'title = "{folder.name} (invented)"\ntiming = "common"\n[amplifier]\nminimum_load_ohm = 2.5\n'
    text += "rated_power_w = 60\nrated_load_ohm = 4\n[listening]\nlevel_db = 88\ndistance_m = 2.5\n"
    for at, (name, made) in enumerate(drivers.items()):
        z, p = made.impedance_ohm(), made.pressure()
        for what, value in (("impedance", np.abs(z)), ("response", 20.0 * np.log10(np.abs(p)))):
            of = z if what == "impedance" else p
            rows = zip(F, value, np.degrees(np.angle(of)), strict=True)
            unit = "ohm" if what == "impedance" else "dB"
            lines = "".join(f"{f:.7g} {v:.7g} {a:.7g}\n" for f, v, a in rows)
            (folder / f"{name}-{what}.txt").write_text(f"Hz {unit} deg\n{lines}")
        text += f'[drivers.{name}]\nimpedance = "{name}-impedance.txt"\nresponse = "{name}-response.txt"\n'
        text += 'phase = "minimum"\nimpedance_evidence = "measured"\n'
        text += f"diameter_mm = {25 if made is TWEETER else 170}\n"
        if isinstance(places, dict):
            text += places[name]
        elif places:
            text += f"position_mm = [0, {(170, -170, 0)[at % 3]}, 0]\n"
    text += '[networks.found]\ncircuit = "found.cir"\n'
    (folder / "found.cir").write_text(network)
    (folder / "speaker.toml").write_text(text)
    return folder
