"""What large folders cost: kind, size, command, CPU seconds, peak megabytes and outcome, a line each.

    python tests/benchmarks/large_folders.py [KIND ...] [--size N] [--command WORD] [--limit SECONDS]

Every command runs in a process of its own, with 4 GB of address space and two minutes of one core. A line counts
as small where it is done, or refused in one line, within 5 s and 500 MB.
"""

from __future__ import annotations

import argparse
import math
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
ATTIC: Final = ROOT / "examples" / "attic-two-way"
SMALL_S: Final = 5.0
SMALL_MB: Final = 500.0
MOST_ADDRESSES: Final = 4_000_000 << 10
SWEEP_HZ: Final = [20.0 * 1000.0 ** (i / 39) for i in range(40)]


@dataclass(frozen=True)
class Cost:
    """What one command took."""

    seconds: float
    megabytes: float
    status: int
    said: str

    @property
    def outcome(self) -> str:
        """In a word or two."""
        words = {0: "done", 1: "done, limit broken", 2: "refused", 3: "FAULT"}
        return words.get(self.status, "TOO LONG" if self.status < 0 else f"status {self.status}")

    @property
    def small(self) -> bool:
        """Whether it is within what a small file may cost."""
        return self.status in (0, 1, 2) and self.seconds <= SMALL_S and self.megabytes <= SMALL_MB


def measured(words: list[str], folder: Path, limit_s: float) -> Cost:
    """Run a command by itself and take what it cost."""
    start = [sys.executable, "-c", "from xover.cli.main import run; run()", *words]
    surroundings = os.environ | {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    with tempfile.TemporaryFile() as errors:
        child = subprocess.Popen(
            start,
            cwd=folder,
            env=surroundings,
            stdout=subprocess.DEVNULL,
            stderr=errors,
            preexec_fn=partial(_bounded, math.ceil(limit_s)),
        )
        clock = threading.Timer(10 * limit_s, child.kill)
        clock.start()
        _, status, used = os.wait4(child.pid, 0)
        clock.cancel()
        child.returncode = os.waitstatus_to_exitcode(status)
        errors.seek(0)
        said = errors.read().decode(errors="replace").strip()
    return Cost(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, child.returncode, said)


def _bounded(seconds: int) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_ADDRESSES, MOST_ADDRESSES))
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 1))


def stock_folder(folder: Path, rows: int) -> None:
    """The attic's left side beside a list of so many parts, all of which could stand in it."""
    _attic(folder)
    lines = ["kind,value,tolerance,price,watts,volts,dcr_ohm,maker_code"]
    for row in range(rows):
        value = 10.0 ** (2.0 * row / rows)
        price = 1.0 + row % 97 / 10
        lines.append(
            (
                f"film,{value:.5f}uF,5%,{price},,250,,",
                f"coil,{0.1 * value:.5f}mH,5%,{price},,,{0.1 + 0.01 * value:.3f},",
                f"resistor,{value:.5f}ohm,5%,{price},20,,,",
                f"electrolytic,{value:.5f}uF,10%,{price},,100,,",
            )[row % 4]
        )
    (folder / "stock.csv").write_text("\n".join(lines) + "\n")


def drivers_folder(folder: Path, count: int) -> None:
    """As many drivers in speaker.toml, each with a table of its own; two of them are wired."""
    folder.mkdir()
    _sweeps(folder, count)
    (folder / "found.cir").write_text("L1 in w 1.8mH dcr=0.4\nXw w 0 d0\nC1 in t 6.8uF\nXt t 0 d1\n")
    (folder / "original.cir").write_text("L1 in w 2mH dcr=0.4\nXw w 0 d0\nC1 in t 6.2uF\nXt t 0 d1\n")
    _toml(folder, [_measured(i) for i in range(count)], ["found", "original"])


def datasheets_folder(folder: Path, count: int) -> None:
    """As many drivers in speaker.toml, each known by its datasheet; two of them are wired."""
    folder.mkdir()
    (folder / "found.cir").write_text("L1 in w 1.8mH dcr=0.4\nXw w 0 d0\nC1 in t 6.8uF\nXt t 0 d1\n")
    sheet = "datasheet = {{ re_ohm = {:.2f}, fs_hz = 60, qms = 4, qes = 0.5, le_mh = 0.5 }}"
    _toml(folder, [f"[drivers.d{i}]\n{sheet.format(5 + i % 3 / 10)}" for i in range(count)], ["found"])


def wired_folder(folder: Path, count: int) -> None:
    """As many drivers, all in one network: each behind a coil, fours in series."""
    folder.mkdir()
    _sweeps(folder, count)
    for name in ("found", "original"):
        cards = []
        for i in range(count):
            if i % 4 == 0:
                cards.append(f"L{i} in n{i} {1 + i / 10:.1f}mH dcr=0.3")
            cards.append(f"X{i} n{i} {'0' if i % 4 == 3 or i == count - 1 else f'n{i + 1}'} d{i}")
        (folder / f"{name}.cir").write_text("\n".join(cards) + "\n")
    _toml(folder, [_measured(i) for i in range(count)], ["found", "original"])


def ladder_folder(folder: Path, cards: int) -> None:
    """The attic's drivers behind one ladder of so many coils, capacitors and resistors."""
    _attic(folder)
    for name, scale in (("found", 1.0), ("original", 1.1)):
        lines, node = [], "in"
        for i in range(cards - 1):
            if i % 2 == 0:
                kind = f"L{i} {node} n{i} {scale * 0.3 / (1 + i / 20):.4f}mH dcr=0.05"
                node = f"n{i}"
            elif i % 4 == 1:
                kind = f"C{i} {node} 0 {scale * 2 / (1 + i / 20):.4f}uF"
            else:
                kind = f"R{i} {node} 0 {scale * 200:.1f}"
            lines.append(kind)
        lines += [f"Xlow {node} 0 woofer", "Ct in t 4.7uF", "Xhigh t 0 tweeter"]
        (folder / f"{name}.cir").write_text("\n".join(lines) + "\n")


def networks_folder(folder: Path, count: int) -> None:
    """The attic's left side with as many networks, each a little other."""
    _attic(folder)
    found = (folder / "found.cir").read_text()
    lines = []
    for i in range(count - 2):
        (folder / f"n{i}.cir").write_text(found.replace("15  ", f"{15 + i / 10:g}"))
        lines.append(f'[networks.n{i}]\ncircuit = "n{i}.cir"')
    with (folder / "speaker.toml").open("a") as toml:
        toml.write("\n" + "\n".join(lines) + "\n")


def _attic(folder: Path) -> None:
    shutil.copytree(ATTIC / "left", folder)
    shutil.copy(ATTIC / "original.cir", folder / "original.cir")
    toml = folder / "speaker.toml"
    toml.write_text(toml.read_text().replace("../original.cir", "original.cir"))


def _sweeps(folder: Path, count: int) -> None:
    for i in range(count):
        rows = [
            f"{f:.3f} {8 + 20 / (1 + (math.log2(f / 60) * 3) ** 2) + i % 7 / 50 + f / 4000:.4f} 5" for f in SWEEP_HZ
        ]
        (folder / f"d{i}.txt").write_text("\n".join(["frequency_hz  impedance_ohm  phase_deg", *rows]) + "\n")
        rows = [f"{f:.3f} {88 - 10 / (1 + (f / 50) ** 2):.2f} 10" for f in SWEEP_HZ]
        (folder / f"s{i}.txt").write_text("\n".join(["frequency_hz  level_db  phase_deg", *rows]) + "\n")


def _measured(i: int) -> str:
    return f'[drivers.d{i}]\nimpedance = "d{i}.txt"\nresponse = "s{i}.txt"\nphase = "measured"\ndiameter_mm = 165'


def _toml(folder: Path, drivers: list[str], networks: list[str]) -> None:
    head = 'title = "Large (invented)"\ntiming = "common"\n[amplifier]\nminimum_load_ohm = 4\nrated_power_w = 60'
    head += "\nrated_load_ohm = 8"
    tables = [f'[networks.{name}]\ncircuit = "{name}.cir"' for name in networks]
    (folder / "speaker.toml").write_text("\n".join([head, *drivers, *tables]) + "\n")


@dataclass(frozen=True)
class Kind:
    """A kind of large folder: how it is made, in which sizes, and the commands that run on it."""

    make: Callable[[Path, int], None]
    sizes: tuple[int, ...]
    commands: tuple[str, ...]


_TERMINALS: Final = "--impedance terminals-found.csv"
KINDS: Final[dict[str, Kind]] = {
    "stock": Kind(
        stock_folder,
        (2_000, 19_900, 50_000),
        (
            "refresh . --stock stock.csv",
            "redesign . --stock stock.csv --starts 1",
            "redesign . --stock stock.csv",
            "decide . --stock stock.csv",
            "values 4.73uF --stock stock.csv --pairs",
            "values 4.73ohm --stock stock.csv --pairs --most 50",
        ),
    ),
    "drivers": Kind(drivers_folder, (64, 256, 1_000), ("check .", "load .", "predict .", "decide .")),
    "datasheets": Kind(datasheets_folder, (64, 1_000, 8_000), ("check .", "load .", "predict .", "decide .")),
    "wired": Kind(
        wired_folder,
        (16, 60),
        (
            "check .",
            "load .",
            "predict .",
            "predict . --per-octave 960",
            "angles .",
            "delay .",
            "sensitivity .",
            "condition .",
            "stress .",
            "stress . --per-octave 960",
            "tolerance .",
            "crosstalk .",
            "formula .",
            "bypass .",
            "refresh .",
            "decide .",
            "schematic . -o s.svg",
            "spice .",
            "report . --processes 1 -o r.html",
        ),
    ),
    "ladder": Kind(
        ladder_folder,
        (20, 60, 100, 150, 200),
        (
            "check .",
            "load .",
            f"verify . {_TERMINALS}",
            f"infer . {_TERMINALS}",
            "formula .",
            "condition .",
            "refresh .",
            "redesign .",
            "decide .",
            "tolerance .",
            "sensitivity .",
            "stress .",
            "crosstalk .",
            "bypass .",
            "schematic . -o s.svg",
            "spice .",
            "report . --processes 1 -o r.html",
        ),
    ),
    "networks": Kind(
        networks_folder, (8, 64), ("check .", "predict .", "decide .", "report . --processes 1 -o r.html")
    ),
}


def lines(kinds: list[str], size: int | None, word: str, limit_s: float) -> Iterator[tuple[str, int, str, Cost]]:
    """Every kind, size and command that is asked for, with its cost."""
    for name in kinds:
        kind = KINDS[name]
        for count in (size,) if size else kind.sizes:
            with tempfile.TemporaryDirectory() as scratch:
                folder = Path(scratch) / "speaker"
                kind.make(folder, count)
                for command in kind.commands:
                    if word in command:
                        yield name, count, command, measured(command.split(), folder, limit_s)


def main() -> None:
    """Print the table and how many lines are small."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("kinds", nargs="*", choices=[*KINDS, []], help="all if none is named")
    asked.add_argument("--size", type=int)
    asked.add_argument("--command", default="", help="only commands with this word")
    asked.add_argument("--limit", type=float, default=120.0, help="seconds for each")
    given = asked.parse_args()
    count = small = 0
    print(f"{'kind':10} {'size':>6}  {'command':48} {'CPU s':>6} {'MB':>6}  outcome")
    for kind, size, command, cost in lines(given.kinds or list(KINDS), given.size, given.command, given.limit):
        said = "" if cost.status in (0, 1) else cost.said.splitlines()[-1][:150] if cost.said else ""
        mark = " " if cost.small else "*"
        print(
            f"{kind:10} {size:6}  {command:48} {cost.seconds:6.1f} {cost.megabytes:6.0f} {mark}{cost.outcome} {said}",
            flush=True,
        )
        count, small = count + 1, small + cost.small
    print(f"{small} of {count} within {SMALL_S:g} s and {SMALL_MB:g} MB; * marks the others")


if __name__ == "__main__":
    main()
